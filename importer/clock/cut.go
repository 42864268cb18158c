package clock

import (
	"fmt"

	"doorleaf/usage"
)

// cut cuts the logbook into runs where the readings themselves show that the
// clock was disturbed.
func (k *keeper) cut() {
	last, woke := -1, false
	for i := range k.Rows {
		woke = woke || k.woke[i]
		if k.state[i] == none {
			continue
		}
		why := k.breaks(last, i)
		if why == "" && woke {
			why = "stood still"
		}
		if why != "" {
			k.runs = append(k.runs, run{first: i, state: k.state[i], why: why, zone: k.followsZone(i)})
		}
		k.runs[len(k.runs)-1].last = i
		last, woke = i, false
	}
	k.buildTimes()
}

func (k *keeper) followsZone(i int) bool {
	return k.Site.Keeping == usage.ClockCivil && k.state[i] == good && !k.Rows[i].UTC
}

// breaks says why a run begins at row i after row last, or "" if none does.
func (k *keeper) breaks(last, i int) string {
	switch {
	case last < 0 && k.state[i] == lost:
		return "no date"
	case last < 0:
		return "first row"
	case k.state[i] == lost && (k.state[last] == good || k.Rows[i].Timed != k.Rows[last].Timed):
		return "date lost"
	case k.state[i] == good && k.state[last] == lost:
		return "date again"
	case k.base[i] < k.base[last]-k.slack(i):
		return "step back"
	}
	return ""
}

// slack is how far a reading may lie before the last one without being a step
// back: not at all, but in the hour that comes twice, where the base of a civil
// clock may be either.
func (k *keeper) slack(i int) int64 {
	if !k.followsZone(i) {
		return 0
	}
	if _, _, kind := k.Site.Zone.Resolve(k.Rows[i].Reading); kind == usage.Overlap {
		return hour
	}
	return 0
}

// sameMoment is how far apart, in seconds, the beginnings of runs may lie that
// firmware makes by setting the clock at each start.
const sameMoment = 120

// buildTimes finds clocks that return to one moment again and again: firmware
// that sets the clock to its build time whenever it gets power. Their dates
// mean nothing.
func (k *keeper) buildTimes() {
	starts := map[int64][]int{}
	for n, r := range k.runs {
		if n > 0 && r.state == good && r.why == "step back" {
			slot := k.base[r.first] / sameMoment
			starts[slot] = append(starts[slot], n)
		}
	}
	for slot, list := range starts {
		both := len(list) + len(starts[slot+1])
		if both < 3 || len(starts[slot-1]) > 0 && len(list) < 3 {
			continue
		}
		k.returns(append(list, starts[slot+1]...))
	}
}

func (k *keeper) returns(list []int) {
	moment := k.base[k.runs[list[0]].first]
	var rows []int
	for n := range k.runs {
		r := &k.runs[n]
		if r.state != good || abs(k.base[r.first]-moment) > sameMoment {
			continue
		}
		r.state, r.why = lost, "back to the same moment"
		for i := r.first; i <= r.last; i++ {
			if k.state[i] == good {
				k.state[i] = lost
			}
		}
		rows = append(rows, r.first)
	}
	if len(rows) == 0 {
		return
	}
	k.notice(Notice{
		Kind: "clock reset", Rows: rows[:min(len(rows), 20)], Stint: -1,
		Says:    fmt.Sprintf("the clock went back to the same moment %d times: its program sets it whenever it starts. Set the clock once, and take that line out of the program", len(rows)),
		Changes: "The openings are counted, in no hour or day unless a known time dates them.",
	})
}

// split cuts run n in two before row i and returns whether there is a row on
// each side. The second part takes the anchors whose rows lie in it.
func (k *keeper) split(n, i int, why string) bool {
	r := k.runs[n]
	if i <= r.first || i > r.last {
		return false
	}
	before := i - 1
	for before > r.first && k.state[before] == none {
		before--
	}
	after := k.follow(i)
	left, right := r, r
	left.last, right.first, right.why = before, after, why
	left.anchors, right.anchors = nil, nil
	for _, a := range r.anchors {
		if a.row >= after || a.row < 0 && a.base >= k.base[after] {
			right.anchors = append(right.anchors, a)
		} else {
			left.anchors = append(left.anchors, a)
		}
	}
	k.runs = append(k.runs[:n+1], append([]run{right}, k.runs[n+1:]...)...)
	k.runs[n] = left
	return true
}

// runOf returns the number of the run that holds row i, or -1.
func (k *keeper) runOf(i int) int {
	lo, hi := 0, len(k.runs)
	for lo < hi {
		mid := (lo + hi) / 2
		if k.runs[mid].last < i {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo < len(k.runs) && k.runs[lo].first <= i && k.state[i] != none {
		return lo
	}
	return -1
}
