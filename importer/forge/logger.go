package forge

import (
	"math/rand/v2"
	"unicode/utf8"

	"doorleaf/usage"
)

// logger writes true openings on the card that is in it. It counts the seconds
// of an opening in a memory that outlives the power, and writes them only when
// the door opens again: it completes the row that ends the card, or, on a card
// that has none, writes them on a line of their own; then comes the new row,
// still without seconds. So the last row of a card lacks its seconds; after a
// swap an empty card begins with the seconds of the opening in which it was put
// in; and a card that comes back after a turn elsewhere has its unfinished row
// completed with the seconds of the opening in which it came back, not its own.
//
// In a dialect of pairs it writes OPEN at once and CLOSE when the door shuts,
// on whatever card is in it then.
//
// Where power is cut while it writes a row, the next write goes on behind what
// stands there.
type logger struct {
	pen     *pen
	dial    *dial
	rng     *rand.Rand
	card    *medium // nil: none in it
	counter int32   // seconds of the last opening; usage.Unknown before the first, or where they were lost
	written []Row   // every row as its card finally has it, by position of its opening
	buffer  *Row    // the last row that was read well, which a failing read finds again
}

// open writes the row of an opening and returns whether a card took it. The row
// breaks off where torn.
func (l *logger) open(at int64, fault ReadFault, torn bool) bool {
	if l.card == nil {
		return false
	}
	r := l.rowAt(at, at, fault)
	l.head()
	if l.pen.OpenSeconds() {
		l.complete()
	}
	if l.pen.Pairs() {
		r.Event = Open
	}
	l.place(&r)
	if torn {
		r.Cut = l.cut(r)
	}
	if l.pen.OpenSeconds() {
		l.card.pending = &r
	} else {
		l.append(r)
	}
	l.written = append(l.written, r)
	return true
}

// cut draws how many bytes of a row are written, at least one and never all,
// and no part of a letter.
func (l *logger) cut(r Row) int32 {
	text := l.pen.row(nil, r)
	n := 1 + l.rng.IntN(max(1, len(text)-1))
	for n > 1 && !utf8.RuneStart(text[n]) {
		n--
	}
	return int32(n)
}

// place notes where the row will stand.
func (l *logger) place(r *Row) {
	text := l.card.text
	r.Offset = len(text)
	if n := len(text); n > 0 && text[n-1] != '\n' && text[n-1] != '\r' && text[n-1] != 0 {
		r.Glued = true
	}
}

// head begins an empty card with the header, if the dialect has one.
func (l *logger) head() {
	if len(l.card.text) == 0 && l.card.pending == nil && l.pen.Header {
		l.card.text = l.pen.header(l.card.text)
	}
}

// rowAt reads the clock for the opening that is to be written next.
func (l *logger) rowAt(at, power int64, fault ReadFault) Row {
	f := l.dial.read(at, power)
	f.wall -= (f.wall%l.pen.Resolution() + l.pen.Resolution()) % l.pen.Resolution()
	r := Row{
		Reading: f.wall, Opening: int32(len(l.written)), OpenS: usage.Unknown, Fault: fault,
		Reset: f.reset, Blank: f.state == StateBlank, State: f.state, Beat: f.beat,
	}
	switch {
	case fault == ReadStuck && l.buffer != nil:
		r.Reading, r.Reset, r.Blank = l.buffer.Reading, l.buffer.Reset, l.buffer.Blank
	case fault == ReadStuck:
		r.Fault = ReadWell
	case fault == ReadWell:
		l.buffer = &r
	}
	return r
}

func (l *logger) append(r Row) {
	l.card.text = l.pen.row(l.card.text, r)
	l.card.rows = append(l.card.rows, r)
}

// complete writes the counted seconds.
func (l *logger) complete() {
	m := l.card
	switch {
	case m.pending != nil:
		r := *m.pending
		if r.Cut == 0 || l.pen.secondsLast {
			r.OpenS = l.counter
		}
		l.append(r)
		if l.counter == usage.Unknown && l.pen.secondsLast {
			m.text = append(m.text, l.pen.end...)
		}
		if int(r.Opening) < len(l.written) {
			l.written[r.Opening] = r
		}
		m.pending = nil
	case l.counter != usage.Unknown:
		m.text = l.pen.lone(m.text, l.counter)
		if len(m.rows) == 0 {
			m.leading = l.counter
		}
	}
}

// shut ends the opening that began at the given instant.
func (l *logger) shut(at int64, openS int32, opening int32, fault ReadFault) {
	l.counter = openS
	if l.card == nil || !l.pen.Pairs() {
		return
	}
	l.head()
	r := l.rowAt(at+int64(openS), at, fault)
	r.Event, r.Opening = Close, opening
	l.place(&r)
	l.append(r)
}
