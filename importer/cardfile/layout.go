package cardfile

import "bytes"

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
	rare      int  // the last columns that hardly any line has
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

// sampleLine is a line with its number, of the sample that a survey reads.
type sampleLine struct {
	n    int
	text []byte
}

// infer finds the layout of the rows from a sample of the lines of a file: of
// the delimiters under which nearly as many lines as possible have a stamp, the
// one that leaves the fewest columns without a role.
func infer(sample []sampleLine) layout {
	data := dataLines(sample)
	var tried []layout
	for _, delim := range delimiters {
		if common(data, delim) {
			tried = append(tried, survey(sample, data, delim))
		}
	}
	tried = append(tried, survey(sample, data, 0))
	most := 0
	for _, l := range tried {
		most = max(most, l.rowsFit)
	}
	best := -1
	for i, l := range tried {
		if l.rowsFit*50 >= most*49 && (best < 0 || l.idle() < tried[best].idle()) {
			best = i
		}
	}
	return tried[best]
}

// idle counts the columns without a role, but for those that are rare.
func (l *layout) idle() (n int) {
	for _, r := range l.roles[:len(l.roles)-l.rare] {
		if r == roleOther {
			n++
		}
	}
	return n
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
	all := len(columns)
	columns = used(columns, len(data))
	heads(sample, delim, columns)
	l := layout{delim: delim, rowsTried: len(data), rare: all - len(columns)}
	l.roles = append(assign(columns, &l), make([]role, l.rare)...)
	l.lateWeekday(data, columns)
	l.fit(data)
	return l
}

// used leaves out the last columns that less than a tenth of the lines have: they
// come of torn rows, to which others are glued, and say nothing about the layout.
// A card that grows must be read alike each time, however short it was at first.
func used(columns []column, lines int) []column {
	n := len(columns)
	for n > 0 && columns[n-1].filled*10 < lines {
		n--
	}
	return columns[:n]
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
