package cardfile

import (
	"bytes"
	"strings"

	"doorleaf/usage"
)

// parser reads lines as rows of one layout.
type parser struct {
	layout
	words  weekdayWords
	dates  lastDate
	fields [][]byte
	cut    bool // the last line tried began as a row and broke off
}

func newParser(l layout) *parser { return &parser{layout: l} }

// stampState gathers the stamp of one row from its columns.
type stampState struct {
	d          digits
	date, time bool
	last       bool // the time was the last thing on the line
	unix       bool
	unixAt     int64
}

// strict reads a line whose fields stand where the layout has them.
func (p *parser) strict(line []byte, r *Row) bool {
	p.fields = cut(line, p.delim, p.fields)
	p.cut = false
	st := stampState{}
	r.OpenS, r.ZoneMin = usage.Unknown, NoZone
	var closed digits
	hasClosed := false
	for i, f := range p.fields {
		if i >= len(p.roles) {
			break
		}
		if len(f) == 0 && p.roles[i] != roleOther {
			continue
		}
		switch p.roles[i] {
		case roleWeekday:
			p.weekday(f, r)
		case roleDate:
			st.date = p.date(f, &st.d, r)
		case roleTime:
			st.time = p.time(f, &st.d)
			st.last = i == len(p.fields)-1 && bytes.HasSuffix(line, f)
		case roleMarker:
			lexAll(lexMarker, f, &st.d)
		case roleStamp:
			st.date = p.stamp(f, &st.d, r)
			st.time = st.date
			st.last = i == len(p.fields)-1 && bytes.HasSuffix(line, f)
		case roleUnix:
			st.unixAt, st.unix = decimal(f)
		case roleSeconds:
			r.OpenS = lexSeconds(f)
		case roleEvent:
			r.Event = p.event(f)
		case roleClosed:
			hasClosed = lexAll(lexTime, f, &closed)
		}
	}
	if !p.settle(&st, r) {
		return false
	}
	if hasClosed {
		r.OpenS = between(st.d, closed)
	}
	return true
}

func (p *parser) time(f []byte, d *digits) bool {
	if p.bare {
		return lexAll(lexBareTime, f, d)
	}
	return lexAll(lexTime, f, d)
}

func lexAll(lex func([]byte, *digits) int, f []byte, d *digits) bool {
	n := lex(f, d)
	return n > 0 && n == len(f)
}

// settle packs the stamp into the row, if there is a whole one.
func (p *parser) settle(st *stampState, r *Row) bool {
	if st.unix {
		at := st.unixAt
		if p.millis {
			at /= 1000
		}
		if at < unixFrom || at > unixTo {
			p.cut = true
			return false
		}
		r.Reading, r.ZoneMin = at, 0
		return true
	}
	p.cut = st.date && !st.time
	if !st.date || !st.time {
		return false
	}
	if p.broken(st) {
		p.cut = true
		return false
	}
	r.Reading = st.d.pack()
	return true
}

// broken reports whether the line ends inside its time.
func (p *parser) broken(st *stampState) bool {
	return p.seconds && !st.d.secs || st.last && p.padded && !st.d.padded
}

// between returns the seconds from the time of opening to the time of closing,
// over midnight where need be.
func between(opened, closed digits) int32 {
	if opened.h > 23 || opened.m > 59 || opened.s > 59 || closed.h > 23 || closed.m > 59 || closed.s > 59 {
		return usage.Unknown
	}
	of := func(d digits) int32 { return int32(d.h)*3600 + int32(d.m)*60 + int32(d.s) }
	return (of(closed) - of(opened) + 86400) % 86400
}

func (p *parser) weekday(f []byte, r *Row) {
	if p.numbered {
		if v, n := number(f, 99); n == len(f) && v <= 7 {
			r.Weekday = uint8((v+6)%7 + 1) // 0 and 7 are the same day of a register
		}
		return
	}
	if p.words.again(f) {
		r.Weekday = uint8(p.words.last + 1)
		return
	}
	if n := p.word(f); n == len(f) || n > 0 && skipPunctuation(f, n) == len(f) {
		r.Weekday = p.words.index(f[:n])
	}
}

// word returns the length of the weekday word that f begins with.
func (p *parser) word(f []byte) int {
	n := len(p.words.raw)
	if p.words.last < n {
		w := p.words.raw[p.words.last]
		if len(f) >= len(w) && string(f[:len(w)]) == w && !wordGoesOn(f, len(w)) {
			return len(w)
		}
	}
	return weekdayWord(f)
}

// lead reads a weekday word before a date in the same field.
func (p *parser) lead(f []byte, r *Row) []byte {
	if len(f) == 0 || f[0]-'0' <= 9 {
		return f
	}
	n := p.word(f)
	if n > 0 {
		r.Weekday = p.words.index(f[:n])
	}
	return f[skipPunctuation(f, n):]
}

func (p *parser) date(f []byte, d *digits, r *Row) bool {
	return p.dates.lex(p.lead(f, r), d)
}

// lastDate remembers the last field that was a date: rows of one day follow each other.
type lastDate struct {
	text    []byte
	a, b, c uint16
}

// lex is lexDate of a whole field.
func (l *lastDate) lex(f []byte, d *digits) bool {
	if len(f) > 0 && bytes.Equal(f, l.text) {
		d.a, d.b, d.c = l.a, l.b, l.c
		return true
	}
	ok := lexAll(lexDate, f, d)
	if ok {
		l.text, l.a, l.b, l.c = f, d.a, d.b, d.c
	}
	return ok
}

func (p *parser) stamp(f []byte, d *digits, r *Row) bool {
	f = p.lead(f, r)
	n, zone := lexStamp(f, d)
	r.ZoneMin = zone
	if n == 0 || n < len(f) {
		p.cut = n == 0 && lexDate(f, d) > 0
		return false
	}
	return true
}

func (p *parser) event(f []byte) Event {
	if p.binary {
		if string(f) == "0" {
			return Close
		}
		return Open
	}
	e, _ := eventOf(f)
	return e
}

// loose reads a line whose fields are not where the layout has them: a date
// and a time beside each other, whatever the delimiters, and no words but a
// weekday, AM or PM and an event.
func (p *parser) loose(line []byte, r *Row) bool {
	st := stampState{}
	*r = Row{OpenS: usage.Unknown, ZoneMin: NoZone}
	dates, stamped := 0, false
	for _, f := range bytes.FieldsFunc(line, anyDelimiter) {
		f = trim(f)
		var d digits
		switch s := shapeOf(f, &d); {
		case s == shapeStamp:
			st.date, st.time = p.stamp(f, &st.d, r), true
			dates++
		case s == shapeDate:
			st.date = p.date(f, &st.d, r)
			dates++
		case s == shapeTime && !st.time:
			st.time = lexAll(lexTime, f, &st.d)
		case s == shapeMarker:
			lexMarker(f, &st.d)
		case s == shapeWeekday:
			r.Weekday = p.words.index(f[:p.word(f)])
		case s == shapeEvent:
			r.Event, _ = eventOf(f)
		case s == shapeText && !holds(p.roles, roleOther):
			return false
		case (s == shapeNumber || s == shapeTime) && stamped && r.OpenS == usage.Unknown && holds(p.roles, roleSeconds):
			r.OpenS = lexSeconds(f)
		}
		stamped = st.date && st.time
	}
	return dates == 1 && stamped && p.settle(&st, r)
}

func anyDelimiter(r rune) bool { return strings.ContainsRune("\t;|, ", r) }
