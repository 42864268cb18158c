package clock

import (
	"fmt"
	"math"
	"sort"

	"doorleaf/usage"
)

const (
	// bend bounds how far the drift of a clock strays from its mean between two
	// anchors, however far apart: summer bends it one way and winter the other. A
	// winter and a summer half of a year differ by some 10 ppm from their mean
	// (tuning-fork parabola of −0.035 ppm/°C² about 25 °C; Maxim, MAX6902 data
	// sheet, page 14), which comes to less in the middle of any longer time.
	bend = 4e-6
	// steeper bounds the drift of a clock whose drift is beyond belief, as a multiple
	// of what its known times show: it may not keep it. Common practice, no source.
	steeper = 1.5
	// setError is how well a clock is held to have been set by hand, seconds.
	// Common practice, no source.
	setError = 60
	// closeEnough is the widest bracket, in seconds, whose middle still counts
	// as a time.
	closeEnough = hour
)

// place gives every row with a reading its time: first in runs that are
// anchored, then in runs that are taken as they read, then in runs without a
// date, which lie between the others.
func (k *keeper) place() {
	for i := range k.times {
		k.times[i].Run = usage.Unknown
	}
	for n := range k.runs {
		if len(k.runs[n].anchors) > 0 {
			k.placeRun(n, k.anchored(k.runs[n]))
		}
	}
	for n := range k.runs {
		if r := &k.runs[n]; r.state == good && len(r.anchors) == 0 {
			if k.fits(n) {
				k.placeRun(n, k.asItReads(*r))
				continue
			}
			r.state = lost
			k.notice(Notice{
				Kind: "clock jump", Rows: []int{r.first}, Stint: -1,
				Says:    "the clock shows a date here that cannot be: it lies outside the known times before and after",
				Changes: "These openings are counted between those times, and in no hour unless they leave little room.",
			})
		}
	}
	for n := range k.runs {
		if r := k.runs[n]; r.state == lost && len(r.anchors) == 0 {
			k.placeLost(n)
		}
	}
	k.resetNotices()
}

// curve gives the offset of a clock and its error at a base reading.
type curve func(base int64) (off float64, errorS float64)

func (k *keeper) placeRun(n int, at curve) {
	r := k.runs[n]
	for i := r.first; i <= r.last; i++ {
		if k.state[i] == none {
			continue
		}
		off, e := at(k.base[i])
		if k.state[i] == lost && k.base[i]-int64(off+e) > k.out(i) {
			continue // a digit of it was misread: its neighbours bracket it
		}
		k.set(i, n, k.base[i]-int64(math.Round(off)), int64(math.Ceil(e)))
	}
}

// out is when at the latest the card of row i came out, Unix s, if it is known.
func (k *keeper) out(i int) int64 {
	s := sort.Search(len(k.Stints), func(s int) bool { return k.Stints[s].Last >= i })
	for ; s < len(k.Stints); s++ {
		if k.trusted(s) {
			return k.latestOut(s)
		}
	}
	return usage.Beyond
}

// trusted reports whether it is known when the card of a stint came out.
func (k *keeper) trusted(stint int) bool {
	st := k.Stints[stint]
	return st.RemovedAt != nil && st.Answer != usage.AnswerTyping && !k.rejected(stint)
}

// latestOut is when at the latest the card of a stint that is trusted came out.
func (k *keeper) latestOut(stint int) int64 {
	return latest(*k.Stints[stint].RemovedAt, k.Stints[stint].RemovedExact)
}

func (k *keeper) set(i, n int, at, e int64) {
	e += k.Site.Resolution - 1 + max(int64(k.twice[i]), k.repeats(i, at))
	if r := &k.runs[n]; i >= r.looseFrom && i <= r.looseTo {
		e += int64(r.loose)
	}
	k.times[i] = Time{At: at, Earliest: at - e, Latest: at + e, ErrorS: int32(min(e, math.MaxInt32)), Run: int32(n), Timed: true}
}

// repeats is by how much later a row may be, seconds, on a clock that its known
// times show to go back with civil time though its setting does not say so: its
// reading comes twice.
func (k *keeper) repeats(i int, at int64) int64 {
	back := -k.changed(at, at+2*hour)
	if back <= 0 || k.changed(at, at+back) == 0 || k.goesBack(i, back) {
		return 0
	}
	return back
}

// anchored is the curve of a run with anchors: linear between two, level
// outside them. The error is that of the anchors and, between two, what
// temperature may bend; outside it grows with the drift.
func (k *keeper) anchored(r run) curve {
	a := r.anchors
	return func(base int64) (float64, float64) {
		j := 0
		for j < len(a) && a[j].base < base {
			j++
		}
		switch {
		case j == 0:
			return k.outside(r, 0, base)
		case j == len(a):
			return k.outside(r, j-1, base)
		}
		off, e := k.between(a[j-1], a[j], base, r.steep)
		if k.changed(a[j-1].true, a[j].true) == 0 { // it may have gone there and back between them
			off += float64(k.changed(a[j-1].true, base-int64(off)))
		}
		return off, e + float64(k.unseen(a[j-1].true, base-int64(off), a[j].true))
	}
}

// outside extends the curve beyond anchor j. Where the drift is known from two
// anchors at least a week apart, it goes on.
func (k *keeper) outside(r run, j int, base int64) (off, errorS float64) {
	a := r.anchors
	d := float64(base - a[j].base)
	off, here := a[j].ahead()
	here += float64(k.unsure(a[j].true, base-int64(off)))
	at := base - int64(off)
	if r.why == "step back" && base-k.base[r.first] < hour {
		at += changeMiss // civil time went back, which began the run: it had, though the clock was ahead
	}
	off += float64(k.changed(a[j].true, at))
	ppm := usage.ClockDrift
	if r.steep {
		ppm = k.scatter(k.own.steep)
	}
	slope := 0.0
	if k.own.known || r.steep {
		slope = k.own.drift
	}
	if len(a) > 1 {
		p, q := a[max(j-1, 0)], a[max(j, 1)]
		if q.true-p.true >= 7*day {
			var miss float64
			slope, miss = k.goesOn(p, q, r.steep)
			ppm = math.Min(usage.ClockDrift, usage.ClockDrift/2+miss)
			if r.steep {
				ppm = k.scatter(slope) + miss
			}
		}
	}
	return off + slope*d, here + ppm*math.Abs(d)
}

// goesOn returns the drift with which a clock goes on beyond two anchors, and how
// well the two tell it, both in seconds a second. Two times noted near each other say
// less of a crystal than what is known of it, or of all crystals: the drift is the
// mean of both, weighed by how well each is known.
func (k *keeper) goesOn(p, q anchor, steep bool) (slope, miss float64) {
	from, _ := p.ahead()
	to, _ := q.ahead()
	time := float64(q.true - p.true)
	slope, miss = (to-from)/time, float64(p.errorS+q.errorS)/time
	if steep {
		return slope, miss
	}
	known, doubt := 0.0, usual
	if k.own.known {
		known, doubt = k.own.drift, stray/2
	}
	sd := math.Hypot(apart(float64(p.errorS)), apart(float64(q.errorS))) / within / time
	return known + (slope-known)*doubt*doubt/(doubt*doubt+sd*sd), miss
}

func (k *keeper) between(p, q anchor, base int64, steep bool) (off, errorS float64) {
	from, fromS := p.ahead()
	to, toS := q.ahead()
	if q.base == p.base {
		return to, math.Min(fromS, toS)
	}
	w := float64(base-p.base) / float64(q.base-p.base)
	off = from + w*(to-from)
	near := math.Min(float64(base-p.base), float64(q.base-base))
	errorS = math.Hypot(math.Hypot(haste, math.Hypot((1-w)*apart(fromS), w*apart(toS))), math.Min(bend*near, within*bridge(float64(base-p.base), float64(q.base-base))))
	if steep {
		errorS += k.scatter(slopeOf(p, q)) * near
	}
	return off, errorS
}

// bridge is the standard deviation, seconds, of a clock's error from the straight
// line between two known ones, a and b seconds away, when its drift wanders: a random
// walk integrated once and tied at both ends with any slope,
//
//	wander·a²·b²/(3·(a+b))
//
// (the conditional variance of an integrated Wiener process, as of a cubic spline:
// Wahba, Journal of the Royal Statistical Society B 40, 1978).
func bridge(a, b float64) float64 {
	return a * b * math.Sqrt(wander/(3*math.Max(a+b, 1)))
}

// scatter is by how much a drift beyond belief may differ from what known times show
// of it: where there are some that show how steady it is, by twice the most that any
// differ from the middle one; else by more than all of it.
func (k *keeper) scatter(slope float64) float64 {
	if k.own.pairs >= ownPairs {
		return stray + 2*k.own.scatter
	}
	return steeper * math.Abs(slope)
}

// asItReads is the curve of a run without anchors: the setting's offset, with
// an error that grows from the run's beginning.
func (k *keeper) asItReads(r run) curve {
	off := float64(k.asRead(r))
	first := k.base[r.first]
	return func(base int64) (float64, float64) {
		return off, setError + usage.ClockDrift*float64(base-first)
	}
}

// firm returns the true time that a run cannot begin before and the one that it
// cannot end after, by what anchors and removals say of its neighbours.
func (k *keeper) firm(n int) (low, high int64) {
	r := k.runs[n]
	low, high = k.installed(), usage.Beyond
	for m := n - 1; m >= 0; m-- {
		if t := k.times[k.runs[m].last]; t.Timed {
			low = t.At - int64(t.ErrorS)
			break
		}
	}
	for m := n + 1; m < len(k.runs); m++ {
		if t := k.times[k.runs[m].first]; t.Timed {
			high = t.At + int64(t.ErrorS)
			break
		}
	}
	for s, st := range k.Stints {
		if !k.trusted(s) {
			continue
		}
		if st.Last < r.first {
			low = max(low, *st.RemovedAt-hour)
		}
		if st.Last >= r.last {
			high = min(high, k.latestOut(s))
			break
		}
	}
	return low, high
}

// rejected reports whether a stint's removal was left out as impossible.
func (k *keeper) rejected(stint int) bool {
	for _, n := range k.notices {
		if n.Kind == "time given is impossible" && n.Stint == stint {
			return true
		}
	}
	return false
}

func (k *keeper) installed() int64 {
	first, _, _ := k.Site.Zone.Resolve(k.Site.Installed)
	return first - day
}

// fits reports whether a run taken as it reads lies where its neighbours leave
// room, to within a day: less is a clock set wrongly, and still a time.
func (k *keeper) fits(n int) bool {
	r := k.runs[n]
	low, high := k.firm(n)
	off := k.asRead(r)
	return k.base[r.first]-off >= low-day && k.base[r.last]-off <= high+day
}

// placeLost places a run without a date between its neighbours. Its length is
// known; where that leaves it little room, the middle of it is its time, else
// each of its rows gets a bracket.
func (k *keeper) placeLost(n int) {
	r := k.runs[n]
	low, high := k.firm(n)
	length := k.base[r.last] - k.base[r.first]
	room := high - low - length
	if high == usage.Beyond || room < -2*hour {
		return // bracketed by its neighbours, as rows without a reading are
	}
	room = max(room, 0)
	for i := r.first; i <= r.last; i++ {
		if k.state[i] == none {
			continue
		}
		since := k.base[i] - k.base[r.first]
		if room <= closeEnough {
			k.set(i, n, low+room/2+since, room/2+errorMinute+int64(usage.ClockDrift*float64(length)))
			continue
		}
		k.times[i] = Time{Earliest: low + since - errorMinute, Latest: low + room + since + errorMinute, Run: int32(n)}
	}
}

// resetNotices speaks of runs that begin because the clock was reset.
func (k *keeper) resetNotices() {
	for n, r := range k.runs {
		if n == 0 && r.state == good || r.why == "clock set" || r.why == "daylight saving" || r.why == "date again" || r.why == "stood still" ||
			r.why == "clock jump" || r.why == "back to the same moment" {
			continue
		}
		says := "the clock had lost its date here, and counted on from its default"
		if r.why == "step back" {
			says = fmt.Sprintf("the clock went back by %s here: it was set or reset", words(k.Rows[k.runs[n-1].last].Reading-k.Rows[r.first].Reading))
		}
		changes := "The openings after it are timed by the clock's new setting."
		if len(r.anchors) > 0 {
			changes = "A known time dates the openings after it."
		} else if r.state == lost {
			changes = "The openings after it are counted between the known times around, and in no hour unless these leave little room."
		}
		k.notice(Notice{Kind: "clock reset", Rows: []int{r.first}, Stint: -1, Says: says, Changes: changes})
	}
}

// bracket gives rows that have no time and no bracket yet the instants of their
// neighbours as bounds, and narrows them where good fields of the stamp leave
// one moment only.
func (k *keeper) bracket() {
	low := k.installed() + day
	for i := range k.times {
		t := &k.times[i]
		switch {
		case t.Timed:
			low = t.At - k.doubt(i)
		case t.Earliest == 0:
			t.Earliest = low
		}
	}
	high, removed := usage.Beyond, usage.Beyond
	s := len(k.Stints) - 1
	for i := len(k.times) - 1; i >= 0; i-- {
		for s >= 0 && k.Stints[s].Last >= i {
			if k.trusted(s) {
				removed = min(removed, k.latestOut(s))
				high = min(high, removed)
			}
			s--
		}
		t := &k.times[i]
		switch {
		case t.Timed:
			high = t.At + k.doubt(i)
		case t.Latest == 0 && t.Earliest > high+hour:
			// Its neighbours contradict each other: one of them is wrong, and neither tells.
			t.Earliest, t.Latest = min(k.installed()+day, removed), removed
		case t.Latest == 0:
			t.Earliest, t.Latest = min(t.Earliest, high), max(t.Earliest, high)
		}
		if !t.Timed && k.state[i] == none {
			k.narrow(i)
		}
	}
}

// doubt is by how much a timed row may lie elsewhere than its neighbours do: a run
// without a date has its time from the middle of the room that it has.
func (k *keeper) doubt(i int) int64 {
	if k.state[i] == lost {
		return int64(k.times[i].ErrorS)
	}
	return 0
}

// loosely takes the bounds of its neighbours from a card's stay of which nothing
// tells where it lies among the others: it may be anywhere since the installation.
func (k *keeper) loosely() {
	for _, st := range k.Stints {
		if !st.Loose {
			continue
		}
		for i := st.First; i <= st.Last; i++ {
			if k.state[i] != good {
				k.times[i] = Time{Earliest: k.installed() + day, Latest: usage.Beyond, Run: k.times[i].Run}
			}
		}
	}
}

// narrow uses the time of day of a stamp whose date was not read: where the
// bracket holds that time of day once, the bracket shrinks to it.
func (k *keeper) narrow(i int) {
	t, c := &k.times[i], k.Rows[i].Clock
	if k.Rows[i].Timed || c.Hour < 0 || c.Min < 0 || t.Latest == usage.Beyond || t.Latest-t.Earliest > 40*day {
		return
	}
	off, e, ok := k.near(i)
	if !ok {
		return
	}
	second, span := int64(max(c.Sec, 0)), int64(0)
	if c.Sec < 0 {
		span = minute - 1
	}
	inDay := int64(c.Hour)*hour + int64(c.Min)*minute + second
	from := (t.Earliest + off - e) / day * day
	found := int64(-1)
	for wall := from + inDay; wall-off-e <= t.Latest; wall += day {
		if c.Day > 0 && int(c.Day) != dayOf(wall) || wall-off+e+span < t.Earliest {
			continue
		}
		if found >= 0 {
			return
		}
		found = wall
	}
	if found >= 0 {
		t.Earliest = max(t.Earliest, found-off-e)
		t.Latest = min(t.Latest, found-off+e+span)
	}
}

func dayOf(wall int64) int {
	_, _, d := usage.Date(wall / day).YMD()
	return d
}

// near returns what the clock is ahead of UTC at the nearest timed row before i
// (or after it), and that row's error.
func (k *keeper) near(i int) (off, e int64, ok bool) {
	for d := 1; d < 200; d++ {
		for _, j := range [2]int{i - d, i + d} {
			if j >= 0 && j < len(k.times) && k.times[j].Timed && k.state[j] == good {
				return k.Rows[j].Reading - k.times[j].At, int64(k.times[j].ErrorS), true
			}
		}
	}
	return 0, 0, false
}
