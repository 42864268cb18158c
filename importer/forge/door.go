package forge

import (
	"math"
	"math/rand/v2"
	"slices"

	"doorleaf/usage"
)

// Opening is one true opening of a door.
type Opening struct {
	At    int64       // Unix seconds
	OpenS int32       // seconds that the door truly stood open
	Visit int32       // 1-based number of its visit at this site, or usage.Unknown
	Class usage.Class // by what it truly was
	Call  int32       // index of the service call that it belongs to, or usage.Unknown
}

// arrival is somebody, or the wind, at the door.
type arrival struct {
	at    int64
	class usage.Class // Visitor, Service or Rattle
	call  int32
}

// merge puts arrivals in order of time; where two come together, the service
// call is first, then the visitor.
func merge(lists ...[]arrival) []arrival {
	rank := [...]int{usage.Visitor: 1, usage.Service: 0, usage.Rattle: 2, usage.Ajar: 3}
	all := slices.Concat(lists...)
	slices.SortStableFunc(all, func(a, b arrival) int {
		if a.at != b.at {
			return int(min(1, max(-1, a.at-b.at)))
		}
		return rank[a.class] - rank[b.class]
	})
	return all
}

// Limits of the made-up doors, seconds. Whoever comes while somebody else has
// the door open waits; whoever comes while it stands ajar takes a book without
// opening it, which no logger sees.
const (
	shortestVisitS = 2       // usage's rattle limit: below it, an opening is a rattle
	longestVisitS  = 25 * 60 // below usage's ajar limit
	longestGapS    = 90      // from a visitor's close to the same visitor's next opening
)

// door turns arrivals into openings that never overlap.
type door struct {
	c         Character
	rng       *rand.Rand
	forced    []int64 // the first visitor from each of these on leaves the door ajar
	out       []Opening
	free      int64 // the first second at which the door can be opened
	ajarUntil int64
	visits    int32
}

// openings returns what the door does with arrivals, which are in order.
func (d *door) openings(arrivals []arrival) []Opening {
	calls := make([]int64, 0, 64)
	for _, a := range arrivals {
		if a.class == usage.Service {
			calls = append(calls, a.at)
		}
	}
	for _, a := range arrivals {
		switch {
		case a.class == usage.Service:
			calls = calls[1:]
			d.service(a)
		case a.at < d.ajarUntil: // nothing to open
		case a.class == usage.Rattle:
			d.add(a.at, d.rng.Int32N(2), usage.Unknown, usage.Rattle)
		default:
			next := int64(math.MaxInt64)
			if len(calls) > 0 {
				next = calls[0]
			}
			d.visit(a.at, next)
		}
	}
	return d.out
}

func (d *door) add(at int64, openS, visit int32, class usage.Class) {
	at = max(at, d.free)
	d.out = append(d.out, Opening{at, openS, visit, class, usage.Unknown})
	d.free = at + int64(openS) + 1
}

// service is a volunteer's opening of one to ten minutes.
func (d *door) service(a arrival) {
	d.add(a.at, clampS(150*math.Exp(0.5*d.rng.NormFloat64()), 60, 600), usage.Unknown, usage.Service)
	d.out[len(d.out)-1].Call = a.call
}

// visit is one visitor's openings. A door left ajar is shut before the next
// service call.
func (d *door) visit(at, nextCall int64) {
	d.visits++
	for first := true; first || chance(d.rng, d.c.Again); first = false {
		at = max(at, d.free)
		openS, class := d.openS(), usage.Visitor
		if first && d.leavesAjar(at) {
			openS, class = d.ajarS(max(0, nextCall-at-1))
			d.ajarUntil = at + int64(openS)
		}
		d.add(at, openS, d.visits, class)
		if class == usage.Ajar {
			return
		}
		if chance(d.rng, d.c.Bounce) {
			d.add(d.free+d.rng.Int64N(2), d.rng.Int32N(2), usage.Unknown, usage.Rattle)
		}
		at = d.free + d.rng.Int64N(longestGapS)
	}
}

func (d *door) openS() int32 {
	return clampS(d.c.OpenS*math.Exp(d.c.OpenSigma*d.rng.NormFloat64()), shortestVisitS, longestVisitS)
}

func (d *door) leavesAjar(at int64) bool {
	by := chance(d.rng, d.c.Ajar)
	if len(d.forced) > 0 && at >= d.forced[0] {
		d.forced, by = d.forced[1:], true
	}
	return by
}

// ajarS draws 31 minutes to 11 hours, but at most limit seconds; a limit
// within usage's ajar limit makes it an ordinary opening.
func (d *door) ajarS(limit int64) (int32, usage.Class) {
	s := min(int64(clampS(9000*math.Exp(0.8*d.rng.NormFloat64()), 31*60, 11*3600)), limit)
	if s > int64(usage.DefaultThresholds.AjarS) {
		return int32(s), usage.Ajar
	}
	return clampS(float64(s), shortestVisitS, longestVisitS), usage.Visitor
}

// clampS rounds s down to whole seconds within [low, high].
func clampS(s float64, low, high int32) int32 {
	return int32(min(float64(high), max(float64(low), s)))
}
