package usage

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Abs(want)
}

// R 4.2.2 poisson.test, with ten digits.
func TestPoissonLimitsReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "poisson_interval.csv") {
		for _, level := range []int{90, 95} {
			low, high := PoissonLimits(r.float("n"), float64(level)/100)
			wantLow, wantHigh := r.float(fmt.Sprint("lo", level)), r.float(fmt.Sprint("hi", level))
			if !near(low, wantLow, 1e-8) || !near(high, wantHigh, 1e-8) {
				t.Errorf("PoissonLimits(%s, %d %%) = %.10g, %.10g, want %.10g, %.10g", r.text("n"), level, low, high, wantLow, wantHigh)
			}
			checked++
		}
	}
	wantChecked(t, "poisson_interval.csv", checked, 2*68)
}

// The classical table: Garwood 1936; Pearson & Hartley, Biometrika Tables for
// Statisticians I, Table 40; Ulm 1990. The printed digits are quoted from memory.
func TestPoissonLimitsPublished(t *testing.T) {
	printed := func(v float64, like string) string {
		_, decimals, _ := strings.Cut(like, ".")
		return strconv.FormatFloat(v, 'f', len(decimals), 64)
	}
	checked := 0
	for _, r := range reference(t, "poisson_published_check.csv") {
		low, high := PoissonLimits(r.float("n"), r.float("level")/100)
		if got, want := printed(low, r.text("published_lo")), r.text("published_lo"); got != want {
			t.Errorf("low limit of %s at %s %% = %s, printed %s", r.text("n"), r.text("level"), got, want)
		}
		if got, want := printed(high, r.text("published_hi")), r.text("published_hi"); got != want {
			t.Errorf("high limit of %s at %s %% = %s, printed %s", r.text("n"), r.text("level"), got, want)
		}
		checked++
	}
	wantChecked(t, "poisson_published_check.csv", checked, 25)
}

// R 4.2.2 prop.test(correct = FALSE), with ten digits.
func TestWilsonLimitsReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "binomial_interval.csv") {
		low, high := WilsonLimits(r.int("x"), r.int("n"), 0.95)
		if !near(low, r.float("wilson_lo95"), 1e-8) || !near(high, r.float("wilson_hi95"), 1e-8) {
			t.Errorf("WilsonLimits(%s, %s) = %.10g, %.10g, want %s, %s", r.text("x"), r.text("n"), low, high,
				r.text("wilson_lo95"), r.text("wilson_hi95"))
		}
		checked++
	}
	wantChecked(t, "binomial_interval.csv", checked, 41)
}

// The definition of the limits, by adding up the terms of the distribution: at
// the high limit n or fewer have probability α/2, at the low one n or more.
func TestPoissonLimitsByDefinition(t *testing.T) {
	upTo := func(n int, mean float64) (sum float64) { // P(N ≤ n)
		term := math.Exp(-mean)
		for k := 0; k <= n; k++ {
			if k > 0 {
				term *= mean / float64(k)
			}
			sum += term
		}
		return sum
	}
	for n := range 400 {
		for _, level := range []float64{0.5, 0.9, 0.95, 0.99} {
			low, high := PoissonLimits(float64(n), level)
			tail := (1 - level) / 2
			if got := upTo(n, high); !near(got, tail, 1e-9) {
				t.Errorf("P(N ≤ %d | high limit at %v) = %.12g, want %g", n, level, got, tail)
			}
			if n > 0 {
				if got := 1 - upTo(n-1, low); !near(got, tail, 1e-9) {
					t.Errorf("P(N ≥ %d | low limit at %v) = %.12g, want %g", n, level, got, tail)
				}
			}
		}
	}
}

func TestPoissonLimitsProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(0, 1e7).Draw(t, "n") // over-dispersed counts are not whole
		level := rapid.Float64Range(0.5, 0.999).Draw(t, "level")
		low, high := PoissonLimits(n, level)
		if !(low >= 0 && low <= n && n < high) {
			t.Fatalf("PoissonLimits(%v, %v) = %v, %v, want %v between", n, level, low, high, n)
		}
		if low2, high2 := PoissonLimits(n+1, level); !(low2 > low && high2 > high) {
			t.Fatalf("PoissonLimits(%v + 1, %v) = %v, %v, want more than %v, %v", n, level, low2, high2, low, high)
		}
	})
}

func TestLimitsOfNonsense(t *testing.T) {
	nan := math.NaN()
	for _, c := range [][2]float64{{-1, 0.95}, {nan, 0.95}, {math.Inf(1), 0.95}, {3, 0}, {3, 1}, {3, nan}} {
		if low, high := PoissonLimits(c[0], c[1]); !math.IsNaN(low) || !math.IsNaN(high) {
			t.Errorf("PoissonLimits(%v, %v) = %v, %v, want NaN", c[0], c[1], low, high)
		}
	}
	for _, c := range [][2]int64{{0, 0}, {-1, 5}, {6, 5}, {0, -1}} {
		if low, high := WilsonLimits(c[0], c[1], 0.95); !math.IsNaN(low) || !math.IsNaN(high) {
			t.Errorf("WilsonLimits(%d, %d) = %v, %v, want NaN", c[0], c[1], low, high)
		}
		if got := Share(c[0], c[1], 0.95); got != nil {
			t.Errorf("Share(%d, %d) = %v, want nil", c[0], c[1], *got)
		}
	}
}

func TestRate(t *testing.T) {
	for _, exposure := range []float64{0, -1, math.NaN()} {
		if got := Rate(3, exposure, 0.95); got != nil {
			t.Errorf("Rate(3, %v) = %v, want nil", exposure, *got)
		}
	}
	got := Rate(0, 100, 0.95)
	if got.Value != 0 || got.Low != 0 || !near(got.High, 0.03688879454, 1e-9) || got.Level != 0.95 {
		t.Errorf("Rate(0, 100) = %+v, want 0, 0 to 0.0369", *got)
	}
	got = Rate(10, 4, 0.95)
	if got.Value != 2.5 || !near(got.Low, 4.795388696/4, 1e-9) || !near(got.High, 18.39035604/4, 1e-9) {
		t.Errorf("Rate(10, 4) = %+v, want 2.5, 1.1988 to 4.5976", *got)
	}
	if share := Share(1, 1, 0.95); share.Value != 1 || share.High != 1 || !near(share.Low, 0.2065493144, 1e-9) {
		t.Errorf("Share(1, 1) = %+v, want 1, 0.2065 to 1", *share)
	}
}

func BenchmarkPoissonLimits(b *testing.B) {
	for b.Loop() {
		PoissonLimits(57, Confidence)
	}
}
