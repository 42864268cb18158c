package cardfile

import (
	"bytes"
	"sort"
	"strings"
)

// role is what a column is for.
type role uint8

const (
	roleOther role = iota
	roleWeekday
	roleDate
	roleTime
	roleStamp
	roleUnix
	roleSeconds
	roleEvent
	roleClosed
	roleCounter
	roleMarker
)

var roleNames = [...]string{"other", "weekday", "date", "time", "stamp", "unix", "seconds", "event", "closed", "counter", "am/pm"}

// layout is the part of a dialect that must be known before rows are read.
type layout struct {
	delim     byte // one of delimiters, or 0: rows have one field
	roles     []role
	seconds   bool // times have seconds
	padded    bool // the last group of a time always has two digits
	hours12   bool
	numbered  bool // weekdays are numbers
	millis    bool // Unix time in milliseconds
	binary    bool // events are 1 (open) and 0 (closed)
	bare      bool // times are written without colons
	rowsFit   int  // sample lines that have a stamp in this layout
	rowsTried int
}

// delimiters in the order in which a tie between them is settled.
var delimiters = []byte{'\t', ';', '|', ',', ' '}

var delimiterNames = map[byte]string{'\t': "tab", ';': "semicolon", '|': "pipe", ',': "comma", ' ': "spaces", 0: "none"}

// most fields of a row that are looked at.
const mostFields = 24

// cut cuts a line into fields. A space as delimiter means any run of spaces
// and tabs, and a comma or semicolon that ends a field is then dropped.
func cut(line []byte, delim byte, out [][]byte) [][]byte {
	out = out[:0]
	if delim == 0 {
		return append(out, trim(line))
	}
	if delim == ' ' {
		return cutSpaces(line, out)
	}
	for len(out) < mostFields {
		i := bytes.IndexByte(line, delim)
		if i < 0 {
			return append(out, trim(line))
		}
		out = append(out, trim(line[:i]))
		line = line[i+1:]
	}
	return out
}

func cutSpaces(line []byte, out [][]byte) [][]byte {
	for at := 0; len(out) < mostFields; {
		at = skipSpaces(line, at)
		if at >= len(line) {
			break
		}
		end := at
		for end < len(line) && line[end] != ' ' && line[end] != '\t' {
			end++
		}
		field := trim(line[at:end])
		if n := len(field); n > 1 && (field[n-1] == ',' || field[n-1] == ';') {
			field = field[:n-1]
		}
		out = append(out, field)
		at = end
	}
	return out
}

// shape is what a field looks like by itself.
type shape uint8

const (
	shapeEmpty shape = iota
	shapeText
	shapeWeekday
	shapeDate
	shapeTime
	shapeStamp
	shapeNumber
	shapeMarker
	shapeEvent
	shapes
)

// shapeOf tells the shape of a trimmed field.
func shapeOf(f []byte, d *digits) shape {
	if len(f) == 0 {
		return shapeEmpty
	}
	at := 0
	if n := weekdayWord(f); n > 0 {
		if at = skipPunctuation(f, n); at == len(f) {
			return shapeWeekday
		}
	}
	rest := f[at:]
	if n, _ := lexStamp(rest, d); n == len(rest) {
		return shapeStamp
	}
	if n := lexDate(rest, d); n == len(rest) {
		return shapeDate
	}
	if n := lexTime(rest, d); n == len(rest) && at == 0 {
		return shapeTime
	}
	if _, ok := decimal(f); ok {
		return shapeNumber
	}
	if n := lexMarker(f, d); n == len(f) {
		return shapeMarker
	}
	if _, ok := eventOf(f); ok {
		return shapeEvent
	}
	return shapeText
}

func skipPunctuation(b []byte, at int) int {
	for at < len(b) && (b[at] == ' ' || b[at] == ',' || b[at] == '.' || b[at] == '\t') {
		at++
	}
	return at
}

// lexStamp reads date and time, in either order, with a T, spaces or a comma
// between them, and an offset to UTC. It returns the bytes it took, 0 if there
// is no stamp.
func lexStamp(b []byte, d *digits) (int, int16) {
	if n := lexCompact(b, d); n > 0 {
		zone, k := lexZone(b[n:])
		return n + k, zone
	}
	n := lexDate(b, d)
	if n == 0 {
		return lexTimeFirst(b, d), NoZone
	}
	at := n
	if at < len(b) && b[at]|0x20 == 't' {
		at++
	} else if at = skipPunctuation(b, at); at == n {
		return 0, NoZone
	}
	k := lexTime(b[at:], d)
	if k == 0 {
		return 0, NoZone
	}
	at += k
	zone, k := lexZone(b[at:])
	return at + k, zone
}

func lexTimeFirst(b []byte, d *digits) int {
	n := lexTime(b, d)
	if n == 0 {
		return 0
	}
	at := skipPunctuation(b, n)
	k := lexDate(b[at:], d)
	if k == 0 || at == n {
		return 0
	}
	return at + k
}

// lexCompact reads YYYYMMDDhhmmss, with or without a T after the date.
func lexCompact(b []byte, d *digits) int {
	n := 0
	for n < len(b) && b[n]-'0' <= 9 {
		n++
	}
	at := 8
	if n == 8 && len(b) >= 15 && b[8]|0x20 == 't' {
		at = 9
	} else if n != 14 {
		return 0
	}
	two := func(i int) int { return int(b[i]-'0')*10 + int(b[i+1]-'0') }
	for i := at; i < at+6; i++ {
		if b[i]-'0' > 9 {
			return 0
		}
	}
	year := two(0)*100 + two(2)
	if year < 1900 || year > 2199 {
		return 0
	}
	d.a, d.b, d.c = uint16(year), uint16(two(4)), uint16(two(6))
	d.h, d.m, d.s = uint8(two(at)), uint8(two(at+2)), uint8(two(at+4))
	d.secs, d.padded, d.marked = true, true, false
	return at + 6
}

// decimal reads a whole field as a number, with or without a fraction.
func decimal(b []byte) (int64, bool) {
	v, n := number(b, 1<<53)
	if n == 0 || n > 16 {
		return 0, false
	}
	if n < len(b) && (b[n] == '.' || b[n] == ',') {
		_, k := number(b[n+1:], 0)
		if k == 0 {
			return 0, false
		}
		n += 1 + k
	}
	return int64(v), n == len(b) || n <= 8 && unit(b[skipSpaces(b, n):])
}

// column is what a survey saw in one column.
type column struct {
	seen      [shapes]int
	filled    int
	small     int // numbers from 0 to 7
	bits      int // numbers 0 and 1
	flips     int // numbers 0 and 1 that differ from the row before
	unix      int // numbers that are Unix seconds of 1998 to 2103
	millis    int // the same in milliseconds
	numbers   int
	six       int // numbers of six digits that are hhmmss
	clocks    int // dates written with full stops that could be h.mm.ss
	steps     int // numbers that are one more than in the line before
	neighbour int // numbers whose line before was seen too
	last      int64
	lastLine  int
	secs      int // times with seconds
	unpadded  int
	marked    int // times with AM or PM
	head      string
}

const (
	unixFrom = 900_000_000
	unixTo   = 4_200_000_000
)

func (c *column) add(line int, f []byte) {
	var d digits
	s := shapeOf(f, &d)
	c.seen[s]++
	if s != shapeEmpty {
		c.filled++
	}
	switch s {
	case shapeNumber:
		v, _ := decimal(f)
		c.number(line, v, onlyDigits(f))
		if len(f) == 6 && v/10000 < 24 && v/100%100 < 60 && v%100 < 60 {
			c.six++
		}
	case shapeDate:
		if bytes.IndexByte(f, '.') >= 0 && d.a < 24 && d.b < 60 && d.c < 60 {
			c.clocks++
		}
	case shapeTime, shapeStamp:
		if d.secs {
			c.secs++
		}
		if !d.padded {
			c.unpadded++
		}
		if d.marked {
			c.marked++
		}
	}
}

func (c *column) number(line int, v int64, whole bool) {
	if c.numbers > 0 && c.lastLine == line-1 {
		c.neighbour++
		if v == c.last+1 {
			c.steps++
		}
	}
	if v <= 1 && whole {
		c.bits++
		if c.numbers > 0 && v != c.last {
			c.flips++
		}
	}
	if v <= 7 && whole {
		c.small++
	}
	if v >= unixFrom && v <= unixTo {
		c.unix++
	}
	if v >= unixFrom*1000 && v <= unixTo*1000 {
		c.millis++
	}
	c.numbers++
	c.last, c.lastLine = v, line
}

// mostly reports whether n is more than six tenths of the filled fields.
func (c *column) mostly(n int) bool { return n*10 > c.filled*6 }

func (c *column) shape() shape {
	for s := shapeText; s < shapes; s++ {
		if c.mostly(c.seen[s]) {
			return s
		}
	}
	return shapeText
}

// sampleLine is a line with its number, of the sample that a survey reads.
type sampleLine struct {
	n    int
	text []byte
}

// infer finds the layout of the rows from a sample of the lines of a file.
func infer(sample []sampleLine) layout {
	data := dataLines(sample)
	best := layout{}
	for _, delim := range delimiters {
		if !common(data, delim) {
			continue
		}
		l := survey(sample, data, delim)
		if l.rowsFit > best.rowsFit || best.rowsTried == 0 {
			best = l
		}
	}
	if whole := survey(sample, data, 0); whole.rowsFit > best.rowsFit {
		best = whole
	}
	return best
}

// dataLines are the lines of a sample that hold digits enough for a stamp.
func dataLines(sample []sampleLine) []sampleLine {
	var out []sampleLine
	for _, s := range sample {
		n := 0
		for _, c := range s.text {
			if c-'0' <= 9 {
				n++
			}
		}
		if n >= 5 {
			out = append(out, s)
		}
	}
	return out
}

// common reports whether at least half of the lines hold the delimiter.
func common(lines []sampleLine, delim byte) bool {
	n := 0
	for _, s := range lines {
		if bytes.IndexByte(s.text, delim) >= 0 || delim == ' ' && bytes.IndexByte(s.text, '\t') >= 0 {
			n++
		}
	}
	return n*2 >= len(lines) && n > 0
}

// survey reads the sample with one delimiter and gives its columns roles.
func survey(sample, data []sampleLine, delim byte) layout {
	var columns []column
	var fields [][]byte
	for _, s := range data {
		fields = cut(s.text, delim, fields)
		for i, f := range fields {
			if i == len(columns) {
				columns = append(columns, column{})
			}
			columns[i].add(s.n, f)
		}
	}
	heads(sample, delim, columns)
	l := layout{delim: delim, rowsTried: len(data)}
	l.roles = assign(columns, &l)
	l.lateWeekday(data, columns)
	l.fit(data)
	return l
}

// heads gives columns the names that a header line carries: the first line of
// text alone that has as many fields.
func heads(sample []sampleLine, delim byte, columns []column) {
	var fields [][]byte
	for _, s := range sample {
		fields = cut(s.text, delim, fields)
		if len(fields) < 2 || !allText(fields) {
			continue
		}
		for i, f := range fields {
			if i < len(columns) {
				columns[i].head = plain(string(f))
			}
		}
		return
	}
}

func allText(fields [][]byte) bool {
	for _, f := range fields {
		if len(f) == 0 || !hasLetters(f) {
			return false
		}
		var d digits
		switch shapeOf(f, &d) {
		case shapeDate, shapeTime, shapeStamp, shapeNumber:
			return false
		}
	}
	return true
}

func hasLetters(b []byte) bool {
	n := 0
	for _, c := range b {
		if letter(c) || c >= 0x80 {
			n++
		}
	}
	return n > 0
}

// assign gives every column its role.
func assign(columns []column, l *layout) []role {
	roles := make([]role, len(columns))
	for i := range columns {
		switch columns[i].shape() {
		case shapeWeekday:
			takeFirst(roles, i, roleWeekday)
		case shapeDate:
			takeFirst(roles, i, roleDate)
		case shapeStamp:
			takeFirst(roles, i, roleStamp)
		case shapeMarker:
			takeFirst(roles, i, roleMarker)
		case shapeEvent:
			takeFirst(roles, i, roleEvent)
		}
	}
	assignTimes(columns, roles, l)
	assignBareTime(columns, roles, l)
	assignNumbers(columns, roles, l)
	for i, r := range roles {
		if r != roleTime && r != roleStamp {
			continue
		}
		l.seconds = columns[i].mostly(columns[i].secs)
		l.padded = columns[i].unpadded == 0
		l.hours12 = columns[i].mostly(columns[i].marked) || holds(roles, roleMarker)
		if l.bare && r == roleTime {
			l.seconds, l.padded = true, false
		}
	}
	return roles
}

func takeFirst(roles []role, i int, r role) {
	if !holds(roles, r) {
		roles[i] = r
	}
}

func holds(roles []role, r role) bool { return bytes.IndexByte(asBytes(roles), byte(r)) >= 0 }

func asBytes(roles []role) []byte {
	out := make([]byte, len(roles))
	for i, r := range roles {
		out[i] = byte(r)
	}
	return out
}

// assignTimes tells the time of day from an open duration written with colons
// and from a closing time. The time of day is the first column of times,
// unless it has no seconds and a later one has; without a date there is none.
func assignTimes(columns []column, roles []role, l *layout) {
	var times []int
	for i := range columns {
		if columns[i].shape() == shapeTime {
			times = append(times, i)
		}
	}
	if !holds(roles, roleStamp) && holds(roles, roleDate) && len(times) > 0 {
		sort.SliceStable(times, func(a, b int) bool {
			return columns[times[a]].mostly(columns[times[a]].secs) && !columns[times[b]].mostly(columns[times[b]].secs)
		})
		roles[times[0]] = roleTime
		times = times[1:]
	}
	for _, i := range times {
		if columns[i].mostly(columns[i].secs) && headOf(columns[i].head) != roleSeconds {
			takeFirst(roles, i, roleClosed)
		} else {
			takeFirst(roles, i, roleSeconds)
		}
	}
}

// assignBareTime finds a time written without colons beside a date: six digits,
// or three groups with full stops.
func assignBareTime(columns []column, roles []role, l *layout) {
	if !holds(roles, roleDate) || holds(roles, roleTime) {
		return
	}
	for i := range columns {
		c := &columns[i]
		if roles[i] == roleOther && (c.shape() == shapeNumber && c.mostly(c.six) || c.shape() == shapeDate && c.mostly(c.clocks)) {
			roles[i], l.bare = roleTime, true
			return
		}
	}
}

// headWords are words in a column's name that tell its role. Order matters.
// Common practice, no source.
var headWords = []struct {
	role  role
	words []string
}{
	{roleWeekday, []string{"weekday", "dow", "wday", "wochentag", "jour", "giorno", "dia"}},
	{roleSeconds, []string{"sec", "dur", "open", "sek", "offen", "ouvert", "abiert", "apert", "seg", "held", "length"}},
	{roleUnix, []string{"unix", "epoch"}},
	{roleCounter, []string{"count", "no", "nr", "id", "index", "num", "#"}},
	{roleWeekday, []string{"day", "tag", "wd"}},
}

func headOf(name string) role {
	if name == "s" {
		return roleSeconds
	}
	for _, h := range headWords {
		for _, w := range h.words {
			if strings.HasPrefix(name, w) || len(w) > 3 && strings.Contains(name, w) {
				return h.role
			}
		}
	}
	return roleOther
}

// assignNumbers tells weekday numbers, counters, Unix time, 0/1 events and open
// seconds apart: by the header, by what the numbers can be, by where they stand.
func assignNumbers(columns []column, roles []role, l *layout) {
	stamped := -1 // last column of the stamp
	for i, r := range roles {
		if r == roleTime || r == roleStamp || r == roleDate {
			stamped = max(stamped, i)
		}
	}
	var left []int
	for i := range columns {
		c := &columns[i]
		if c.shape() != shapeNumber || roles[i] != roleOther {
			continue
		}
		switch {
		case stamped < 0 && c.mostly(c.unix+c.millis):
			takeFirst(roles, i, roleUnix)
			l.millis = c.millis > c.unix
			stamped = i
		case headOf(c.head) == roleCounter || c.neighbour >= 5 && c.steps*10 >= c.neighbour*9:
			roles[i] = roleCounter
		default:
			left = append(left, i)
		}
	}
	assignLeft(columns, roles, left, stamped, l)
}

func assignLeft(columns []column, roles []role, left []int, stamped int, l *layout) {
	seconds := -1
	for _, i := range left {
		if headOf(columns[i].head) == roleSeconds {
			seconds = i
			break
		}
	}
	for _, i := range left {
		c := &columns[i]
		weekday := headOf(c.head) == roleWeekday || i < stamped || holds(roles, roleSeconds) || i != seconds && larger(columns, left, i)
		if i != seconds && !holds(roles, roleWeekday) && c.small*20 >= c.numbers*19 && weekday {
			roles[i], l.numbered = roleWeekday, true
		}
	}
	for _, i := range left {
		if seconds < 0 && roles[i] == roleOther && i > stamped {
			seconds = i
		}
	}
	for _, i := range left {
		if seconds < 0 && roles[i] == roleOther {
			seconds = i
		}
	}
	if seconds < 0 || holds(roles, roleSeconds) {
		return
	}
	c := &columns[seconds]
	if c.bits == c.numbers && c.numbers >= 6 && c.flips*10 >= c.numbers*8 && !holds(roles, roleEvent) && headOf(c.head) != roleSeconds {
		roles[seconds], l.binary = roleEvent, true
		return
	}
	roles[seconds] = roleSeconds
}

// lateWeekday tells a weekday number that stands alone behind the stamp from
// open seconds: it stays the same all day and changes with the date.
func (l *layout) lateWeekday(data []sampleLine, columns []column) {
	i := bytes.IndexByte(asBytes(l.roles), byte(roleSeconds))
	dated := max(bytes.IndexByte(asBytes(l.roles), byte(roleDate)), bytes.IndexByte(asBytes(l.roles), byte(roleStamp)))
	if i < 0 || dated < 0 || holds(l.roles, roleWeekday) {
		return
	}
	if c := &columns[i]; c.small < c.numbers || c.numbers == 0 || headOf(c.head) == roleSeconds || c.mostly(c.seen[shapeTime]) {
		return
	}
	if followsDate(data, l.delim, i, dated) {
		l.roles[i], l.numbered = roleWeekday, true
	}
}

// followsDate reports whether column i changes just when the date does.
func followsDate(data []sampleLine, delim byte, i, dated int) bool {
	var fields [][]byte
	var lastDate, lastValue string
	same, sameEqual, other, otherDiffers := 0, 0, 0, 0
	for n, s := range data {
		fields = cut(s.text, delim, fields)
		if len(fields) <= max(i, dated) {
			continue
		}
		date, _, _ := strings.Cut(string(fields[dated]), " ")
		date, _, _ = strings.Cut(date, "T")
		value := string(fields[i])
		switch equal := value == lastValue; {
		case n == 0:
		case date == lastDate:
			same++
			if equal {
				sameEqual++
			}
		default:
			other++
			if !equal {
				otherDiffers++
			}
		}
		lastDate, lastValue = date, value
	}
	return same >= 8 && sameEqual*20 >= same*19 && other >= 3 && otherDiffers*10 >= other*8
}

// larger reports whether another of the columns holds numbers above 7, so that
// it, and not column i, can be the open seconds.
func larger(columns []column, of []int, i int) bool {
	for _, j := range of {
		if j != i && columns[j].small < columns[j].numbers {
			return true
		}
	}
	return false
}

// fit counts the data lines that have a stamp in this layout.
func (l *layout) fit(data []sampleLine) {
	stamped := holds(l.roles, roleStamp) || holds(l.roles, roleUnix) ||
		holds(l.roles, roleDate) && holds(l.roles, roleTime)
	if !stamped {
		return
	}
	p := newParser(*l)
	for _, s := range data {
		var r Row
		if p.strict(s.text, &r) {
			l.rowsFit++
		}
	}
}
