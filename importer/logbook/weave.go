package logbook

import (
	"cmp"
	"slices"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// strand is a family with what is needed to lay it beside the others.
type strand struct {
	family
	order []int64  // by item: a reading that never decreases, to merge by
	cut   []bool   // by item: a card's stay in the logger ended with it
	lead  []int32  // by item: seconds that a card beginning here carries for the row before it, or Unknown
	out   []bool   // by item: the card came out in this opening
	when  []*int64 // by item: true instant at which the card came out in this opening
	ends  []*int64 // by item: when at the end of its stay
	id    string
}

// weave lays families that do not overlap beside each other: rotation makes
// the rows of two cards alternate. Each keeps its own order; between them the
// clock's readings decide.
func weave(cards []Card, families []family) Book {
	strands := make([]*strand, len(families))
	total := 0
	for i, f := range families {
		strands[i] = newStrand(cards, f)
		total += len(f.items)
	}
	slices.SortFunc(strands, func(a, b *strand) int { return cmp.Compare(a.id, b.id) })
	book := Book{Entries: make([]Entry, 0, total)}
	for _, s := range strands {
		book.Conflicts = append(book.Conflicts, s.conflicts...)
	}
	next := make([]int, len(strands))
	last := -1
	for len(book.Entries) < total {
		k := pickStrand(strands, next)
		book.take(strands[k], next[k], k != last)
		next[k]++
		last = k
	}
	return book
}

// pickStrand returns the strand whose next item has the smallest reading; of
// equals the first.
func pickStrand(strands []*strand, next []int) int {
	best := -1
	for k, s := range strands {
		if next[k] == len(s.items) {
			continue
		}
		if best < 0 || s.before(next[k], strands[best], next[best]) {
			best = k
		}
	}
	return best
}

// before reports whether item i of s comes before item j of t: by reading, and
// where a clock that stood still makes these equal, by when the cards came out.
func (s *strand) before(i int, t *strand, j int) bool {
	if s.order[i] != t.order[j] {
		return s.order[i] < t.order[j]
	}
	a, b := s.ends[i], t.ends[j]
	return a != nil && b != nil && *a < *b
}

// take appends item i of a strand to the book. A new stint begins where the
// strand changes or the card had come out.
func (b *Book) take(s *strand, i int, changed bool) {
	it := s.items[i]
	n := len(b.Entries)
	if changed || i > 0 && s.cut[i-1] {
		if lead := s.lead[i]; n > 0 && lead != usage.Unknown && b.Entries[n-1].OpenS == usage.Unknown {
			b.Entries[n-1].OpenS = lead
		}
		b.Stints = append(b.Stints, Stint{First: n})
	}
	st := &b.Stints[len(b.Stints)-1]
	st.Last = n
	if s.cut[i] {
		st.RemovedAt = s.when[i]
	}
	b.Entries = append(b.Entries, Entry{it.card, it.row, it.open, int32(len(b.Stints) - 1), s.out[i]})
}

func newStrand(cards []Card, f family) *strand {
	n := len(f.items)
	s := &strand{family: f, cut: make([]bool, n), out: make([]bool, n), lead: make([]int32, n), when: make([]*int64, n)}
	for i := range s.lead {
		s.lead[i] = usage.Unknown
	}
	s.id = cards[f.items[0].card].ID
	for _, sp := range f.spans {
		s.mark(cards, sp)
	}
	s.ends = make([]*int64, n)
	var end *int64
	for i := n - 1; i >= 0; i-- {
		if s.cut[i] {
			end = s.when[i]
		}
		s.ends[i] = end
	}
	s.order = ordering(f.items, s.cut, s.ends)
	return s
}

// mark notes where a card begins and ends in its family. Its last row is the
// opening in which it came out when that row lacks the seconds which other rows
// have, or when somebody noted the removal.
func (s *strand) mark(cards []Card, sp span) {
	c := cards[sp.card]
	last := sp.to - 1
	s.cut[last] = true
	rows := c.File.Rows
	end := rows[len(rows)-1]
	if c.RemovedAt != nil || end.OpenS == usage.Unknown && end.Event != cardfile.Close && writesSeconds(c) {
		s.out[last] = true
	}
	if c.RemovedAt != nil && (s.when[last] == nil || *c.RemovedAt < *s.when[last]) {
		s.when[last] = c.RemovedAt
	}
	if c.File.LeadingS != usage.Unknown {
		s.lead[sp.from] = c.File.LeadingS
	}
	if c.File.Pairs && s.out[last] {
		s.items[last].open = usage.Unknown // a close that follows comes from another stay
	}
	s.id = min(s.id, c.ID)
}

// writesSeconds reports whether the card's rows have open seconds at all. A
// card of one row may not tell; then its columns do.
func writesSeconds(c Card) bool {
	for i := range c.File.Rows {
		if c.File.Rows[i].OpenS != usage.Unknown {
			return true
		}
	}
	return c.File.LeadingS != usage.Unknown || slices.Contains(c.File.Dialect.Columns, "seconds")
}

// none is the order of an item of which nothing is known.
const none = -1 << 62

// ordering gives every item a reading to merge by that never decreases: its own
// where it is clear and no later row contradicts it; else that of the row
// before; and at the start of a stay that of the first good row after or, in a
// stay without one, the time at which the card came out.
func ordering(items []item, cut []bool, ends []*int64) []int64 {
	own := credible(items)
	ahead := lookAhead(own, cut)
	order := make([]int64, len(items))
	last := int64(none)
	fresh := true // no good row yet in this stay
	for i := range items {
		switch {
		case own[i] != none:
			last, fresh = own[i], false
		case fresh && ahead[i] != none:
			last = max(last, ahead[i])
		case fresh && ends[i] != nil:
			last = max(last, *ends[i])
		}
		order[i] = last
		fresh = fresh || cut[i]
	}
	return order
}

// credible returns the readings of clear rows that no later row undercuts, and
// none for the rest.
func credible(items []item) []int64 {
	own := make([]int64, len(items))
	low := int64(1) << 62
	for i := len(items) - 1; i >= 0; i-- {
		own[i] = none
		if items[i].clear && items[i].reading <= low {
			own[i], low = items[i].reading, items[i].reading
		}
	}
	return own
}

// lookAhead returns the first credible reading of each item's stay from it on.
func lookAhead(own []int64, cut []bool) []int64 {
	out := make([]int64, len(own))
	ahead := int64(none)
	for i := len(own) - 1; i >= 0; i-- {
		if cut[i] {
			ahead = none
		}
		if own[i] != none {
			ahead = own[i]
		}
		out[i] = ahead
	}
	return out
}
