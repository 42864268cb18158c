package usage

import (
	"encoding/json"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// R 4.2.2 binom.test, with ten digits.
func TestShareLimitsReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "binomial_interval.csv") {
		low, high := ShareLimits(r.float("x"), r.float("n"), 0.95)
		if !near(low, r.float("cp_lo95"), 1e-8) || !near(high, r.float("cp_hi95"), 1e-8) {
			t.Errorf("ShareLimits(%s, %s) = %.10g, %.10g, want %s, %s", r.text("x"), r.text("n"), low, high, r.text("cp_lo95"), r.text("cp_hi95"))
		}
		checked++
	}
	wantChecked(t, "binomial_interval.csv", checked, 41)
}

// R 4.2.2 poisson.test(c(n1, n2), c(t1, t2)), with ten digits.
func TestRateRatioReference(t *testing.T) {
	same := func(got, want float64) bool { return got == want || near(got, want, 1e-8) }
	checked := 0
	for _, r := range reference(t, "rate_ratio.csv") {
		n1, t1, n2, t2 := r.float("n1"), r.float("t1"), r.float("n2"), r.float("t2")
		got := RateRatio(n1, t1, n2, t2, 1, 0.95)
		if r.text("ratio") == "" {
			if !math.IsNaN(got.Value) {
				t.Errorf("RateRatio of nothing = %v, want NaN", got.Value)
			}
		} else if !same(got.Value, r.float("ratio")) {
			t.Errorf("RateRatio(%v/%v, %v/%v) = %v, want %s", n1, t1, n2, t2, got.Value, r.text("ratio"))
		}
		if !same(got.Low, r.float("lo95")) || !same(got.High, r.float("hi95")) {
			t.Errorf("RateRatio(%v/%v, %v/%v) = %.10g to %.10g, want %s to %s", n1, t1, n2, t2, got.Low, got.High, r.text("lo95"), r.text("hi95"))
		}
		if p := RateRatioP(n1, t1, n2, t2, 1); !same(p, r.float("p_central")) {
			t.Errorf("RateRatioP(%v/%v, %v/%v) = %.10g, want %s", n1, t1, n2, t2, p, r.text("p_central"))
		}
		checked++
	}
	wantChecked(t, "rate_ratio.csv", checked, 41)
}

func TestRateRatioBorders(t *testing.T) {
	nan := math.NaN()
	for _, c := range [][4]float64{{1, 0, 1, 1}, {1, 1, 1, 0}, {-1, 1, 1, 1}, {1, 1, nan, 1}, {1, nan, 1, 1}, {1, 1, 1, math.Inf(1)}} {
		if got := RateRatio(c[0], c[1], c[2], c[3], 1, 0.95); got != nil {
			t.Errorf("RateRatio(%v) = %v, want nil", c, *got)
		}
	}
	for _, c := range [][3]float64{{-1, 2, 0.95}, {3, 2, 0.95}, {nan, 2, 0.95}, {1, 2, 0}, {1, 2, 1}} {
		if low, high := ShareLimits(c[0], c[1], c[2]); !math.IsNaN(low) || !math.IsNaN(high) {
			t.Errorf("ShareLimits(%v) = %v, %v, want NaN", c, low, high)
		}
	}
	if low, high := ShareLimits(0, 0, 0.95); low != 0 || high != 1 {
		t.Errorf("ShareLimits(0, 0) = %v, %v, want 0, 1", low, high)
	}
}

// An infinite limit is shown as null: JSON has no infinity.
func TestInfiniteEstimateJSON(t *testing.T) {
	got, err := json.Marshal(RateRatio(5, 10, 0, 10, 1, 0.95))
	if want := `{"value":null,"low":0.9163558573`; err != nil || string(got[:len(want)]) != want || string(got[len(got)-26:]) != `,"high":null,"level":0.95}`[:26] {
		t.Errorf("JSON = %s, %v, want null for infinity", got, err)
	}
	got, err = json.Marshal(Estimate{1.5, 0.25, 2, 0.95})
	if want := `{"value":1.5,"low":0.25,"high":2,"level":0.95}`; err != nil || string(got) != want {
		t.Errorf("JSON = %s, %v, want %s", got, err, want)
	}
}

func TestRateRatioProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(0, 3000)
		n1, n2 := float64(count.Draw(t, "n1")), float64(count.Draw(t, "n2")+1)
		t1, t2 := rapid.Float64Range(0.1, 1000).Draw(t, "t1"), rapid.Float64Range(0.1, 1000).Draw(t, "t2")
		phi := rapid.Float64Range(0.5, 8).Draw(t, "phi")
		r := RateRatio(n1, t1, n2, t2, phi, 0.95)
		if !(r.Low <= r.Value && r.Value < r.High) {
			t.Fatalf("ratio %v outside its limits %v to %v", r.Value, r.Low, r.High)
		}
		back := RateRatio(n2, t2, n1, t1, phi, 0.95)
		if !near(1/back.Low, r.High, 1e-6) || r.Low > 0 && !near(1/back.High, r.Low, 1e-6) {
			t.Fatalf("turned round = %v to %v, want 1/%v to 1/%v", back.Low, back.High, r.High, r.Low)
		}
		if p := RateRatioP(n1, t1, n2, t2, phi); math.Abs(p-0.05) > 1e-6 && (p < 0.05) != (DirectionOf(r) != Unclear) {
			t.Fatalf("p = %v with limits %v to %v", p, r.Low, r.High)
		}
	})
}

func TestDirectionOf(t *testing.T) {
	for _, c := range []struct {
		in   *Estimate
		want Direction
	}{
		{nil, Unclear}, {&Estimate{Low: 0.9, High: 1.1}, Unclear}, {&Estimate{Low: 1, High: 2}, Unclear},
		{&Estimate{Low: 1.01, High: 2}, Rise}, {&Estimate{Low: 0.1, High: 0.99}, Fall},
	} {
		if got := DirectionOf(c.in); got != c.want {
			t.Errorf("DirectionOf(%v) = %d, want %d", c.in, got, c.want)
		}
	}
}
