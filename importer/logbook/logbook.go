// Package logbook stitches the card files of one site into the order in which
// the logger wrote their rows.
//
// A card that stays in its logger grows, so each reading of it contains the one
// before, with the formerly last row completed; a card cleared at home starts
// anew; two cards in rotation alternate. Cards are aligned row by row:
// containment first, then the longest overlap of one card's end with another's
// beginning. Rows are never merged as a set of times: a clock that stands still
// writes many equal rows, and each is a real opening.
//
// The result depends on the set of cards only, not on their order.
package logbook

import (
	"cmp"
	"slices"
	"sort"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// Card is one card file of the site, read.
type Card struct {
	ID        string // SHA-256 of its bytes; the order of last resort
	File      *cardfile.File
	RemovedAt *int64 // true instant at which it came out of its logger, Unix s

	RemovedExact bool // RemovedAt is to the second
}

// Entry is one opening in the order of the logbook.
type Entry struct {
	Card    int32 // index into the cards given to Stitch
	Row     int32 // index into its File.Rows: the row that opened it
	OpenS   int32 // seconds, completed from later cards where need be; or usage.Unknown
	Stint   int32 // index into Book.Stints
	Removal bool  // the opening in which its card came out
}

// Stint is a stretch of the logbook that one card, in one stay in the logger,
// holds: entries First to Last.
type Stint struct {
	First, Last int
	RemovedAt   *int64 // true instant at which the card came out at its end, Unix s

	RemovedExact bool // RemovedAt is to the second
	Loose        bool // nothing on the card tells where it lies among the site's other cards
}

// Conflict is a place where two cards that overlap say different things.
type Conflict struct {
	CardA, CardB int32
	RowA, RowB   int32
	What         string
}

// Book is a stitched logbook.
type Book struct {
	Entries   []Entry
	Stints    []Stint
	Conflicts []Conflict

	lastReading int64 // of the last entry, while the book is woven
	lastTimed   bool
}

// item is an entry while it is being stitched.
type item struct {
	key     uint64
	reading int64
	open    int32
	card    int32
	row     int32
	rank    int32 // place of its card in the order in which cards are taken
	closes  bool  // it says that the door shut, and no row before it that it opened
	timed   bool  // its stamp is a time, if perhaps a wrong one
	fine    bool  // its stamp is to the second
	clear   bool  // its stamp tells it from other rows of the site
	ragged  bool  // it ends its file without a line end, and may go on in a later card
	offset  int64 // of its first byte in its file
	length  int32 // bytes
	shown         // what stands in it, for goesOn
}

// span is where one card's rows lie in a family: items from to to-1.
type span struct {
	card     int32
	from, to int
}

// family is a sequence of rows stitched from cards that overlap.
type family struct {
	items     []item
	spans     []span
	conflicts []Conflict
}

// clearFrom is the earliest reading that tells rows apart: a chip without a
// set clock counts from 2000-01-01 each time its cell is changed, so equal
// stamps of that year may be different openings.
const clearFrom = 978307200 // 2001-01-01T00:00:00

// Stitch brings the rows of all cards into logbook order.
func Stitch(cards []Card) Book {
	families := make([]family, 0, len(cards))
	for rank, c := range ascending(cards) {
		f := single(cards, c, int32(rank))
		if len(f.items) == 0 {
			continue
		}
		for i := 0; i < len(families); {
			if joined, ok := join(families[i], f); ok {
				f = joined
				families = slices.Delete(families, i, i+1)
				i = 0
				continue
			}
			i++
		}
		families = append(families, f)
	}
	return weave(cards, families)
}

// ascending returns the numbers of the cards by rows, then by ID. Short cards
// come first, so that a row stays traced to the first card that brought it.
func ascending(cards []Card) []int32 {
	order := make([]int32, len(cards))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(len(cards[a].File.Rows), len(cards[b].File.Rows)), cmp.Compare(cards[a].ID, cards[b].ID))
	})
	return order
}

// single makes a family of one card. A close row stands with the open row
// before it; what one without an open row means is for weave to say.
func single(cards []Card, c, rank int32) family {
	file := cards[c].File
	items := make([]item, 0, len(file.Rows))
	for i := range file.Rows {
		r := &file.Rows[i]
		if r.Event == cardfile.Close && i > 0 && file.Rows[i-1].Event == cardfile.Open {
			continue
		}
		items = append(items, item{
			key: r.Key, reading: r.Reading, open: r.OpenS, card: c, row: int32(i), rank: rank,
			timed: r.Timed, closes: r.Event == cardfile.Close, clear: r.Timed && r.Reading >= clearFrom, fine: file.Resolution == 1,
			ragged: file.Ragged && int(r.Line) == file.Lines, offset: r.Offset, length: r.Length, shown: shownOf(r),
		})
	}
	f := family{items: items}
	if len(items) > 0 {
		f.spans = []span{{c, 0, len(items)}}
	}
	return f
}

// same reports whether two rows can be the same opening.
func same(a, b *item) bool {
	return a.key == b.key && (a.open == b.open || a.open == usage.Unknown || b.open == usage.Unknown) || goesOn(a, b) || goesOn(b, a)
}

// join stitches b to a where they overlap.
func join(a, b family) (family, bool) {
	shift, ok := align(a.items, b.items)
	if !ok {
		return family{}, false
	}
	if clean(a.items, b.items, shift) {
		return union(a, b, shift), true
	}
	return interleave(a, b), true
}

// align finds the shift at which item i of a is item i+shift of b, by the vote
// of the clear rows that stand in both, and whether the vote is good enough.
func align(a, b []item) (shift int, ok bool) {
	if contained(a, b, 0) {
		return 0, true
	}
	at := make(map[uint64]int, len(a))
	for i := range a {
		if _, seen := at[a[i].key]; a[i].clear && !seen {
			at[a[i].key] = i
		}
	}
	votes := map[int]int{}
	total := 0
	for j := range b {
		if i, found := at[b[j].key]; found && b[j].clear {
			delete(at, b[j].key)
			votes[j-i]++
			total++
		}
	}
	best := 0
	for s, n := range votes {
		if n > best || n == best && s < shift {
			best, shift = n, s
		}
	}
	if best == 0 {
		return 0, false
	}
	from, to := overlap(len(a), len(b), shift)
	length := to - from
	if length == min(len(a), len(b)) && clean(a, b, shift) {
		return shift, true
	}
	if clean(a, b, shift) {
		return shift, best >= 2 || exact(a, b, max(0, -shift), shift)
	}
	// Stamps to the second of a whole card, however short, are no chance: such a card
	// may be too short to tell the seconds from the weekday.
	whole := total >= 2 && total == min(len(a), len(b)) && a[0].fine && b[0].fine
	return shift, whole || total >= 3 && total*4 >= length
}

// exact reports whether the one row in which a and b overlap tells enough: a
// stamp to the second that stands once in each. A clock that stands still, or
// shows minutes only, repeats its stamps.
func exact(a, b []item, i, shift int) bool {
	if !a[i].fine || !b[i+shift].fine {
		return false
	}
	count := func(items []item) (n int) {
		for k := range items {
			if items[k].key == a[i].key {
				n++
			}
		}
		return n
	}
	return count(a) == 1 && count(b) == 1
}

// overlap returns the items of a that have a partner in b.
func overlap(la, lb, shift int) (from, to int) {
	return max(0, -shift), min(la, lb-shift)
}

// clean reports whether a and b say nothing different where they overlap.
func clean(a, b []item, shift int) bool {
	from, to := overlap(len(a), len(b), shift)
	for i := from; i < to; i++ {
		if !same(&a[i], &b[i+shift]) {
			return false
		}
	}
	return from < to
}

// contained reports whether the shorter sequence begins the other and has
// enough to tell it by: a clear row, or three rows with the same seconds.
func contained(a, b []item, shift int) bool {
	if !clean(a, b, shift) {
		return false
	}
	from, to := overlap(len(a), len(b), shift)
	seconds := 0
	for i := from; i < to; i++ {
		if a[i].clear {
			return true
		}
		if a[i].open != usage.Unknown && a[i].open == b[i+shift].open {
			seconds++
		}
	}
	return seconds >= 3
}

// union stitches b to a at a shift where they agree.
func union(a, b family, shift int) family {
	if shift > 0 {
		a, b, shift = b, a, -shift
	}
	// Now a begins first: item j of b is item j-shift of a.
	items := slices.Clone(a.items)
	for j := range b.items {
		if i := j - shift; i < len(items) {
			items[i] = prefer(items[i], b.items[j])
		} else {
			items = append(items, b.items[j])
		}
	}
	spans := slices.Clone(a.spans)
	for _, s := range b.spans {
		spans = append(spans, span{s.card, s.from - shift, s.to - shift})
	}
	return family{items, spans, append(slices.Clone(a.conflicts), b.conflicts...)}
}

// prefer takes one of two rows that are the same opening: the one that did not break off,
// else the one that has the seconds, else the one of the card that came first.
func prefer(a, b item) item {
	switch {
	case goesOn(&a, &b):
		return b
	case goesOn(&b, &a):
		return a
	}
	known := func(it item) bool { return it.open != usage.Unknown }
	if known(a) != known(b) {
		if known(a) {
			return a
		}
		return b
	}
	if b.rank < a.rank {
		return b
	}
	return a
}

// interleave stitches two families that contradict each other where they
// overlap: rows that stand in both once, all other rows of both, in the order
// of each. Rows with the same stamp and different seconds are one opening and
// a conflict.
func interleave(a, b family) family {
	out := family{conflicts: append(slices.Clone(a.conflicts), b.conflicts...)}
	placeA, placeB := make([]int, len(a.items)), make([]int, len(b.items))
	i, j := 0, 0
	both := func(toA, toB int) { // rows in neither's pairs, then the pair at toA, toB
		for ; i < toA; i++ {
			placeA[i] = len(out.items)
			out.items = append(out.items, a.items[i])
			out.missing(a.items[i], b, toB)
		}
		for ; j < toB; j++ {
			placeB[j] = len(out.items)
			out.items = append(out.items, b.items[j])
			out.missing(b.items[j], a, toA)
		}
	}
	for _, m := range pairs(a.items, b.items) {
		both(m[0], m[1])
		placeA[i], placeB[j] = len(out.items), len(out.items)
		out.items = append(out.items, out.pick(a.items[i], b.items[j]))
		i, j = i+1, j+1
	}
	both(len(a.items), len(b.items))
	out.spans = append(respan(a.spans, placeA), respan(b.spans, placeB)...)
	return out
}

// pairs pairs the rows of two sequences that are the same opening: clear rows by
// their stamps and, between these, rows without a clear stamp by the longest
// common subsequence.
func pairs(a, b []item) [][2]int {
	var out [][2]int
	i, j := 0, 0
	for _, m := range append(matches(a, b), [2]int{len(a), len(b)}) {
		for _, c := range common(a[i:m[0]], b[j:m[1]]) {
			out = append(out, [2]int{i + c[0], j + c[1]})
		}
		if m[0] < len(a) {
			out = append(out, m)
		}
		i, j = m[0]+1, m[1]+1
	}
	return out
}

// mostCells bounds the table of common; sequences beyond it are compared at
// their ends only.
const mostCells = 4_000_000

// common pairs equal rows of two short sequences: those that both begin with,
// those that both end with, and the longest common subsequence between
// (R. A. Wagner, M. J. Fischer, The string-to-string correction problem, 1974).
func common(a, b []item) [][2]int {
	var out [][2]int
	head := 0
	for head < len(a) && head < len(b) && same(&a[head], &b[head]) {
		out = append(out, [2]int{head, head})
		head++
	}
	tail := 0
	for tail < len(a)-head && tail < len(b)-head && same(&a[len(a)-1-tail], &b[len(b)-1-tail]) {
		tail++
	}
	for _, m := range longestCommon(a[head:len(a)-tail], b[head:len(b)-tail]) {
		out = append(out, [2]int{head + m[0], head + m[1]})
	}
	for k := tail; k > 0; k-- {
		out = append(out, [2]int{len(a) - k, len(b) - k})
	}
	return out
}

func longestCommon(a, b []item) [][2]int {
	if len(a) == 0 || len(b) == 0 || len(a) > mostCells/len(b) {
		return nil
	}
	w := len(b) + 1
	length := make([]int32, (len(a)+1)*w)
	for i := len(a) - 1; i >= 0; i-- {
		for j := len(b) - 1; j >= 0; j-- {
			if same(&a[i], &b[j]) {
				length[i*w+j] = length[(i+1)*w+j+1] + 1
			} else {
				length[i*w+j] = max(length[(i+1)*w+j], length[i*w+j+1])
			}
		}
	}
	var out [][2]int
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case same(&a[i], &b[j]):
			out = append(out, [2]int{i, j})
			i, j = i+1, j+1
		case length[(i+1)*w+j] >= length[i*w+j+1]:
			i++
		default:
			j++
		}
	}
	return out
}

// missing notes that a row inside an overlap stands in one family only.
func (f *family) missing(it item, other family, at int) {
	if at == 0 || at >= len(other.items) {
		return // before the other begins or after it ends: no overlap
	}
	near := other.items[at]
	f.conflicts = append(f.conflicts, Conflict{it.card, near.card, it.row, near.row, "a row that the other card lacks"})
}

// pick takes one of two rows that are the same opening.
func (f *family) pick(a, b item) item {
	if a.open != usage.Unknown && b.open != usage.Unknown && a.open != b.open && !goesOn(&a, &b) && !goesOn(&b, &a) {
		f.conflicts = append(f.conflicts, Conflict{a.card, b.card, a.row, b.row, "the same opening with other seconds"})
	}
	return prefer(a, b)
}

func respan(spans []span, place []int) []span {
	out := make([]span, len(spans))
	for i, s := range spans {
		out[i] = span{s.card, place[s.from], place[s.to-1] + 1}
	}
	return out
}

// matches pairs the rows that stand in both sequences, in the order of both:
// the longest increasing chain of clear rows with equal keys (patience), each
// key at its first place.
func matches(a, b []item) [][2]int {
	at := map[uint64]int{}
	for i := range a {
		if _, seen := at[a[i].key]; a[i].clear && !seen {
			at[a[i].key] = i
		}
	}
	var pairs [][2]int
	for j := range b {
		if i, ok := at[b[j].key]; ok && b[j].clear {
			pairs = append(pairs, [2]int{i, j})
			delete(at, b[j].key)
		}
	}
	return longestChain(pairs)
}

// longestChain returns the longest subsequence of pairs, which ascend by their
// second numbers, that ascends by the first too.
func longestChain(pairs [][2]int) [][2]int {
	return rise(pairs, func(top, v int) bool { return top < v })
}

// longestRise is longestChain for pairs whose first numbers may also stay.
func longestRise(pairs [][2]int) [][2]int {
	return rise(pairs, func(top, v int) bool { return top <= v })
}

// rise finds the longest subsequence of pairs along which before holds from one
// first number to the next, by patience piles (M. L. Fredman, On computing the
// length of longest increasing subsequences, Discrete Mathematics 11, 1975).
func rise(pairs [][2]int, before func(top, v int) bool) [][2]int {
	var tops []int // index into pairs of the top of each pile
	below := make([]int, len(pairs))
	for k, p := range pairs {
		pile := sort.Search(len(tops), func(i int) bool { return !before(pairs[tops[i]][0], p[0]) })
		below[k] = -1
		if pile > 0 {
			below[k] = tops[pile-1]
		}
		if pile == len(tops) {
			tops = append(tops, k)
		} else {
			tops[pile] = k
		}
	}
	if len(tops) == 0 {
		return nil
	}
	var chain [][2]int
	for k := tops[len(tops)-1]; k >= 0; k = below[k] {
		chain = append(chain, pairs[k])
	}
	slices.Reverse(chain)
	return chain
}
