package forge

import (
	"math/rand/v2"

	"doorleaf/usage"
)

// Notes says what people write down of their service calls. The zero Notes
// write down nothing.
type Notes struct {
	Removals float64 `json:"removals"` // probability that a card's removal is noted
	Minutes  float64 `json:"minutes"`  // probability that a time is noted to the minute, cut; else to some seconds
	Mistyped float64 `json:"mistyped"` // probability that a noted removal is off by an hour or a day
	Calls    float64 `json:"calls"`    // probability that a call is written down, with what was done
	Sets     float64 `json:"sets"`     // probability that it is written down that the clock was set
	Readings float64 `json:"readings"` // probability that what the clock showed is noted beside the true time
}

// How well people note a time, seconds.
const (
	noteMinuteS = 60
	noteSecondS = 5
)

// note writes down what people know of the site.
func (s *Site) note(rng *rand.Rand, installed int64) {
	n := s.Spec.Notes
	for i := range s.Cards {
		if !chance(rng, n.Removals) {
			continue
		}
		at, _ := n.time(rng, s.Cards[i].RemovedAt)
		if chance(rng, n.Mistyped) {
			at += pick(rng, int64(3600), -3600, 86400, -86400)
		}
		s.Cards[i].NotedAt = &at
	}
	if chance(rng, n.Sets) {
		s.noteSet(rng, installed, s.Spec.Clock.OffsetS, s.Spec.Clock.ErrorS, usage.CallCardIn)
	}
	sets := map[int64]ClockEvent{}
	for _, e := range s.Spec.Clock.Events {
		if e.Kind == ClockSet {
			sets[e.At] = e
		}
	}
	for _, c := range s.Calls {
		s.noteCall(rng, c)
		if e, ok := sets[c.At+setS]; ok && chance(rng, n.Sets) {
			s.noteSet(rng, e.At, e.OffsetS, e.ErrorS, usage.CallCoinCell)
		}
	}
	for i := range s.Noted {
		s.Noted[i].ID = int64(i + 1)
	}
}

// time returns an instant as it is noted, and how well it is known, seconds.
func (n Notes) time(rng *rand.Rand, at int64) (noted int64, errorS int32) {
	if chance(rng, n.Minutes) {
		return at - at%60, noteMinuteS
	}
	return at + rng.Int64N(2*noteSecondS+1) - noteSecondS, noteSecondS
}

// noteCall writes down a call and, now and then, what the clock showed in its
// opening.
func (s *Site) noteCall(rng *rand.Rand, c Call) {
	n := s.Spec.Notes
	kinds := []usage.CallKind{usage.CallRestock}
	if c.Out {
		kinds = append(kinds, usage.CallCardOut)
	}
	if c.In {
		kinds = append(kinds, usage.CallCardIn)
	}
	for _, t := range ofKind(s.Spec.Troubles, TroubleOutage) {
		if c.At >= t.until() && c.At < t.until()+86400 {
			kinds = append(kinds, usage.CallBatteries)
		}
	}
	if chance(rng, n.Calls) {
		at, errorS := n.time(rng, c.At)
		s.Noted = append(s.Noted, usage.ServiceCall{At: at, ErrorS: errorS, Kinds: kinds})
	}
	if c.Opening == usage.Unknown || !chance(rng, n.Readings) {
		return
	}
	r := s.written(c.Opening)
	if r == nil || r.Fault != ReadWell || r.Blank || r.Cut > 0 {
		return
	}
	at, errorS := n.time(rng, c.At)
	reading := r.Reading
	s.Noted = append(s.Noted, usage.ServiceCall{At: at, ErrorS: errorS, Kinds: []usage.CallKind{usage.CallTimeNoted}, Reading: &reading})
}

// written returns the row of an opening that reached a card which came home.
func (s *Site) written(opening int32) *Row {
	if int(opening) >= len(s.Written) {
		return nil
	}
	return &s.Written[opening]
}

// noteSet writes down that the clock was set at an instant and, for some fixed
// clocks, to what.
func (s *Site) noteSet(rng *rand.Rand, at int64, offsetS, errorS int32, also usage.CallKind) {
	noted, precision := s.Spec.Notes.time(rng, at)
	c := usage.ServiceCall{At: noted, ErrorS: precision, Kinds: []usage.CallKind{usage.CallClockSet, also}}
	if s.Spec.Clock.Keeping == usage.ClockFixed && chance(rng, 0.3) {
		reading := noted + int64(offsetS) + int64(errorS)
		c.Reading = &reading
	}
	s.Noted = append(s.Noted, c)
}
