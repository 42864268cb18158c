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
	own   []int64  // by item: its reading where that is credible; or none
	order []int64  // by item: a reading that never decreases, to merge by
	cut   []bool   // by item: a card's stay in the logger ended with it
	lead  []int32  // by item: seconds that a card beginning here carries for the row before it, or Unknown
	out   []bool   // by item: the card came out in this opening
	when  []*int64 // by item: true instant at which the card came out in this opening
	exact []bool   // by item: when is to the second
	stay  []*stay  // by item
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
	if len(strands) > 1 {
		arrange(strands)
	}
	book := Book{Entries: make([]Entry, 0, total)}
	for _, s := range strands {
		book.Conflicts = append(book.Conflicts, s.conflicts...)
	}
	next := make([]int, len(strands))
	last := -1
	for range total {
		k := pickStrand(strands, next)
		if book.take(strands[k], next[k], k != last) {
			last = k
		}
		next[k]++
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
		if best < 0 || len(strands) > 1 && s.before(next[k], strands[best], next[best]) {
			best = k
		}
	}
	return best
}

// before reports whether item i of s comes before item j of t. A logger holds
// one card at a time: where the stays of both hardly overlap by their readings
// and it is known when the cards came out, the whole of one comes before the
// other. Stays that overlap by more were interrupted by others, unless the clock
// was astray when one of the cards came out. Else rows are
// merged by reading; where a disturbed clock makes these equal, by when the
// cards came out, by which stay began first (a reading that is written again and
// again may go on from one card to the next), and then by what the clock did read.
func (s *strand) before(i int, t *strand, j int) bool {
	p, q := s.stay[i], t.stay[j]
	if (!p.interrupts(q) || p.astray() || q.astray()) && p.end != nil && q.end != nil && *p.end != *q.end {
		return *p.end < *q.end
	}
	if s.order[i] != t.order[j] {
		return s.order[i] < t.order[j]
	}
	if p.end != nil && q.end != nil && *p.end != *q.end {
		return *p.end < *q.end
	}
	if s.own[i] == none && t.own[j] == none && s.begins(i) != t.begins(j) {
		return t.begins(j) // a stay that goes on ends before another begins
	}
	if (s.own[i] == none) != (t.own[j] == none) {
		return t.own[j] == none // which comes after the credible reading that it is merged by
	}
	if p.low != none && q.low != none && p.low != q.low {
		return p.low < q.low
	}
	x, y := &s.items[i], &t.items[j]
	return x.timed && y.timed && x.reading < y.reading
}

// stay is what is known of one stay of a card in the logger.
type stay struct {
	low, high int64  // first and last credible reading; none
	end       *int64 // true instant at which the card came out
}

// slack is by how many seconds the readings of two stays that follow each other
// may overlap: a clock that was set back between them.
const slack = 26 * 3600

func (p *stay) interrupts(q *stay) bool {
	return p.low != none && q.low != none && min(p.high, q.high)-max(p.low, q.low) > slack
}

// astray reports whether the readings of a stay end elsewhere than it did: the
// clock showed another date (its program's, perhaps), or the logger was dead.
func (p *stay) astray() bool {
	return p.end != nil && p.high != none && (p.high < *p.end-slack || p.high > *p.end+slack)
}

// stays gives every item its stay.
func stays(own []int64, cut []bool, when []*int64) []*stay {
	out := make([]*stay, len(own))
	var now *stay
	for i := len(own) - 1; i >= 0; i-- {
		if now == nil || cut[i] {
			now = &stay{low: none, high: none, end: when[i]}
		}
		if own[i] != none {
			now.low = own[i]
			now.high = max(now.high, own[i])
		}
		out[i] = now
	}
	return out
}

// take appends item i of a strand to the book, and reports whether it did. A new
// stint begins where the strand changes or the card had come out.
func (b *Book) take(s *strand, i int, changed bool) (taken bool) {
	it := s.items[i]
	n := len(b.Entries)
	changed = changed || i > 0 && s.cut[i-1]
	if it.closes && (i == 0 || changed) {
		b.close(it)
		return false
	}
	if changed || n == 0 {
		if lead := s.lead[i]; n > 0 && lead != usage.Unknown && b.Entries[n-1].OpenS == usage.Unknown {
			b.Entries[n-1].OpenS = lead
		}
		b.Stints = append(b.Stints, Stint{First: n, Loose: s.loose(i)})
	}
	st := &b.Stints[len(b.Stints)-1]
	st.Last = n
	if s.cut[i] {
		st.RemovedAt, st.RemovedExact = s.when[i], s.exact[i]
	}
	b.Entries = append(b.Entries, Entry{it.card, it.row, it.open, int32(len(b.Stints) - 1), s.out[i]})
	b.lastReading, b.lastTimed = it.reading, it.timed
	return true
}

// loose reports whether nothing tells where the stay of item i lies among the other
// strands: it has no credible reading, and nobody noted when its card came out. A
// strand that is alone is never loose, and has no stays.
func (s *strand) loose(i int) bool {
	return s.stay != nil && s.stay[i].low == none && s.stay[i].end == nil
}

// close ends the opening in which the cards were changed: its open row is the
// last on the card that came out, its close row the first on the one that went
// in. Without such an open row the close row says nothing that can be counted.
func (b *Book) close(it item) {
	if n := len(b.Entries); n > 0 && b.Entries[n-1].OpenS == usage.Unknown && it.timed && b.lastTimed {
		if took := it.reading - b.lastReading; took >= 0 && took <= longestChange {
			b.Entries[n-1].OpenS = int32(took)
		}
	}
}

// longestChange is the longest that changing a card may take, seconds.
const longestChange = 6 * 3600

func newStrand(cards []Card, f family) *strand {
	n := len(f.items)
	s := &strand{family: f, cut: make([]bool, n), out: make([]bool, n), lead: make([]int32, n), when: make([]*int64, n), exact: make([]bool, n)}
	for i := range s.lead {
		s.lead[i] = usage.Unknown
	}
	s.id = cards[f.items[0].card].ID
	for _, sp := range f.spans {
		s.mark(cards, sp)
	}
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
		s.when[last], s.exact[last] = c.RemovedAt, c.RemovedExact
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

// arrange gives every item of every strand a reading to merge by that never
// decreases along its strand: its own where it is credible. Rows without one
// (after a reset, misread, from a clock that stood still) come after the last
// credible reading that any card has from before that disturbance; among
// themselves the readings that they do have decide. At the beginning of a stay
// without anything credible before it, the first credible reading after it or
// the time at which the card came out stands in.
func arrange(strands []*strand) {
	var ends []ending
	for _, s := range strands {
		s.own = s.credible()
		ends = appendEnds(ends, s)
	}
	slices.SortFunc(ends, func(a, b ending) int { return cmp.Compare(a.at, b.at) })
	for _, s := range strands {
		s.stay = stays(s.own, s.cut, s.when)
	}
	for _, s := range strands {
		s.disbelieve(strands)
	}
	for _, s := range strands {
		s.order = ordering(s, ends)
	}
}

// disbelieve takes the readings for nothing of a card that was in the logger once
// and came out long after they say, if another card has the same days: one of the
// two has them from a clock that was astray, and this one is known to.
func (s *strand) disbelieve(all []*strand) {
	p := s.stay[0]
	if p != s.stay[len(s.stay)-1] || !p.astray() || p.high > *p.end {
		return
	}
	for _, t := range all {
		for i, q := range t.stay {
			if t != s && (i == 0 || q != t.stay[i-1]) && p.interrupts(q) && !q.astray() {
				for j := range s.own {
					s.own[j] = none
				}
				*p = stay{low: none, high: none, end: p.end}
				return
			}
		}
	}
}

// ending is a credible reading after which a disturbance follows on the card.
type ending struct {
	at    int64
	tail  int64 // the last reading of the disturbed rows of its stay, if reset
	reset bool  // the clock counted on from its default
}

// counts reports whether a row is of a clock that counts on from its default.
func (it *item) counts() bool { return it.timed && !it.clear }

// appendEnds appends the last reading of each stretch of credible rows that
// rows without one follow.
func appendEnds(ends []ending, s *strand) []ending {
	for i := 1; i < len(s.own); i++ {
		if s.own[i] != none || s.own[i-1] == none {
			continue
		}
		e := ending{at: s.own[i-1]}
		for j := i; j < len(s.own) && s.own[j] == none; j++ {
			if s.items[j].counts() {
				e.reset, e.tail = true, s.items[j].reading
			}
			if s.cut[j] {
				break
			}
		}
		ends = append(ends, e)
	}
	return ends
}

func ordering(s *strand, ends []ending) []int64 {
	own := s.own
	ahead := lookAhead(own, make([]bool, len(own)))
	inStay := lookAhead(own, s.cut)
	alone := len(own) > 0 && s.stay[0] == s.stay[len(own)-1] // one stay: no other card comes between
	order := make([]int64, len(own))
	last := int64(none)
	for i := range own {
		switch end := s.stay[i].end; {
		case own[i] != none:
			last = own[i]
		case last == none && inStay[i] == none && end != nil:
			last = *end
		case last != none && (alone || !s.begins(i)):
		default:
			if d := after(ends, last, before(ahead[i], end), s.firstCount(i)); d != none {
				last = max(last, d)
			} else if last == none {
				last = inStay[i]
			}
		}
		order[i] = last
	}
	return order
}

// begins reports whether a stay in the logger begins with item i.
func (s *strand) begins(i int) bool { return i == 0 || s.cut[i-1] }

// firstCount returns the first reading of a clock that counts on from its default
// in the stay of item i, from it on; none without one.
func (s *strand) firstCount(i int) int64 {
	for ; i < len(s.items); i++ {
		if s.items[i].counts() {
			return s.items[i].reading
		}
		if s.cut[i] {
			break
		}
	}
	return none
}

// before returns the earlier of a reading and a time, either of which may be
// unknown.
func before(reading int64, end *int64) int64 {
	if end != nil && (reading == none || *end < reading) {
		return *end
	}
	return reading
}

// after finds the disturbance that rows without a credible reading go on with,
// whose ending is at least low and below high: if they count on from a clock's
// default, the one of which the count goes on soonest, else the last. It returns
// the credible reading before it; none where there is none.
func after(ends []ending, low, high, count int64) int64 {
	best, gap, at := -1, int64(longestGap), int64(none)
	for i, e := range ends {
		if e.at < low || high != none && e.at >= high {
			continue
		}
		at = e.at
		if g := count - e.tail; count != none && e.reset && g >= 0 && g <= gap {
			best, gap = i, g
		}
	}
	if best >= 0 {
		return ends[best].at
	}
	return at
}

// longestGap is the longest time between the last row of one card and the first
// of the next one, seconds.
const longestGap = 60 * 86400

// credible returns the readings of the longest series of clear rows that never
// steps back, and none for all other rows: misread digits and clocks that were
// reset stand out.
func (s *strand) credible() []int64 {
	pairs := make([][2]int, 0, len(s.items))
	own := make([]int64, len(s.items))
	for i := range s.items {
		own[i] = none
		if s.items[i].clear && !s.misread(i) {
			pairs = append(pairs, [2]int{int(s.items[i].reading), i})
		}
	}
	for _, p := range longestRise(pairs) {
		own[p[1]] = int64(p[0])
	}
	return own
}

// mostMisread is how many rows that follow each other may be misread.
const mostMisread = 3

// misread reports whether clear row i is one of a few between rows of a clock that
// counts on from its default, before and after them: a bit of its year was read wrongly.
func (s *strand) misread(i int) bool {
	from, to := i, i
	for from > 0 && !s.cut[from-1] && s.items[from].clear && i-from < mostMisread {
		from--
	}
	for to+1 < len(s.items) && !s.cut[to] && s.items[to].clear && to-i < mostMisread {
		to++
	}
	a, b := &s.items[from], &s.items[to]
	return a.counts() && b.counts() && to-from-1 <= mostMisread && a.reading <= b.reading
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
