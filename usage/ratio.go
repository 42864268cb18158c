package usage

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// ShareLimits returns the exact central limits of a share of which x in n were
// counted, by quantiles of the beta distribution:
//
//	low = B(α/2; x, n − x + 1),  high = B(1 − α/2; x + 1, n − x)
//
// C. J. Clopper and E. S. Pearson, The use of confidence or fiducial limits
// illustrated in the case of the binomial, Biometrika 26, 1934, pages 404–413.
//
// x = 0 gives low = 0 and x = n gives high = 1. x and n need not be whole. With
// nothing counted (n = 0) the answer is 0 to 1; x outside 0 to n, NaN, or a level
// outside (0, 1) give NaN.
func ShareLimits(x, n, level float64) (low, high float64) {
	if !(x >= 0 && x <= n && level > 0 && level < 1) || math.IsInf(n, 1) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	return betaLow(x, n-x, tail), 1 - betaLow(n-x, x, tail)
}

// betaLow returns the low limit of the share of x beside y others.
func betaLow(x, y, tail float64) float64 {
	if x == 0 {
		return 0
	}
	return mathext.InvRegIncBeta(x, y+1, tail)
}

// RateRatio estimates (n1/t1)/(n2/t2), the ratio of two rates, from counts and
// exposures in the same unit. Given n1 + n2, n1 is binomial with the share
// p = ρt1/(ρt1 + t2) for the ratio ρ, so that ShareLimits of n1 in n1 + n2 give
//
//	ρ = p/(1 − p) · t2/t1
//
// The limits are exact for Poisson counts. Over-dispersed counts, of variance φ
// times the mean, go in as n1/φ and n2/φ; φ is floored at 1. (J. Przyborowski and
// H. Wilenski, Homogeneity of results in testing samples from Poisson series,
// Biometrika 31, 1940, pages 313–323.)
//
// n1 = 0 gives the value and low limit 0; n2 = 0 the value and high limit +Inf,
// which JSON shows as null. Where both are 0 nothing is known: the value is NaN,
// the limits 0 and +Inf. Without either exposure, or with a count that is
// negative or NaN, the answer is nil.
func RateRatio(n1, t1, n2, t2, phi, level float64) *Estimate {
	if !(t1 > 0 && t2 > 0 && n1 >= 0 && n2 >= 0) || math.IsInf(t1+t2+n1+n2, 1) {
		return nil
	}
	phi, tail := flooredPhi(phi), (1-level)/2
	odds := func(p float64) float64 { return p / (1 - p) }
	return &Estimate{
		Value: (n1 / t1) / (n2 / t2),
		Low:   odds(betaLow(n1/phi, n2/phi, tail)) * t2 / t1,
		High:  t2 / t1 / odds(betaLow(n2/phi, n1/phi, tail)),
		Level: level,
	}
}

// RateRatioP returns the probability, under equal rates, of counts at least as far
// apart as these: twice the smaller tail of the binomial law, 1 at most. It is less
// than 1 − level just when the limits of RateRatio leave out 1. φ is as there; NaN
// where that is nil.
func RateRatioP(n1, t1, n2, t2, phi float64) float64 {
	if !(t1 > 0 && t2 > 0 && n1 >= 0 && n2 >= 0) {
		return math.NaN()
	}
	phi = flooredPhi(phi)
	x, y, p := n1/phi, n2/phi, t1/(t1+t2)
	atLeast, atMost := 1.0, 1.0
	if x > 0 {
		atLeast = mathext.RegIncBeta(x, y+1, p) // P(X ≥ x)
	}
	if y > 0 {
		atMost = mathext.RegIncBeta(y, x+1, 1-p) // P(Y ≥ y) = P(X ≤ x)
	}
	return min(1, 2*min(atLeast, atMost))
}

// Direction says which side of 1 a ratio's limits are on.
type Direction int8

// The directions.
const (
	Fall    Direction = -1
	Unclear Direction = 0 // the limits hold 1: neither a rise nor a fall
	Rise    Direction = +1
)

// DirectionOf returns Rise or Fall where both limits lie on that side of 1, else
// Unclear; Unclear for nil.
func DirectionOf(ratio *Estimate) Direction {
	switch {
	case ratio == nil:
		return Unclear
	case ratio.Low > 1:
		return Rise
	case ratio.High < 1:
		return Fall
	}
	return Unclear
}
