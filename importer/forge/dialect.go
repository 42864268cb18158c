package forge

import (
	"fmt"
	"slices"
	"strings"
)

// Dialect is how a made-up logger writes its rows. It holds words, not code,
// and travels as JSON.
type Dialect struct {
	File      string   `json:"file"`      // name of the card file, 8.3
	Delimiter string   `json:"delimiter"` // "tab", "comma", "semicolon", "pipe", "spaces"
	Gap       int      `json:"gap"`       // how many spaces, if "spaces"; 0 is 1
	Columns   []string `json:"columns"`   // "weekday", "date", "time", "stamp", "unix", "seconds", "event"
	Header    bool     `json:"header"`    // a header line begins the file
	Language  string   `json:"language"`  // of header and weekday: "en", "de", "fr", "es", "it", "nl", "pt"
	Accents   bool     `json:"accents"`   // false: accents are left off

	Weekday  string `json:"weekday"`   // "2", "3", "full" (letters of the name), "number"; "" is "3"
	Case     string `json:"case"`      // of weekday, event and AM/PM: "lower", "upper", "title"; "" is "title"
	FirstDay int    `json:"first_day"` // ISO weekday that the weekday register counts as 1; 0 is Monday
	Shift    int    `json:"shift"`     // how far ahead the maker set the weekday register, days

	DateOrder string `json:"date_order"` // "dmy", "mdy", "ymd"; also of "stamp"; "" is "ymd"
	YearTwo   bool   `json:"year_two"`   // the year in two digits
	DateSep   string `json:"date_sep"`   // "/", ".", "-"; "" is "-"
	DateBare  bool   `json:"date_bare"`  // day and month without leading noughts
	TimeBare  string `json:"time_bare"`  // "": 09:05:03; "hour": 9:05:03; "all": 9:5:3
	Hours     int    `json:"hours"`      // 12 or 24; 0 is 24
	HalfGap   bool   `json:"half_gap"`   // a space before AM and PM
	NoSeconds bool   `json:"no_seconds"` // times end with the minute
	StampSep  string `json:"stamp_sep"`  // "T" or " "; "" is "T"
	Zulu      bool   `json:"zulu"`       // stamps end in Z; for clocks that keep UTC
	Clocked   bool   `json:"clocked"`    // open seconds as m:ss

	LineEnd  string `json:"line_end"` // "crlf", "lf", "cr"; "" is "crlf"
	Encoding string `json:"encoding"` // "utf-8", "utf-8 bom", "utf-16le", "utf-16be", "windows-1252"; "" is "utf-8"
}

// The columns that a row can have. A row has either date and time, or stamp,
// or unix; event and seconds exclude each other.
const (
	ColWeekday = "weekday"
	ColDate    = "date"
	ColTime    = "time"
	ColStamp   = "stamp" // date and time in one, joined by StampSep
	ColUnix    = "unix"  // the reading as seconds since 1970-01-01
	ColSeconds = "seconds"
	ColEvent   = "event" // OPEN or CLOSE
)

var (
	delimiters = map[string]string{"tab": "\t", "comma": ",", "semicolon": ";", "pipe": "|", "spaces": " "}
	lineEnds   = map[string]string{"crlf": "\r\n", "lf": "\n", "cr": "\r", "": "\r\n"}
)

// Check says what is wrong with a dialect, or nil.
func (d Dialect) Check() error {
	words := []struct{ field, got, want string }{
		{"delimiter", d.Delimiter, "tab comma semicolon pipe spaces"},
		{"language", d.Language, "de en es fr it nl pt"},
		{"weekday", d.weekdayForm(), "2 3 full number"},
		{"case", or(d.Case, "title"), "lower upper title"},
		{"date order", d.order(), "dmy mdy ymd"},
		{"date separator", or(d.DateSep, "-"), "/ . -"},
		{"bare time", or(d.TimeBare, "hour"), "hour all"},
		{"line end", or(d.LineEnd, "crlf"), "crlf lf cr"},
		{"encoding", strings.ReplaceAll(or(d.Encoding, "utf-8"), " ", "_"), "utf-8 utf-8_bom utf-16le utf-16be windows-1252"},
		{"hours", fmt.Sprint(d.HourCount()), "12 24"},
	}
	for _, w := range words {
		if !slices.Contains(strings.Fields(w.want), w.got) {
			return fmt.Errorf("dialect %s %q: want one of %s", w.field, w.got, w.want)
		}
	}
	if d.Weekday == "2" && d.Language == "pt" {
		return fmt.Errorf("dialect weekday: two letters do not tell Portuguese weekdays apart")
	}
	return d.checkColumns()
}

func (d Dialect) checkColumns() error {
	has := func(c string) bool { return slices.Contains(d.Columns, c) }
	whens := 0
	for _, ok := range []bool{has(ColDate) && has(ColTime), has(ColStamp), has(ColUnix)} {
		if ok {
			whens++
		}
	}
	switch {
	case whens != 1:
		return fmt.Errorf("dialect columns %v: want date and time, or stamp, or unix", d.Columns)
	case has(ColEvent) && has(ColSeconds):
		return fmt.Errorf("dialect columns %v: want event or seconds, not both", d.Columns)
	case d.Delimiter == "spaces" && has(ColSeconds) && !d.secondsLast():
		return fmt.Errorf("dialect columns %v: between spaces, missing seconds must come last", d.Columns)
	}
	known := []string{ColWeekday, ColDate, ColTime, ColStamp, ColUnix, ColSeconds, ColEvent}
	for i, c := range d.Columns {
		if !slices.Contains(known, c) || slices.Contains(d.Columns[:i], c) {
			return fmt.Errorf("dialect columns %v: %q is unknown or comes twice", d.Columns, c)
		}
	}
	return nil
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func (d Dialect) order() string       { return or(d.DateOrder, "ymd") }
func (d Dialect) weekdayForm() string { return or(d.Weekday, "3") }

func (d Dialect) has(column string) bool { return slices.Contains(d.Columns, column) }

func (d Dialect) secondsLast() bool {
	return len(d.Columns) > 0 && d.Columns[len(d.Columns)-1] == ColSeconds
}

// Pairs says whether openings are written as OPEN and CLOSE rows.
func (d Dialect) Pairs() bool { return d.has(ColEvent) }

// OpenSeconds says whether rows carry the seconds of their opening.
func (d Dialect) OpenSeconds() bool { return d.has(ColSeconds) }

// Order returns "dmy", "mdy" or "ymd", and "" where rows hold no date.
func (d Dialect) Order() string {
	if d.has(ColUnix) {
		return ""
	}
	return d.order()
}

// DelimiterWord returns Delimiter, and "" where a row has one column, so that
// no delimiter is ever written.
func (d Dialect) DelimiterWord() string {
	if len(d.Columns) < 2 {
		return ""
	}
	return d.Delimiter
}

// HourCount returns 12 or 24.
func (d Dialect) HourCount() int {
	if d.Hours == 0 || d.has(ColUnix) {
		return 24
	}
	return d.Hours
}

// Resolution returns what a stamp is cut to, seconds: 60 or 1.
func (d Dialect) Resolution() int64 {
	if d.NoSeconds && !d.has(ColUnix) {
		return 60
	}
	return 1
}

func (d Dialect) firstDay() int {
	if d.FirstDay == 0 {
		return 1
	}
	return d.FirstDay
}

// WeekdayShift returns (weekday as written − true weekday) mod 7 of a clock
// that was never reset, where a number as written counts as if Monday were 1;
// 0 without a weekday column.
func (d Dialect) WeekdayShift() int {
	switch {
	case !d.has(ColWeekday):
		return 0
	case d.Weekday == "number":
		return mod7(d.Shift + 1 - d.firstDay())
	}
	return mod7(d.Shift)
}

// resetShift is how far ahead of the date the weekday register is after a
// power-on reset: 2000-01-01, a Saturday, is its day 1.
func (d Dialect) resetShift() int { return mod7(d.firstDay() - 6) }

func mod7(n int) int { return (n%7 + 7) % 7 }
