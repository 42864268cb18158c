package clock

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"doorleaf/usage"
)

// How well a true time is known that somebody wrote down, in seconds. An
// opening begins before its card is out and the time is looked at: by nothing or by
// some twenty seconds, and at one box always by about as much, so that no number
// of times noted takes it away. A time with seconds is taken as it is: whoever looks at
// the seconds is quick. A time without them is what a clock showed, which cuts them
// off: on average it is half a minute early, less the ten seconds or so. Common
// practice, no source.
const (
	errorMinute = 40
	errorSecond = 24
	lateMinute  = 20
	// haste is the part of an error that all times noted of a box share: by how much
	// its people take more or less time than others.
	haste = 20
)

// apart is the part of an error that a known time does not share with others.
func apart(errorS float64) float64 {
	return math.Sqrt(math.Max(errorS*errorS-haste*haste, 0))
}

// cut reports whether a time was written down without its seconds: it has none, and
// nobody said that it is to the second.
func cut(at int64, exact bool) bool { return at%minute == 0 && !exact }

// exactCall reports whether the time of a service call is to the second.
func exactCall(c *usage.ServiceCall) bool { return c.ErrorS > 0 && c.ErrorS < minute/2 }

func givenError(at int64, exact bool) int32 {
	if cut(at, exact) {
		return errorMinute
	}
	return errorSecond
}

// opened is when the opening began beside which somebody wrote down a time.
func opened(at int64, exact bool) int64 {
	if cut(at, exact) {
		return at + lateMinute
	}
	return at
}

// seen is when a clock showed what somebody wrote down beside a time: at any
// second of a minute that was cut off.
func seen(at int64, exact bool) int64 {
	if cut(at, exact) {
		return at + minute/2
	}
	return at
}

// latest is when at the latest the opening began beside which somebody wrote down
// a time.
func latest(at int64, exact bool) int64 {
	if cut(at, exact) {
		return at + minute
	}
	return at + errorSecond
}

// anchor ties runs to true time by what people noted.
func (k *keeper) anchor() {
	k.removals()
	for _, c := range k.Calls {
		if c.Did(usage.CallClockSet) {
			k.clockSet(c)
		}
	}
	for _, c := range k.Calls {
		if c.Did(usage.CallTimeNoted) && !c.Did(usage.CallClockSet) {
			k.timeNoted(c)
		}
	}
	for n := range k.runs {
		slices.SortStableFunc(k.runs[n].anchors, func(a, b anchor) int { return cmp.Compare(a.base, b.base) })
		k.runs[n].anchors = sharp(k.runs[n].anchors)
	}
}

// vague is the error from which on a known time says nothing beside a better one, s.
const vague = hour / 2

// sharp leaves out the vague anchors of a run that has better ones.
func sharp(anchors []anchor) []anchor {
	isVague := func(a anchor) bool { return a.errorS >= vague && !a.belief }
	if !slices.ContainsFunc(anchors, func(a anchor) bool { return !isVague(a) }) {
		return anchors
	}
	return slices.DeleteFunc(anchors, isVague)
}

// removals ties the last row of each stint to the time at which its card came
// out. Times that go back where the logbook goes on are left out.
func (k *keeper) removals() {
	k.Stints = slices.Clone(k.Stints)
	inOrder := k.inOrder()
	for s, st := range k.Stints {
		switch {
		case st.RemovedAt == nil || st.Answer == usage.AnswerTyping:
			continue
		case !inOrder[s]:
			k.impossible(s, "it lies before the removal of a card that came out earlier, or after one that came out later")
			continue
		}
		n := k.runOf(st.Last)
		if n < 0 {
			continue // its last row has no time to tie to
		}
		at, errorS := k.removed(s, n)
		k.runs[n].anchors = append(k.runs[n].anchors, anchor{
			base: k.base[st.Last], true: opened(at, k.Stints[s].RemovedExact), errorS: errorS,
			row: st.Last, stint: s, kind: "card out", belief: st.Answer == usage.AnswerBelieve,
		})
	}
}

// removed is when a card came out, and how well that is known. Where the time given with
// the card and that of the service call contradict each other, as when one of them is
// mistyped by an hour, the clock says which: the one that it agrees with since the known
// time before. Where it does not say, either may be right.
func (k *keeper) removed(stint, run int) (at int64, errorS int32) {
	st := &k.Stints[stint]
	at, errorS = *st.RemovedAt, givenError(*st.RemovedAt, st.RemovedExact)
	other := k.outNear(at)
	if other == nil || st.Answer != "" {
		return at, errorS
	}
	by, otherError := abs(other.At-at), max(other.ErrorS, givenError(other.At, exactCall(other)))
	if by <= int64(errorS)+int64(otherError) {
		return at, errorS
	}
	anchors := k.runs[run].anchors
	if len(anchors) == 0 {
		return at, int32(by) + errorS
	}
	before := anchors[len(anchors)-1]
	agrees := func(t int64, exact bool) bool {
		return abs((k.base[st.Last]-opened(t, exact))-(before.base-before.true)) < by/3
	}
	switch given, called := agrees(at, st.RemovedExact), agrees(other.At, exactCall(other)); {
	case called && !given:
		k.impossible(stint, fmt.Sprintf("it is %s from that of the service call, with which the clock agrees", words(by)))
		st.RemovedAt, st.RemovedExact = &other.At, exactCall(other)
		return other.At, otherError
	case given:
		return at, errorS
	}
	return at, int32(by) + errorS
}

// contradictS is how far apart two notes of one removal may lie: a slip of hours, and not
// another round.
const contradictS = 4 * hour

// outNear returns the service call that took a card out nearest to a time; nil without
// one near.
func (k *keeper) outNear(at int64) *usage.ServiceCall {
	var near *usage.ServiceCall
	for i := range k.Calls {
		c := &k.Calls[i]
		if c.Did(usage.CallCardOut) && abs(c.At-at) <= contradictS && (near == nil || abs(c.At-at) < abs(near.At-at)) {
			near = c
		}
	}
	return near
}

// inOrder marks the stints of the longest series whose removals are in order.
func (k *keeper) inOrder() []bool {
	best := make([]int, len(k.Stints))
	from := make([]int, len(k.Stints))
	end := -1
	for s, st := range k.Stints {
		if st.RemovedAt == nil || st.Answer == usage.AnswerTyping {
			continue
		}
		best[s], from[s] = 1, -1
		for p := max(0, s-200); p < s; p++ {
			if best[p] > 0 && *k.Stints[p].RemovedAt <= *st.RemovedAt && best[p]+1 > best[s] {
				best[s], from[s] = best[p]+1, p
			}
		}
		if end < 0 || best[s] >= best[end] {
			end = s
		}
	}
	out := make([]bool, len(k.Stints))
	for s := end; s >= 0; s = from[s] {
		out[s] = true
	}
	return out
}

func (k *keeper) impossible(stint int, why string) {
	k.notice(Notice{
		Kind: "time given is impossible", Rows: []int{k.Stints[stint].Last}, Stint: stint,
		Says:    "the time given for a card's removal cannot be right: " + why,
		Changes: "It is left out until you rule on it; the times of the openings before it rest on the other known times.",
		Choices: []usage.Choice{
			{Answer: usage.AnswerTyping, Says: "The time was noted wrongly. Leave it out."},
			{Answer: usage.AnswerBelieve, Says: "The time is right. Correct the clock by it."},
		},
	})
}

// clockSet begins a run where a call set the clock.
func (k *keeper) clockSet(c usage.ServiceCall) {
	reading := c.At + int64(k.offset(c.At))
	errorS := max(c.ErrorS, setError)
	if c.Reading != nil {
		reading, errorS = *c.Reading, max(c.ErrorS, errorSecond)
	}
	set := anchor{base: k.baseOf(reading), true: c.At, errorS: errorS, row: -1, stint: -1, kind: "clock set", belief: c.Reading != nil}
	i := k.afterSet(set)
	if i < 0 {
		return
	}
	set.errorS += k.unset(i-1, set.true)
	n := k.runOf(i)
	if k.runs[n].first != i {
		if !k.split(n, i, "clock set") {
			return
		}
		n = k.runOf(i)
	}
	k.runs[n].why = "clock set"
	k.runs[n].anchors = append(k.runs[n].anchors, set)
}

// unset is by how long, s, a row lies after the moment at which the clock is said to have
// been set, by the clock as it went before: with rows in between that know nothing of the
// new setting, the clock was set to another time than the true one, and by no more than
// that. 0 where nothing of the kind is seen.
func (k *keeper) unset(row int, at int64) int32 {
	if row < 0 {
		return 0
	}
	n := k.runOf(row)
	if n < 0 || k.state[row] != good {
		return 0
	}
	late := k.base[row] - k.believed(k.runs[n], at) - at
	if late < unsetMost && late > 10*minute {
		return int32(late)
	}
	return 0
}

// unsetMost bounds what a slip of the hand at a clock's keys makes: a day.
const unsetMost = day

// offset is what a clock of the site that is right is ahead of UTC.
func (k *keeper) offset(at int64) int32 {
	if k.Site.Keeping == usage.ClockUTC {
		return 0
	}
	return k.Site.Zone.OffsetAt(at)
}

// longestWait is how long after a clock was set the next opening may come.
const longestWait = 60 * day

// afterSet finds the first row after a clock was set: the beginning of a run
// that follows the set closest, or else the first row that the new setting puts
// after the set while the setting before put its predecessor before it.
func (k *keeper) afterSet(set anchor) int {
	best, wait := -1, int64(longestWait)
	for _, r := range k.runs {
		if w := k.base[r.first] - set.base; r.state == good && r.why != "first row" && w >= 0 && w < wait {
			best, wait = r.first, w
		}
	}
	i := k.firstAfter(set)
	if i >= 0 && (best < 0 || k.base[i]-set.base < wait) {
		return i
	}
	return best
}

func (k *keeper) firstAfter(set anchor) int {
	// The opening of the call itself was written before the clock was set.
	after := int64(10)
	if set.true%minute == 0 {
		after = minute
	}
	for _, r := range k.runs {
		if r.state != good || k.base[r.last] < set.base {
			continue
		}
		off := k.believed(r, set.true)
		for i := r.first; i <= r.last; i++ {
			if k.state[i] == good && k.base[i] >= set.base && k.base[i]-off >= set.true+after {
				if k.base[i]-set.base > longestWait {
					return -1
				}
				return i
			}
		}
	}
	return -1
}

// believed is the offset to UTC of a run that is not settled yet, about an
// instant: that of its nearest anchor, or what the setting says.
func (k *keeper) believed(r run, at int64) int64 {
	if len(r.anchors) == 0 {
		return k.asRead(r)
	}
	best := r.anchors[0]
	for _, a := range r.anchors {
		if abs(a.true-at) < abs(best.true-at) {
			best = a
		}
	}
	return best.off()
}

// asRead is the offset of a run without anchors: the setting's.
func (k *keeper) asRead(r run) int64 {
	if r.zone || k.Site.Keeping == usage.ClockUTC || k.Rows[r.first].UTC {
		return 0
	}
	first, _, _ := k.Site.Zone.Resolve(k.Rows[r.first].Reading)
	return k.Rows[r.first].Reading - first
}

// noted is how far, in seconds, an opening may lie from a time that somebody
// noted beside it.
const noted = 30 * minute

// timeNoted ties a run to a time that somebody noted against an opening: by
// what the clock showed or, without that, by the opening that lies nearest.
func (k *keeper) timeNoted(c usage.ServiceCall) {
	best, far := -1, int64(noted)
	if c.Reading != nil && k.stood[*c.Reading] {
		return // the clock showed it for days
	}
	for _, r := range k.runs {
		if r.state != good {
			continue
		}
		off := k.believed(r, c.At)
		for i := r.first; i <= r.last; i++ {
			if d := k.distance(i, off, c); k.state[i] == good && d < far {
				best, far = i, d
			}
		}
	}
	if best < 0 {
		return
	}
	a := anchor{base: k.base[best], true: opened(c.At, exactCall(&c)), errorS: givenError(c.At, exactCall(&c)), row: best, stint: -1, kind: "time noted"}
	if c.Reading != nil {
		a.base, a.true = k.baseOf(*c.Reading), seen(c.At, exactCall(&c))
	}
	n := k.runOf(best)
	k.runs[n].anchors = append(k.runs[n].anchors, a)
}

func (k *keeper) distance(i int, off int64, c usage.ServiceCall) int64 {
	if c.Reading != nil {
		return abs(k.base[i] - k.baseOf(*c.Reading))
	}
	return abs(k.base[i] - off - c.At)
}

func words(s int64) string {
	switch s = abs(s); {
	case s < 2*minute:
		return fmt.Sprintf("%d s", s)
	case s < 2*hour:
		return fmt.Sprintf("%d min", s/minute)
	case s < 2*day:
		return fmt.Sprintf("%d h %d min", s/hour, s%hour/minute)
	}
	return fmt.Sprintf("%d days", s/day)
}
