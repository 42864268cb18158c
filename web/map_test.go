package web

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

func ratioOf(value, low, high float64) *usage.Estimate {
	return &usage.Estimate{Value: value, Low: low, High: high, Level: usage.Confidence}
}

func TestGlance(t *testing.T) {
	season := usage.SeasonOf(usage.DateOf(2026, 4, 1), usage.North)
	now, days := int64(1_780_000_000), func(n int64) *int64 { at := 1_780_000_000 - n*86400; return &at }
	some := ratioOf(4, 3, 5)
	for _, c := range []struct {
		name      string
		figures   usage.SeasonFigures
		questions int
		card      *int64
		use       chart.Use
		says      string
	}{
		{"a rise", usage.SeasonFigures{Counted: 400, CoveredDays: 90, PerDay: some, RatioToLast: ratioOf(1.3, 1.1, 1.5)}, 0, days(3), chart.UseThrives,
			"Thrives: between 1.1 and 1.5 times the visits a day of spring 2025."},
		{"a fall", usage.SeasonFigures{Counted: 400, CoveredDays: 90, PerDay: some, RatioToLast: ratioOf(0.7, 0.5, 0.9)}, 0, days(60), chart.UseQuiet,
			"Quiet: between 0.5 and 0.9 times the visits a day of spring 2025."},
		{"neither", usage.SeasonFigures{Counted: 400, CoveredDays: 90, PerDay: some, RatioToLast: ratioOf(1.1, 0.9, 1.3)}, 2, days(61), chart.UseSteady,
			"No clear change: between 0.9 and 1.3 times the visits a day of spring 2025. Needs a hand: 2 open questions, no card for 61 days."},
		{"no year before", usage.SeasonFigures{Counted: 400, CoveredDays: 90, PerDay: some}, 1, days(3), chart.UseUnknown,
			"Not compared: nothing was recorded in spring 2025. Needs a hand: 1 open question."},
		{"nobody", usage.SeasonFigures{CoveredDays: 90, PerDay: ratioOf(0, 0, 0.1)}, 0, days(3), chart.UseQuiet, "Quiet: no visit in spring 2026."},
		{"nobody in a day", usage.SeasonFigures{CoveredDays: 1, PerDay: ratioOf(0, 0, 4)}, 0, days(3), chart.UseUnknown, "Not compared: nothing was recorded in spring 2025."},
		{"nobody in either year", usage.SeasonFigures{CoveredDays: 1, PerDay: ratioOf(0, 0, 4), RatioToLast: ratioOf(math.NaN(), 0, math.Inf(1))}, 0, days(3), chart.UseUnknown,
			"Not compared: nothing was recorded in spring 2025."},
		{"no card", usage.SeasonFigures{}, 0, nil, chart.UseUnknown, "Nothing recorded to judge it by. Needs a hand: no card with a time yet."},
	} {
		g := GlanceOf(words.English, c.figures, season, c.questions, c.card, now)
		if g.Use != c.use || g.Whole(words.English) != c.says {
			t.Errorf("%s: GlanceOf = %v %q, want %v %q", c.name, g.Use, g.Whole(words.English), c.use, c.says)
		}
	}
}

func TestGlanceLead(t *testing.T) {
	site := func(name string, use chart.Use, hand string) NetworkSite {
		return NetworkSite{Site: Site{Name: name}, Glance: Glance{Use: use, Hand: hand}}
	}
	up, down, level, unknown := chart.UseThrives, chart.UseQuiet, chart.UseSteady, chart.UseUnknown
	for _, c := range []struct {
		sites []NetworkSite
		want  string
	}{
		{[]NetworkSite{site("A", up, ""), site("B", down, ""), site("C", level, "x")}, "A thrives. B is quiet. C needs a hand."},
		{[]NetworkSite{site("A", up, "x"), site("B", up, "")}, "A and B thrive. A needs a hand."},
		{[]NetworkSite{site("A", level, ""), site("B", unknown, "")}, "No box is clearly busier or quieter than a year before."},
		{[]NetworkSite{site("A", unknown, "x")}, "There is no year before to compare with yet. A needs a hand."},
		{[]NetworkSite{site("A", down, "x"), site("B", down, "x")}, "A and B are quiet. Every box needs a hand."},
		{[]NetworkSite{site("A", up, ""), site("B", up, ""), site("C", up, ""), site("D", up, "")}, "A, B, C and D thrive."},
		{[]NetworkSite{site("A", up, ""), site("B", up, ""), site("C", up, ""), site("D", up, ""), site("E", up, "")}, "A, B, C and 2 other boxes thrive."},
	} {
		if got := GlanceLead(words.English, c.sites); got != c.want {
			t.Errorf("GlanceLead = %q, want %q", got, c.want)
		}
	}
}

// Nothing is called more, fewer, thriving or quiet whose limits hold 1.
func TestWordsKeepToTheLimits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		low := rapid.Float64Range(0, 3).Draw(rt, "low")
		high := low + rapid.Float64Range(0, 3).Draw(rt, "width")
		ratio := ratioOf((low+high)/2, low, high)
		says := RatioSays(words.English, "A", "B", ratio, true)
		g := GlanceOf(words.English, usage.SeasonFigures{Counted: 9, PerDay: ratioOf(1, 0.5, 2), RatioToLast: ratio}, usage.SeasonOf(usage.DateOf(2026, 4, 1), usage.North), 0, nil, 0)
		more, fewer := strings.HasPrefix(says, "A has more"), strings.HasPrefix(says, "A has fewer")
		if more != (low > 1) || fewer != (high < 1) || (g.Use == chart.UseThrives) != more || (g.Use == chart.UseQuiet) != fewer {
			rt.Fatalf("limits %v to %v: %q, %q", low, high, says, g.Says)
		}
	})
}
