package main

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"doorleaf/usage"
)

// Counts whose limits hold the mean, one by one, come to the same as the stretch of
// them; Poisson counts never to less than is asked.
func TestOwnOfCount(t *testing.T) {
	for _, phi := range []float64{1, 1.8, 6} {
		for _, mean := range []float64{0.02, 0.7, 3, 5, 25, 160} {
			want := 0.0
			for n := 0.0; n < 2000; n++ {
				if low, high := usage.DispersedLimits(n, phi, usage.Confidence); low <= mean && mean <= high {
					want += countProb(n, mean, phi)
				}
			}
			got := ownOfCount(mean, phi)
			if math.Abs(got-want) > 1e-6 {
				t.Errorf("ownOfCount(%g, %g) = %.6f, want %.6f", mean, phi, got, want)
			}
			if phi == 1 && got < usage.Confidence {
				t.Errorf("ownOfCount(%g, 1) = %.4f, want 0.95 or more", mean, got)
			}
		}
	}
}

// countProb is the probability of n, Poisson or negative binomial of variance φ·mean.
func countProb(n, mean, phi float64) float64 {
	if phi == 1 {
		return distuv.Poisson{Lambda: mean}.Prob(n)
	}
	r, p := mean/(phi-1), 1/phi
	a, _ := math.Lgamma(n + r)
	b, _ := math.Lgamma(r)
	c, _ := math.Lgamma(n + 1)
	return math.Exp(a - b - c + r*math.Log(p) + n*math.Log(1-p))
}

func TestOwnOfShares(t *testing.T) {
	// n = 1: Wilson's limits are 0 to 0.793 and 0.207 to 1, so that a share of 0.1 is
	// held by the 0 alone, and one of 0.5 by both.
	for _, tt := range []struct {
		n       int64
		p, want float64
	}{{1, 0.1, 0.9}, {1, 0.5, 1}, {1, 0.9, 0.9}} {
		if got := ownOfShare(tt.n, tt.p); math.Abs(got-tt.want) > 1e-12 {
			t.Errorf("ownOfShare(%d, %g) = %g, want %g", tt.n, tt.p, got, tt.want)
		}
	}
	if got := ownOfShare(2000, 0.3); math.Abs(got-0.95) > 0.01 {
		t.Errorf("ownOfShare(2000, 0.3) = %g, want about 0.95", got)
	}
	for _, n := range []int64{1, 2, 10, 300} {
		if got := ownOfRatio(n, 0.4); got < usage.Confidence-1e-9 || got > 1+1e-9 {
			t.Errorf("ownOfRatio(%d, 0.4) = %g, want 0.95 to 1", n, got)
		}
	}
}

// A row whose cases hold as often as the method does by itself is the method's own; one
// that holds less often is ours.
func TestMethodsOwn(t *testing.T) {
	for _, tt := range []struct {
		name string
		held int
		own  float64
		want bool
	}{
		{"as the method", 990, 0.989, true},
		{"above, and more than the method", 999, 0.975, false},
		{"below, and the method is not", 900, 0.951, false},
		{"below, as the method", 925, 0.921, true},
		{"within", 950, 0.95, false},
	} {
		h := holding(1000, tt.held, 0)
		h.own = 1000 * tt.own
		if got := h.methods(); got != tt.want {
			t.Errorf("%s: methods() = %v, want %v", tt.name, got, tt.want)
		}
	}
}
