package importer

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// fault is a pattern that a clock chip or its wiring leaves in the digits of a row.
// The patterns were collected from public threads of makers and from the DS1307 data
// sheet (Maxim); hours with the bits of 12-hour mode in them are worked out from the
// latter's register table: bit 6 set, bit 5 for PM, then BCD.
type fault struct {
	topic, says, try string
	shows            func(d stampDigits, r cardfile.Row) bool
}

var faults = []fault{
	{"chip silent", "%s no digit that is good: every register reads 0xFF, which as BCD is 165 (85 and 45 where bits are masked)",
		"the clock chip does not answer: look at its power, at the two bus wires and their pull-ups, and at its address",
		func(d stampDigits, _ cardfile.Row) bool { return d.date == 3 && d.clock >= 2 }},
	{"bus drops", "%s some good digits and some of 0xFF: the bus dropped in the middle of a read",
		"shorten or shield the bus wires, add pull-ups, read all registers in one go, and read again where a value is out of range",
		func(d stampDigits, _ cardfile.Row) bool { return d.date+d.clock > 0 }},
	{"date of nought", "%s a month or day of 0: the clock counts, but was never set since it lost its power",
		"set the clock; if it comes again, the coin cell is missing, empty or turned over",
		func(d stampDigits, r cardfile.Row) bool {
			return !r.Timed && d.dated && slices.Contains(d.groups[:], 0) && slices.Max(d.groups[:]) <= 2199
		}},
	{"twelve hours", "%s an hour of 41 to 72: the bits of 12-hour mode are read as if they were digits",
		"write 24-hour mode to the chip (clear bit 6 of the hour register) and set the clock again",
		func(d stampDigits, r cardfile.Row) bool {
			return !r.Timed && d.timed && (d.hour >= 41 && d.hour <= 52 || d.hour >= 61 && d.hour <= 72)
		}},
	{"century bit", "%s a month of 81 to 92: the century bit of the month register is read with it",
		"mask the month register with 0x1F before it is turned into a number",
		func(d stampDigits, _ cardfile.Row) bool {
			return d.dated && slices.ContainsFunc(d.groups[:], func(g int) bool { return g >= 81 && g <= 92 }) && slices.Max(d.groups[:]) > 999
		}},
	{"digits not converted", "%s minutes or seconds of 60 to 89: the chip's BCD is printed without being converted",
		"turn each register into a number: (value >> 4) × 10 + (value & 15)",
		func(d stampDigits, r cardfile.Row) bool {
			return !r.Timed && d.timed && (d.min >= 60 && d.min <= 89 || d.sec >= 60 && d.sec <= 89)
		}},
	{"wrong century", "%s a year of the last century: the chip counts two digits from 2000",
		"add 2000, not 1900, to the year register",
		func(d stampDigits, _ cardfile.Row) bool {
			return d.dated && slices.ContainsFunc(d.groups[:], func(g int) bool { return g >= 1900 && g <= 1999 && g != 1970 })
		}},
	{"back to the default", "%s the date that a clock shows after it has lost its power",
		"the coin cell is missing, empty, turned over or has no contact; put in a new one behind its screwed lid and set the clock",
		func(_ stampDigits, r cardfile.Row) bool {
			year, _, _ := usage.Date(r.Reading / 86400).YMD()
			return r.Timed && r.ZoneMin == cardfile.NoZone && (year == 2000 || year == 1970)
		}},
	{"no time", "%s digits that are no date and time",
		"print the raw registers once, and compare them with the chip's data sheet",
		func(_ stampDigits, r cardfile.Row) bool { return !r.Timed }},
}

// stampDigits are the groups of digits of a row's stamp.
type stampDigits struct {
	dated, timed   bool
	groups         [3]int // of the date
	hour, min, sec int    // sec −1 where there is none
	date, clock    int    // groups of 0xFF in date and time
}

var (
	dateGroups = regexp.MustCompile(`(?:^|[^0-9])(\d{1,4})[/.\-](\d{1,3})[/.\-](\d{1,4})(?:$|[^0-9])`)
	timeGroups = regexp.MustCompile(`(?:^|[^0-9:])(\d{1,3}):(\d{1,3})(?::(\d{1,3}))?`)
)

func digitsOf(text string) stampDigits {
	d := stampDigits{sec: -1}
	if m := dateGroups.FindStringSubmatch(text); m != nil {
		d.dated = true
		for i := range d.groups {
			d.groups[i], _ = strconv.Atoi(m[i+1])                                 // three digits or four
			if d.groups[i] == 165 || d.groups[i] == 2165 || d.groups[i] == 2065 { // 165 with 2000 or 1900 added
				d.date++
			}
		}
	}
	for _, m := range timeGroups.FindAllStringSubmatch(text, -1) {
		if d.timed && (d.sec >= 0 || m[3] == "") {
			continue
		}
		d.timed = true
		d.hour, _ = strconv.Atoi(m[1])
		d.min, _ = strconv.Atoi(m[2])
		if d.sec = -1; m[3] != "" {
			d.sec, _ = strconv.Atoi(m[3])
		}
	}
	for _, v := range []int{d.hour, d.min, d.sec} {
		if v == 165 {
			d.clock++
		}
	}
	if d.clock > 0 || d.date > 0 {
		if d.sec == 85 || d.sec == 165 {
			d.clock = max(d.clock, 1) + 1
		}
	}
	return d
}

// faults names the pattern of each row that shows one.
func (b *bencher) faults() {
	lines := make([][]int32, len(faults))
	for _, r := range b.rows {
		d := digitsOf(b.textOf(r))
		for i, f := range faults {
			if f.shows(d, r) {
				lines[i] = append(lines[i], r.Line)
				break
			}
		}
	}
	for i, f := range faults {
		if len(lines[i]) > 0 {
			b.add(f.topic, Wrong, f.try, lines[i], f.says, plural(len(lines[i]), "row has", "rows have"))
		}
	}
}

// sameMoment is how close together, in seconds, a clock must begin again to be held to
// begin at one moment. Common practice, no source.
const sameMoment = 10

// advance looks at how the readings follow each other.
func (b *bencher) advance() {
	var rows []cardfile.Row
	for _, r := range b.rows {
		if r.Timed {
			rows = append(rows, r)
		}
	}
	if len(rows) < 2 {
		b.add("clock", Unclear, "make more openings, a minute apart", nil, "too few rows have a time to see whether the clock runs")
		return
	}
	var back, still, years []int32
	returns := 0
	for i := 1; i < len(rows); i++ {
		switch step := rows[i].Reading - rows[i-1].Reading; {
		case step < -300*86400 && i > 1 && rows[i-1].Reading-rows[i-2].Reading > 300*86400:
			years = append(years, rows[i-1].Line)
		case step < 0:
			back = append(back, rows[i].Line)
			if gap := rows[i].Reading - rows[0].Reading; gap >= -sameMoment && gap <= sameMoment {
				returns++
			}
		case step == 0 && b.step() == 1:
			still = append(still, rows[i].Line)
		}
	}
	b.steps(rows, back, still, years, returns)
}

// steps says what the steps of the clock come to.
func (b *bencher) steps(rows []cardfile.Row, back, still, years []int32, returns int) {
	first, last := rows[0], rows[len(rows)-1]
	if len(years) > 0 {
		b.add("year", Wrong, "read the registers again where the year is not that of the row before: a bit is lost on the bus", years, "%s in another year than its neighbours", plural(len(years), "row stands", "rows stand"))
	}
	switch {
	case len(back) > 0 && returns == len(back):
		b.add("clock", Wrong, "set the clock once, by a file or a key, and never in the part of the firmware that runs at every start", back, "the clock begins again at the same moment %s: the firmware sets it at its start", plural(returns, "time", "times"))
	case len(back) > 0:
		b.add("clock", Wrong, "look at the coin cell and its contacts: the clock must run while the door is shut", back, "the clock goes back %s", plural(len(back), "time", "times"))
	case len(still) == len(rows)-1:
		b.add("clock", Wrong, "clear the clock-halt bit (bit 7 of register 0 in chips of the DS1307 kind) by setting the clock; if it stays, look at the crystal", still, "the clock stands still: every row has the same time")
	case len(still) > 0:
		b.add("clock", Wrong, "do not write an old value when a read fails; read again", still, "%s the time of the row before", plural(len(still), "row repeats", "rows repeat"))
	case first.Reading == last.Reading:
		b.add("clock", Unclear, "wait two minutes between openings", nil, "all openings lie in one minute, and the rows have no seconds in their times")
	case b.tooLong(rows) != nil:
		b.add("clock", Wrong, "count whole seconds, not ticks or milliseconds, and see whether the clock runs at its right speed", b.tooLong(rows), "a door stood open for longer than the clock gained until the next opening")
	case len(years) == 0:
		b.right("clock", "it runs: %s from the first opening to the last", spanWords(last.Reading-first.Reading))
	}
}

// step is the step between two readings that a row can show, s: a card of few rows may
// hold whole minutes by chance where its times do have seconds.
func (b *bencher) step() int64 {
	for _, r := range b.rows {
		if digitsOf(b.textOf(r)).sec >= 0 {
			return 1
		}
	}
	return int64(b.file.Resolution)
}

// tooLong returns the rows whose open seconds do not fit before the next row.
func (b *bencher) tooLong(rows []cardfile.Row) (lines []int32) {
	for i := 1; i < len(rows); i++ {
		if r := rows[i-1]; r.OpenS != usage.Unknown && rows[i].Reading-r.Reading+b.step()+1 < int64(r.OpenS) {
			lines = append(lines, r.Line)
		}
	}
	return lines
}

// spanWords writes a span of seconds in its two largest units, the smaller left out where
// there is none of it.
func spanWords(s int64) string {
	two := func(big int64, unit string, small int64, smallUnit string) string {
		if small == 0 {
			return fmt.Sprintf("%d %s", big, unit)
		}
		return fmt.Sprintf("%d %s %d %s", big, unit, small, smallUnit)
	}
	switch {
	case s < 120:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return two(s/60, "min", s%60, "s")
	case s < 2*86400:
		return two(s/3600, "h", s/60%60, "min")
	}
	return plural(int(s/86400), "day", "days")
}

// How well a clock on the bench must agree, s, and how far from UTC zones lie, s.
const (
	benchGiveS = 60
	farthest   = 14 * 3600
	quarter    = 15 * 60
)

// time holds the last reading against the true time.
func (b *bencher) time() error {
	var last *cardfile.Row
	for i := range b.rows {
		if b.rows[i].Timed {
			last = &b.rows[i]
		}
	}
	if last == nil {
		b.add("time", Unclear, "", nil, "no row has a time to hold against the true one")
		return nil
	}
	at, zoned := last.Reading-b.At, false
	if last.ZoneMin != cardfile.NoZone {
		at, zoned = at-int64(last.ZoneMin)*60, true
	}
	if b.Site != nil && !zoned {
		zone, err := usage.LoadZone(b.Site.Zone)
		if err != nil {
			return err
		}
		at = last.Reading - usage.ReadingToSet(zone, b.Site.Clock, b.At)
		zoned = true
	}
	b.offset(last.Line, at, zoned)
	return nil
}

// offset says what a clock that is off by so many seconds is. Where the zone is not
// known, whole quarters of an hour may be its.
func (b *bencher) offset(line int32, off int64, zoned bool) {
	whole := (off + 100*farthest + quarter/2) / quarter * quarter
	whole -= 100 * farthest / quarter * quarter
	rest := off - whole
	zone := fmt.Sprintf("UTC%c%02d:%02d", map[bool]rune{true: '−', false: '+'}[whole < 0], max(whole, -whole)/3600, max(whole, -whole)/60%60)
	near := max(rest, -rest) <= benchGiveS
	lines := []int32{line}
	switch {
	case !zoned && near && max(whole, -whole) <= farthest:
		b.right("time", "right to %s, if it is to keep %s", spanWords(max(rest, -rest)), zone)
	case max(off, -off) <= benchGiveS:
		b.right("time", "right to %s", spanWords(max(off, -off)))
	case !b.Exact && off < 0 && off > -86400:
		b.add("time", Unclear, "give the true time of the last opening", lines, "%s behind now: right if the last opening was that long ago", spanWords(-off))
	case near && max(whole, -whole) <= farthest:
		b.add("time", Wrong, "set the clock to what it is to keep; daylight saving or another zone is in it", lines, "off by %s %s: the clock was set in another zone, or for another half of the year", spanWords(max(whole, -whole)), ahead(whole))
	case max(off, -off) < 300*86400:
		b.add("time", Wrong, "set the clock", lines, "%s %s", spanWords(max(off, -off)), ahead(off))
	default:
		b.add("time", Wrong, "set the clock, the year too", lines, "%s %s: another year", spanWords(max(off, -off)), ahead(off))
	}
}

func ahead(s int64) string {
	if s < 0 {
		return "behind"
	}
	return "ahead"
}
