package forge

import (
	"math/rand/v2"
	"time"

	"doorleaf/usage"
)

// bench plays a site's time through: openings come to the logger, calls take
// its cards and bring them.
type bench struct {
	site   *Site
	zone   *time.Location
	rng    *rand.Rand
	logger *logger
	spare  *medium // the card at home, in rotation
	ready  *medium // the card to be put in next
	ff     []Trouble
	nul    []Trouble
}

// run plays all openings. Those after the last removal are on no card that came
// home, and are dropped.
func (b *bench) run(openings []Opening) {
	home := 0 // openings on cards that came home
	for _, o := range openings {
		s, rubbish := b.site, b.rubbish(o.At)
		opening := int32(len(s.Openings))
		if b.logger.open(o.At, rubbish) {
			s.Openings = append(s.Openings, o)
		} else {
			opening = usage.Unknown
		}
		if o.Call != usage.Unknown {
			s.Calls[o.Call].Opening = opening
			if b.serve(s.Calls[o.Call]) {
				home = len(s.Openings)
			}
		}
		b.logger.shut(o.At, o.OpenS, opening, rubbish)
	}
	b.site.Openings, b.site.Written = b.site.Openings[:home:home], b.logger.written[:home:home]
}

// rubbish says whether the clock chip does not answer at this opening.
func (b *bench) rubbish(at int64) bool {
	if len(b.ff) == 0 || at < b.ff[0].At {
		return false
	}
	if b.ff[0].Count--; b.ff[0].Count <= 0 {
		b.ff = b.ff[1:]
	}
	return true
}

// serve takes the card out and puts one in, and says whether one came out.
func (b *bench) serve(c Call) (came bool) {
	l := b.logger
	if c.Out && l.card != nil {
		b.take(c.At)
		b.ready, l.card, came = b.next(l.card), nil, true
	}
	if c.In && l.card == nil {
		l.card = b.ready
	}
	return came
}

// take keeps the file of the card that is taken out in the opening that began
// at the given instant.
func (b *bench) take(at int64) {
	l, s := b.logger, b.site
	if len(b.nul) > 0 && at >= b.nul[0].At {
		l.card.spoil(l.pen, b.nul[0].Count)
		b.nul = b.nul[1:]
	}
	c := l.card.file(l.pen)
	c.RemovedAt = at + 5 + b.rng.Int64N(15)
	y, m, d := time.Unix(at, 0).In(b.zone).Date()
	c.site, c.Name, c.Date = s.Spec.Code, s.Spec.Dialect.File, usage.DateOf(y, m, d)
	s.Cards = append(s.Cards, c)
}

// next returns the card that follows the one taken out.
func (b *bench) next(out *medium) *medium {
	in := newMedium()
	switch b.site.Spec.Rounds.Kind {
	case Growing:
		in = out
	case Rotation:
		if b.spare != nil {
			in = b.spare
		}
		b.spare = out
	}
	return in
}
