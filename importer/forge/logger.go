package forge

import (
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
type logger struct {
	pen     *pen
	dial    *dial
	card    *medium // nil: none in it
	counter int32   // seconds of the last opening; usage.Unknown before the first
	written []Row   // every row as its card finally has it, by position of its opening
}

// open writes the row of an opening and returns whether a card took it.
func (l *logger) open(at int64, rubbish bool) bool {
	if l.card == nil {
		return false
	}
	r := l.rowAt(at, rubbish)
	l.head()
	switch {
	case l.pen.OpenSeconds():
		l.complete()
		l.card.pending = &r
	case l.pen.Pairs():
		r.Event = Open
		fallthrough
	default:
		l.append(r)
	}
	l.written = append(l.written, r)
	return true
}

// head begins an empty card with the header, if the dialect has one.
func (l *logger) head() {
	if len(l.card.text) == 0 && l.card.pending == nil && l.pen.Header {
		l.card.text = l.pen.header(l.card.text)
	}
}

// rowAt reads the clock for the opening that is to be written next.
func (l *logger) rowAt(at int64, rubbish bool) Row {
	reading, reset := l.dial.read(at)
	reading -= (reading%l.pen.Resolution() + l.pen.Resolution()) % l.pen.Resolution()
	return Row{Reading: reading, Opening: int32(len(l.written)), OpenS: usage.Unknown, Rubbish: rubbish, Reset: reset}
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
		r.OpenS = l.counter
		l.append(r)
		l.written[r.Opening] = r
		m.pending = nil
	case l.counter != usage.Unknown:
		m.text = l.pen.lone(m.text, l.counter)
		if len(m.rows) == 0 {
			m.leading = l.counter
		}
	}
}

// shut ends the opening that began at the given instant.
func (l *logger) shut(at int64, openS int32, opening int32, rubbish bool) {
	l.counter = openS
	if l.card == nil || !l.pen.Pairs() {
		return
	}
	l.head()
	r := l.rowAt(at+int64(openS), rubbish)
	r.Event, r.Opening = Close, opening
	l.append(r)
}
