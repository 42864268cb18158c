package cardfile

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"

	"doorleaf/usage"
)

// sampleLines is about how many lines of a file are looked at to find its layout.
const sampleLines = 3000

// Read reads a card file. Any bytes are read without panic; the error, a
// usage.Fault, is for bytes that are no text at all. Complaints are no errors:
// the rows around them stand.
func Read(data []byte, hint Hint) (*File, error) {
	t := decode(data)
	if !isText(t.buf) {
		return nil, &usage.Fault{
			Kind: usage.Invalid,
			What: "not a text file: it is full of bytes that no logger writes as text",
			Try:  "choose the file that the logger writes",
		}
	}
	f := &File{Encoding: t.encoding, LeadingS: usage.Unknown, Resolution: 1}
	rd := reader{text: t, file: f}
	rd.lines, f.LineEnd = t.split()
	f.Ragged = len(t.buf) > 0 && t.buf[len(t.buf)-1] != '\n' && t.buf[len(t.buf)-1] != '\r'
	sample := rd.sample()
	rd.months = findNamedMonths(sample)
	for i := range sample {
		sample[i].text = rd.months.rewrite(sample[i].text)
	}
	rd.parser = *newParser(infer(sample))
	rd.rows()
	rd.headless()
	rd.whole()
	if f.Rows != nil && holds(rd.roles, roleUnix) {
		rd.resolveUnix()
	} else {
		rd.resolve(hint)
	}
	rd.describe()
	if rd.events {
		pair(f)
	}
	return f, nil
}

// sample takes lines from the start, the end and evenly from between.
func (rd *reader) sample() []sampleLine {
	n := len(rd.lines)
	step := max(1, n/(sampleLines/2))
	var out []sampleLine
	for i := 0; i < n; i++ {
		edge := i < sampleLines/4 || i >= n-sampleLines/4
		if s := rd.lines[i]; s.len > 0 && s.len < 1000 && (edge || i%step == 0) {
			if piece := rd.text.buf[s.off : s.off+s.len]; !isCluster(piece) {
				out = append(out, sampleLine{i, piece})
			}
		}
	}
	return out
}

func (rd *reader) resolveUnix() {
	d := &rd.file.Dialect
	for i := range rd.file.Rows {
		r := &rd.file.Rows[i]
		r.Timed = true
		r.Key = key(r.Reading, r.Event)
	}
	d.Evidence = append(d.Evidence, "stamps are Unix seconds, which count UTC")
}

// resolve turns the packed digits of every row into readings.
func (rd *reader) resolve(hint Hint) {
	f := rd.file
	if len(f.Rows) == 0 {
		return
	}
	dates := datesOf(f.Rows)
	v := weigh(dates, &rd.parser, hint)
	if rd.months != nil && v.order == YMD {
		v.evidence[0] = "the month is written in words"
		for i := range v.evidence {
			v.evidence[i] = strings.ReplaceAll(v.evidence[i], "as "+YMD, "as "+rd.months.order)
		}
	}
	f.Dialect.Evidence = append(f.Dialect.Evidence, v.evidence...)
	f.Dialect.WeekdayShift = v.shift
	f.Dialect.WeekdayNames = v.follow && !rd.numbered
	if v.order == "" {
		f.Ambiguous = true
	} else {
		f.Dialect.DateOrder = &v.order
		if rd.months != nil {
			f.Dialect.DateOrder = &rd.months.order
		}
	}
	modern := mostlyModern(dates)
	var steps steps
	inChunks(len(f.Rows), chunkLines, func(_, from, to int) {
		var days lastDay
		timed, seconds, minutes := 0, 0, 0
		for i := from; i < to; i++ {
			r := &f.Rows[i]
			rd.resolveRow(r, &v, modern, &days)
			if !r.Timed {
				continue
			}
			timed++
			if r.Reading%60 != 0 {
				seconds++
			}
			if r.Reading%3600 != 0 {
				minutes++
			}
		}
		steps.timed.Add(int64(timed))
		steps.seconds.Add(int64(seconds))
		steps.minutes.Add(int64(minutes))
	})
	f.Resolution = steps.resolution()
}

// steps counts the readings of a card, those that are no whole minutes and those that
// are no whole hours.
type steps struct{ timed, seconds, minutes atomic.Int64 }

// resolution is the coarsest of 1 s, 60 s and 3600 s that the readings, but for a
// few, are whole multiples of; 1 s without a reading.
func (s *steps) resolution() int32 {
	switch timed := s.timed.Load(); {
	case s.seconds.Load()*fewFiner > timed || timed == 0:
		return 1
	case s.minutes.Load()*fewFiner > timed:
		return 60
	}
	return 3600
}

// fewFiner is one in how many rows may show a finer step than a card's clock does: two
// rows that ran into each other ("18:018:06") read as a time that nobody wrote. Of the
// rows of a clock that shows seconds, one in sixty has none.
const fewFiner = 10

// mostlyModern reports whether most rows are of the year 2000 or later, so that
// one of the last century is a fault of the chip.
func mostlyModern(dates []dateRun) bool {
	n, all := 0, 0
	for _, run := range dates {
		d := run.digits()
		if y := max(d.a, d.c); y > 99 && y < 2000 {
			n += run.rows
		}
		all += run.rows
	}
	return n*2 < all
}

func (rd *reader) resolveRow(r *Row, v *verdict, modern bool, days *lastDay) {
	packed := r.Reading
	d := unpack(packed)
	if v.words != nil && int(r.Weekday) < len(v.words) {
		r.Weekday = v.words[r.Weekday]
	} else {
		r.Weekday = 0
	}
	y, m, day, number, ok := days.of(d, v.order)
	seconds, plus, timeOK := d.clock(rd.hours12)
	if !ok && m > century {
		number, ok = dayNumber(y, m-century, day)
		r.Suspect = ok
	}
	if modern && y < 2000 {
		r.Suspect = true
	}
	agrees := r.Weekday != 0 && v.follow && int(r.Weekday) == (isoWeekday(number)-1+v.shift)%7+1
	if ok && v.follow && r.Weekday != 0 && !agrees {
		r.Suspect = true
	}
	r.Suspect = r.Suspect && v.order != ""
	faulty := r.Suspect && !agrees && (m > century || modern && y < 2000)
	r.Timed = ok && timeOK && v.order != "" && !faulty
	if !r.Timed {
		r.Part = part(d, y, m, day, v.order != "")
		r.Reading, r.Key = 0, key(packed, r.Event)
		return
	}
	r.Reading = int64(number+plus)*86400 + int64(seconds)
	r.Key = key(r.Reading, r.Event)
}

// lastDay remembers what the last date is: rows of one day follow each other.
type lastDay struct {
	a, b, c             uint16
	y, m, day, isNumber int
	known, ok           bool
}

// of returns the date that the groups of d are in an order, and its number if there is
// such a date.
func (l *lastDay) of(d digits, order string) (y, m, day, number int, ok bool) {
	if !l.known || d.a != l.a || d.b != l.b || d.c != l.c {
		l.known, l.a, l.b, l.c = true, d.a, d.b, d.c
		l.y, l.m, l.day = d.calendar(order)
		l.isNumber, l.ok = dayNumber(l.y, l.m, l.day)
	}
	return l.y, l.m, l.day, l.isNumber, l.ok
}

// clock returns the seconds since midnight and the days to add: midnight
// written as 24:00:00 is 00:00:00 of the next day.
func (d digits) clock(hours12 bool) (seconds, plusDays int, ok bool) {
	if d.h == 24 && d.m == 0 && d.s == 0 {
		return 0, 1, true
	}
	if d.h > 23 || d.m > 59 || d.s > 59 || hours12 && !d.marked {
		return 0, 0, false
	}
	return int(d.h)*3600 + int(d.m)*60 + int(d.s), 0, true
}

// part keeps the good fields of a stamp that is no time.
func part(d digits, y, m, day int, dated bool) Part {
	p := Part{Year: -1, Month: -1, Day: -1, Hour: -1, Min: -1, Sec: -1}
	if dated && y >= 2000 && y <= 2099 {
		p.Year = int16(y)
	}
	if dated && m >= 1 && m <= 12 {
		p.Month = int8(m)
	}
	if dated && day >= 1 && day <= 31 {
		p.Day = int8(day)
	}
	if d.h <= 23 {
		p.Hour = int8(d.h)
	}
	if d.m <= 59 {
		p.Min = int8(d.m)
	}
	if d.s <= 59 {
		p.Sec = int8(d.s)
	}
	return p
}

// key mixes a stamp and its event into a hash (the finaliser of MurmurHash3,
// Austin Appleby, public domain; constants from memory).
func key(stamp int64, e Event) uint64 {
	h := uint64(stamp) ^ uint64(e)<<62
	h ^= h >> 33
	h *= 0xff51afd7ed558ccd
	h ^= h >> 33
	h *= 0xc4ceb9fe1a85ec53
	return h ^ h>>33
}

// describe fills in the dialect as people are shown it.
func (rd *reader) describe() {
	d := &rd.file.Dialect
	d.Delimiter = delimiterNames[rd.delim]
	d.Header = rd.file.Headers > 0 && !(rd.file.Headers == 1 && rd.file.LeadingS != usage.Unknown)
	d.Columns = []string{}
	d.Hours = 24
	if rd.hours12 {
		d.Hours = 12
	}
	for _, r := range rd.roles {
		d.Columns = append(d.Columns, roleNames[r])
	}
	if rd.file.LeadingS != usage.Unknown {
		d.Evidence = append(d.Evidence, fmt.Sprintf("the file begins with a lone number: %d s, the open seconds of the last row of the card before", rd.file.LeadingS))
	}
	if len(rd.file.Rows) == 0 {
		d.Evidence = append(d.Evidence, "no rows")
	}
	if d.Evidence == nil {
		d.Evidence = []string{}
	}
}

// whole makes whole openings of the rows of a file that only ever says open, beside
// the seconds. It comes before rows get their keys, by which other cards know them.
func (rd *reader) whole() {
	rows := rd.file.Rows
	if !rd.events || !holds(rd.roles, roleSeconds) || slices.ContainsFunc(rows, func(r Row) bool { return r.Event == Close }) {
		return
	}
	for i := range rows {
		rows[i].Event = Whole
	}
}

// pair gives the open row of each open/close pair its seconds.
func pair(f *File) {
	for i := range f.Rows {
		if f.Rows[i].Event == Whole {
			continue
		}
		f.Pairs = true
		if f.Rows[i].Event != Close || i == 0 || f.Rows[i-1].Event != Open {
			continue
		}
		opened, closed := &f.Rows[i-1], &f.Rows[i]
		switch took := closed.Reading - opened.Reading; {
		case closed.OpenS != usage.Unknown:
			opened.OpenS, closed.OpenS = closed.OpenS, usage.Unknown
		case opened.OpenS == usage.Unknown && opened.Timed && closed.Timed && took >= 0 && took <= longestOpen:
			opened.OpenS = int32(took)
		}
	}
}
