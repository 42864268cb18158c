package importer

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	xunicode "golang.org/x/text/encoding/unicode"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// PrepareIn is what a card is prepared from.
type PrepareIn struct {
	Site    usage.Site
	Setting *usage.CardSetting // nil: nobody has said
	Last    *Card              // the last card read of the site; nil: none yet
	At      int64              // true instant at which the logger is to read the clock-set file, Unix s
}

// Prepared is a card that is ready for its logger.
type Prepared struct {
	Setting usage.CardSetting // as it was used
	Files   []PreparedFile    // the tag first
	At      int64             // as asked
	Reading int64             // wall seconds: what the clock is set to; meaningless without a clock-set file
	OffsetS int32             // how far Reading is ahead of UTC, s
	Header  string            // the line that the log begins with; "" for none
	Taken   bool              // header or name of the log are those of the last card read
}

// PreparedFile is a file of a prepared card.
type PreparedFile struct {
	Name  string // 8.3
	Bytes []byte
}

// Prepare makes the files of a card: the tag that names its site, a log without rows
// as the logger itself would begin it, and, where the setting has one, the file that
// the clock is set from. Without a setting the log is called and begun, and weekdays are
// counted, like on the last card read. Errors are those of usage.CardSetting.Check and usage.LoadZone.
func Prepare(in PrepareIn) (Prepared, error) {
	p := Prepared{Setting: usage.DefaultCardSetting, At: in.At}
	if in.Setting != nil {
		p.Setting = *in.Setting
	}
	log := &logStart{header: usualHeader(in.Site.Code)}
	if in.Last != nil {
		log = startOf(in.Last, log.header)
		if in.Setting == nil && usage.ShortName(log.name) && Candidate(log.name) && log.name != TagName && log.name != p.Setting.ClockFile {
			p.Setting.LogFile, p.Taken = log.name, true
		}
		if in.Setting == nil && log.firstDay > 0 {
			p.Setting.FirstDay = log.firstDay
		}
	}
	if p.Setting.Header != nil {
		log.header = nil
		if *p.Setting.Header != "" {
			log.header = []string{*p.Setting.Header}
		}
	} else {
		p.Taken = p.Taken || in.Last != nil && len(log.header) > 0
	}
	if err := p.Setting.Check(TagName); err != nil {
		return Prepared{}, err
	}
	zone, err := usage.LoadZone(in.Site.Zone)
	if err != nil {
		return Prepared{}, fmt.Errorf("prepare a card of %s: %w", in.Site.Code, err)
	}
	p.Header = strings.Join(log.header, "\n")
	p.Reading = usage.ReadingToSet(zone, in.Site.Clock, in.At)
	p.OffsetS = int32(p.Reading - in.At)
	body, err := log.bytes()
	if err != nil {
		return Prepared{}, &usage.Fault{Kind: usage.Invalid, What: "the header of the log cannot be written as " + log.encoding, Err: err, Try: "leave its accents off"}
	}
	if readsAsRow(body) {
		return Prepared{}, &usage.Fault{Kind: usage.Invalid, What: "the header of the log would be read as an opening", Try: "use words such as the names of the columns, or leave it empty"}
	}
	p.Files = []PreparedFile{{TagName, []byte("site " + in.Site.Code + "\r\n")}, {p.Setting.LogFile, body}}
	if p.Setting.ClockFile != "" {
		p.Files = append(p.Files, PreparedFile{p.Setting.ClockFile, []byte(withEnd(p.Setting.ClockDigits(p.Reading), log.end()))})
	}
	return p, nil
}

// readsAsRow reports whether the beginning of a log would count as something that the
// logger wrote: a row, or the seconds of the last row of the card before.
func readsAsRow(body []byte) bool {
	f, err := cardfile.Read(body, cardfile.Hint{})
	return err == nil && (len(f.Rows) > 0 || f.LeadingS != usage.Unknown)
}

// usualHeader begins the log of a site of which no card was read yet: a remark of one
// word. Names of columns would be a guess, and where the logger writes other columns
// they would mislead whoever reads the card.
func usualHeader(code string) []string { return []string{"#" + code} }

// withEnd ends a text with a line end unless it has one.
func withEnd(s, end string) string {
	if strings.HasSuffix(s, "\n") || strings.HasSuffix(s, "\r") {
		return s
	}
	return s + end
}

// logStart is how a logger begins its file.
type logStart struct {
	name     string
	encoding string // as in cardfile.File; "" is UTF-8
	lineEnd  string
	header   []string // the lines before the first row that are no numbers
	firstDay int      // ISO weekday that its rows count as 1; 0: they do not tell
}

// headMost bounds the lines and the characters of a line that are taken for a header.
const (
	headMost     = 10
	headMostLine = 200
)

// startOf reads the beginning of a card file: what stands before its first row, but
// for blanks and the lone number that completes the card before. A file without rows
// tells nothing of how it begins, and gets the usual header.
func startOf(c *Card, usual []string) *logStart {
	s := &logStart{name: strings.ToUpper(c.Name), header: usual}
	f := c.File
	if f == nil {
		var err error
		if f, err = cardfile.Read(c.Bytes, c.Hint); err != nil {
			return s
		}
	}
	if len(f.Rows) == 0 {
		return s
	}
	s.encoding, s.lineEnd, s.header = f.Encoding, f.LineEnd, nil
	if slices.ContainsFunc(f.Dialect.Evidence, func(e string) bool { return strings.HasPrefix(e, "weekday 1 is ") }) {
		s.firstDay = (7-f.Dialect.WeekdayShift)%7 + 1
	}
	first := int(f.Rows[0].Line)
	if first > headMost+1 {
		return s
	}
	complained := map[int]bool{}
	for _, c := range f.Complaints {
		complained[c.Line] = true
	}
	for i, line := range cardfile.LineTexts(c.Bytes, 1, first-1) {
		if !complained[i+1] && strings.ContainsFunc(line, unicode.IsLetter) && len(line) <= headMostLine {
			s.header = append(s.header, line)
		}
	}
	return s
}

// end is the line end that the logger writes; CRLF where it is not clear.
func (s *logStart) end() string {
	switch s.lineEnd {
	case "lf":
		return "\n"
	case "cr":
		return "\r"
	}
	return "\r\n"
}

// bytes writes the beginning as the logger would.
func (s *logStart) bytes() ([]byte, error) {
	text := ""
	for _, line := range s.header {
		text += line + s.end()
	}
	if text == "" {
		return []byte{}, nil // the logger writes its own byte order mark, if any
	}
	b, err := s.coder().NewEncoder().Bytes([]byte(text))
	if err == nil && s.encoding == "utf-8 bom" {
		b = append([]byte("\xEF\xBB\xBF"), bytes.TrimPrefix(b, []byte("\xEF\xBB\xBF"))...)
	}
	return b, err
}

func (s *logStart) coder() encoding.Encoding {
	switch s.encoding {
	case "utf-16le":
		return xunicode.UTF16(xunicode.LittleEndian, xunicode.UseBOM)
	case "utf-16be":
		return xunicode.UTF16(xunicode.BigEndian, xunicode.UseBOM)
	case "windows-1252":
		return charmap.Windows1252
	}
	return encoding.Nop
}
