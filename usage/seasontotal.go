package usage

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Stratum is a weekday's share of a season: what was counted, in how much exposure,
// and how long the season's days of that weekday are altogether.
type Stratum struct {
	Visits    float64
	ExposureS int64
	SeasonS   int64
}

// Total is an estimate of the visits of a whole season from a part of it.
type Total struct {
	Value    float64 // Σ_w T_w·N_w/E_w
	variance float64 // Σ_w (T_w/E_w)²·φ_w·N_w
	weight   float64 // mean of φ_w·T_w/E_w: what one more visit would have added
	seasonS  int64
}

// TotalOf estimates a season's visits by weekday strata, Monday first:
//
//	Σ_w T_w·N_w/E_w  with variance  Σ_w (T_w/E_w)²·φ·N_w
//
// with N_w the visits in the exposure E_w, T_w the length of the season's days of
// that weekday, and φ the dispersion of the days, floored at 1. A stratum with less
// exposure than a day, unless that is all of it, is joined to those of the day
// before and the day after, until all have as much. It assumes that the days not
// covered were as busy as those covered of the same weekday.
//
// The answer is nil without any exposure. A season covered from end to end gives
// the count itself.
func TotalOf(strata [7]Stratum, phi float64) *Total {
	return totalOf(strata, func(float64) float64 { return flooredPhi(phi) })
}

// DispersedTotal is TotalOf with a φ for each weekday, that of spread at the mean of
// the weekday's days: where weekdays differ, a single φ makes too little of the busy
// ones, in which most of the variance is.
func DispersedTotal(strata [7]Stratum, spread Dispersion) *Total {
	return totalOf(strata, spread.At)
}

// totalOf takes the dispersion of days by their mean.
func totalOf(strata [7]Stratum, phi func(mean float64) float64) *Total {
	t := &Total{}
	weights := 0.0
	for _, s := range joinStrata(strata) {
		if s.ExposureS <= 0 {
			return nil
		}
		w := float64(s.SeasonS) / float64(s.ExposureS)
		spread := phi(s.Visits / float64(s.ExposureS) * daySeconds)
		t.Value += w * s.Visits
		t.variance += w * w * spread * s.Visits
		t.seasonS += s.SeasonS
		weights += spread * w * float64(s.SeasonS)
	}
	if t.seasonS == 0 {
		return nil
	}
	t.weight = weights / float64(t.seasonS)
	return t
}

// joinStrata joins strata with too little exposure to their neighbours in the week.
// Weekdays that have no part in the season are left out.
func joinStrata(strata [7]Stratum) []Stratum {
	var groups []Stratum
	for _, s := range strata {
		if s.SeasonS > 0 {
			groups = append(groups, s)
		}
	}
	for len(groups) > 1 {
		i := thin(groups)
		if i < 0 {
			break
		}
		n := len(groups)
		before, after := (i+n-1)%n, (i+1)%n
		sum := groups[i]
		sum.add(groups[before])
		if after != before {
			sum.add(groups[after])
		}
		var rest []Stratum // in the order of the week, from the day after the joined ones
		for k := 2; k < n-1; k++ {
			rest = append(rest, groups[(i+k)%n])
		}
		groups = append(rest, sum)
	}
	return groups
}

func (s *Stratum) add(o Stratum) {
	s.Visits += o.Visits
	s.ExposureS += o.ExposureS
	s.SeasonS += o.SeasonS
}

// thin returns the first group with less exposure than a day, unless that is all
// of it; −1 for none.
func thin(groups []Stratum) int {
	for i, s := range groups {
		if s.ExposureS < min(daySeconds, s.SeasonS) {
			return i
		}
	}
	return -1
}

// with returns the total of two sites together.
func (t Total) with(o Total) Total {
	return Total{
		Value:    t.Value + o.Value,
		variance: t.variance + o.variance,
		weight:   max(t.weight, o.weight),
		seasonS:  t.seasonS + o.seasonS,
	}
}

// Estimate returns the total with limits of its mean: the visits that a season of
// this rate has, not those that happened to come.
//
// With y the total, v its variance and w the weight of one more visit,
//
//	low  = v/2y · χ²(α/2; 2y²/v)
//	high = v′/2y′ · χ²(1 − α/2; 2y′²/v′),  y′ = y + w,  v′ = v + w²
//
// They are never negative, hold for nought, and are φ·Garwood(N/φ)·T/E where all
// strata are covered alike. (M. P. Fay and E. J. Feuer, Confidence intervals for
// directly standardized rates, Statistics in Medicine 16, 1997, pages 791–801, who
// take the largest weight; R. C. Tiwari, L. X. Clegg and Z. Zou, Efficient interval
// estimation for age-adjusted cancer rates, Statistical Methods in Medical Research
// 15, 2006, pages 547–569, who take the mean, as here: by simulation, see
// truth_test.go, the largest is too wide where a weekday is hardly covered. Both
// from memory.)
func (t Total) Estimate(level float64) *Estimate {
	tail := (1 - level) / 2
	e := &Estimate{Value: t.Value, Level: level}
	if t.Value > 0 {
		e.Low = scaledQuantile(t.Value, t.variance, tail)
	}
	e.High = scaledQuantile(t.Value+t.weight, t.variance+t.weight*t.weight, 1-tail)
	return e
}

// scaledQuantile returns a quantile of the gamma law of the given mean and variance.
func scaledQuantile(mean, variance, p float64) float64 {
	if !(mean > 0 && variance > 0) {
		return math.NaN()
	}
	return variance / (2 * mean) * distuv.ChiSquared{K: 2 * mean * mean / variance}.Quantile(p)
}

// effective returns the Poisson count that says as much as t, and the exposure
// for which count/exposure is t's rate a day.
func (t Total) effective() (count, days float64) {
	perVisit := t.weight
	if t.Value > 0 {
		perVisit = t.variance / t.Value
	}
	return t.Value / perVisit, float64(t.seasonS) / daySeconds / perVisit
}

// RatioTo returns the ratio of t's rate a day to that of o, by RateRatio on
// effective counts: with full coverage those are N/φ, and the limits exact.
func (t Total) RatioTo(o Total, level float64) *Estimate {
	n1, t1 := t.effective()
	n2, t2 := o.effective()
	return RateRatio(n1, t1, n2, t2, 1, level)
}
