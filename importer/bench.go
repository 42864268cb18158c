package importer

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// Verdict is what a check on the bench comes to.
type Verdict string

// The verdicts.
const (
	Right   Verdict = "right"
	Wrong   Verdict = "wrong"
	Unclear Verdict = "unclear" // a few openings cannot tell
)

// Check is one thing that was looked at, in words for who built the logger.
type Check struct {
	Topic   string  `json:"topic"` // "rows", "line ends", "seconds", "weekday", "clock", "time", or the pattern of a fault
	Verdict Verdict `json:"verdict"`
	Says    string  `json:"says"`
	Try     string  `json:"try,omitempty"`
	Lines   []int32 `json:"lines,omitempty"` // that show it, the first few
}

// BenchIn is the first card of a new logger, with a few test openings.
type BenchIn struct {
	Bytes []byte
	Hint  cardfile.Hint
	Site  *usage.Site // where it is to hang; nil: not known, and any zone will do
	At    int64       // true instant of the last opening, Unix s
	Exact bool        // somebody gave At; false: it is now, and the last opening was some time before
}

// Bench is what a bench check found.
type Bench struct {
	Rows   int     `json:"rows"`
	Ready  bool    `json:"ready"` // nothing is wrong, and there were openings enough to tell
	Checks []Check `json:"checks"`
}

// Count returns how many checks came to a verdict.
func (b Bench) Count(v Verdict) int {
	n := 0
	for _, c := range b.Checks {
		if c.Verdict == v {
			n++
		}
	}
	return n
}

// benchLines is how many lines a check names, and benchRows how many rows are looked at:
// a bench check is for a few openings.
const (
	benchLines = 5
	benchRows  = 2000
)

// bencher gathers the checks of one card.
type bencher struct {
	BenchIn
	file *cardfile.File
	// guessed: the rows alone cannot tell their date order, and the one was taken that
	// comes nearest to the true time.
	guessed bool
	rows    []cardfile.Row // those that begin an opening
	texts   []string       // of all lines
	out     []Check
}

// BenchCheck looks at the first card of a new logger. Nothing is kept. The error is
// that of cardfile.Read, for bytes that are no text, or of usage.LoadZone.
func BenchCheck(in BenchIn) (Bench, error) {
	f, err := cardfile.Read(in.Bytes, in.Hint)
	if err != nil {
		return Bench{}, err
	}
	b := &bencher{BenchIn: in, file: f, guessed: f.Ambiguous}
	if f.Ambiguous {
		f = b.nearest()
	}
	for _, r := range f.Rows[:min(len(f.Rows), benchRows)] {
		if r.Event != cardfile.Close {
			b.rows = append(b.rows, r)
		}
	}
	last := f.Lines
	if len(f.Rows) > benchRows {
		last = int(f.Rows[benchRows].Line)
	}
	b.texts = cardfile.LineTexts(in.Bytes, 1, last)
	b.text()
	if len(f.Rows) > 0 {
		b.seconds()
		b.weekdays()
		b.faults()
		b.advance()
		if err := b.time(); err != nil {
			return Bench{}, err
		}
	}
	return Bench{
		Rows: len(f.Rows), Checks: b.out,
		Ready: len(b.rows) >= fewOpenings && !slices.ContainsFunc(b.out, func(c Check) bool { return c.Verdict == Wrong }),
	}, nil
}

// fewOpenings is how many openings a bench check wants. Common practice, no source.
const fewOpenings = 3

func (b *bencher) add(topic string, v Verdict, try string, lines []int32, says string, args ...any) {
	b.out = append(b.out, Check{Topic: topic, Verdict: v, Says: fmt.Sprintf(says, args...), Try: try, Lines: lines[:min(len(lines), benchLines)]})
}

func (b *bencher) right(topic, says string, args ...any) { b.add(topic, Right, "", nil, says, args...) }

// text looks at lines, rows and line ends.
func (b *bencher) text() {
	f := b.file
	switch {
	case len(f.Rows) == 0 && f.Lines == 0:
		b.add("rows", Wrong, "close or flush the file after each row, before power goes", nil, "the file is empty: nothing was written, or it was never flushed to the card")
	case len(f.Rows) == 0 && len(f.Complaints) > 0:
		b.add("rows", Wrong, "write a date and a time in each line, such as 2026-05-01,14:30:00,12", complained(f.Complaints), "none of the %s is a row (line %d: %s)", plural(f.Lines, "line", "lines"), f.Complaints[0].Line, f.Complaints[0].Reason)
	case len(f.Rows) == 0:
		b.add("rows", Wrong, "open the door a few times with the card in, then shut it and take the card out", nil, "the file has no rows in %s", plural(f.Lines, "line", "lines"))
	case len(b.rows) < fewOpenings:
		b.add("rows", Unclear, "open the door at least five times, for different lengths, over a few minutes", nil, "%s: too few to tell", plural(len(b.rows), "opening", "openings"))
	default:
		b.right("rows", "%s, read as %s", plural(len(b.rows), "opening", "openings"), strings.Join(f.Dialect.Columns, ", "))
	}
	if len(f.Rows) > 0 {
		b.complaints()
		b.headers()
	}
	b.lineEnds()
	if b.guessed {
		order := map[string]string{cardfile.DMY: "day, month, year", cardfile.MDY: "month, day, year", cardfile.YMD: "year, month, day"}[*f.Dialect.DateOrder]
		b.add("date order", Unclear, "write the year first, four digits, or tell Doorleaf the order in the site's settings", nil, "the dates can be read in two orders; they are taken as %s, which comes nearest to the true time", order)
	}
}

// nearest reads the card in the date order that puts its last row nearest to the true
// time: on the bench that is known to a day or so, which no other card offers.
func (b *bencher) nearest() *cardfile.File {
	var best *cardfile.File
	gap := int64(0)
	for _, order := range []string{cardfile.DMY, cardfile.MDY, cardfile.YMD} {
		f, err := cardfile.Read(b.Bytes, cardfile.Hint{DateOrder: order})
		if err != nil || f.Dialect.DateOrder == nil {
			continue
		}
		for _, r := range slices.Backward(f.Rows) {
			if r.Timed {
				if d := max(r.Reading-b.At, b.At-r.Reading); best == nil || d < gap {
					best, gap = f, d
				}
				break
			}
		}
	}
	if best == nil {
		b.guessed = false
		return b.file
	}
	b.file = best
	return best
}

func complained(all []cardfile.Complaint) (lines []int32) {
	for _, c := range all {
		lines = append(lines, int32(c.Line))
	}
	return lines
}

// complaintTries say what to do about complaints, by what their reason holds.
var complaintTries = []struct{ part, try string }{
	{"bytes: space", "close or flush the file before power goes; take the card out only when the logger is off"},
	{"cut short", "keep power until the row is written whole: a capacitor, or write before anything else"},
	{"seconds without a row", "the row before them was lost: write and flush the row at once when the door opens"},
	{"a number alone", "write the seconds at the end of their own row"},
}

func (b *bencher) complaints() {
	if len(b.file.Complaints) == 0 {
		return
	}
	c := b.file.Complaints[0]
	try := "look at these lines: they are not written like the others"
	for _, t := range complaintTries {
		if strings.Contains(c.Reason, t.part) {
			try = t.try
		}
	}
	b.add("lines", Wrong, try, complained(b.file.Complaints), "%s no row; the first is line %d: %s", plural(len(b.file.Complaints), "line is", "lines are"), c.Line, c.Reason)
}

// headers looks for a header that comes again behind rows.
func (b *bencher) headers() {
	isRow := map[int32]bool{}
	for _, r := range b.file.Rows {
		isRow[r.Line] = true
	}
	var again []int32
	seen := map[string]bool{}
	for i, text := range b.texts {
		line := int32(i + 1)
		text = strings.TrimSpace(text)
		if text == "" || isRow[line] || !strings.ContainsFunc(text, func(r rune) bool { return r|0x20 >= 'a' && r|0x20 <= 'z' || r > 0x7f }) {
			continue
		}
		if seen[text] {
			again = append(again, line)
		}
		seen[text] = true
	}
	if len(again) > 0 {
		b.add("header", Wrong, "write the header only where the file is empty", again, "the header comes %s again: the logger writes it at every start", plural(len(again), "time", "times"))
	}
}

func (b *bencher) lineEnds() {
	switch b.file.LineEnd {
	case "mixed":
		b.add("line ends", Wrong, "end each row in one place of the firmware, with \\r\\n", nil, "some lines end in another way than others")
	case "cr":
		b.add("line ends", Unclear, "end rows with \\r\\n", nil, "lines end with a bare carriage return: Doorleaf reads that, most programs show one long line")
	case "none":
		if b.file.Lines > 0 {
			b.add("line ends", Unclear, "make a second opening", nil, "there is one line, and no line end")
		}
	default:
		b.right("line ends", "all lines end with %s", map[string]string{"crlf": "CR LF", "lf": "LF"}[b.file.LineEnd])
	}
}

// seconds looks at the counter of open seconds.
func (b *bencher) seconds() {
	columns := b.file.Dialect.Columns
	if !b.file.Pairs && !slices.Contains(columns, "seconds") && !slices.Contains(columns, "closed") && b.file.LeadingS == usage.Unknown {
		b.add("seconds", Unclear, "nothing, if the logger is not meant to count; else let it write them at the next opening", nil, "the rows have no seconds: visits will be counted, but not how long the door stood open")
		return
	}
	var without []int32
	var counted []int32
	for i, r := range b.rows {
		switch {
		case r.OpenS != usage.Unknown:
			counted = append(counted, r.OpenS)
		case i < len(b.rows)-1:
			without = append(without, r.Line)
		}
	}
	low, high := int32(0), int32(0)
	if len(counted) > 0 {
		low, high = slices.Min(counted), slices.Max(counted)
	}
	switch {
	case len(without) > 0:
		b.add("seconds", Wrong, "keep the count where it outlives the power (the clock chip's RAM), and write it at the next opening", without, "%s no seconds, and not only the last", plural(len(without), "opening has", "openings have"))
	case len(counted) == 0:
		b.add("seconds", Unclear, "open the door again: the seconds of an opening are written at the next one", nil, "no opening has its seconds yet")
	case high == 0:
		b.add("seconds", Wrong, "see whether the counter runs while the door is open, and whether it is cleared before it is written", nil, "all openings are counted as 0 s")
	case low == high && len(counted) >= fewOpenings:
		b.add("seconds", Unclear, "open the door for a moment, then for half a minute", nil, "all openings are counted as %d s", high)
	default:
		b.right("seconds", "counted: %d to %d s", low, high)
	}
}

// weekdays looks at the weekday register.
func (b *bencher) weekdays() {
	shifts := map[int][]int32{}
	for _, r := range b.rows {
		if r.Timed && r.Weekday != 0 {
			shift := (int(r.Weekday) - usage.Date(r.Reading/86400).Weekday() + 7) % 7
			shifts[shift] = append(shifts[shift], r.Line)
		}
	}
	most, agree, all := 0, 0, 0
	for shift, lines := range shifts {
		all += len(lines)
		if len(lines) > agree || len(lines) == agree && shift < most {
			most, agree = shift, len(lines)
		}
	}
	switch names := b.file.Dialect.WeekdayNames; {
	case all == 0 && slices.Contains(b.file.Dialect.Columns, "weekday"):
		b.add("weekday", Unclear, "", nil, "no row has both a weekday and a date to hold it against")
	case all == 0:
	case agree < all:
		var odd []int32
		for shift, lines := range shifts {
			if shift != most {
				odd = append(odd, lines...)
			}
		}
		slices.Sort(odd)
		b.add("weekday", Wrong, "see whether weekday and date are read in one go, and whether a digit of the date is wrong there", odd, "in %d of %d rows the weekday does not follow the date", all-agree, all)
	case names && most != 0:
		b.add("weekday", Wrong, fmt.Sprintf("set the weekday register %s back; Doorleaf goes by the date meanwhile", plural(most, "day", "days")), shifts[most], "the weekdays are %s ahead of the dates: the register was set wrongly", plural(most, "day", "days"))
	case names:
		b.right("weekday", "the weekday agrees with the date")
	default:
		b.right("weekday", "the weekday follows the date: its day 1 is %s", time.Weekday((8-most)%7))
	}
}

func (b *bencher) textOf(r cardfile.Row) string {
	if int(r.Line) > len(b.texts) {
		return ""
	}
	return b.texts[r.Line-1]
}
