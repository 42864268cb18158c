package report

import (
	"math"
	"strconv"
	"strings"
	"time"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// The types of a column, by their names in Table Schema (Frictionless Data, Table
// Schema, version 2).
const (
	typeText     = "string"
	typeInteger  = "integer"
	typeNumber   = "number"
	typeBoolean  = "boolean"
	typeDate     = "date"     // YYYY-MM-DD
	typeDatetime = "datetime" // RFC 3339 with the site's offset
)

// column is one column of a table that leaves the house.
type column struct {
	name  string     // lower case, with its unit: covered_days
	kind  string     // one of the types above
	says  words.Text // what it is, and its unit, in plain words; a format where of is given
	of    string     // of a limit: the name of the column that it belongs to
	need  bool       // never empty
	share bool       // a number from 0 to 1 that people read in per cent
}

// english says what the column is to those who know it by its name.
func (c column) english() string {
	if c.of == "" {
		return words.English.Say(c.says)
	}
	return words.English.Say(c.says, c.of)
}

// unit is a column's unit by its name, in the codes of UCUM (Unified Code for Units of
// Measure, version 2.1; from memory); "" for texts and plain counts.
func (c column) unit() string {
	name := strings.TrimSuffix(strings.TrimSuffix(c.name, "_low"), "_high")
	switch {
	case name == "latitude" || name == "longitude":
		return "deg"
	case name == "covered_days" || name == "days":
		return "d"
	case name == "offset":
		return "By"
	case strings.HasSuffix(name, "_s_per_week"):
		return "s/wk"
	case strings.HasSuffix(name, "_per_day"):
		return "/d"
	case strings.HasSuffix(name, "_per_hour"):
		return "/h"
	case strings.HasSuffix(name, "_s"):
		return "s"
	case strings.HasSuffix(name, "_h"):
		return "h"
	case c.share || name == "ratio_to_last_year" || name == "dispersion":
		return "1"
	}
	return ""
}

// table is a table's columns and what ties it to others.
type table struct {
	name    string
	says    string
	columns []column
	key     []string    // primary key
	foreign [][2]string // column, table whose key it is
}

// A cell is nil where it is unknown, or a string, int64, float64, bool, usage.Date
// or instant.
type cell = any

// instant is a Unix time that is written in the civil time of a zone.
type instant struct {
	unix   int64
	offset int32 // civil time ahead of UTC, s
}

func (t instant) String() string {
	return time.Unix(t.unix, 0).In(time.FixedZone("", int(t.offset))).Format(time.RFC3339)
}

// whole makes a cell of a whole number.
func whole[N ~int | ~int16 | ~int32 | ~int64](n N) cell { return int64(n) }

// finite makes a cell of a number, unknown where it is infinite or none.
func finite(v float64) cell {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// estimated makes three cells of an estimate: value, low and high.
func estimated(e *usage.Estimate) []cell {
	if e == nil {
		return []cell{nil, nil, nil}
	}
	return []cell{finite(e.Value), finite(e.Low), finite(e.High)}
}

// threeOf are the columns of an estimate.
func threeOf(name string, says words.Text) []column {
	return []column{
		{name: name, kind: typeNumber, says: says},
		{name: name + "_low", kind: typeNumber, says: "lower limit of %s, confidence 95 %%", of: name},
		{name: name + "_high", kind: typeNumber, says: "upper limit of %s, confidence 95 %%", of: name},
	}
}

// plain makes a text safe to open as a spreadsheet's cell: one that begins with a
// sign by which spreadsheets know a formula gets an apostrophe before it.
// OWASP, CSV Injection: = + - @, tab and carriage return; NUL and line feed, which
// some readers pass over, are treated alike, and so are the full-width forms of the
// first four.
func plain(s string) string {
	if strings.HasPrefix(s, "'") {
		if inner := strings.TrimLeft(s, "'"); inner == "" || !risky(inner) {
			return s
		}
		return "'" + s // so that one apostrophe less is always what it was
	}
	if risky(s) {
		return "'" + s
	}
	return s
}

func risky(s string) bool {
	for _, r := range strings.TrimLeft(s, " ") {
		return strings.ContainsRune("=+-@\t\r\n\x00＝＋－＠", r)
	}
	return false
}

// cellText writes a cell as CSV has it, with all digits that a number has.
func cellText(c cell) string {
	switch v := c.(type) {
	case string:
		return noReturns(plain(v))
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return numberText(v)
	case bool:
		return strconv.FormatBool(v)
	case usage.Date:
		return v.String()
	case instant:
		return v.String()
	}
	return ""
}

// noReturns leaves carriage returns out of a text, which CSV's reader and writer do
// not carry over alike, after plain has seen them.
func noReturns(s string) string { return strings.ReplaceAll(s, "\r", "") }

// numberText writes a number with the digits of encoding/json, so that a figure
// is the same text in CSV and JSON.
func numberText(v float64) string {
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	s := strconv.FormatFloat(v, format, -1, 64)
	if n := len(s); n >= 4 && s[n-4] == 'e' && s[n-3] == '-' && s[n-2] == '0' {
		s = s[:n-2] + s[n-1:]
	}
	return s
}

// cellsText writes a row.
func cellsText(cells []cell) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = cellText(c)
	}
	return out
}

// names are the names of a table's columns.
func (t *table) names() []string {
	out := make([]string, len(t.columns))
	for i, c := range t.columns {
		out[i] = c.name
	}
	return out
}
