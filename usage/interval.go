package usage

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Confidence is the level of every limit that the tool shows.
const Confidence = 0.95

// PoissonLimits returns the exact central confidence limits of a Poisson mean of
// which n was counted:
//
//	low  = ½ χ²(α/2; 2n)
//	high = ½ χ²(1 − α/2; 2n + 2)
//
// where χ²(p; k) is the p quantile of the chi-square distribution with k degrees
// of freedom and α = 1 − level. Each tail has probability α/2 at most, whatever
// the mean. It assumes that events come independently at a rate that does not
// depend on the count.
// F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28, 1936,
// pages 437–442; in this form K. Ulm, American Journal of Epidemiology 131, 1990,
// pages 373–375.
//
// n = 0 gives low = 0 and high = −ln(α/2), the limit of one tail: at 0.95 that is
// 3.689, not the 2.996 of the "rule of three". n = 1 gives 0.0253 and 5.572. n
// need not be whole: over-dispersed counts use φ·PoissonLimits(n/φ). A negative
// or missing n (NaN), or a level outside (0, 1), gives NaN.
func PoissonLimits(n, level float64) (low, high float64) {
	if !(n >= 0 && level > 0 && level < 1) || math.IsInf(n, 1) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	if n > 0 {
		low = distuv.ChiSquared{K: 2 * n}.Quantile(tail) / 2
	}
	return low, distuv.ChiSquared{K: 2*n + 2}.Quantile(1-tail) / 2
}

// Rate estimates events a unit of exposure: n/exposure, with PoissonLimits(n)
// divided by exposure. Exposure is in the unit that the rate is wanted for (hours
// give events an hour) and is taken as known exactly.
//
// Without exposure (0, negative or NaN) there is no rate and the answer is nil.
// n = 0 gives the value 0 with a high limit above it; n = 1 a low limit above 0.
func Rate(n int64, exposure, level float64) *Estimate {
	if !(exposure > 0) || n < 0 {
		return nil
	}
	low, high := PoissonLimits(float64(n), level)
	return &Estimate{Value: float64(n) / exposure, Low: low / exposure, High: high / exposure, Level: level}
}

// WilsonLimits returns the score limits of a share of which x in n were counted,
// without continuity correction: with p = x/n and z the 1 − α/2 quantile of the
// normal distribution,
//
//	(p + z²/2n ∓ z √(p(1−p)/n + z²/4n²)) / (1 + z²/n)
//
// E. B. Wilson, Probable inference, the law of succession, and statistical
// inference, Journal of the American Statistical Association 22, 1927, pages
// 209–212.
//
// x = 0 gives low = 0 and x = n gives high = 1, exactly; n = 1 gives 0 to 0.793
// or 0.207 to 1. With nothing counted (n = 0), x outside 0 to n, or a level
// outside (0, 1), both are NaN.
func WilsonLimits(x, n int64, level float64) (low, high float64) {
	if n <= 0 || x < 0 || x > n || !(level > 0 && level < 1) {
		return math.NaN(), math.NaN()
	}
	z := distuv.UnitNormal.Quantile(1 - (1-level)/2)
	N, p := float64(n), float64(x)/float64(n)
	middle := p + z*z/(2*N)
	half := z * math.Sqrt(p*(1-p)/N+z*z/(4*N*N))
	low, high = (middle-half)/(1+z*z/N), (middle+half)/(1+z*z/N)
	if x == 0 {
		low = 0
	}
	if x == n {
		high = 1
	}
	return low, high
}

// Share estimates the share x/n with WilsonLimits. It is nil where n = 0 or x is
// not from 0 to n.
func Share(x, n int64, level float64) *Estimate {
	if n <= 0 || x < 0 || x > n {
		return nil
	}
	low, high := WilsonLimits(x, n, level)
	return &Estimate{Value: float64(x) / float64(n), Low: low, High: high, Level: level}
}
