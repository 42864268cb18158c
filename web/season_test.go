package web

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func estimate(value, low, high float64) *usage.Estimate {
	return &usage.Estimate{Value: value, Low: low, High: high, Level: 0.95}
}

func TestRound(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		value, low, high float64
		want             string
	}{
		{14.2, 11.3, 17.4, "14 11 17"},
		{144.6, 133.2, 156.4, "145 133 156"},
		{7184, 6985, 7390, "7,200 7,000 7,400"},
		{9.44, 8.53, 10.43, "9.4 8.5 10.4"},
		{0.42, 0.03, 1.9, "0.4 less than 0.1 1.9"},
		{0, 0, 3.7, "0 0 3.7"},
		{0, 0, 0.0004, "0 0 less than 0.01"},
		{2, 2, 2, "2.00 2.00 2.00"},
		{37, nan, nan, "37.00 unknown unknown"},
		{nan, 0, inf, "unknown 0 unknown"},
	} {
		r := Round(estimate(c.value, c.low, c.high))
		if got := r.Value + " " + r.Low + " " + r.High; got != c.want {
			t.Errorf("Round(%v, %v, %v) = %s, want %s", c.value, c.low, c.high, got, c.want)
		}
	}
}

func TestRoundRatio(t *testing.T) {
	for _, c := range []struct {
		value, low, high float64
		want             string
	}{
		{1.12, 1.01, 1.24, "1.12 1.01 1.24"},
		{1.12, 1.004, 1.24, "1.120 1.004 1.240"},
		{1.1, 0.9, 1.31, "1.1 0.9 1.3"},
		{0.8, 0.6, 0.96, "0.80 0.60 0.96"},
		{3, 0.4, 12, "3.0 0.4 12.0"},
	} {
		r := RoundRatio(estimate(c.value, c.low, c.high))
		if got := r.Value + " " + r.Low + " " + r.High; got != c.want {
			t.Errorf("RoundRatio(%v, %v, %v) = %s, want %s", c.value, c.low, c.high, got, c.want)
		}
	}
}

func TestOrdinal(t *testing.T) {
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 60: "60th", 101: "101st", 111: "111th"} {
		if got := Ordinal(words.English, n); got != want {
			t.Errorf("Ordinal(words.English, %d) = %s, want %s", n, got, want)
		}
	}
}

func TestPlace(t *testing.T) {
	for _, c := range []struct {
		low, high int
		want      string
	}{{1, 1, "1st"}, {2, 4, "somewhere between 2nd and 4th"}} {
		if got := (SitePlace{Low: c.low, High: c.high}).Place(words.English); got != c.want {
			t.Errorf("Place(%d, %d) = %q, want %q", c.low, c.high, got, c.want)
		}
	}
}

func autumn(t interface{ Fatal(...any) }) usage.Season {
	season, err := usage.ParseSeason("2026-autumn", usage.North)
	if err != nil {
		t.Fatal(err)
	}
	return season
}

func TestSeasonLead(t *testing.T) {
	day := func(value, low, high float64) *usage.Estimate { return estimate(value/7, low/7, high/7) }
	this := usage.SeasonFigures{PerDay: day(14.2, 11.3, 17.4), RatioToLast: estimate(1.6, 1.2, 2.1)}
	last := usage.SeasonFigures{PerDay: day(9.1, 7.2, 11.4)}
	for _, c := range []struct {
		name       string
		this, last usage.SeasonFigures
		current    bool
		want       []string
	}{
		{"this season", this, last, true, []string{
			"About 14 visits a week this autumn, between 11 and 17; last autumn 9, between 7 and 11.",
			"That is a rise: between 1.2 and 2.1 times as many visits a day as in the autumn before, on the dates that both have."}},
		{"one that is over", this, last, false, []string{
			"About 14 visits a week in autumn 2026, between 11 and 17; in autumn 2025 it was 9, between 7 and 11.",
			"That is a rise: between 1.2 and 2.1 times as many visits a day as in the autumn before, on the dates that both have."}},
		{"a fall", usage.SeasonFigures{PerDay: this.PerDay, RatioToLast: estimate(0.5, 0.3, 0.8)}, last, true, []string{
			"About 14 visits a week this autumn, between 11 and 17; last autumn 9, between 7 and 11.",
			"That is a fall: between 0.3 and 0.8 times as many visits a day as in the autumn before, on the dates that both have."}},
		{"the first one", usage.SeasonFigures{PerDay: this.PerDay}, usage.SeasonFigures{}, true, []string{
			"About 14 visits a week this autumn, between 11 and 17.", "There is no recording of the autumn before to set it against."}},
		{"nothing", usage.SeasonFigures{}, last, false, []string{"Nothing was recorded in autumn 2026."}},
		{"counted and no more", usage.SeasonFigures{Counted: 3}, last, false, []string{"3 visits were counted in autumn 2026, and no recording time to set them against."}},
	} {
		got := SeasonLead(words.English, c.this, c.last, autumn(t), c.current)
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s: SeasonLead = %q, want %q", c.name, got, c.want)
		}
	}
	all := NetworkLead(words.English, usage.SeasonFigures{PerDay: this.PerDay, Estimated: estimate(1290, 1180, 1410)}, last, autumn(t), true, 7)
	if want := "About 14 visits a week at a mean box this autumn, between 11 and 17; last autumn 9, between 7 and 11."; all[0] != want {
		t.Errorf("NetworkLead = %q, want %q", all[0], want)
	}
	if want := "At all 7 boxes together: about 1,290 visits, between 1,180 and 1,410."; all[1] != want {
		t.Errorf("NetworkLead = %q, want %q", all[1], want)
	}
}

// No comparison is called a rise or a fall when its limits hold 1, and each one
// that is shows limits on one side of 1.
func TestComparedSaysNoMoreThanItsLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n1, n2 := rapid.Float64Range(0, 500).Draw(t, "n1"), rapid.Float64Range(0, 500).Draw(t, "n2")
		t1, t2 := rapid.Float64Range(1, 92).Draw(t, "t1"), rapid.Float64Range(1, 92).Draw(t, "t2")
		ratio := usage.RateRatio(math.Floor(n1), t1, math.Floor(n2), t2, 1, 0.95)
		says := Compared(words.English, usage.SeasonFigures{RatioToLast: ratio}, usage.SeasonFigures{PerDay: estimate(1, 0, 2)}, autumn(t))
		holds1 := !(ratio.Low > 1) && !(ratio.High < 1)
		named := strings.Contains(says, "rise") || strings.Contains(says, "fall")
		if holds1 == named {
			t.Fatalf("Compared(words.English, %+v) = %q", ratio, says)
		}
		if shown := RoundRatio(ratio); !holds1 && (shown.Low == "1.0" || shown.High == "1.0" || shown.Low == "1.00" || shown.High == "1.00") {
			t.Fatalf("%+v is shown as %+v", ratio, shown)
		}
	})
}

func TestVisitsSay(t *testing.T) {
	from, to, hour, dark := usage.DateOf(2026, 3, 1), usage.DateOf(2026, 5, 31), 10, usage.Dark
	for _, c := range []struct {
		timed, untimed int64
		asked          Asked
		want           string
	}{
		{0, 0, Asked{}, "No visit."},
		{1, 0, Asked{From: &from, To: &from}, "1 visit, on 1 March 2026."},
		{1200, 3, Asked{From: &from}, "1,200 visits with a time and 3 without one, from 1 March 2026 on."},
		{0, 2, Asked{To: &to}, "2 visits without a time, up to 31 May 2026."},
		{12, 0, Asked{From: &from, To: &to, Weekday: 6, Hour: &hour, Light: &dark}, "12 visits on a Saturday from 10:00 to 11:00 in the dark, 1 March 2026 to 31 May 2026."},
	} {
		if got := VisitsSay(words.English, c.timed, c.untimed, c.asked); got != c.want {
			t.Errorf("VisitsSay(words.English, %d, %d) = %q, want %q", c.timed, c.untimed, got, c.want)
		}
	}
}

func TestCorrected(t *testing.T) {
	dublin, err := usage.LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	const july = 1782907200 // 2026-07-01 12:00 UTC, 13:00 in Dublin
	for reading, want := range map[int64]string{
		july + 3600:         "The logger’s clock was right to the second, in civil time at the box.",
		july:                "The logger’s clock was 1 hour behind civil time at the box; that was put right.",
		july + 3600 + 86461: "The logger’s clock was 1 day 1 minute 1 second ahead of civil time at the box; that was put right.",
	} {
		if got := Corrected(words.English, reading, july, dublin); got != want {
			t.Errorf("Corrected(words.English, %d) = %q, want %q", reading-july, got, want)
		}
	}
}

func TestAboutSeasonWords(t *testing.T) {
	f := usage.SeasonFigures{Counted: 312, CoveredDays: 85.2, Days: 92, Phi: 1.8, Estimated: estimate(337, 289, 391), PerDay: estimate(3.66, 3.14, 4.25)}
	s := AboutSeason{Figures: f}
	for _, want := range []string{"312 visits in 85.2 days of recording make about 26 a week", "between 22 and 30 a week", "1.8 times"} {
		if got := s.Weekly(words.English); !strings.Contains(got, want) {
			t.Errorf("Weekly() = %q, want %q in it", got, want)
		}
	}
	if got, want := s.Estimated(words.English), "85.2 days of 92 days were covered, in which 312 visits were counted. On all of them there were about 340, between 290 and 390."; got != want {
		t.Errorf("Estimated() = %q, want %q", got, want)
	}
	if got := (AboutSeason{}).Weekly(words.English) + (AboutSeason{}).Estimated(words.English); got != "" {
		t.Errorf("a season without recording says %q", got)
	}
}

func TestOpenWeek(t *testing.T) {
	for _, c := range []struct {
		value, low, high float64
		want             string
	}{
		{2340, 1980, 2760, "39 min 33 46"},
		{70, 30, 130, "70 s 30 130"},
		{8324, 7608, 9090, "2.3 h 2.1 2.5"},
		{90000, 70000, 120000, "25 h 19 33"},
	} {
		r := OpenWeek(estimate(c.value, c.low, c.high))
		if got := r.Value + " " + r.Low + " " + r.High; got != c.want {
			t.Errorf("OpenWeek(%v, %v, %v) = %s, want %s", c.value, c.low, c.high, got, c.want)
		}
	}
}

func TestNetworkVisitsSay(t *testing.T) {
	hour, light := 7, usage.Dark
	from, to := usage.DateOf(2026, 3, 1), usage.DateOf(2026, 3, 9)
	for _, c := range []struct {
		timed, untimed int64
		asked          Asked
		want           string
	}{
		{0, 0, Asked{}, "No visit."},
		{1, 0, Asked{Weekday: 2, Hour: &hour}, "1 visit on a Tuesday from 7:00 to 8:00."},
		{935, 2, Asked{Light: &light, Boxes: 8, Season: "spring 2026"}, "935 visits with a time and 2 without one in the dark at 8 boxes in spring 2026."},
		{12, 0, Asked{Boxes: 2, ExposedS: 20 * 86400}, "12 visits at 2 boxes, in 20 days of recording, all boxes added up."},
		{311, 0, Asked{From: &from, To: &to, ExposedS: 9 * 86400}, "311 visits, 1 March 2026 to 9 March 2026, in 9 days of recording."},
		{0, 3, Asked{Boxes: 1, From: &from, To: &to}, "3 visits without a time at 1 box, 1 March 2026 to 9 March 2026."},
	} {
		if got := VisitsSay(words.English, c.timed, c.untimed, c.asked); got != c.want {
			t.Errorf("VisitsSay(words.English, %d, %d, %+v) = %q, want %q", c.timed, c.untimed, c.asked, got, c.want)
		}
	}
}
