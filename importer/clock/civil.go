package clock

import (
	"doorleaf/usage"
)

// movedAnHour reports whether a clock, set at a, was moved for daylight saving
// before b: by itself, or by somebody at the box.
func (k *keeper) movedAnHour(a, b anchor, step int64) bool {
	if _, ok := k.change(a, b, step); ok {
		return true
	}
	civil := int64(k.Site.Zone.OffsetAt(b.true) - k.Site.Zone.OffsetAt(a.true))
	return abs(abs(step)-hour) < 2*minute && civil*step >= 0 && k.stay(a, b, step) > 0
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
	if k.itself+k.people+k.stayed == 0 && len(all) > 0 {
		k.sinceInstalled(all[0])
	}
}

// sinceInstalled takes a clock to follow civil time that was right where the logbook
// begins and is right at its first known time, with a change of civil time in between:
// the only thing that tells what it does.
func (k *keeper) sinceInstalled(first anchor) {
	r := k.runs[0]
	if first.row < 0 || r.state != good || r.why != "first row" || k.runOf(first.row) != 0 {
		return
	}
	begun := anchor{base: k.base[r.first], true: k.base[r.first] - k.asRead(r), row: r.first}
	if at, ok := k.change(begun, first, first.off()-begun.off()); ok && k.callAfter(at, begun, first) < 0 {
		k.itself++
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

// exactHour reports whether the clock went by an hour to within a minute or so:
// somebody set it to summer time or back, and at the box.
func exactHour(a, b anchor) bool {
	miss := abs(abs(b.off()-a.off()) - hour)
	return float64(miss) <= minute+usual/4*float64(b.true-a.true)
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
