package cardfile

import (
	"bytes"
	"cmp"
	"doorleaf/usage"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// reader gathers what becomes of the lines of one file.
type reader struct {
	parser
	text    text
	file    *File
	lines   []span
	months  *namedMonths
	heads   map[string]bool // lines of text before the first row, and headers
	top     []int           // lines before the first row that passed for headers and hold digits enough for a stamp
	offset  int64
	started bool // a row was seen
	events  bool // a row was seen that is one end of an opening
}

// rows reads every line as a row, header, blank or complaint.
func (rd *reader) rows() {
	f := rd.file
	t := rd.try()
	f.Rows = t.rows[:0] // a line is one row at most
	rd.heads = map[string]bool{}
	rd.offset = rd.text.bom
	at, asIs := 0, rd.text.asIs()
	for i := 0; i < len(rd.lines); i++ {
		if i%chunkLines == 0 && t.all(i/chunkLines, rd) {
			i += chunkLines - 1
			continue
		}
		s := rd.lines[i]
		piece := rd.text.buf[s.off : s.off+s.len]
		if asIs {
			rd.offset = rd.text.bom + int64(s.off)
		} else {
			rd.offset += rd.text.width(rd.text.buf[at:s.off])
		}
		if r, ok := t.take(i, &rd.parser); ok {
			rd.row(i+1, piece, r)
		} else {
			rd.line(i+1, piece)
		}
		if !asIs {
			rd.offset += rd.text.width(piece)
		}
		at = s.off + s.len
	}
	f.Lines = len(rd.lines)
}

func (rd *reader) line(n int, piece []byte) {
	if isCluster(piece) {
		rd.complain(n, piece, clusterReason(piece))
		return
	}
	r := Row{Line: int32(n), Offset: rd.offset}
	digits := rd.months.rewrite(piece)
	if rd.strict(digits, &r) || rd.maybeLoose(digits, &r) {
		rd.row(n, piece, r)
		return
	}
	rd.other(n, piece)
}

func (rd *reader) row(n int, piece []byte, r Row) {
	r.Line, r.Offset, r.Length = int32(n), rd.offset, int32(rd.text.width(piece))
	rd.file.Rows = append(rd.file.Rows, r)
	rd.started, rd.events = true, rd.events || r.Event != Whole
}

func (rd *reader) maybeLoose(piece []byte, r *Row) bool {
	if rd.cut || len(piece) < 10 || len(piece) > 300 {
		return false
	}
	cut := rd.cut
	ok := rd.loose(piece, r)
	rd.cut = rd.cut || cut
	return ok
}

// headless turns what passed for headers into complaints in a file without a
// row: lines with digits enough for a stamp may be rows that nobody can read.
func (rd *reader) headless() {
	if rd.started || len(rd.top) == 0 {
		return
	}
	rd.offset = rd.text.bom
	at := 0
	for _, n := range rd.top {
		s := rd.lines[n-1]
		rd.offset += rd.text.width(rd.text.buf[at:s.off])
		at = s.off
		rd.file.Headers--
		rd.complain(n, rd.text.buf[s.off:s.off+s.len], "text that is no row")
	}
	slices.SortStableFunc(rd.file.Complaints, func(a, b Complaint) int { return cmp.Compare(a.Line, b.Line) })
}

func clusterReason(piece []byte) string {
	what := "zero"
	if piece[0] == erased {
		what = "0xFF"
	}
	return fmt.Sprintf("a run of %d %s bytes: space on the card that was set aside and never written", len(piece), what)
}

// other sorts a line that is no row.
func (rd *reader) other(n int, piece []byte) {
	bare := bytes.TrimFunc(piece, func(r rune) bool { return r == 0 || r == 0x1A || unicode.IsSpace(r) || anyDelimiter(r) })
	switch {
	case len(bare) == 0:
		rd.file.Blanks++
	case rd.number(n, piece, bare):
	case rd.cut || rd.startsAsRow(bare):
		rd.complain(n, piece, "cut short: a row begins here and breaks off before its date and time are whole")
	case rd.header(piece, bare):
		rd.file.Headers++
		if !rd.started && len(dataLines([]sampleLine{{n, bare}})) > 0 {
			rd.top = append(rd.top, n)
		}
	default:
		rd.complain(n, piece, textReason(bare))
	}
}

func textReason(bare []byte) string {
	if !printable(bare) {
		return "unreadable: bytes that are no text"
	}
	if !hasLetters(bare) {
		return "digits and signs that are no row"
	}
	return "text that is no row"
}

// number handles a line with a number alone. Before the first row it is the
// open seconds of the row that ended the card before. After a row without
// seconds it completes that row. Elsewhere a row is missing before it.
func (rd *reader) number(n int, piece, bare []byte) bool {
	f := rd.file
	if bare[0]-'0' > 9 {
		return false
	}
	v := lexSeconds(bare)
	if v == usage.Unknown && !onlyDigits(bare) {
		return false
	}
	switch {
	case !rd.started && f.LeadingS == usage.Unknown:
		f.LeadingS = v
		f.Headers++
	case rd.started && v != usage.Unknown && holds(rd.roles, roleSeconds) && rd.lastLacks():
		last := &f.Rows[len(f.Rows)-1]
		last.OpenS = v
		rd.complain(n, piece, fmt.Sprintf("a number alone on its line: taken as the open seconds of the row on line %d", last.Line))
	default:
		rd.complain(n, piece, "seconds without a row: the row before them was never written")
	}
	return true
}

func (rd *reader) lastLacks() bool {
	last := rd.file.Rows[len(rd.file.Rows)-1]
	return last.OpenS == usage.Unknown && last.Event == Whole
}

func onlyDigits(b []byte) bool {
	_, n := number(b, 0)
	return n == len(b)
}

// startsAsRow reports whether a line begins with a weekday and digits, a
// weekday alone, or a date.
func (rd *reader) startsAsRow(bare []byte) bool {
	if n := weekdayWord(bare); n > 0 && !rd.numbered {
		at := n
		for at < len(bare) && anyDelimiter(rune(bare[at])) {
			at++
		}
		return at == len(bare) || bare[at]-'0' <= 9
	}
	n := 0
	for n < len(bare) && (bare[n]-'0' <= 9 || dateSeparator(bare[n]) || bare[n] == ':') {
		n++
	}
	return n > 2 && n == len(bare) && !onlyDigits(bare)
}

// header reports whether a line is a header or banner: text before the first
// row; later on, the same text again, the names of columns, or a remark that
// begins with #.
func (rd *reader) header(piece, bare []byte) bool {
	if !hasLetters(bare) || !printable(bare) {
		return false
	}
	key := string(bare)
	if !rd.started || rd.heads[key] || bare[0] == '#' || rd.namesColumns(piece) {
		rd.heads[key] = true
		return true
	}
	return false
}

// columnWords begin the names that headers give to columns.
// Common practice, no source.
var columnWords = []string{"date", "time", "day", "weekday", "datum", "zeit", "uhrzeit", "tag", "heure", "jour", "fecha", "hora", "dia", "data", "ora", "giorno", "tijd", "sec", "sek", "dur", "stamp", "unix", "epoch", "event", "state", "open"}

func (rd *reader) namesColumns(piece []byte) bool {
	fields := cut(piece, rd.delim, nil)
	if len(fields) < 2 || !allText(fields) {
		return false
	}
	known := 0
	for _, f := range fields {
		name := plain(string(f))
		for _, w := range columnWords {
			if strings.HasPrefix(name, w) {
				known++
				break
			}
		}
	}
	return known*2 >= len(fields)
}

func printable(b []byte) bool {
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n == 1 || !unicode.IsPrint(r) && r != '\t' {
			return false
		}
		b = b[n:]
	}
	return true
}

// longestRaw is how many characters of a line a complaint repeats.
const longestRaw = 200

// complain notes a complaint with the line as text.
func (rd *reader) complain(n int, piece []byte, reason string) {
	raw := piece
	if len(raw) > longestRaw*4 {
		raw = raw[:longestRaw*4]
	}
	runes := []rune(string(bytes.ToValidUTF8(raw, []byte("\uFFFD"))))
	if len(runes) > longestRaw {
		runes = runes[:longestRaw]
	}
	rd.file.Complaints = append(rd.file.Complaints, Complaint{Line: n, Offset: rd.offset, Reason: reason, Raw: string(runes)})
}
