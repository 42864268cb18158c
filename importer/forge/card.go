package forge

import (
	"path"
	"slices"

	"doorleaf/usage"
)

// Card is a card file as one round brought it.
type Card struct {
	Name      string     // as it stands on the card, the same on all cards of a dialect
	Date      usage.Date // civil date of the round
	RemovedAt int64      // true instant at which it came out, Unix seconds
	NotedAt   *int64     // what was written down of that; nil: nothing
	Opening   int32      // position among the site's openings of the one in which it came out, its last; usage.Unknown in an outage
	LeadingS  int32      // a lone number before the first row, seconds, or usage.Unknown

	site    string
	dialect Dialect
	text    []byte // UTF-8, shared with the later files of the same card, never written to again
	tail    []byte // what the later files have otherwise: the unfinished row, NULs
	rows    []Row  // shared likewise
	last    []Row
}

// Path returns where the file lies below the folder of all cards, with slashes.
func (c Card) Path() string { return path.Join(c.site, c.Date.String(), c.Name) }

// Rows returns the rows of the file in its order. Where the dialect has
// seconds, the last row is without them.
func (c Card) Rows() []Row { return slices.Concat(c.rows, c.last) }

// Len returns the number of rows.
func (c Card) Len() int { return len(c.rows) + len(c.last) }

// Place is where a row stands in the file of Bytes.
type Place struct {
	Offset int64 // of its line, bytes
	Row    Row
}

// Places returns the rows with their places, in the order of Rows. A row that
// is glued to one that was cut has the offset of that one's line.
func (c Card) Places() []Place {
	out := make([]Place, 0, c.Len())
	text := slices.Concat(c.text, c.tail)
	at, offset := 0, c.dialect.width(nil)
	for _, r := range c.Rows() {
		offset += c.dialect.width(text[at:r.Offset]) - c.dialect.width(nil)
		at = r.Offset
		p := Place{offset, r}
		if n := len(out); r.Glued && n > 0 {
			p.Offset = out[n-1].Offset
		}
		out = append(out, p)
	}
	return out
}

// Bytes returns the file. The error names what the dialect's encoding cannot say.
func (c Card) Bytes() ([]byte, error) {
	return c.dialect.encode(slices.Concat(c.text, c.tail))
}

// medium is a memory card and what stands on it.
type medium struct {
	text    []byte
	rows    []Row
	pending *Row // the last row, whose seconds are not written yet
	leading int32
}

func newMedium() *medium { return &medium{leading: usage.Unknown} }

// file returns what stands on the medium, as a card file without name and date.
func (m *medium) file(p *pen) Card {
	c := Card{dialect: p.Dialect, LeadingS: m.leading, text: m.text[:len(m.text):len(m.text)], rows: m.rows[:len(m.rows):len(m.rows)]}
	if m.pending != nil {
		c.tail, c.last = p.row(nil, *m.pending), []Row{*m.pending}
	}
	return c
}

// spoil ends the file in n NUL characters. What the logger writes later comes
// after them, so an unfinished row stays unfinished.
func (m *medium) spoil(p *pen, n int) {
	if m.pending != nil {
		m.text = p.row(m.text, *m.pending)
		m.rows = append(m.rows, *m.pending)
		m.pending = nil
	}
	m.text = append(m.text, make([]byte, n)...)
}
