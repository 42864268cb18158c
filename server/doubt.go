package server

import (
	"cmp"
	"context"
	"slices"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// What speaks for or against a site beside a card's tag, rows and folder. It never
// decides: it asks. Common practice, no source.
const (
	// The next opening after a card was put in comes within so long, by the same clock
	// as the last row of the card that came out.
	followS = 36 * 3600
	// Any other site's must be so many times as far off, and so far at least.
	followTimes = 3
	followLeast = 3600
	// One logger writes one card at a time, so that two cards of one site that share
	// no row share no week either; a few days may come of a clock that was set.
	clashDays = 7
	clashRows = 10
	// So many cards are held against each other; more at once are judged one by one.
	besideMost = 64
	// A reading before this is of a clock that was never set.
	setClock = 978307200 // 2001-01-01 00:00:00
)

// keptSpans are the kept cards of each site that have a span, by code.
type keptSpans map[string][]store.Card

func (s *server) keptSpans(ctx context.Context, sites []store.SiteSummary) (keptSpans, error) {
	all := keptSpans{}
	for _, site := range sites {
		cards, err := s.Store.Cards(ctx, site.Code)
		if err != nil {
			return nil, err
		}
		all[site.Code] = slices.DeleteFunc(cards, func(c store.Card) bool { return c.First == nil || *c.First < setClock })
	}
	return all, nil
}

// spanOf returns the first and last reading of a card file; ok is false where it has
// none that a clock that was set has written.
func spanOf(g *glance) (first, last int64, ok bool) {
	if g == nil || g.first == nil || *g.first < setClock || *g.last < *g.first {
		return 0, 0, false
	}
	return *g.first, *g.last, true
}

// following finds the site whose last kept card ends just before a card begins, as
// when one card goes out and the next one comes in. after is the gap, seconds; code is
// "" where no site is near, or not one more than all others.
func (k keptSpans) following(g *glance) (code string, after int64) {
	first, _, ok := spanOf(g)
	if !ok {
		return "", 0
	}
	type gap struct {
		code string
		s    int64
	}
	var gaps []gap
	for code, cards := range k {
		end := int64(0)
		for _, c := range cards {
			end = max(end, *c.Last)
		}
		if end > 0 && first >= end {
			gaps = append(gaps, gap{code, first - end})
		}
	}
	slices.SortFunc(gaps, func(a, b gap) int { return cmp.Or(cmp.Compare(a.s, b.s), cmp.Compare(a.code, b.code)) })
	if len(gaps) == 0 || gaps[0].s > followS || len(gaps) > 1 && gaps[1].s < max(followTimes*gaps[0].s, followLeast) {
		return "", 0
	}
	return gaps[0].code, gaps[0].s
}

// clash returns for how many days other cards of a site say that they were in its
// logger while a card was too, though they share no row with it; 0 for no more than
// can be. cards are those on the tray for the same site.
func (k keptSpans) clash(c *readCard, code string, cards []*readCard) (days int, other string) {
	first, last, ok := spanOf(c.read)
	if !ok || c.read.rows < clashRows || slices.ContainsFunc(c.overlap, func(o store.Overlap) bool { return o.Site == code }) {
		return 0, ""
	}
	var held []usage.Stretch
	for _, kept := range k[code] {
		if kept.Rows >= clashRows {
			held = append(held, usage.Stretch{From: max(first, *kept.First), To: min(last, *kept.Last)})
		}
	}
	for _, o := range cards[:min(len(cards), besideMost)] {
		from, to, ok := spanOf(o.read)
		if o != c && ok && o.id != c.id && o.read.rows >= clashRows && store.SharedRows(c.read.stamps, o.read.stamps) == 0 {
			from, to = max(first, from), min(last, to)
			if int((to-from)/86400) >= clashDays {
				other = o.label
			}
			held = append(held, usage.Stretch{From: from, To: to})
		}
	}
	if days = int(together(held) / 86400); days < clashDays {
		return 0, ""
	}
	return days, other
}

// together is how long stretches last together, seconds; what two of them share is
// counted once, and those that end before they begin not at all.
func together(held []usage.Stretch) int64 {
	held = slices.DeleteFunc(held, func(s usage.Stretch) bool { return s.To <= s.From })
	slices.SortFunc(held, func(a, b usage.Stretch) int { return cmp.Compare(a.From, b.From) })
	sum, end := int64(0), int64(0)
	for _, s := range held {
		if from := max(s.From, end); s.To > from {
			sum += s.To - from
			end = s.To
		}
	}
	return sum
}

// doubt asks about a card that is to be kept at a site although something speaks
// against it; "" where nothing does.
func (d *desk) doubt(say *words.Words, c *readCard, code string) string {
	if code == "" || c.kept == code {
		return ""
	}
	if says := question(say, c, code, d.sites); says != "" {
		return says
	}
	name := nameOf(d.sites, code)
	if c.told == code && c.by != "" {
		return c.by
	}
	if slices.ContainsFunc(c.overlap, func(o store.Overlap) bool { return o.Site == code }) {
		return ""
	}
	if days, other := d.kept.clash(c, code, d.of(code)); days > 0 {
		return web.ClashQuestion(say, days, name, other)
	}
	if follows, after := d.kept.following(c.read); follows != "" && follows != code && len(d.kept[code]) > 0 {
		return web.FollowsOther(say, after, nameOf(d.sites, follows), name)
	}
	return ""
}

// of are the cards of a desk that are meant for a site.
func (d *desk) of(code string) []*readCard {
	var cards []*readCard
	for i := range d.cards {
		if c := &d.cards[i]; c.read != nil && c.given.site == code && c.given.keep {
			cards = append(cards, c)
		}
	}
	return cards
}

// place proposes a site for the cards that neither tag nor rows nor folder tell, by
// what the other cards and the ends of the logbooks say, and notes what is doubtful.
func (d *desk) place(say *words.Words) {
	for i := range d.cards {
		d.twins(say, i)
	}
	for i := range d.cards {
		c := &d.cards[i]
		if c.read == nil || c.given.site != "" || c.advice.held != "" {
			continue
		}
		if code, after := d.kept.following(c.read); code != "" {
			c.propose(code, web.WhyFollows(say, after), web.FollowsQuestion(say, after, nameOf(d.sites, code)))
		} else if code := d.byHand(c); code != "" {
			c.propose(code, say.Say(web.WhyHand), web.HandQuestion(say, nameOf(d.sites, code)))
		}
	}
	d.lastOne(say)
	for i := range d.cards {
		c := &d.cards[i]
		if c.read != nil && c.held == "" {
			c.held = d.doubt(say, c, c.given.site)
		}
	}
}

// propose suggests a site that must be confirmed.
func (c *readCard) propose(code, why, asks string) {
	c.given.site, c.why, c.told, c.by = code, why, code, asks
}

// twins looks for a card among the others on the tray that holds the same bytes, or
// rows of it, and lets a card without a site share that one's.
func (d *desk) twins(say *words.Words, i int) {
	c := &d.cards[i]
	if c.read == nil {
		return
	}
	for n := range d.cards {
		o := &d.cards[n]
		switch {
		case n == i || o.read == nil:
		case o.id == c.id && n < i:
			c.twin = o.label
			if c.given.site == "" && o.given.site != "" {
				c.given.site, c.why = o.given.site, web.WhyTwin(say, o.label)
			}
		case len(d.cards) <= besideMost && o.id != c.id && c.given.site == "" && c.advice.held == "" && o.given.site != "" && o.told == "":
			if rows := store.SharedRows(c.read.stamps, o.read.stamps); rows > 0 {
				c.given.site, c.why = o.given.site, web.WhyShared(say, rows, o.label)
			}
		}
	}
}

// lastOne proposes the one site without a card for the one card without a site.
func (d *desk) lastOne(say *words.Words) {
	var lone *readCard
	without := map[string]bool{}
	for _, site := range d.sites {
		without[site.Code] = true
	}
	for i := range d.cards {
		c := &d.cards[i]
		delete(without, c.given.site)
		if c.read == nil || c.given.site != "" || c.advice.held != "" || c.read.rows == 0 {
			continue
		}
		if lone != nil {
			return
		}
		lone = c
	}
	if lone == nil || len(without) != 1 || len(d.sites) < 3 {
		return
	}
	for code := range without {
		name := nameOf(d.sites, code)
		lone.propose(code, say.Say(web.WhyLast), web.LastQuestion(say, name))
	}
}
