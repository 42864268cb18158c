package clock

import (
	"cmp"
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
	k.driftNotice()
}

// slopeOf is how many seconds the clock gained a second from a to b.
func slopeOf(a, b anchor) float64 {
	return float64(b.off()-a.off()) / max(float64(b.true-a.true), 1)
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

// settleSteep leaves out of a run whose clock goes wrong beyond belief the times
// that are off the line of those around them.
func (k *keeper) settleSteep(n int) {
	for j := 1; j+1 < len(k.runs[n].anchors); j++ {
		a, b, c := k.runs[n].anchors[j-1], k.runs[n].anchors[j], k.runs[n].anchors[j+1]
		if !b.belief && k.asSteep(a, c) && !(k.asSteep(a, b) && k.asSteep(b, c)) {
			k.leaveOut(n, j)
			j = 0 // look at all of them anew
		}
	}
}

// asSteep reports whether the clock gained about as much between two anchors as
// it gains elsewhere, as a poor crystal does.
func (k *keeper) asSteep(a, b anchor) bool {
	const about = 0.3
	gain := k.own.drift * float64(b.true-a.true)
	return math.Abs(float64(b.off()-a.off())-gain) <= about*math.Abs(gain)+float64(a.errorS+b.errorS)
}

// own is what is known of how fast this one clock goes, from all its anchors. A
// crystal keeps its drift, but for the weather, when the clock is set anew.
type own struct {
	drift float64 // seconds gained a second
	known bool
	steep float64 // of a clock that goes wrong beyond belief: by how much at the most; else 0
}

const (
	// ownApart is how far apart anchors must lie for the drift between them to
	// tell more of the crystal than of the people who read the time, seconds.
	ownApart = 10 * day
	// ownMost is the most time between two anchors that counts: a jump in one long
	// time must not outweigh many short ones, seconds.
	ownMost = 30 * day
	// ownPairs is how many pairs of anchors tell a clock's own drift.
	ownPairs = 3
)

// ownDrift takes the middle of the drifts between neighbouring anchors, weighed
// by the time between them: jumps, sets and typing errors fall outside.
func (k *keeper) ownDrift() {
	type pair struct{ slope, weight float64 }
	var pairs []pair
	total := 0.0
	for _, r := range k.runs {
		for j := 0; j+1 < len(r.anchors); j++ {
			a, b := r.anchors[j], r.anchors[j+1]
			if s := slopeOf(a, b); b.true-a.true >= ownApart && math.Abs(s) <= believable {
				weight := float64(min(b.true-a.true, ownMost))
				pairs = append(pairs, pair{s, weight})
				total += weight
			}
		}
	}
	if len(pairs) < ownPairs {
		return
	}
	slices.SortFunc(pairs, func(a, b pair) int { return cmp.Compare(a.slope, b.slope) })
	half := total / 2
	for _, p := range pairs {
		if half -= p.weight; half <= 0 {
			k.own = own{drift: p.slope, known: true}
			return
		}
	}
}

// drifts returns what the clock gains in a time, and by how much it may miss
// that: little if its own drift is known, else what any clock may gain or lose.
func (k *keeper) drifts(time int64) (gain, give float64) {
	if k.own.known {
		return k.own.drift * float64(time), stray * float64(time)
	}
	return 0, believable * float64(time)
}

// agree reports whether drift alone can lie between two anchors.
func (k *keeper) agree(a, b anchor) bool {
	errors := a.errorS + b.errorS
	gain, give := k.drifts(b.true - a.true)
	return b.true > a.true-int64(errors) && math.Abs(float64(b.off()-a.off())-gain) <= give+float64(errors)
}

// crystal finds a clock that goes wrong by more than is believable and always
// alike: a poor crystal, and no typing error. Its known times are not joined by a
// line unless a person says that they are right.
func (k *keeper) crystal() {
	slope, alike := k.steepness(true)
	if !alike {
		slope, alike = k.steepness(false)
	}
	if !alike {
		return
	}
	k.own.drift, k.own.steep = slope, math.Abs(slope)
	told := false
	for n := range k.runs {
		r := &k.runs[n]
		if r.state != good || len(r.anchors) == 0 {
			continue
		}
		last := r.anchors[len(r.anchors)-1]
		r.steep = !last.belief
		if told || len(r.anchors) < 2 {
			continue
		}
		told = true
		k.notice(Notice{
			Kind: "drift", Rows: []int{r.first}, Stint: last.stint,
			Says:    fmt.Sprintf("the clock is %s a day %s: more than any good crystal, and always alike. The clock board is faulty", words(int64(slope*day)), fastOrSlow(slope)),
			Changes: "Times between two known ones carry an error as large as the clock's own until you say that these are right.",
			Choices: []usage.Choice{{Answer: usage.AnswerBelieve, Says: "The known times are right. Correct the clock between them."}},
		})
	}
}

// steepness returns the middle slope of the pairs of neighbouring anchors that
// drift cannot join, and whether these are two or more, most of all pairs, and
// alike; with or without pairs that begin with a clock set, perhaps wrongly.
func (k *keeper) steepness(sets bool) (slope float64, alike bool) {
	var slopes []float64
	pairs := 0
	for _, r := range k.runs {
		for j := 0; r.state == good && j+1 < len(r.anchors); j++ {
			a, b := r.anchors[j], r.anchors[j+1]
			if b.true-a.true < 3*day || !sets && a.kind == "clock set" && !a.belief {
				continue
			}
			pairs++
			if !k.agree(a, b) {
				slopes = append(slopes, slopeOf(a, b))
			}
		}
	}
	if len(slopes) < 2 || len(slopes)*10 < pairs*6 {
		return 0, false
	}
	slices.Sort(slopes)
	wrong := len(slopes) / 4 // a time noted wrongly makes one of them too small and one too large
	least, most := slopes[wrong], slopes[len(slopes)-1-wrong]
	return slopes[len(slopes)/2], least*most > 0 && max(most/least, least/most) < 3
}

func fastOrSlow(slope float64) string {
	if slope > 0 {
		return "fast"
	}
	return "slow"
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
		return k.wrongSet(n, j)
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

// movedAnHour reports whether a clock, set at a, was moved for daylight saving
// before b: by itself, or by somebody at the box.
func (k *keeper) movedAnHour(a, b anchor, step int64) bool {
	if _, ok := k.change(a, b, step); ok {
		return true
	}
	return abs(abs(step)-hour) < 2*minute && k.stay(a, b, step) > 0
}

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

// toCivil reports whether the clock shows civil time at b and did not at a, or
// changed with it: the last time noted of a run, off by an hour, is else more
// likely noted wrongly than the clock moved.
func (k *keeper) toCivil(a, b anchor, step int64) bool {
	if _, ok := k.change(a, b, step); ok {
		return true
	}
	right := func(x anchor) bool {
		want := int64(k.offset(x.true))
		if k.runs[0].zone {
			want = 0
		}
		return abs(x.off()-want) < 10*minute
	}
	return right(b) && !right(a)
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

// habits finds out whether it is people who move this clock when civil time
// changes, in a call afterwards: the known times of the calls show it wherever the
// first one after a change still has the old offset, and the next one the new.
// A clock that moves by itself has the new one at the first.
func (k *keeper) habits() {
	var all []anchor
	for _, r := range k.runs {
		if r.state == good {
			all = append(all, r.anchors...)
		}
	}
	for j := 0; j+1 < len(all); j++ {
		a, b := all[j], all[j+1]
		if j+2 < len(all) && abs(all[j+2].off()-a.off()) < changeMiss {
			j++ // b was noted wrongly
			continue
		}
		step := b.off() - a.off()
		switch at, ok := k.change(a, b, step); {
		case b.row < 0:
		case ok && k.callAfter(at, a, b) < 0:
			k.itself++
		case !ok && abs(abs(step)-hour) < changeMiss:
			k.people++
		case !ok && k.Site.Zone.OffsetAt(a.true) != k.Site.Zone.OffsetAt(b.true) && k.agree(a, b):
			k.stayed++
		}
	}
}

// hourWrong reports whether b, between two others, was noted wrongly by an hour, on
// a clock that moves by itself when civil time changes: it does from a to c.
func (k *keeper) hourWrong(a, b, c anchor) bool {
	follows := func(x, y anchor) bool {
		_, ok := k.change(x, y, y.off()-x.off())
		return ok
	}
	return k.itself > k.people && b.stint >= 0 && follows(a, c) && !(k.agree(a, b) && follows(b, c)) && !(follows(a, b) && k.agree(b, c))
}

// changed is what a clock that moves by itself gained by changes of civil time
// from one instant to another, seconds; 0 of a clock that does not.
func (k *keeper) changed(from, to int64) int64 {
	if k.itself <= k.people {
		return 0
	}
	gain := int64(k.Site.Zone.OffsetAt(to) - k.Site.Zone.OffsetAt(from))
	if k.runs[0].zone { // it does not move, though its setting says so
		return -gain
	}
	return gain
}

// unseen is by how much a clock may be off at an instant besides, seconds, when
// the known times before and after agree and civil time went there and back
// between them: it may have gone with it, which nobody saw. Where other known
// times show that it does not, or that it does so by itself, there is no doubt.
func (k *keeper) unseen(before, at, after int64) int32 {
	if k.itself > k.people || k.itself+k.people == 0 && k.stayed > 0 || k.followsNoZone() {
		return 0
	}
	zone, from := k.Site.Zone, k.Site.Zone.OffsetAt(before)
	if zone.OffsetAt(after) != from {
		return 0
	}
	if k.people > 0 {
		return k.swung(before, at) // people move it late
	}
	off := int32(0)
	for _, near := range [3]int64{at - 2*hour, at, at + 2*hour} { // the hour about a change may be either
		d := zone.OffsetAt(near) - from
		off = max(off, d, -d)
	}
	return off
}

// unsure is by how much a clock that people move may be off at an instant
// besides, seconds, when nothing is known of it since, or until, another: a
// change of civil time may have moved it.
func (k *keeper) unsure(known, at int64) int32 {
	if k.people == 0 || k.itself > k.people || k.followsNoZone() {
		return 0
	}
	return k.swung(known, at)
}

// followsNoZone reports whether the clock's stamps say themselves what they are.
func (k *keeper) followsNoZone() bool {
	return k.Site.Keeping == usage.ClockUTC || k.Rows[k.runs[0].first].UTC
}

// swung is by how much civil time has been elsewhere than at one instant on the
// way to another, seconds.
func (k *keeper) swung(from, to int64) int32 {
	const often = 28 * day // no zone keeps a season for less
	off := k.Site.Zone.OffsetAt(from)
	far := k.Site.Zone.OffsetAt(to) - off
	far = max(far, -far)
	for lo, hi := min(from, to), max(from, to); lo < hi; lo += often {
		d := k.Site.Zone.OffsetAt(lo) - off
		far = max(far, d, -d)
	}
	return far
}

// changeMiss is by how much the known times about a change of civil time may miss
// its size, seconds.
const changeMiss = 5 * minute

// callAfter returns the first row after a visit to the box that lies between a
// change of civil time after anchor a and the visit of anchor b; -1 without one.
func (k *keeper) callAfter(at int64, a, b anchor) int {
	i := max(a.row, 0)
	for i >= 0 && i < b.row && k.base[i]-a.off() < at {
		i = k.follow(i + 1)
	}
	if i < 0 || i >= b.row {
		return -1
	}
	if calls := k.atTheBox(anchor{base: a.base, row: i, true: k.base[i] - a.off()}, b); len(calls) > 0 {
		return calls[0]
	}
	return -1
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

// exactHour reports whether the clock went by an hour to within a minute or so:
// somebody set it to summer time or back, and at the box.
func exactHour(a, b anchor) bool {
	miss := abs(abs(b.off()-a.off()) - hour)
	return float64(miss) <= minute+usual/4*float64(b.true-a.true)
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

// change finds a change of civil time between two anchors that is as large as
// what the clock gained.
func (k *keeper) change(a, b anchor, step int64) (at int64, ok bool) {
	before := k.Site.Zone.OffsetAt(a.true)
	want := int64(k.Site.Zone.OffsetAt(b.true) - before)
	if k.runs[0].zone { // a civil clock that did not change
		want = -want
	}
	if want == 0 || abs(step-want) > changeMiss+int64(usual*float64(b.true-a.true)) {
		return 0, false
	}
	lo, hi := a.true, b.true
	for hi-lo > 1 {
		mid := lo + (hi-lo)/2
		if k.Site.Zone.OffsetAt(mid) == before {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi, true
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
	var out []int
	for _, st := range k.Stints {
		if i := k.follow(st.First); i > max(a.row, 0) && i <= b.row {
			out = append(out, i)
		}
	}
	for _, c := range k.Calls {
		if c.At <= a.true+noted || c.At >= b.true-noted {
			continue
		}
		for i := max(a.row, 0) + 1; i <= b.row; i++ {
			if k.state[i] == good && k.base[i]-a.off() > c.At+minute {
				out = append(out, i)
				break
			}
		}
	}
	slices.Sort(out)
	return out
}

func (k *keeper) savingNotice(b anchor) {
	says, answer := "the known times show that the clock follows daylight saving, though its setting says that it does not", usage.AnswerCivil
	if k.runs[0].zone {
		says, answer = "the known times show that the clock does not follow daylight saving, though its setting says that it does", usage.AnswerFixed
	}
	k.notice(Notice{
		Kind: "daylight saving", Rows: []int{max(b.row, 0)}, Stint: b.stint, Says: says,
		Changes: "Times up to the last known one are right. Later ones follow the setting: change it on the site's page.",
		Choices: []usage.Choice{{Answer: answer, Says: "So it is. I change the setting."}},
	})
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

// driftNotice speaks of a clock that is off by more than a minute a week.
func (k *keeper) driftNotice() {
	const worth = 100e-6
	for _, r := range k.runs {
		if len(r.anchors) < 2 || r.steep || r.state != good {
			continue
		}
		a, b := r.anchors[0], r.anchors[len(r.anchors)-1]
		if s := slopeOf(a, b); b.true-a.true > 14*day && (s > worth || s < -worth) {
			k.notice(Notice{
				Kind: "drift", Rows: []int{r.first}, Stint: -1,
				Says:    fmt.Sprintf("the clock is %s a week %s", words(int64(s*7*day)), fastOrSlow(s)),
				Changes: "Times are corrected between known ones. A look at the coin cell and the crystal is worth while.",
			})
		}
	}
}
