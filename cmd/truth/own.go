package main

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"doorleaf/usage"
)

// tail is what limits at usage.Confidence leave out on each side.
const tail = (1 - usage.Confidence) / 2

// ownOfCount returns how often the limits of usage.DispersedLimits hold the mean of a
// count whose variance is phi times that mean: the probabilities, summed, of those
// counts whose limits hold it. Garwood's limits (Biometrika 28, 1936) hold the mean of
// a Poisson count at least as often as they are asked to, and more often where it is
// small, since counts come in steps; scaled ones of negative binomial counts may miss
// it more often.
func ownOfCount(mean, phi float64) float64 {
	phi = max(phi, 1)
	m := mean / phi
	// The low limit rises with n and the high one too: those that hold the mean are a
	// stretch of counts.
	first := firstWhere(func(n float64) bool { return mathext.GammaIncRegComp(n/phi+1, m) >= tail })
	beyond := firstWhere(func(n float64) bool { return n > 0 && mathext.GammaIncReg(n/phi, m) < tail })
	below := func(n float64) float64 { // the probability of counts below n
		switch {
		case n <= 0:
			return 0
		case phi < 1+1e-9:
			return mathext.GammaIncRegComp(n, mean)
		}
		return mathext.RegIncBeta(mean/(phi-1), n, 1/phi)
	}
	return below(beyond) - below(first)
}

// firstWhere returns the first whole number from 0 on of which is says so, and of all
// after it too.
func firstWhere(is func(float64) bool) float64 {
	hi := 1.0
	for !is(hi) {
		hi *= 2
	}
	lo := -1.0
	for hi-lo > 1 {
		if mid := math.Floor((lo + hi) / 2); is(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// ownOfShare returns how often Wilson's limits (Journal of the American Statistical
// Association 22, 1927) hold the share p of n: the binomial probabilities, summed, of
// those counts whose limits hold it.
func ownOfShare(n int64, p float64) float64 {
	return sumBinomial(n, p, func(k int64) bool {
		low, high := usage.WilsonLimits(k, n, usage.Confidence)
		return low <= p && p <= high
	})
}

// ownOfRatio returns how often the limits of usage.RateRatio hold the true ratio of two
// counts that together came to n, of which the first is expected to have the share p.
// Without any in the second there is no ratio.
func ownOfRatio(n int64, p float64) float64 {
	none := math.Pow(p, float64(n))
	if n == 0 || none >= 1 {
		return 1
	}
	return sumBinomial(n, p, func(k int64) bool {
		return k < n && usage.RateRatioP(float64(k), p, float64(n-k), 1-p, 1) >= 2*tail
	}) / (1 - none)
}

// sumBinomial sums the probabilities of the counts of which holds says so; what lies
// beyond eight standard deviations is left out.
func sumBinomial(n int64, p float64, holds func(int64) bool) float64 {
	law := distuv.Binomial{N: float64(n), P: p}
	far := 8*math.Sqrt(float64(n)*p*(1-p)) + 8
	sum := 0.0
	for k := max(0, int64(float64(n)*p-far)); k <= min(n, int64(float64(n)*p+far)); k++ {
		if holds(k) {
			sum += law.Prob(float64(k))
		}
	}
	return sum
}
