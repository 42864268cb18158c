package usage

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Dispersion says by how much the daily counts of a site vary more than chance
// alone makes them.
type Dispersion struct {
	Phi  float64 // Pearson's χ²/DF; NaN where DF is 0
	Chi2 float64
	DF   int
	P    float64 // probability of a χ² as large without over-dispersion; NaN where DF is 0
}

// halfDay is the exposure that a day must have to be looked at for dispersion.
// What is left of a day says little, and which hours it holds says more than how
// many. Common practice, no source.
const halfDay = daySeconds / 2

// DispersionOf returns Pearson's dispersion of daily visits given weekday and
// exposure:
//
//	μ_d = e_d·N_w/E_w,  χ² = Σ_d (y_d − μ_d)²/μ_d,  φ = χ²/(days − weekdays)
//
// with N_w and E_w the visits and exposure of the weekday of d. Days with less
// exposure than half a day are left out, and so are weekdays without any visit,
// whose μ is 0. For days fully covered that is the φ of a quasi-Poisson model with
// a factor for the weekday. (P. McCullagh and J. A. Nelder, Generalized Linear
// Models, 2nd ed., 1989, pages 127–128 and 200; page numbers from memory.)
//
// φ is not floored at 1 here: the limits floor it. With one day a weekday, or
// none, DF is 0 and φ is NaN, which the limits take as 1.
func DispersionOf(days []Day) Dispersion {
	var count, exposure []float64
	var weekday []int
	for i := range days {
		if d := &days[i]; d.ExposureS >= halfDay {
			count = append(count, float64(d.Visits))
			exposure = append(exposure, float64(d.ExposureS))
			weekday = append(weekday, d.Date.Weekday())
		}
	}
	return pearson(count, exposure, weekday)
}

// pearson returns the dispersion of counts given exposure and stratum.
func pearson(count, exposure []float64, stratum []int) Dispersion {
	n, e := map[int]float64{}, map[int]float64{}
	for i, s := range stratum {
		n[s] += count[i]
		e[s] += exposure[i]
	}
	var d Dispersion
	for i, s := range stratum {
		if n[s] > 0 {
			mean := exposure[i] * n[s] / e[s]
			d.Chi2 += (count[i] - mean) * (count[i] - mean) / mean
			d.DF++
		}
	}
	for s := range n {
		if n[s] > 0 {
			d.DF--
		}
	}
	return d.finished()
}

// finished returns d with Phi and P from Chi2 and DF.
func (d Dispersion) finished() Dispersion {
	if d.DF <= 0 {
		return Dispersion{Phi: math.NaN(), P: math.NaN()}
	}
	d.Phi = d.Chi2 / float64(d.DF)
	d.P = distuv.ChiSquared{K: float64(d.DF)}.Survival(d.Chi2)
	return d
}

// With returns the dispersion of two sets of days together, each given its own
// weekdays.
func (d Dispersion) With(o Dispersion) Dispersion {
	return Dispersion{Chi2: d.Chi2 + o.Chi2, DF: d.DF + o.DF}.finished()
}

// Floored returns φ, and 1 where it is less or not known: limits are never drawn
// narrower than chance alone would have them.
func (d Dispersion) Floored() float64 { return flooredPhi(d.Phi) }

func flooredPhi(phi float64) float64 {
	if !(phi > 1) || math.IsInf(phi, 1) {
		return 1
	}
	return phi
}

// DispersedLimits returns limits of the mean of an over-dispersed count, of which
// n was counted: φ·PoissonLimits(n/φ), with φ floored at 1. It assumes a variance
// of φ times the mean, and holds the limits of Poisson counts for φ = 1.
// (Quasi-Poisson scaling of Garwood's limits; common practice, no source.)
//
// n = 0 gives 0 and φ·3.689 at 0.95. The other borders are those of PoissonLimits.
func DispersedLimits(n, phi, level float64) (low, high float64) {
	phi = flooredPhi(phi)
	low, high = PoissonLimits(n/phi, level)
	return phi * low, phi * high
}

// DispersedRate is Rate with DispersedLimits.
func DispersedRate(n int64, exposure, phi, level float64) *Estimate {
	if !(exposure > 0) || n < 0 {
		return nil
	}
	low, high := DispersedLimits(float64(n), phi, level)
	return &Estimate{Value: float64(n) / exposure, Low: low / exposure, High: high / exposure, Level: level}
}
