package clock

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"doorleaf/usage"
)

// slopeOf is how many seconds the clock gained a second from a to b.
func slopeOf(a, b anchor) float64 {
	return float64(b.off()-a.off()) / max(float64(b.true-a.true), 1)
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

	// Of such a clock: how many pairs of known times show it, and by how much the
	// drift that one shows differs at the most from the middle one.
	pairs   int
	scatter float64
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

// scattered finds out how steady a clock is that goes wrong beyond belief, from what
// is left of its anchors once those noted wrongly are left out.
func (k *keeper) scattered() {
	for _, r := range k.runs {
		for j := 0; r.steep && j+1 < len(r.anchors); j++ {
			a, b := r.anchors[j], r.anchors[j+1]
			if b.true-a.true < 3*day {
				continue
			}
			miss := float64(a.errorS+b.errorS) / float64(b.true-a.true)
			k.own.pairs++
			k.own.scatter = max(k.own.scatter, math.Abs(slopeOf(a, b)-k.own.drift)-miss)
		}
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
