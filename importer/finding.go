package importer

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"doorleaf/usage"
)

// findings says what reading, stitching and timing noticed.
func (d *deriver) findings() []usage.Finding {
	out := d.clockFindings()
	out = append(out, d.badRows()...)
	out = append(out, d.conflicts()...)
	for c, f := range d.files {
		if f.Ambiguous {
			out = append(out, d.finding("date order", int32(c), 0,
				"the dates on this card can be read in two orders, and nothing on it or on the other cards decides: its openings count, but have no time", nil))
		}
	}
	return distinct(out)
}

// distinct gives findings of one kind that begin at the same line keys of their own.
func distinct(in []usage.Finding) []usage.Finding {
	seen := map[string]int{}
	for i := range in {
		key := in[i].Key
		if n := seen[key]; n > 0 {
			in[i].Key = fmt.Sprintf("%s-%d", key, n+1)
		}
		seen[key]++
	}
	return in
}

// finding makes a finding whose key is its kind and the line where it begins,
// which are the same in every derivation.
func (d *deriver) finding(kind string, card, row int32, says string, evidence []usage.RowRef) usage.Finding {
	line := int32(0)
	if rows := d.files[card].Rows; int(row) < len(rows) {
		line = rows[row].Line
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%d", kind, d.cards[card].ID, line))
	return usage.Finding{Key: hex.EncodeToString(sum[:8]), Kind: kind, Says: says, Evidence: evidence}
}

func (d *deriver) ref(card, row int32) usage.RowRef {
	r := &d.files[card].Rows[row]
	return usage.RowRef{Card: d.place[card], Line: r.Line, Offset: r.Offset}
}

// clockFindings reports where runs begin in the middle, and untimed stretches.
func (d *deriver) clockFindings() []usage.Finding {
	var out []usage.Finding
	for i, run := range d.lb.Runs {
		if i == 0 {
			continue
		}
		e := d.book.Entries[run.First]
		f := d.finding("clock reset", e.Card, e.Row,
			fmt.Sprintf("the clock went back by %s here: it was set or reset", people(d.lb.Runs[i-1].LastReading-run.FirstReading)),
			[]usage.RowRef{d.ref(e.Card, e.Row)})
		f.From = d.times[run.First].At
		out = append(out, f)
	}
	return append(out, d.untimed()...)
}

// people writes a number of seconds as people say it.
func people(s int64) string {
	switch {
	case s < 120:
		return fmt.Sprintf("%d seconds", s)
	case s < 2*3600:
		return fmt.Sprintf("%d minutes", s/60)
	case s < 2*86400:
		return fmt.Sprintf("%d hours", s/3600)
	}
	return fmt.Sprintf("%d days", s/86400)
}

// untimed reports each stretch of openings without a time.
func (d *deriver) untimed() []usage.Finding {
	var out []usage.Finding
	for i := 0; i < len(d.times); {
		j := i
		for j < len(d.times) && !d.times[j].Timed {
			j++
		}
		if j > i {
			out = append(out, d.untimedStretch(i, j))
		}
		i = j + 1
	}
	return out
}

func (d *deriver) untimedStretch(from, to int) usage.Finding {
	e := d.book.Entries[from]
	kind, cause := "bad rows", "their stamps are no time"
	if r := d.row(&e); r.Timed {
		kind, cause = "clock stopped", "the clock stood still or had lost its date"
	}
	counts := "They are counted, but in no hour or day."
	f := d.finding(kind, e.Card, e.Row, fmt.Sprintf("%s no time that can be recovered: %s. %s", plural(to-from, "opening has", "openings have"), cause, counts), nil)
	for k := from; k < to && k < from+20; k++ {
		e := d.book.Entries[k]
		f.Evidence = append(f.Evidence, d.ref(e.Card, e.Row))
	}
	if f.From = d.times[from].Earliest; d.times[to-1].Latest != usage.Beyond {
		f.To = d.times[to-1].Latest
	}
	return f
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// badRows reports, for each card, lines that are no rows.
func (d *deriver) badRows() []usage.Finding {
	var out []usage.Finding
	for c, f := range d.files {
		if len(f.Complaints) == 0 {
			continue
		}
		var refs []usage.RowRef
		for _, x := range f.Complaints[:min(len(f.Complaints), 20)] {
			refs = append(refs, usage.RowRef{Card: d.place[c], Line: int32(x.Line), Offset: x.Offset})
		}
		says := fmt.Sprintf("%s could not be read as openings (first: line %d, %s)",
			plural(len(f.Complaints), "line of this card", "lines of this card"), f.Complaints[0].Line, f.Complaints[0].Reason)
		sum := d.finding("unread lines", int32(c), int32(len(f.Rows)), says, refs)
		out = append(out, sum)
	}
	return out
}

// conflicts reports each pair of cards that contradict each other.
func (d *deriver) conflicts() []usage.Finding {
	type pair [2]int32
	seen := map[pair]int{}
	var out []usage.Finding
	for _, c := range d.book.Conflicts {
		p := pair{min(c.CardA, c.CardB), max(c.CardA, c.CardB)}
		at, ok := seen[p]
		if !ok {
			at = len(out)
			seen[p] = at
			out = append(out, d.finding("contradicting cards", c.CardA, c.RowA, "", nil))
		}
		out[at].Evidence = append(out[at].Evidence, d.ref(c.CardA, c.RowA), d.ref(c.CardB, c.RowB))
		out[at].Says = fmt.Sprintf("two cards tell the same stretch differently, in %s: %s. All rows of both are kept.",
			plural(len(out[at].Evidence)/2, "row", "rows"), c.What)
	}
	return out
}
