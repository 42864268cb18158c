package clock

import (
	"fmt"
	"math"
	"slices"

	"doorleaf/usage"
)

const (
	// believable is the steepest drift that is taken for a clock's own: ten
	// times the tolerance of a watch crystal. More is a typing error, or
	// somebody set the clock.
	believable = 200e-6
	// zoneStep is what offsets to UTC are multiples of, seconds.
	zoneStep = 900
	// stray is how far the drift of a crystal may stray from its own middle with the
	// weather: twice what winter and summer make of the tuning-fork parabola
	// (−0.035 ppm/°C² about 25 °C; Maxim, MAX6902 data sheet, page 14).
	stray = 25e-6
	// furthest is by how much people set a clock wrong without seeing it, seconds:
	// to the time of another zone. A card that seems to have come out even later
	// after its last row came out of a logger that was dead.
	furthest = 15 * hour
	// usual is a drift that clocks do have, by which a change of zone may miss
	// a multiple of zoneStep.
	usual = 40e-6
)

// settle looks at each pair of neighbouring anchors of a run. Where both cannot
// be right by drift alone, somebody set the clock between them (the run is cut
// there), or one of the times was noted wrongly (it is left out).
func (k *keeper) settle() {
	k.ownDrift()
	k.habits()
	k.crystal()
	for n := 0; n < len(k.runs); n++ {
		if k.runs[n].state != good {
			k.settleLost(n)
			continue
		}
		if k.runs[n].steep {
			k.settleSteep(n)
			continue
		}
		for j := 0; j+1 < len(k.runs[n].anchors); {
			if k.agree(k.runs[n].anchors[j], k.runs[n].anchors[j+1]) || k.resolve(n, j) {
				j++
				continue
			}
			j = max(0, j-1) // an anchor was left out: look at the pair anew
		}
	}
	for n := range k.runs {
		if k.runs[n].state == good {
			k.alone(n)
		}
	}
	k.scattered()
	k.driftNotice()
}

// settleLost looks at the anchors of a run without a date. Nobody sets a clock and
// leaves it without one: where two contradict each other, one was noted wrongly,
// and it is left out if a third anchor or a set right after the other tells which.
func (k *keeper) settleLost(n int) {
	for j := 0; j+1 < len(k.runs[n].anchors); j++ {
		anchors := k.runs[n].anchors
		a, b := anchors[j], anchors[j+1]
		third := j+2 < len(anchors)
		switch {
		case k.agree(a, b):
			continue
		case !a.belief && (k.setRight(n, b) || third && k.agree(b, anchors[j+2])):
			k.leaveOut(n, j)
		case !b.belief && third && k.agree(a, anchors[j+2]):
			k.leaveOut(n, j+1)
		default:
			continue
		}
		j = -1 // look at all pairs anew
	}
}

// alone looks at the only anchor of a run: a removal that is a whole number of
// days away from what the clock says is a date noted wrongly, and one from a logger
// that was dead says nothing of the clock.
func (k *keeper) alone(n int) {
	r := &k.runs[n]
	if len(r.anchors) == 1 && r.anchors[0].stint >= 0 && !r.anchors[0].belief && k.daysOff(n, r.anchors[0]) > 0 {
		k.impossible(r.anchors[0].stint, fmt.Sprintf("it is %d days away from what the clock said", k.daysOff(n, r.anchors[0])))
		r.anchors = nil
	}
	if len(r.anchors) == 1 && k.wasDead(n, r.anchors[0]) && k.rightElsewhere(n) {
		k.leaveOutDead(n, 0)
	}
	if n == 0 && len(r.anchors) == 1 && r.why == "first row" && !r.anchors[0].belief && k.hourOff(r.anchors[0]) {
		r.loose, r.looseFrom, r.looseTo = hour, r.first, r.last
	}
}

// hourOff reports whether the one known time of the first run and the clock's setting
// contradict each other by an hour, as much as people miswrite: either may be wrong.
func (k *keeper) hourOff(a anchor) bool {
	begun := k.base[k.runs[0].first] - k.asRead(k.runs[0])
	return a.stint >= 0 && typed(a.off()-k.asRead(k.runs[0])-k.changed(begun, a.true))
}

// daysOff returns by how many whole days an anchor differs from what the clock
// says, give or take two hours; 0 when it does not.
func (k *keeper) daysOff(n int, a anchor) int64 {
	off := abs(a.off() - k.asRead(k.runs[n]))
	days := (off + day/2) / day
	if abs(off-days*day) > 2*hour {
		return 0
	}
	return days
}

// resolve settles anchors j and j+1 of run n, which drift alone cannot join.
// It returns true when both stay (in two runs, or for want of a better answer),
// false when one was left out.
func (k *keeper) resolve(n, j int) bool {
	anchors := k.runs[n].anchors
	a, b := anchors[j], anchors[j+1]
	if !b.belief && j+2 < len(anchors) && (k.agree(a, anchors[j+2]) || k.hourWrong(a, b, anchors[j+2])) {
		return k.leaveOut(n, j+1)
	}
	if !a.belief && j > 0 && (k.agree(anchors[j-1], b) || k.hourWrong(anchors[j-1], a, b)) {
		return k.leaveOut(n, j)
	}
	if daysA, daysB := k.daysOff(n, a), k.daysOff(n, b); daysA != daysB && min(daysA, daysB) == 0 {
		if daysA > 0 && !a.belief && a.stint >= 0 {
			return k.leaveOut(n, j)
		}
		if daysB > 0 && !b.belief && b.stint >= 0 {
			return k.leaveOut(n, j+1)
		}
	}
	if k.wasDead(n, a) && k.plausible(n, b) {
		return k.leaveOutDead(n, j)
	}
	step := b.off() - a.off()
	later := j+2 < len(anchors) && k.agree(b, anchors[j+2])
	if a.kind == "clock set" && !a.belief && (later || abs(step) <= furthest) && !k.movedAnHour(a, b, step) {
		if k.wrongSet(n, j); !later && typed(step) {
			r := &k.runs[n]
			r.loose, r.looseFrom, r.looseTo = int32(abs(step)), r.first, r.last
		}
		return false
	}
	switch {
	case later, b.belief, k.jumped(a, b), k.setRight(n, b), k.zoneLike(a, b) && (j+2 < len(anchors) || k.toCivil(a, b, step)):
		return k.cutBetween(n, a, b, step)
	case j == 0 && !a.belief && k.plausible(n, b) && !k.plausible(n, a):
		return k.leaveOut(n, j)
	}
	return k.leaveOut(n, j+1)
}

// wasDead reports whether a card seems to have come out so long after its last row
// that the logger must have been dead: no clock is so far behind that was not put
// back at the beginning of its run, and did not stand still before it.
func (k *keeper) wasDead(n int, a anchor) bool {
	r := k.runs[n]
	if r.why == "stood still" || n > 0 && (k.runs[n-1].state != good || k.base[r.first] < k.base[k.runs[n-1].last]) {
		return false
	}
	return a.stint >= 0 && !a.belief && a.off()-k.asRead(r) < -furthest
}

// rightElsewhere reports whether known times show that the clock was right in
// another run.
func (k *keeper) rightElsewhere(n int) bool {
	for m, r := range k.runs {
		for _, a := range r.anchors {
			if m != n && r.state == good && k.plausible(m, a) {
				return true
			}
		}
	}
	return false
}

// leaveOutDead leaves out the removal of a card from a logger that was dead.
func (k *keeper) leaveOutDead(n, j int) bool {
	r := &k.runs[n]
	a := r.anchors[j]
	k.impossible(a.stint, fmt.Sprintf("it is %s after the last opening by the clock, which was right afterwards: nothing was recorded before it", words(a.off()-k.asRead(*r))))
	r.anchors = slices.Delete(slices.Clone(r.anchors), j, j+1)
	return false
}

func (k *keeper) leaveOut(n, j int) bool {
	r := &k.runs[n]
	if a := r.anchors[j]; a.stint >= 0 {
		k.impossible(a.stint, fmt.Sprintf("the clock would have gone wrong by %s since the last known time", words(k.step(n, j))))
	}
	r.anchors = slices.Delete(slices.Clone(r.anchors), j, j+1)
	return false
}

// typed reports whether two known times contradict each other by as much as people
// miswrite one: an hour. Of a clock set and one removal either may be what is wrong.
func typed(step int64) bool { return abs(abs(step)-hour) < 3*minute }

// wrongSet leaves out the time of a clock set that later times contradict: the
// clock was set, but not to what it should show.
func (k *keeper) wrongSet(n, j int) bool {
	r := &k.runs[n]
	k.notice(Notice{
		Kind: "clock jump", Rows: []int{r.first}, Stint: -1,
		Says:    fmt.Sprintf("the clock was set wrongly here, by about %s: later known times say so", words(k.step(n, j))),
		Changes: "The openings after it are timed by the later known times.",
	})
	r.anchors = slices.Delete(slices.Clone(r.anchors), j, j+1)
	return false
}

func (k *keeper) step(n, j int) int64 {
	anchors := k.runs[n].anchors
	if j > 0 {
		return anchors[j].off() - anchors[j-1].off()
	}
	return anchors[j+1].off() - anchors[j].off()
}

// plausible reports whether an anchor agrees with the clock's setting to within
// an hour and a half.
func (k *keeper) plausible(n int, a anchor) bool {
	return abs(a.off()-k.asRead(k.runs[n])) < 90*minute
}

// zoneLike reports whether the clock went by a multiple of a quarter of an hour
// between two anchors, as it does when somebody sets it to another zone or to
// summer time, and in a direction and size that make sense.
func (k *keeper) zoneLike(a, b anchor) bool {
	step := b.off() - a.off()
	whole := (abs(step) + zoneStep/2) / zoneStep * zoneStep
	miss := abs(abs(step) - whole)
	if whole == 0 || whole > furthest || float64(miss) > usual*float64(b.true-a.true)+float64(a.errorS+b.errorS)+2*minute {
		return false
	}
	// It makes sense when the clock then shows what civil time is, was, or would
	// be by one of the two offsets of the zone's year.
	if k.Site.Keeping == usage.ClockUTC || k.Rows[k.runs[0].first].UTC {
		return false
	}
	return true
}

// setRight reports whether the clock was set just after anchor b, the last of run
// n: whoever set it had seen that it was wrong, and noted the time rightly.
func (k *keeper) setRight(n int, b anchor) bool {
	if last := k.runs[n].anchors; last[len(last)-1] != b || n+1 == len(k.runs) || len(k.runs[n+1].anchors) == 0 {
		return false
	}
	set := k.runs[n+1].anchors[0]
	return set.kind == "clock set" && set.true >= b.true-hour && set.true < b.true+hour
}

// jumped reports whether the readings leap forward somewhere between the
// anchors by as much as they gained: a jump that no quiet explains.
func (k *keeper) jumped(a, b anchor) bool {
	step := b.off() - a.off()
	return step > day && k.leap(a, b, step) >= 0
}

// leap returns the row after the largest gap in the readings between two
// anchors, if the gap is at least step; else -1.
func (k *keeper) leap(a, b anchor, step int64) int {
	best, size := -1, step-10*minute
	last := -1
	for i := max(a.row, 0); i >= 0 && i <= b.row; i = k.follow(i + 1) {
		if k.state[i] == none {
			continue
		}
		if last >= 0 && k.base[i]-k.base[last] >= size {
			best, size = i, k.base[i]-k.base[last]
		}
		last = i
	}
	return best
}

// cutBetween cuts run n where the clock was most likely set between two of its
// anchors: where civil time changed by as much; at the beginning of the card's
// stay that b ends, when somebody was at the box; or where the readings leap.
func (k *keeper) cutBetween(n int, a, b anchor, step int64) bool {
	if at, ok := k.change(a, b, step); ok {
		if i := k.callAfter(at, a, b); k.people > k.itself && i >= 0 && k.split(n, i, "clock set") {
			k.doubtCall(n+1, b, step)
			k.jumpNotice(i, b, step, "clock set")
			return true
		}
		if k.cutAt(n, at, a, b, "daylight saving") {
			k.savingNotice(b)
			k.doubtCall(n+1, b, step)
			return true
		}
	}
	i := k.stay(a, b, step)
	why := "clock set"
	if leap := k.leap(a, b, step); i < 0 && step > 0 && leap >= 0 {
		i, why = leap, "clock jump"
	}
	if i < 0 || !k.split(n, i, why) {
		return k.leaveOut(n, slices.Index(k.runs[n].anchors, b))
	}
	if size := abs(step); size <= smallJump && (!exactHour(a, b) || k.setRight(n+1, b)) {
		k.loosen(n, a, int32(size)+a.errorS+b.errorS)
	} else {
		k.doubtCall(n+1, b, step)
	}
	k.jumpNotice(i, b, step, why)
	return true
}

// doubtCall widens the error of the rows from the beginning of run n, where it was
// cut off for a step, to the last visit of somebody to the box before the anchor
// that shows the step: the clock may have been moved only then.
func (k *keeper) doubtCall(n int, b anchor, step int64) {
	r := &k.runs[n]
	if b.row <= r.first {
		return
	}
	for _, i := range k.atTheBox(anchor{row: r.first, true: b.true - 1<<40}, b) {
		if i > r.first && i <= b.row {
			r.loose, r.looseFrom, r.looseTo = int32(min(abs(step), math.MaxInt32)), r.first, i-1
		}
	}
}

// smallJump is the largest step, in seconds, that a clock may have made by
// itself at any moment between two anchors, so that nobody knows where.
const smallJump = 90 * minute

// loosen widens the error of the rows after anchor a of run n and of the run
// that was cut off it, up to its first anchor: the cut may lie anywhere there.
func (k *keeper) loosen(n int, a anchor, by int32) {
	for _, m := range []int{n, n + 1} {
		r := &k.runs[m]
		r.loose, r.looseFrom, r.looseTo = by, max(a.row, r.first), r.last
		if len(r.anchors) > 0 && m > n {
			r.looseTo = r.anchors[0].row
		}
	}
}

// cutAt cuts run n before the first row that lies at or after an instant, by
// the clock as anchor a knows it, or before anchor b, which shows that it moved.
func (k *keeper) cutAt(n int, at int64, a, b anchor, why string) bool {
	r := k.runs[n]
	for i := r.first; i <= r.last; i++ {
		if k.state[i] == good && i > a.row && (k.base[i]-a.off() >= at || i == b.row) {
			return k.split(n, i, why)
		}
	}
	return false
}

// stay returns the first row after somebody was at the box between two anchors
// (a card's stay begins, or a call is noted) before which the readings leave
// room for the step; -1 without one. Of several the first: most clocks are set
// when a was noted.
func (k *keeper) stay(a, b anchor, step int64) int {
	for _, i := range k.atTheBox(a, b) {
		last := i - 1
		for last > 0 && k.state[last] == none {
			last--
		}
		if k.base[i]-k.base[last] >= step-10*minute {
			return i
		}
	}
	return -1
}

// atTheBox lists the rows that follow a visit of somebody who looks after the
// box, after a's row and up to b's, ascending.
func (k *keeper) atTheBox(a, b anchor) []int {
	start := max(a.row, 0)
	if n := k.runOf(b.row); a.row < 0 && n >= 0 {
		start = k.runs[n].first // a clock set stands on no row: its run begins with it
	}
	var out []int
	for _, st := range k.Stints {
		if i := k.follow(st.First); i > start && i <= b.row {
			out = append(out, i)
		}
	}
	for _, c := range k.Calls {
		if c.At <= a.true+noted || c.At >= b.true-noted {
			continue
		}
		for i := start + 1; i <= b.row; i++ {
			if k.state[i] == good && k.base[i]-a.off() > c.At+minute {
				out = append(out, i)
				break
			}
		}
	}
	slices.Sort(out)
	return out
}

func (k *keeper) jumpNotice(i int, b anchor, step int64, why string) {
	kind := "clock jump"
	says := fmt.Sprintf("the clock was put %s by %s here: known times before and after agree on no other way", forwardOrBack(step), words(step))
	if why == "clock jump" {
		says = fmt.Sprintf("the clock jumped forward by %s here, which no quiet time explains", words(step))
	}
	k.notice(Notice{
		Kind: kind, Rows: []int{i}, Stint: b.stint, Says: says,
		Changes: "The times before it rest on the earlier known time, those after it on the later one.",
	})
}

func forwardOrBack(step int64) string {
	if step > 0 {
		return "forward"
	}
	return "back"
}
