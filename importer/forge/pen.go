package forge

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"doorleaf/usage"
)

// Event says what a row reports.
type Event uint8

// The events of a row.
const (
	Whole Event = iota // an opening
	Open               // the door opened
	Close              // the door was shut
)

// Row is one row as a logger writes it.
type Row struct {
	// Reading is in wall seconds, cut to the dialect's resolution; the clock's
	// true reading where the read failed, that of an earlier row where it is stuck,
	// and seconds since 2000-00-00 00:00:00 where Blank.
	Reading int64
	Opening int32 // index of its opening among the site's
	OpenS   int32 // seconds as written, or usage.Unknown where none are
	Event   Event
	Fault   ReadFault
	Reset   bool   // the weekday register counts from the power-on default
	Blank   bool   // month and day count from 0
	State   string // of the clock
	Beat    int32  // stretch of its clock, index into the site's Beats
	Cut     int32  // bytes that were written before power was cut; 0: all
	Glued   bool   // it stands on the line of a row that was cut
	Offset  int    // where it begins in the UTF-8 text of its card
}

// pen writes rows in a dialect, as UTF-8; Dialect.encode comes after it.
type pen struct {
	Dialect
	delim, end  string
	days        [7]string // Monday first
	halves      [2]string // AM, PM
	events      [3]string
	secondsLast bool
}

func newPen(d Dialect) *pen {
	p := &pen{Dialect: d, delim: delimiters[d.Delimiter], end: lineEnds[d.LineEnd], secondsLast: d.secondsLast()}
	if d.Delimiter == "spaces" {
		p.delim = "   "[:min(3, max(1, d.Gap))]
	}
	lang := languages[d.Language]
	names := map[string][7]string{"2": lang.two, "3": lang.three, "full": lang.full}[d.weekdayForm()]
	for i, n := range names {
		p.days[i] = d.cased(d.word(n))
	}
	p.halves = [2]string{d.cased("AM"), d.cased("PM")}
	p.events = [3]string{Open: d.cased("OPEN"), Close: d.cased("CLOSE")}
	return p
}

// header adds the header line.
func (p *pen) header(b []byte) []byte {
	for i, c := range p.Columns {
		if i > 0 {
			b = append(b, p.delim...)
		}
		b = append(b, p.word(languages[p.Language].header[c])...)
	}
	return append(b, p.end...)
}

// row adds a row. Where its seconds are not written yet it stays without them:
// an unfinished line if they come last, else an empty field. A row that was cut
// has the seconds of the next write behind the cut, if they come last.
func (p *pen) row(b []byte, r Row) []byte {
	if r.Cut == 0 {
		return p.whole(b, r)
	}
	openS := r.OpenS
	r.OpenS = usage.Unknown
	b = p.whole(b, r)[:len(b)+int(r.Cut)]
	if openS == usage.Unknown {
		return b
	}
	return append(p.seconds(b, openS), p.end...)
}

// whole adds a row that was not cut.
func (p *pen) whole(b []byte, r Row) []byte {
	at := stampOf(r)
	for i, c := range p.Columns {
		if i > 0 {
			b = append(b, p.delim...)
		}
		switch c {
		case ColWeekday:
			b = p.weekday(b, at, r)
		case ColDate:
			b = p.date(b, at)
		case ColTime:
			b = p.time(b, at)
		case ColStamp:
			b = p.stamp(b, at)
		case ColUnix:
			b = p.unix(b, r)
		case ColEvent:
			b = append(b, p.events[r.Event]...)
		case ColSeconds:
			b = p.seconds(b, r.OpenS)
		}
	}
	if p.secondsLast && r.OpenS == usage.Unknown {
		return b
	}
	return append(b, p.end...)
}

// lone adds seconds on a line of their own.
func (p *pen) lone(b []byte, openS int32) []byte {
	return append(p.seconds(b, openS), p.end...)
}

// stamp is a reading taken apart.
type stamp struct {
	year, month, day, hour, min, sec int
	weekday                          int // ISO, of the date
}

// rubbish is what a clock chip shows whose registers all read 0xFF: taken as
// BCD that is 165, and 85 where the top bit is masked off (seconds).
var rubbish = stamp{2165, 165, 165, 165, 165, 85, 0}

// maskedHour is an hour of 0xFF masked to six bits, taken as BCD.
const maskedHour = 45

// stampOf returns the digits that stand in a row.
func stampOf(r Row) stamp {
	at := goodStamp(r)
	switch r.Fault {
	case ReadFF:
		return rubbish
	case ReadFFHour:
		at = rubbish
		at.hour = maskedHour
	case ReadFFDate:
		at.year, at.month, at.day, at.weekday = rubbish.year, rubbish.month, rubbish.day, 0
	case ReadCentury:
		at.month += 80
	case ReadTwelve:
		// Bit 6 of the register for 12-hour mode, bit 5 for PM (DS1307 data sheet).
		at.hour, at.year = 40+20*(at.hour/12)+(at.hour+11)%12+1, at.year-100
	case ReadYear:
		at.year = wrongYear(at.year, r.Opening)
	}
	return at
}

// wrongYear flips one of the two low bits of a BCD year.
func wrongYear(year int, opening int32) int {
	tens, units := year/10, year%10
	if opening%2 == 0 && units^2 <= 9 {
		return tens*10 + (units ^ 2)
	}
	return tens*10 + (units ^ 1)
}

// goodStamp returns the digits of a reading that did not fail.
func goodStamp(r Row) stamp {
	if r.Blank {
		return blankStamp(r.Reading)
	}
	t := time.Unix(r.Reading, 0).UTC()
	y, m, d := t.Date()
	hour, minute, sec := t.Clock()
	return stamp{y, int(m), d, hour, minute, sec, (int(t.Weekday())+6)%7 + 1}
}

// blankStamp returns the digits of a clock that counts from 2000-00-00. What a
// chip does with a date of nought is undefined (DS1307 data sheet: "illogical time
// and date entries result in undefined operation"); this one counts the day to
// 31, then the month.
func blankStamp(s int64) stamp {
	day := int(s / 86400)
	t := time.Unix(powerOn+s-32*86400, 0).UTC()
	hour, minute, sec := t.Clock()
	weekday := (int(t.Weekday())+6)%7 + 1
	weekday = mod7(weekday-1+32) + 1 // the register counts days since power came
	if day <= 31 {
		return stamp{2000, 0, day, hour, minute, sec, weekday}
	}
	y, m, d := t.Date()
	return stamp{y, int(m), d, hour, minute, sec, weekday}
}

func (p *pen) weekday(b []byte, at stamp, r Row) []byte {
	if r.Fault == ReadFF || r.Fault == ReadFFDate || r.Fault == ReadFFHour {
		if p.Weekday == "number" {
			return append(b, "165"...)
		}
		return append(b, "???"...) // no entry of the logger's table of names
	}
	shift := p.Shift
	if r.Reset {
		shift = p.resetShift()
	}
	iso := mod7(at.weekday-1+shift) + 1
	if p.Weekday == "number" {
		return append(b, byte('1'+mod7(iso-p.firstDay())))
	}
	return append(b, p.days[iso-1]...)
}

func (p *pen) date(b []byte, at stamp) []byte {
	for i, field := range []byte(p.order()) {
		if i > 0 {
			b = append(b, or(p.DateSep, "-")...)
		}
		switch field {
		case 'd':
			b = digits(b, at.day, !p.DateBare)
		case 'm':
			b = digits(b, at.month, !p.DateBare)
		case 'y':
			if p.YearTwo {
				at.year -= at.year/2000*100 + 1900
			}
			b = digits(b, at.year, true)
		}
	}
	return b
}

func (p *pen) time(b []byte, at stamp) []byte {
	hour := at.hour
	if p.Hours == 12 {
		hour = (at.hour+11)%12 + 1
		if at.hour > 24 {
			hour = at.hour - 12 // the logger's own arithmetic on rubbish
		}
	}
	b = digits(b, hour, p.TimeBare == "")
	b = digits(append(b, ':'), at.min, p.TimeBare != "all")
	if !p.NoSeconds {
		b = digits(append(b, ':'), at.sec, p.TimeBare != "all")
	}
	if p.Hours != 12 {
		return b
	}
	if p.HalfGap {
		b = append(b, ' ')
	}
	return append(b, p.halves[min(1, at.hour/12)]...)
}

func (p *pen) stamp(b []byte, at stamp) []byte {
	b = p.date(b, at)
	b = p.time(append(b, or(p.StampSep, "T")...), at)
	if p.Zulu {
		b = append(b, 'Z')
	}
	return b
}

// unix adds the seconds that firmware makes of the registers.
func (p *pen) unix(b []byte, r Row) []byte {
	at := stampOf(r)
	switch {
	case r.Fault == ReadYear || r.Blank:
		return strconv.AppendInt(b, time.Date(at.year, time.Month(at.month), at.day, at.hour, at.min, at.sec, 0, time.UTC).Unix(), 10)
	case r.Fault != ReadWell && r.Fault != ReadStuck:
		return append(b, "4294967295"...) // 32 bits of ones
	}
	return strconv.AppendInt(b, r.Reading, 10)
}

func (p *pen) seconds(b []byte, openS int32) []byte {
	switch {
	case openS == usage.Unknown:
		return b
	case !p.Clocked:
		return strconv.AppendInt(b, int64(openS), 10)
	}
	b = strconv.AppendInt(b, int64(openS/60), 10)
	return digits(append(b, ':'), int(openS%60), true)
}

// digits adds n ≥ 0, with a leading nought below 10 if padded.
func digits(b []byte, n int, padded bool) []byte {
	if padded && n < 10 {
		b = append(b, '0')
	}
	return strconv.AppendInt(b, int64(n), 10)
}

// width returns how many bytes the UTF-8 text of a card file takes in it, the
// byte order mark included.
func (d Dialect) width(text []byte) int64 {
	switch d.Encoding {
	case "utf-8 bom":
		return int64(len("\uFEFF") + len(text))
	case "utf-16le", "utf-16be":
		return int64(2 + 2*utf8.RuneCount(text)) // no letter of a dialect takes two units
	case "windows-1252":
		return int64(utf8.RuneCount(text))
	}
	return int64(len(text))
}

// encode turns the UTF-8 text of a card file into its bytes.
func (d Dialect) encode(text []byte) ([]byte, error) {
	switch d.Encoding {
	case "utf-8 bom":
		return append([]byte("\xEF\xBB\xBF"), text...), nil
	case "utf-16le":
		return wide(text, 0, 8), nil
	case "utf-16be":
		return wide(text, 8, 0), nil
	case "windows-1252":
		b, err := charmap.Windows1252.NewEncoder().Bytes(text)
		if err != nil {
			return nil, fmt.Errorf("encode as windows-1252: %w", err)
		}
		return b, nil
	}
	return slices.Clone(text), nil
}

// wide writes UTF-16 with a byte order mark; first and second say by how many
// bits a unit is shifted for its first and second byte.
func wide(text []byte, first, second int) []byte {
	units := utf16.AppendRune(make([]uint16, 0, len(text)+1), 0xFEFF)
	for _, r := range string(bytes.ToValidUTF8(text, nil)) {
		units = utf16.AppendRune(units, r)
	}
	b := make([]byte, 0, 2*len(units))
	for _, u := range units {
		b = append(b, byte(u>>first), byte(u>>second))
	}
	return b
}
