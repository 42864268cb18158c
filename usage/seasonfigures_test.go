package usage

import (
	"encoding/json"
	"math"
	"testing"
)

var autumn2025 = Season{Start: Month(12*2025 + 8), In: North}

// fullDays are days from one date to another with so many visits each, of which one
// is dark, in Dublin, whose clocks go back on 2025-10-26.
func fullDays(t *testing.T, from, to Date, visits int32) (days []Day) {
	z := loadZone(t, "Europe/Dublin")
	for d := from; d <= to; d++ {
		length := z.StartOfDay(d+1) - z.StartOfDay(d)
		days = append(days, Day{Date: d, Visits: visits, Dark: 1, OpenS: 100, ExposureS: int32(length)})
	}
	return days
}

func figures(t *testing.T, data SeasonData) SeasonFigures {
	t.Helper()
	site := millSite("Europe/Dublin")
	site.InstalledOn = DateOf(2024, 1, 1)
	f, err := SeasonFiguresOf(site, autumn2025, data)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestSeasonFullyCovered(t *testing.T) {
	f := figures(t, SeasonData{Days: fullDays(t, DateOf(2024, 5, 1), DateOf(2026, 1, 31), 4)})
	if !f.Complete || f.Until.String() != "2025-11-30" || f.Days != 91 || f.Counted != 4*91 || !near(f.CoveredDays, 91+1/24.0, 1e-12) {
		t.Errorf("figures = %+v, want complete, 91 days, 364 visits", f)
	}
	low, high := PoissonLimits(364, Confidence)
	if !near(f.Estimated.Value, 364, 1e-12) || !near(f.Estimated.Low, low, 1e-9) || !near(f.Estimated.High, high, 1e-9) {
		t.Errorf("estimated = %+v, want 364 (%v to %v)", *f.Estimated, low, high)
	}
	if !near(f.PerDay.Value, 364/(91+1/24.0), 1e-12) {
		t.Errorf("per day = %v, want nearly 4", f.PerDay.Value)
	}
	if !near(f.RatioToLast.Value, 1, 1e-12) || DirectionOf(f.RatioToLast) != Unclear {
		t.Errorf("ratio = %+v, want 1", *f.RatioToLast)
	}
	if want := Share(91, 364, Confidence); *f.DarkShare != *want {
		t.Errorf("dark share = %+v, want %+v", *f.DarkShare, *want)
	}
	if f.OpenS != 9100 || !near(*f.PerWeekS, 9100/(91+1/24.0)*7, 1e-12) {
		t.Errorf("open = %d s, %v a week, want 9100, about 700", f.OpenS, *f.PerWeekS)
	}
}

// A season still running projects nothing beyond its last card, and compares with
// the same dates of last year.
func TestSeasonStillRunning(t *testing.T) {
	days := fullDays(t, DateOf(2024, 5, 1), DateOf(2024, 9, 30), 2)
	days = append(days, fullDays(t, DateOf(2024, 10, 1), DateOf(2024, 12, 31), 90)...) // not to be compared
	days = append(days, fullDays(t, DateOf(2025, 1, 1), DateOf(2025, 9, 30), 6)...)
	last := &days[len(days)-1]
	last.ExposureS, last.Visits = daySeconds/2, 3
	f := figures(t, SeasonData{Days: days})
	if f.Complete || f.Until.String() != "2025-09-30" || f.Days != 30 || f.Counted != 29*6+3 {
		t.Errorf("figures = %+v, want 30 days to 2025-09-30, 177 visits", f)
	}
	if !near(f.Estimated.Value, 177, 1e-9) {
		t.Errorf("estimated = %v, want what was counted, 177", f.Estimated.Value)
	}
	if !near(f.RatioToLast.Value, 3, 1e-9) || DirectionOf(f.RatioToLast) != Rise {
		t.Errorf("ratio = %+v, want 3", *f.RatioToLast)
	}
}

// Days that are not covered are estimated by the same weekdays; a season that ends
// without coverage is complete when coverage goes on after it.
func TestSeasonWithGaps(t *testing.T) {
	days := fullDays(t, DateOf(2025, 9, 1), DateOf(2025, 11, 9), 5)
	days = append(days, fullDays(t, DateOf(2025, 12, 10), DateOf(2025, 12, 20), 5)...)
	f := figures(t, SeasonData{Days: days})
	if !f.Complete || f.Days != 91 || f.Counted != 350 || !near(f.Estimated.Value, 5*(91+1/24.0), 1e-3) {
		t.Errorf("figures = %+v, estimated %+v, want 350 counted, 455 estimated", f, *f.Estimated)
	}
	if f.RatioToLast != nil {
		t.Errorf("ratio without last year = %+v, want nil", *f.RatioToLast)
	}
	z := loadZone(t, "Europe/Dublin")
	from, to := z.StartOfDay(DateOf(2025, 9, 10)), z.StartOfDay(DateOf(2025, 9, 20))
	f = figures(t, SeasonData{Days: days, Untimed: []Bracket{{from, to, 9, 7}, {from, Beyond, 3, 2}}})
	if f.Counted != 357 || f.Untimed != 7 || f.UntimedAbout != 2 || !near(f.Estimated.Value, 1.02*5*(91+1/24.0), 1e-3) {
		t.Errorf("with untimed visits = %+v, estimated %v, want 357 counted, 464 estimated", f, f.Estimated.Value)
	}
}

func TestSeasonBorders(t *testing.T) {
	f := figures(t, SeasonData{})
	if f.Until != nil || f.Estimated != nil || f.PerDay != nil || f.DarkShare != nil || f.MedianOpenS != nil || f.LowerOpenS != nil || f.Complete {
		t.Errorf("figures of nothing = %+v, want nothing", f)
	}
	f = figures(t, SeasonData{Days: fullDays(t, DateOf(2025, 6, 1), DateOf(2025, 8, 31), 5)})
	if f.Until != nil || f.Estimated != nil || f.Counted != 0 {
		t.Errorf("figures of another season = %+v, want nothing", f)
	}
	f = figures(t, SeasonData{Days: []Day{{Date: DateOf(2025, 10, 1), ExposureS: 3600}}})
	if f.Estimated == nil || f.Estimated.Value != 0 || f.Estimated.Low != 0 || !(f.Estimated.High > 0) || f.DarkShare != nil {
		t.Errorf("figures of an hour = %+v, want nought with a high limit", f)
	}
	if _, err := SeasonFiguresOf(millSite("Mill/Lane"), autumn2025, SeasonData{}); KindOf(err) != Invalid {
		t.Errorf("unknown zone: %v, want an invalid fault", err)
	}
}

func TestNetworkFigures(t *testing.T) {
	full := SeasonData{Days: fullDays(t, DateOf(2024, 5, 1), DateOf(2026, 1, 31), 4)}
	young := SeasonData{Days: fullDays(t, DateOf(2025, 9, 1), DateOf(2025, 11, 9), 6)}
	full.Opens = []MonthOpen{{Month: Month(12*2025 + 8)}}
	full.Opens[0].Visits[20] = 40
	a, b, none := figures(t, full), figures(t, young), figures(t, SeasonData{})
	n := NetworkFigures([]SeasonFigures{a, b, none})
	if n.Counted != a.Counted+b.Counted || n.Days != a.Days+b.Days || n.OpenS != a.OpenS+b.OpenS || n.Complete || n.Until.String() != "2025-11-09" {
		t.Errorf("network = %+v, want sums", n)
	}
	if !near(n.Estimated.Value, a.Estimated.Value+b.Estimated.Value, 1e-12) {
		t.Errorf("estimated = %v, want %v", n.Estimated.Value, a.Estimated.Value+b.Estimated.Value)
	}
	width := func(e *Estimate) float64 { return e.High - e.Low }
	if w := math.Hypot(width(a.Estimated), width(b.Estimated)); math.Abs(width(n.Estimated)-w) > 0.03*w {
		t.Errorf("width = %v, want about %v", width(n.Estimated), w)
	}
	if n.RatioToLast == nil || *n.RatioToLast != *a.RatioToLast {
		t.Errorf("ratio = %v, want that of the only site with two years", n.RatioToLast)
	}
	if n.MedianOpenS == nil || n.MedianOpenS.Value != 20 || *n.UpperOpenS != 20 {
		t.Errorf("median = %v, want 20", n.MedianOpenS)
	}
	if n := NetworkFigures(nil); n.Estimated != nil || n.Complete || n.Until != nil {
		t.Errorf("network of none = %+v, want nothing", n)
	}
}

func TestSeasonFiguresJSON(t *testing.T) {
	text, err := json.Marshal(figures(t, SeasonData{}))
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"code", "counted", "covered_days", "days", "estimated", "per_day", "ratio_to_last_year", "dark_share", "open_s", "median_open_s"} {
		if _, ok := got[name]; !ok {
			t.Errorf("JSON %s has no %s", text, name)
		}
	}
}
