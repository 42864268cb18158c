package importer

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"doorleaf/importer/cardfile"
	"doorleaf/importer/logbook"
	"doorleaf/usage"
)

// Two cards hold the same openings when, where both tell of a time, so many minutes at
// least and such a share of the minutes of the one with fewer have an opening on both.
// A busy box has one in every twentieth minute. Common practice, no source.
const (
	twinMinutes = 8
	twinShare   = 0.8
)

// twins are two cards that tell the same openings in dialects so unlike that stitching
// does not know the one in the other: both are counted.
type twins struct {
	whole, poorer int // cards; of the poorer less is known
	shared        int // minutes that have an opening on both
	firstRow      int32
}

// twinsOf finds the cards whose rows stand in the book beside rows of other cards with
// the same readings.
func (d *deriver) twinsOf() []twins {
	first, last := d.minuteEnds()
	minutes := d.minutesOf(besides(first, last))
	var out []twins
	for a := range minutes {
		for b := a + 1; b < len(minutes); b++ {
			from, to := max(first[a], first[b]), min(last[a], last[b])
			if to-from < twinMinutes {
				continue // one after the other
			}
			if n, row := alike(minutes[a], minutes[b], from, to); n > 0 {
				t := twins{whole: a, poorer: b, shared: n, firstRow: row}
				if d.poorer(a, b) {
					t.whole, t.poorer = b, a
					t.firstRow = minutes[b][d.files[a].Rows[row].Reading/60] - 1
				}
				out = append(out, t)
			}
		}
	}
	return out
}

// tellsMinute reports whether the row of an entry tells its minute from all others.
func (d *deriver) tellsMinute(e *logbook.Entry) (minute int64, ok bool) {
	r := d.row(e)
	return r.Reading / 60, r.Timed && r.Reading >= clearFrom && d.files[e.Card].Resolution <= 60
}

// minuteEnds returns the first and last minute with an opening of each card; 0 and -1 for
// a card without any.
func (d *deriver) minuteEnds() (first, last []int64) {
	first, last = make([]int64, len(d.files)), make([]int64, len(d.files))
	for c := range last {
		last[c] = -1
	}
	for i := range d.book.Entries {
		e := &d.book.Entries[i]
		if at, ok := d.tellsMinute(e); ok && last[e.Card] < 0 {
			first[e.Card], last[e.Card] = at, at
		} else if ok {
			first[e.Card], last[e.Card] = min(first[e.Card], at), max(last[e.Card], at)
		}
	}
	return first, last
}

// besides tells of each card whether it lies beside another for long enough: most do
// not, and their minutes need not be looked at.
func besides(first, last []int64) []bool {
	beside := make([]bool, len(first))
	for a := range first {
		for b := a + 1; b < len(first); b++ {
			if min(last[a], last[b])-max(first[a], first[b]) >= twinMinutes {
				beside[a], beside[b] = true, true
			}
		}
	}
	return beside
}

// minutesOf returns, of each card that is wanted, the row of each minute with an
// opening, counted from 1.
func (d *deriver) minutesOf(wanted []bool) []map[int64]int32 {
	minutes := make([]map[int64]int32, len(d.files))
	for i := range d.book.Entries {
		e := &d.book.Entries[i]
		at, ok := d.tellsMinute(e)
		if !ok || !wanted[e.Card] {
			continue
		}
		if minutes[e.Card] == nil {
			minutes[e.Card] = map[int64]int32{}
		}
		if minutes[e.Card][at] == 0 {
			minutes[e.Card][at] = e.Row + 1
		}
	}
	return minutes
}

// clearFrom is the earliest reading that tells openings apart, wall seconds: a clock
// without a date begins again in 2000 each time it loses its power.
const clearFrom = 978307200 // 2001-01-01T00:00:00

// alike returns how many minutes from one to another two cards share and the first row
// of a among them; 0 where they do not hold the same openings.
func alike(a, b map[int64]int32, from, to int64) (shared int, row int32) {
	first, inA, inB := to+1, 0, 0
	for at := range a {
		if at < from || at > to {
			continue
		}
		inA++
		if b[at] > 0 {
			shared, first = shared+1, min(first, at)
		}
	}
	for at := range b {
		if at >= from && at <= to {
			inB++
		}
	}
	if shared < twinMinutes || float64(shared) < twinShare*float64(min(inA, inB)) {
		return 0, 0
	}
	return shared, a[first] - 1
}

// poorer reports whether card a tells less than card b: its times are coarser, its
// openings lack their seconds, or it has fewer rows.
func (d *deriver) poorer(a, b int) bool {
	f, g := d.files[a], d.files[b]
	if f.Resolution != g.Resolution {
		return f.Resolution > g.Resolution
	}
	known := func(f *cardfile.File) (n int) {
		for i := range f.Rows {
			if f.Rows[i].OpenS != usage.Unknown {
				n++
			}
		}
		return n
	}
	return known(f) < known(g)
}

// key is that of the finding about two cards, whichever is the poorer.
func (t twins) key(cards []Card) string {
	ids := []string{cards[t.whole].ID, cards[t.poorer].ID}
	slices.Sort(ids)
	sum := sha256.Sum256(fmt.Appendf(nil, "same openings twice\x00%s\x00%s", ids[0], ids[1]))
	return hex.EncodeToString(sum[:8])
}

// withoutTwins stitches the cards anew without those of which it was ruled that another
// card tells the same; when they came out is kept.
func (d *deriver) withoutTwins(cards []logbook.Card) {
	d.twins = d.twinsOf()
	left := false
	for _, t := range d.twins {
		r := usage.RulingFor(d.lb.Rulings, t.key(d.cards))
		if r == nil || r.Answer != usage.AnswerTwice {
			continue
		}
		none := *d.files[t.poorer]
		none.Rows = nil
		cards[t.poorer].File, left = &none, true
		if cards[t.whole].RemovedAt == nil {
			cards[t.whole].RemovedAt, cards[t.whole].RemovedExact = cards[t.poorer].RemovedAt, cards[t.poorer].RemovedExact
		}
	}
	if left {
		d.book = logbook.Stitch(cards)
	}
}

// sameTwice asks about each pair of cards that tell the same openings.
func (d *deriver) sameTwice() []usage.Finding {
	var out []usage.Finding
	for _, t := range d.twins {
		whole, poorer := d.cards[t.whole].Name, d.cards[t.poorer].Name
		out = append(out, usage.Finding{
			Key: t.key(d.cards), Kind: "same openings twice",
			Says: fmt.Sprintf("two cards, %s and %s, have openings in the same %d minutes, written in two ways: one logger writes one card at a time. Are they the same openings?",
				whole, poorer, t.shared),
			Changes: "Until it is answered they are counted on both cards, and twice.",
			Choices: []usage.Choice{
				{Answer: usage.AnswerTwice, Says: "They are the same. Count them once, by the card that tells more."},
				seen,
			},
			Evidence: []usage.RowRef{d.ref(int32(t.whole), t.firstRow)},
		})
	}
	return out
}
