package usage

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// dispersedDays returns the days of a series of overdispersion_series.csv.
func dispersedDays(t *testing.T) map[string][]Day {
	series := map[string][]Day{}
	for _, r := range reference(t, "overdispersion_series.csv") {
		d := Day{Date: r.date("date"), Visits: int32(r.int("count")), ExposureS: daySeconds}
		if int64(d.Date.Weekday()) != r.int("weekday") {
			t.Fatalf("weekday of %s = %d, want %s", d.Date, d.Date.Weekday(), r.text("weekday"))
		}
		series[r.text("series")] = append(series[r.text("series")], d)
	}
	return series
}

// R 4.2.2 glm(family = quasipoisson), epsilon 1e-15.
func TestDispersionReference(t *testing.T) {
	series, checked := dispersedDays(t), 0
	for _, r := range reference(t, "overdispersion_expected.csv") {
		days := series[r.text("series")]
		got := DispersionOf(days)
		if got.DF != int(r.int("df_weekday")) || !near(got.Phi, r.float("phi_weekday"), 1e-6) {
			t.Errorf("%s given weekday: φ = %.10g on %d, want %s on %s", r.text("series"), got.Phi, got.DF, r.text("phi_weekday"), r.text("df_weekday"))
		}
		var count, exposure []float64
		for _, d := range days {
			count, exposure = append(count, float64(d.Visits)), append(exposure, 1)
		}
		plain := pearson(count, exposure, make([]int, len(days)))
		if plain.DF != int(r.int("df")) || !near(plain.Phi, r.float("phi"), 1e-6) ||
			!near(plain.Chi2, r.float("pearson_chi2"), 1e-6) || !near(plain.P, r.float("p_dispersion_upper"), 1e-6) {
			t.Errorf("%s: %+v, want χ² %s, φ %s, p %s", r.text("series"), plain, r.text("pearson_chi2"), r.text("phi"), r.text("p_dispersion_upper"))
		}
		checked++
	}
	wantChecked(t, "overdispersion_expected.csv", checked, 7)
}

// The series' sums by weekday, R 4.2.2, through the tallies' own summing.
func TestDispersionWeekdayTotals(t *testing.T) {
	series, checked := dispersedDays(t), 0
	for _, r := range reference(t, "overdispersion_weekday_totals.csv") {
		days, total := int64(0), int64(0)
		for _, d := range series[r.text("series")] {
			if int64(d.Date.Weekday()) == r.int("weekday") {
				days, total = days+1, total+int64(d.Visits)
			}
		}
		if days != r.int("days") || total != r.int("total") {
			t.Errorf("%s, weekday %s: %d days, %d visits, want %s, %s", r.text("series"), r.text("weekday"), days, total, r.text("days"), r.text("total"))
		}
		checked++
	}
	wantChecked(t, "overdispersion_weekday_totals.csv", checked, 49)
}

func TestDispersionBorders(t *testing.T) {
	monday := DateOf(2026, 3, 2)
	for _, c := range []struct {
		name string
		days []Day
		df   int
		phi  float64 // −1: not known
	}{
		{"none", nil, 0, -1},
		{"one day", []Day{{Date: monday, Visits: 3, ExposureS: daySeconds}}, 0, -1},
		{"no visits", []Day{{Date: monday, ExposureS: daySeconds}, {Date: monday + 7, ExposureS: daySeconds}}, 0, -1},
		{"too little exposure", []Day{{Date: monday, Visits: 3, ExposureS: 60}, {Date: monday + 7, Visits: 1, ExposureS: 60}}, 0, -1},
		{"1 and 3", []Day{{Date: monday, Visits: 1, ExposureS: daySeconds}, {Date: monday + 7, Visits: 3, ExposureS: daySeconds}}, 1, 1},
		{"in proportion to exposure", []Day{{Date: monday, Visits: 2, ExposureS: daySeconds / 2}, {Date: monday + 7, Visits: 4, ExposureS: daySeconds}}, 1, 0},
	} {
		got := DispersionOf(c.days)
		if got.DF != c.df || c.phi >= 0 && got.Phi != c.phi || c.phi < 0 && !math.IsNaN(got.Phi) {
			t.Errorf("%s: DispersionOf = %+v, want φ %v on %d", c.name, got, c.phi, c.df)
		}
		if got.Floored() != 1 {
			t.Errorf("%s: floored φ = %v, want 1", c.name, got.Floored())
		}
	}
	a, b := Dispersion{Chi2: 6, DF: 2}.finished(), Dispersion{Chi2: 6, DF: 4}.finished()
	if got := a.With(b); got.Phi != 2 || got.DF != 6 {
		t.Errorf("together = %+v, want φ 2 on 6", got)
	}
	if got := a.With(DispersionOf(nil)); got.Phi != 3 || got.DF != 2 {
		t.Errorf("with nothing = %+v, want φ 3 on 2", got)
	}
}

func TestDispersedLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := float64(rapid.IntRange(0, 5000).Draw(t, "n"))
		phi := rapid.Float64Range(0, 20).Draw(t, "phi")
		low, high := DispersedLimits(n, phi, Confidence)
		low1, high1 := PoissonLimits(n, Confidence)
		if phi <= 1 && (low != low1 || high != high1) {
			t.Fatalf("limits of %v at φ %v = %v, %v, want Poisson's %v, %v", n, phi, low, high, low1, high1)
		}
		if !(low <= low1 && high >= high1 && low >= 0 && low <= n && n < high) {
			t.Fatalf("limits of %v at φ %v = %v, %v, want about Poisson's %v, %v", n, phi, low, high, low1, high1)
		}
	})
	if low, high := DispersedLimits(0, 2, Confidence); low != 0 || !near(high, 2*3.688879454, 1e-9) {
		t.Errorf("limits of 0 at φ 2 = %v, %v, want 0, 7.378", low, high)
	}
	if low, high := DispersedLimits(7, math.NaN(), Confidence); !near(low, 2.814363, 1e-6) || !near(high, 14.42268, 1e-6) {
		t.Errorf("limits of 7 at unknown φ = %v, %v, want Garwood's 2.814, 14.423", low, high)
	}
	if got := DispersedRate(3, 0, 2, Confidence); got != nil {
		t.Errorf("rate without exposure = %v, want nil", *got)
	}
	if got := DispersedRate(8, 4, 2, Confidence); got.Value != 2 || !near(got.Low, 2*1.089865375/4, 1e-8) || !near(got.High, 2*10.24158868/4, 1e-8) {
		t.Errorf("rate of 8 in 4 at φ 2 = %+v, want half of Garwood's limits of 4: 0.545 to 5.12", *got)
	}
}
