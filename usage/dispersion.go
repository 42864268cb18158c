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

	means float64 // Σ_d μ_d·(1 − h_d): what χ² grows by for each unit of θ, see At
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
			d.means += mean * (1 - exposure[i]/e[s])
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
	return Dispersion{Chi2: d.Chi2 + o.Chi2, DF: d.DF + o.DF, means: d.means + o.means}.finished()
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

// At returns the dispersion of counts with a mean of their own: those of a weekday,
// of an hour of the day, or of any other part of the time from which d is.
//
// It takes days to be good and bad by a common factor of mean 1 and variance θ, so
// that a count of mean μ has variance μ + θμ², and
//
//	φ(μ) = 1 + θμ,  θ = (χ² − DF)/Σ_d μ_d(1 − h_d)
//
// with h_d = e_d/E_w the leverage of day d: the θ at which χ² is what was found. At
// the mean of the days that is φ itself, for busier days more, for an hour less.
// (Moments of the negative binomial law; D. A. Williams, Extra-binomial variation in
// logistic linear models, Applied Statistics 31, 1982, pages 144–148, has the same
// for shares; from memory. By simulation, see cmd/truth.)
//
// It is 1 where φ is not above 1 or not known, and for a mean of nought or NaN.
func (d Dispersion) At(mean float64) float64 {
	if !(d.Chi2 > float64(d.DF) && d.means > 0 && mean > 0) {
		return 1
	}
	return flooredPhi(1 + (d.Chi2-float64(d.DF))/d.means*mean)
}

// DispersionOfSeasons returns the dispersion of days, ascending, each season given
// its own weekdays: what the seasons differ by is no dispersion.
func DispersionOfSeasons(days []Day, h Hemisphere) Dispersion {
	all := DispersionOf(nil)
	for from := 0; from < len(days); {
		last, to := SeasonOf(days[from].Date, h).Last(), from
		for to < len(days) && days[to].Date <= last {
			to++
		}
		all = all.With(DispersionOf(days[from:to]))
		from = to
	}
	return all
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
