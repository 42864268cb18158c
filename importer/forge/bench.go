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
	bad    spells
	missed []Missed
}

// run plays all openings. Those after the last removal are on no card that came
// home, and are dropped.
func (b *bench) run(openings []Opening) {
	home, lost := 0, 0 // openings on cards that came home; missed before the last of them did
	for _, o := range openings {
		if b.play(o) {
			home, lost = len(b.site.Openings), len(b.missed)
		}
	}
	s := b.site
	s.Openings, s.Written, s.Missed = s.Openings[:home:home], b.logger.written[:home:home], b.missed[:lost:lost]
}

// play plays one opening and says whether a card came out in it.
func (b *bench) play(o Opening) (came bool) {
	s, opening := b.site, int32(usage.Unknown)
	off := b.bad.lasts(TroubleOutage, o.At)
	fault := b.bad.read(o.At)
	switch torn := b.bad.strikes(TroubleTorn, o.At); {
	case off:
		b.missed = append(b.missed, Missed{o, TroubleOutage})
	case b.logger.open(o.At, fault, torn):
		opening = int32(len(s.Openings))
		s.Openings = append(s.Openings, o)
	default:
		b.missed = append(b.missed, Missed{o, TroubleAway})
	}
	if o.Call != usage.Unknown {
		s.Calls[o.Call].Opening = opening
		came = b.serve(s.Calls[o.Call])
	}
	if off {
		return came
	}
	b.logger.shut(o.At, o.OpenS, opening, fault)
	if b.bad.strikes(TroubleLost, o.At) {
		b.logger.counter = usage.Unknown
	}
	return came
}

// serve takes the card out and puts one in, and says whether one came out.
func (b *bench) serve(c Call) (came bool) {
	l := b.logger
	if c.Out && l.card != nil {
		b.take(c)
		b.ready, l.card, came = b.next(l.card), nil, true
	}
	if c.In && l.card == nil {
		l.card = b.ready
	}
	return came
}

// take keeps the file of the card that is taken out in a call.
func (b *bench) take(call Call) {
	l, s := b.logger, b.site
	if nul := b.bad[TroubleNUL]; len(nul) > 0 && call.At >= nul[0].At {
		l.card.spoil(l.pen, nul[0].Count)
		b.bad[TroubleNUL] = nul[1:]
	}
	c := l.card.file(l.pen)
	c.RemovedAt = call.At + 5 + b.rng.Int64N(15)
	y, m, d := time.Unix(call.At, 0).In(b.zone).Date()
	c.site, c.Name, c.Date, c.Opening = s.Spec.Code, s.Spec.Dialect.File, usage.DateOf(y, m, d), call.Opening
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
