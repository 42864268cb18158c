package usage

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

const day = int64(daySeconds)

// By hand: 13 days of each weekday; Tuesdays half covered.
func TestTotalOfExample(t *testing.T) {
	var strata [7]Stratum
	for w := range strata {
		strata[w] = Stratum{Visits: 26, ExposureS: 13 * day, SeasonS: 13 * day}
	}
	strata[1] = Stratum{Visits: 12, ExposureS: 6 * day, SeasonS: 13 * day}
	got := TotalOf(strata, 2)
	weight := 13.0 / 6
	if !near(got.Value, 6*26+weight*12, 1e-12) || !near(got.variance, 2*(6*26+weight*weight*12), 1e-12) {
		t.Errorf("TotalOf = %+v, want %v with variance %v", *got, 6*26+weight*12, 2*(6*26+weight*weight*12))
	}

	strata[1] = Stratum{ExposureS: 0, SeasonS: 13 * day} // Monday to Wednesday become one
	got = TotalOf(strata, 1)
	if want := 4*26 + 39.0/26*52; !near(got.Value, want, 1e-12) {
		t.Errorf("TotalOf without Tuesdays = %v, want %v", got.Value, want)
	}
}

func TestTotalOfBorders(t *testing.T) {
	week := func(visits float64, exposure, season int64) (s [7]Stratum) {
		for w := range s {
			s[w] = Stratum{visits, exposure, season}
		}
		return s
	}
	if got := TotalOf(week(0, 0, 13*day), 1); got != nil {
		t.Errorf("without exposure = %+v, want nil", *got)
	}
	if got := TotalOf(week(0, 0, 0), 1); got != nil {
		t.Errorf("without a season = %+v, want nil", *got)
	}
	none := TotalOf(week(0, day*13/2, 13*day), 1).Estimate(0.95)
	if none.Value != 0 || none.Low != 0 || !near(none.High, 2*3.688879454, 1e-9) {
		t.Errorf("no visits on half of the days = %+v, want 0 to twice 3.689", *none)
	}
	var one [7]Stratum
	one[3] = Stratum{4, day, day}
	got := TotalOf(one, math.NaN()).Estimate(0.95)
	if got.Value != 4 || !near(got.Low, 1.089865375, 1e-8) || !near(got.High, 10.24158868, 1e-8) {
		t.Errorf("one day = %+v, want Garwood's limits of 4", *got)
	}
	thin := week(10, 10*day, 13*day)
	thin[5] = Stratum{3, 600, 13 * day} // three visits in ten minutes are no rate of a day
	if got, want := TotalOf(thin, 1).Value, 4*13+39*23/(20+600.0/daySeconds); !near(got, want, 1e-12) {
		t.Errorf("with a weekday covered for ten minutes = %v, want %v", got, want)
	}
	var only [7]Stratum
	only[2] = Stratum{3, 600, 13 * day}
	only[0] = Stratum{0, 0, 13 * day}
	if got, want := TotalOf(only, 1).Value, 3*26*daySeconds/600.0; !near(got, want, 1e-12) {
		t.Errorf("with ten minutes in all = %v, want %v", got, want)
	}
}

func TestTotalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		phi := rapid.Float64Range(1, 6).Draw(t, "phi")
		var strata, full [7]Stratum
		visits, share := 0.0, rapid.Float64Range(0.2, 1).Draw(t, "share")
		for w := range strata {
			n, season := float64(rapid.IntRange(0, 300).Draw(t, "visits")), rapid.Int64Range(0, 14).Draw(t, "days")*day
			covered := rapid.Int64Range(0, season).Draw(t, "covered")
			if covered == 0 {
				n = 0
			}
			strata[w] = Stratum{n, covered, season}
			full[w] = Stratum{n, season, season}
			if season == 0 {
				full[w].Visits = 0
			}
			visits += full[w].Visits
		}
		if got := TotalOf(full, phi); got != nil {
			e := got.Estimate(0.95)
			low, high := DispersedLimits(visits, phi, 0.95)
			if !near(e.Value, visits, 1e-12) || !near(e.Low, low, 1e-9) || !near(e.High, high, 1e-9) {
				t.Fatalf("fully covered = %+v, want %v (%v to %v)", *e, visits, low, high)
			}
		}
		if got := TotalOf(strata, phi); got != nil {
			e := got.Estimate(0.95)
			if !(e.Low >= 0 && e.Low <= e.Value && e.Value < e.High) {
				t.Fatalf("limits = %+v", *e)
			}
		}
		// A ratio of two totals alike covered is the ratio of the counts.
		var a, b [7]Stratum
		for w := range a {
			length := 13 * day
			a[w] = Stratum{full[w].Visits + 1, int64(share * float64(length)), length}
			b[w] = Stratum{2, int64(share * float64(length)), length}
		}
		got := TotalOf(a, phi).RatioTo(*TotalOf(b, phi), 0.95)
		want := RateRatio(visits+7, 1, 14, 1, phi, 0.95)
		if !near(got.Value, want.Value, 1e-9) || !near(got.Low, want.Low, 1e-6) || !near(got.High, want.High, 1e-6) {
			t.Fatalf("ratio = %+v, want %+v", *got, *want)
		}
	})
}
