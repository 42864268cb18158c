package usage

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/stat/distuv"
)

// OpenBins is the number of bins of a histogram of open seconds a visit: one a
// second up to 31, then sixteen an octave, so that a bin is never wider than a
// sixteenth of what it holds. The last bin, from 7936 s, has no upper end.
const OpenBins = 160

const (
	exactBins  = 32
	octaveBins = 16
)

// OpenBin returns the bin of so many seconds; negative ones are in bin 0.
func OpenBin(seconds int64) int {
	if seconds < exactBins {
		return int(max(seconds, 0))
	}
	octave := bits.Len64(uint64(seconds)) - 6 // 0 for 32 to 63
	within := int(seconds>>(octave+1)) - octaveBins
	return min(exactBins+octaveBins*octave+within, OpenBins-1)
}

// openBinStart returns the least number of seconds in a bin.
func openBinStart(bin int) int64 {
	if bin < exactBins {
		return int64(bin)
	}
	octave, within := (bin-exactBins)/octaveBins, (bin-exactBins)%octaveBins
	return int64(octaveBins+within) << (octave + 1)
}

// MonthOpen is how long the door stood open a visit, in one civil month. It holds
// timed visits, each in the month in which it begins. A visit's seconds are those
// of its visitor openings together, or of its ajar one, capped.
type MonthOpen struct {
	Month   Month
	Visits  [OpenBins]int32 // by OpenBin
	Unknown int32           // visits with an opening whose seconds are not known
}

// visitOpen is the visit that the tallier is in.
type visitOpen struct {
	month   Month
	seconds int64
	unknown bool
	begun   bool
}

// addOpen counts an opening's seconds to its visit.
func (t *tallier) addOpen(o *Opening, begins bool, engaged int64) {
	switch {
	case o.Class == Ajar:
		t.enterOpen(visitOpen{t.month, engaged, false, true})
	case o.Class != Visitor:
	case begins:
		t.enterOpen(t.visit)
		t.visit = visitOpen{t.month, engaged, o.OpenS < 0, true}
	default:
		t.visit.seconds += engaged
		t.visit.unknown = t.visit.unknown || o.OpenS < 0
	}
}

func (t *tallier) enterOpen(v visitOpen) {
	if !v.begun {
		return
	}
	m := t.opens.row(v.month)
	if v.unknown {
		m.Unknown++
		return
	}
	m.Visits[OpenBin(v.seconds)]++
}

// Engagement is how long the door stood open a visit, in seconds.
type Engagement struct {
	Visits  int64     // visits whose seconds are known
	Unknown int64     // visits with an opening whose seconds are not
	Median  *Estimate // of those known; nil without any
	Lower   float64   // quartiles; 0 without any
	Upper   float64
	bins    []int64 // known visits by OpenBin, as far as there are any
}

// EngagementOf returns the engagement of some months together.
//
// The median's limits are those of order statistics: with B binomial (n, ½), the
// k-th smallest and the k-th largest, k the largest number with P(B < k) ≤ α/2.
// They hold whatever the law of the seconds. (H. A. David and H. N. Nagaraja,
// Order Statistics, 3rd ed., 2003, section 7.1; from memory.) Fewer than six
// visits give no limits at 0.95: they are NaN, null in JSON. Beyond 31 s values
// are as fine as the bins, a sixteenth at worst.
func EngagementOf(months []MonthOpen) Engagement {
	var e Engagement
	for i := range months {
		e.Unknown += int64(months[i].Unknown)
		count(&e, months[i].Visits[:])
	}
	return e.finished()
}

// count adds visits by their bins. The median and the quartiles stay those of before.
func count[N int32 | int64](e *Engagement, visits []N) {
	for len(visits) > 0 && visits[len(visits)-1] == 0 {
		visits = visits[:len(visits)-1]
	}
	if len(visits) > len(e.bins) {
		e.bins = append(make([]int64, 0, len(visits)), e.bins...)[:len(visits)]
	}
	for b, n := range visits {
		e.bins[b] += int64(n)
		e.Visits += int64(n)
	}
}

// join adds the visits of another engagement, as count does.
func (e *Engagement) join(o *Engagement) {
	e.Unknown += o.Unknown
	count(e, o.bins)
}

// spread returns the variance of the sum of the seconds of all visits, of which the
// count has the dispersion phi, and the visits of known seconds have the sum open:
//
//	Σ s² + (φ − 1)·(Σ s)²/n
//
// with n visits of s seconds each. (Variance of a compound sum: that of the seconds of
// n visits, and that of n; W. Feller, An Introduction to Probability Theory and Its
// Applications, volume 1, 3rd ed., 1968, section XII.2; from memory.) The seconds are
// those of the bins, put right to come to open together. 0 without visits.
func (e *Engagement) spread(open, phi float64) float64 {
	sum, squares, n := 0.0, 0.0, float64(e.Visits)
	for b, visits := range e.bins {
		seconds := float64(openBinStart(b)+openBinStart(b+1)-1) / 2
		sum += float64(visits) * seconds
		squares += float64(visits) * seconds * seconds
	}
	if !(sum > 0 && open > 0) {
		return 0
	}
	return (squares + (phi-1)*sum*sum/n) * (open / sum) * (open / sum)
}

// openRate estimates the open time in a unit of exposure, of which there were so many,
// from the sum open with its variance. The limits are those of Total.Estimate, with a
// visit more of the length that weighs as much as all do in the mean: open time comes
// in few long visits and many short ones, and its limits are wider than those of the
// count; of ten visits with a long tail they hold the truth in about 91 of 100 cases
// (by simulation). nil without open time, of which one visit could be any length.
func openRate(open, variance, exposure float64) *Estimate {
	if !(open > 0 && variance > 0 && exposure > 0) {
		return nil
	}
	e := Total{Value: open, variance: variance, weight: variance / open}.Estimate(Confidence)
	return &Estimate{e.Value / exposure, e.Low / exposure, e.High / exposure, Confidence}
}

// finished returns the engagement with its median and quartiles.
func (e Engagement) finished() Engagement {
	n := e.Visits
	if n == 0 {
		return e
	}
	e.Lower, e.Upper = e.quantile(0.25), e.quantile(0.75)
	e.Median = &Estimate{Value: e.quantile(0.5), Low: math.NaN(), High: math.NaN(), Level: Confidence}
	if k := medianRank(n, Confidence); k > 0 {
		e.Median.Low, e.Median.High = e.ranked(k), e.ranked(n+1-k)
	}
	return e
}

// medianRank returns the largest k with P(B < k) ≤ (1 − level)/2, 0 for none.
func medianRank(n int64, level float64) int64 {
	b := distuv.Binomial{N: float64(n), P: 0.5}
	low, high := int64(0), n/2+1 // P(B < low) is small enough, P(B < high) is not
	for high-low > 1 {
		if k := (low + high) / 2; b.CDF(float64(k-1)) <= (1-level)/2 {
			low = k
		} else {
			high = k
		}
	}
	return low
}

// quantile returns the mean of the ranked values about share q, so that the median
// of an even number lies in the middle of two.
func (e *Engagement) quantile(q float64) float64 {
	at := q * float64(e.Visits)
	low := int64(math.Ceil(at))
	high := int64(math.Floor(at)) + 1
	return (e.ranked(max(low, 1)) + e.ranked(min(high, e.Visits))) / 2
}

// ranked returns the k-th smallest value, k from 1: exact in bins of one second,
// else where the k-th would lie if those of a bin lay evenly.
func (e *Engagement) ranked(k int64) float64 {
	for b, n := range e.bins {
		if k > n {
			k -= n
			continue
		}
		start := openBinStart(b)
		width := openBinStart(b+1) - start
		if b == OpenBins-1 {
			width = 1
		}
		return math.Floor(float64(start) + (float64(k)-0.5)/float64(n)*float64(width))
	}
	return math.NaN()
}
