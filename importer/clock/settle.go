package clock

import (
	"fmt"
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
	// usual is a drift that clocks do have, by which a change of zone may miss
	// a multiple of zoneStep.
	usual = 40e-6
)

// settle looks at each pair of neighbouring anchors of a run. Where both cannot
// be right by drift alone, somebody set the clock between them (the run is cut
// there), or one of the times was noted wrongly (it is left out).
func (k *keeper) settle() {
	for n := 0; n < len(k.runs); n++ {
		if k.runs[n].state != good {
			continue
		}
		k.crystal(n)
		k.alone(n)
		for j := 0; j+1 < len(k.runs[n].anchors); {
			if k.runs[n].steep || k.agree(k.runs[n].anchors[j], k.runs[n].anchors[j+1]) || k.resolve(n, j) {
				j++
				continue
			}
			j = max(0, j-1) // an anchor was left out: look at the pair anew
		}
	}
	k.driftNotice()
}

// slopeOf is how many seconds the clock gained a second from a to b.
func slopeOf(a, b anchor) float64 {
	return float64(b.off()-a.off()) / max(float64(b.true-a.true), 1)
}

// agree reports whether drift alone can lie between two anchors.
func (k *keeper) agree(a, b anchor) bool {
	allowed := believable*float64(b.true-a.true) + float64(a.errorS+b.errorS)
	return b.true > a.true-int64(a.errorS+b.errorS) && float64(abs(b.off()-a.off())) <= allowed
}

// crystal finds a run whose clock goes wrong by more than is believable and
// always alike: a poor crystal, and no typing error. Its known times are not
// joined by a line unless a person says that they are right.
func (k *keeper) crystal(n int) {
	r := &k.runs[n]
	if len(r.anchors) < 3 {
		return
	}
	first := slopeOf(r.anchors[0], r.anchors[1])
	for j := 1; j+1 < len(r.anchors); j++ {
		s := slopeOf(r.anchors[j], r.anchors[j+1])
		if s*first <= 0 || s/first > 2 || s/first < 0.5 || k.agree(r.anchors[j], r.anchors[j+1]) {
			return
		}
	}
	if k.agree(r.anchors[0], r.anchors[1]) {
		return
	}
	r.steep = true
	last := r.anchors[len(r.anchors)-1]
	k.notice(Notice{
		Kind: "drift", Rows: []int{r.first}, Stint: last.stint,
		Says:    fmt.Sprintf("the clock is %s a day %s: more than any good crystal, and always alike. The clock board is faulty", words(int64(first*day)), fastOrSlow(first)),
		Changes: "Times between two known ones carry an error as large as the clock's own until you say that these are right.",
		Choices: []usage.Choice{{Answer: usage.AnswerBelieve, Says: "The known times are right. Correct the clock between them."}},
	})
	if last.belief {
		r.steep = false
	}
}

func fastOrSlow(slope float64) string {
	if slope > 0 {
		return "fast"
	}
	return "slow"
}

// alone looks at the first anchor of a run: a removal that is a whole number of
// days away from what the clock says is a date noted wrongly.
func (k *keeper) alone(n int) {
	r := &k.runs[n]
	if len(r.anchors) != 1 || r.anchors[0].stint < 0 || r.anchors[0].belief {
		return
	}
	off := r.anchors[0].off() - k.asRead(*r)
	days := (abs(off) + day/2) / day
	if days >= 1 && abs(abs(off)-days*day) <= 2*hour {
		k.impossible(r.anchors[0].stint, fmt.Sprintf("it is %d days away from what the clock said", days))
		r.anchors = nil
	}
}

// resolve settles anchors j and j+1 of run n, which drift alone cannot join.
// It returns true when both stay (in two runs, or for want of a better answer),
// false when one was left out.
func (k *keeper) resolve(n, j int) bool {
	anchors := k.runs[n].anchors
	a, b := anchors[j], anchors[j+1]
	if !b.belief && j+2 < len(anchors) && k.agree(a, anchors[j+2]) {
		return k.leaveOut(n, j+1)
	}
	if !a.belief && j > 0 && k.agree(anchors[j-1], b) {
		return k.leaveOut(n, j)
	}
	step := b.off() - a.off()
	switch later := j+2 < len(anchors) && k.agree(b, anchors[j+2]); {
	case k.zoneLike(a, b), later, b.belief, k.jumped(a, b):
		return k.cutBetween(n, a, b, step)
	case j == 0 && !a.belief && k.plausible(n, b) && !k.plausible(n, a):
		return k.leaveOut(n, j)
	}
	return k.leaveOut(n, j+1)
}

func (k *keeper) leaveOut(n, j int) bool {
	r := &k.runs[n]
	if a := r.anchors[j]; a.stint >= 0 {
		k.impossible(a.stint, fmt.Sprintf("the clock would have gone wrong by %s since the last known time", words(k.step(n, j))))
	}
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
	if whole == 0 || whole > 15*hour || float64(miss) > usual*float64(b.true-a.true)+float64(a.errorS+b.errorS)+2*minute {
		return false
	}
	// It makes sense when the clock then shows what civil time is, was, or would
	// be by one of the two offsets of the zone's year.
	if k.Site.Keeping == usage.ClockUTC || k.Rows[k.runs[0].first].UTC {
		return false
	}
	return true
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
		if k.cutAt(n, at, a, "daylight saving") {
			k.savingNotice(b)
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
	k.jumpNotice(i, b, step, why)
	return true
}

// change finds a change of civil time between two anchors that is as large as
// what the clock gained.
func (k *keeper) change(a, b anchor, step int64) (at int64, ok bool) {
	before := k.Site.Zone.OffsetAt(a.true)
	want := int64(k.Site.Zone.OffsetAt(b.true) - before)
	if k.runs[0].zone { // a civil clock that did not change
		want = -want
	}
	if want == 0 || abs(step-want) > 5*minute+int64(usual*float64(b.true-a.true)) {
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
// the clock as anchor a knows it.
func (k *keeper) cutAt(n int, at int64, a anchor, why string) bool {
	r := k.runs[n]
	for i := r.first; i <= r.last; i++ {
		if k.state[i] == good && i > a.row && k.base[i]-a.off() >= at {
			return k.split(n, i, why)
		}
	}
	return false
}

// stay returns the first row of a card's stay that begins between two anchors
// and before which the readings leave room for the step; -1 without one. Of
// several the first: the call at which a was noted.
func (k *keeper) stay(a, b anchor, step int64) int {
	for _, st := range k.Stints {
		i := k.follow(st.First)
		if i <= a.row || i < 0 || i > b.row {
			continue
		}
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
