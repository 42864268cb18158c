package usage

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Every number of seconds is in the bin whose bounds hold it, and bins are as
// narrow as is told.
func TestOpenBins(t *testing.T) {
	for s := int64(0); s < 9000; s++ {
		b := OpenBin(s)
		if b < 0 || b >= OpenBins {
			t.Fatalf("OpenBin(%d) = %d", s, b)
		}
		if openBinStart(b) > s || b < OpenBins-1 && s >= openBinStart(b+1) {
			t.Errorf("OpenBin(%d) = %d, which begins at %d", s, b, openBinStart(b))
		}
	}
	for b := range OpenBins - 1 {
		if width := openBinStart(b+1) - openBinStart(b); width != 1 && width*16 > openBinStart(b) {
			t.Errorf("bin %d from %d is %d wide", b, openBinStart(b), width)
		}
	}
	if openBinStart(OpenBins-1) != 7936 || OpenBin(math.MaxInt64) != OpenBins-1 || OpenBin(-5) != 0 {
		t.Errorf("last bin begins at %d, want 7936", openBinStart(OpenBins-1))
	}
}

func TestDeriveOpens(t *testing.T) {
	lb := Logbook{Openings: []Opening{
		timed(1_700_000_000, 10), timed(1_700_000_060, 15), // one visit: 25 s
		timed(1_700_001_000, 2400),                             // ajar: 1800 s
		timed(1_700_010_000, 5), timed(1_700_010_030, Unknown), // not known
		timed(1_700_020_000, 1),  // a rattle
		{OpenS: 30},              // untimed
		timed(1_703_000_000, 25), // a month later
	}}
	got, err := Derive(millSite("UTC"), lb)
	if err != nil || len(got.Opens) != 2 {
		t.Fatalf("opens = %v, %v, want two months", got.Opens, err)
	}
	november, december := got.Opens[0], got.Opens[1]
	if november.Visits[25] != 1 || november.Visits[OpenBin(1800)] != 1 || november.Unknown != 1 || december.Visits[25] != 1 {
		t.Errorf("opens = %v", got.Opens)
	}
	e := EngagementOf(got.Opens)
	if e.Visits != 3 || e.Unknown != 1 || e.Median.Value != 25 || !math.IsNaN(e.Median.Low) || !math.IsNaN(e.Median.High) {
		t.Errorf("engagement = %+v, median %+v, want 3 visits, median 25 without limits", e.Visits, *e.Median)
	}
}

// Limits of the median by order: n = 10 gives the 2nd and 9th, n = 20 the 6th and
// 15th, n = 100 the 40th and 61st, as printed in tables of the sign test (W. J.
// Conover, Practical Nonparametric Statistics; from memory).
func TestMedianRank(t *testing.T) {
	for n, want := range map[int64]int64{0: 0, 1: 0, 5: 0, 6: 1, 8: 1, 9: 2, 10: 2, 20: 6, 100: 40} {
		if got := medianRank(n, 0.95); got != want {
			t.Errorf("medianRank(%d) = %d, want %d", n, got, want)
		}
	}
}

func TestEngagementAgainstSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds := rapid.SliceOfN(rapid.Int64Range(0, 31), 1, 60).Draw(t, "seconds")
		var m MonthOpen
		for _, s := range seconds {
			m.Visits[OpenBin(s)]++
		}
		slices.Sort(seconds)
		at := func(k int) float64 { return float64(seconds[k-1]) }
		n := len(seconds)
		want := (at((n+1)/2) + at(n/2+1)) / 2
		e := EngagementOf([]MonthOpen{m})
		if e.Median.Value != want || e.Lower > want || e.Upper < want {
			t.Fatalf("median of %v = %v (%v, %v), want %v", seconds, e.Median.Value, e.Lower, e.Upper, want)
		}
		if k := int(medianRank(int64(n), 0.95)); k > 0 && (e.Median.Low != at(k) || e.Median.High != at(n+1-k)) {
			t.Fatalf("limits of %v = %v to %v, want %v to %v", seconds, e.Median.Low, e.Median.High, at(k), at(n+1-k))
		}
	})
}

func TestEngagementOfNothing(t *testing.T) {
	if e := EngagementOf(nil); e.Median != nil || e.Visits != 0 || e.Lower != 0 {
		t.Errorf("EngagementOf(nothing) = %+v, want nothing", e)
	}
	var m MonthOpen
	m.Visits[OpenBins-1] = 3
	if e := EngagementOf([]MonthOpen{m}); e.Median.Value != 7936 {
		t.Errorf("median of the last bin = %v, want 7936", e.Median.Value)
	}
}

// How often the limits of the open time a week hold the truth: of many visits, and of
// few, whose seconds have a long tail.
func TestLimitsOfOpenTimeHoldTheTruth(t *testing.T) {
	const trials = 3000
	for _, c := range []struct {
		visits, theta float64
		least, most   float64
	}{{700, 0, 0.93, 0.97}, {700, 0.3, 0.93, 0.975}, {40, 0, 0.92, 0.98}, {10, 0, 0.88, 1}} {
		random := rand.New(rand.NewPCG(5, uint64(c.visits)))
		const median, sigma = 55, 0.9 // of a log-normal law
		truth := c.visits / 13 * median * math.Exp(sigma*sigma/2)
		var h held
		for range trials {
			var e Engagement
			var bins [OpenBins]int64
			open, weight := 0.0, 0.0
			for range 91 {
				mean := c.visits / 91
				n := drawPoisson(random, mean*drawGamma(random, 1, c.theta))
				for range n {
					s := int64(math.Round(median * math.Exp(sigma*random.NormFloat64())))
					bins[OpenBin(s)]++
					open += float64(s)
				}
				weight += mean * (1 + c.theta*mean)
			}
			count(&e, bins[:])
			if got := openRate(open, e.spread(open, weight/c.visits), 13); got != nil {
				h.see(got, truth, 0)
			}
		}
		t.Logf("%.0f visits, θ %.1f: %.1f %%", c.visits, c.theta, 100*h.share())
		if got := h.share(); got < c.least || got > c.most {
			t.Errorf("%.0f visits, θ %.1f: limits hold the truth in %.1f %%, want %.0f to %.0f", c.visits, c.theta, 100*got, 100*c.least, 100*c.most)
		}
	}
}

func TestOpenRateBorders(t *testing.T) {
	var none Engagement
	if got := openRate(0, none.spread(0, 2), 13); got != nil {
		t.Errorf("open time a week of no visit = %+v, want nil", *got)
	}
	var e Engagement
	count(&e, []int64{20: 1})
	if got := openRate(20, e.spread(20, 1), 1); got == nil || got.Value != 20 || !near(got.Low, 20*0.02531781, 1e-6) || !near(got.High, 20*5.571643, 1e-6) {
		t.Errorf("open time of one visit of 20 s = %+v, want 20 s times Garwood's limits of 1", got)
	}
	if got := openRate(20, e.spread(20, 1), 0); got != nil {
		t.Errorf("open time without exposure = %+v, want nil", *got)
	}
}
