package importer

import "doorleaf/usage"

// cardInReachS is how much earlier than the last card's end the noted time of a
// call may lie that put the next card in: people note whole minutes, and clocks
// err. Common practice, no source.
const cardInReachS = 10 * 60

// sinceCardIn begins each stretch at the "card in" that was logged before it, where
// no later call took a card out again. Stretches are ascending and disjoint.
//
// Without that a stretch begins with the first opening of its card, and the quiet
// time before it is lost: a rate over what is left is the higher the fewer visits
// there are.
func (d *deriver) sinceCardIn(stretches []usage.Stretch) []usage.Stretch {
	end := d.zone.StartOfDay(d.site.InstalledOn)
	for i := range stretches {
		s := &stretches[i]
		if at, ok := d.lastCardIn(end-cardInReachS, s.From); ok {
			s.From = max(at, end)
		}
		end = s.To
	}
	return stretches
}

// lastCardIn returns the time of the last call in [from, to) that handled a card, if
// it left one in the logger.
func (d *deriver) lastCardIn(from, to int64) (at int64, ok bool) {
	for _, c := range d.lb.Calls { // by time
		switch {
		case c.At < from || c.At >= to:
		case c.Did(usage.CallCardIn):
			at, ok = c.At, true
		case c.Did(usage.CallCardOut):
			ok = false
		}
	}
	return at, ok
}
