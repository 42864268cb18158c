package web

import (
	"errors"
	"fmt"
	"html/template"
	"strings"
	"time"
	"unicode/utf8"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// Program is the name that titles carry.
const Program = "Doorleaf"

var orderWords = map[string]words.Text{
	"dmy": "day, month, year",
	"mdy": "month, day, year",
	"ymd": "year, month, day",
}

var clockWords = map[usage.ClockKeeping]words.Text{
	usage.ClockFixed: "takes no notice of daylight saving",
	usage.ClockCivil: "follows daylight saving",
	usage.ClockUTC:   "keeps UTC",
}

var classWords = map[usage.Class]words.Text{
	usage.Visitor: "visitor",
	usage.Service: "service",
	usage.Rattle:  "rattle",
	usage.Ajar:    "left ajar",
}

// funcs are what templates may call, writing with w.
func (s *Set) funcs(w *words.Words) template.FuncMap {
	return template.FuncMap{
		"about":       AboutAddress,
		"asked":       func(q Question, site Site) asked { return asked{q, site} },
		"between":     w.Between,
		"bracket":     func(earliest, latest int64, zone string) string { return bracketWords(w, earliest, latest, zone) },
		"bytes":       w.Bytes,
		"days":        w.Days,
		"class":       func(c usage.Class) string { return w.Say(classWords[c]) },
		"capital":     capital,
		"clock":       func(c usage.ClockKeeping) string { return w.Say(clockWords[c]) },
		"date":        w.Date,
		"deref":       func(n *int32) int32 { return *n },
		"degrees":     func(v float64) string { return w.Shortest(v) },
		"hours":       w.Hours,
		"language":    w.Language,
		"lead":        func(cards []TrayCard) string { return TrayLead(w, cards) },
		"link":        s.link,
		"figured":     func(f usage.SeasonFigures, visits string, mean bool) figured { return figured{f, visits, mean} },
		"fonts":       fontPaths,
		"minutes":     w.Duration,
		"number":      func(n any) (string, error) { return number(w, n) },
		"one":         w.OneFigure,
		"openAll":     func(s int64) string { return w.OpenTime(float64(s)) },
		"openWeek":    w.OpenWeek,
		"order":       func(o string) string { return w.Say(orderWords[o]) },
		"percent":     Percent,
		"plural":      func(n any, forms ...string) (string, error) { return plural(w, n, forms) },
		"round":       w.Round,
		"roundRatio":  w.RoundRatio,
		"seconds":     w.Seconds,
		"short":       func(id string) string { return id[:min(len(id), 10)] },
		"visible":     Visible,
		"what":        func(what string) string { return w.Say(whatWords[what]) },
		"wall":        w.Wall,
		"words":       func() *words.Words { return w },
		"wallSeconds": w.WallSeconds,
		"weekly":      Weekly,
		"wallDate":    w.WallDate,
		"when":        w.When,
	}
}

// Number is words.Words.Number in English.
func Number(n int64) string { return words.English.Number(n) }

// OneFigure is words.Words.OneFigure in English.
func OneFigure(v float64) string { return words.English.OneFigure(v) }

// number is Number for templates, whose numbers come in several sizes.
func number(w *words.Words, n any) (string, error) {
	v, err := wide(n)
	return w.Number(v), err
}

func wide(n any) (int64, error) {
	switch n := n.(type) {
	case int:
		return int64(n), nil
	case int32:
		return int64(n), nil
	case int64:
		return n, nil
	}
	return 0, fmt.Errorf("%T is no number to write", n)
}

// Plural is words.Words.Plural in English.
func Plural(n int64, one, many string) string {
	return words.English.Choose(n, one, many)
}

// plural writes a number and the noun that goes with it, for templates, which are
// translated with their nouns.
func plural(w *words.Words, n any, forms []string) (string, error) {
	v, err := wide(n)
	return w.Choose(v, forms...), err
}

// DateWords is words.Words.Date in English.
func DateWords(d usage.Date) string { return words.English.Date(d) }

// When is words.Words.When in English.
func When(at int64, zone string) string { return words.English.When(at, zone) }

func bracketWords(w *words.Words, earliest, latest int64, zone string) string {
	switch first, last := earliest > 0, latest > 0 && latest < usage.Beyond; {
	case first && last:
		return w.Say("between %s and %s", w.When(earliest, zone), w.When(latest, zone))
	case first:
		return w.Say("after %s", w.When(earliest, zone))
	case last:
		return w.Say("before %s", w.When(latest, zone))
	}
	return ""
}

// Wall is words.Words.Wall in English.
func Wall(reading int64) string { return words.English.Wall(reading) }

func zoneOf(name string) *time.Location {
	if loc, err := time.LoadLocation(name); err == nil {
		return loc
	}
	return time.UTC
}

// HourWords is words.Words.Hours in English.
func HourWords(s int64) string { return words.English.Hours(s) }

// DurationWords is words.Words.Duration in English.
func DurationWords(s int32) string { return words.English.Duration(s) }

// AgeWords is words.Words.Age in English.
func AgeWords(at, now int64) string { return words.English.Age(at, now) }

// Bytes is words.Words.Bytes in English.
func Bytes(n int64) string { return words.English.Bytes(n) }

// controls are the names of the control characters U+0000 to U+001F
// (ISO/IEC 6429), from memory.
var controls = [...]string{"NUL", "SOH", "STX", "ETX", "EOT", "ENQ", "ACK", "BEL", "BS", "TAB", "LF", "VT", "FF", "CR", "SO", "SI",
	"DLE", "DC1", "DC2", "DC3", "DC4", "NAK", "SYN", "ETB", "CAN", "EM", "SUB", "ESC", "FS", "GS", "RS", "US"}

// Visible makes every character of a hostile text show: a tab becomes an arrow,
// other control characters their names in angle quotes, characters that change
// the direction of writing or take no room their numbers, and bytes that are no
// UTF-8 become U+FFFD. A run of one control character is written once, with its
// length. Escaping for HTML is left to the template.
func Visible(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		n := 1
		for r < ' ' && r != '\t' && i+n < len(s) && s[i+n] == byte(r) {
			n++
		}
		i += n * size
		writeVisible(&b, r, n)
	}
	return b.String()
}

func writeVisible(b *strings.Builder, r rune, times int) {
	name := ""
	switch {
	case r == '\t':
		b.WriteString("→")
		return
	case r < ' ':
		name = controls[r]
	case r == 0x7f:
		name = "DEL"
	case hidden(r):
		name = fmt.Sprintf("U+%04X", r)
	default:
		b.WriteRune(r)
		return
	}
	if times > 1 {
		name = fmt.Sprintf("%s × %d", name, times)
	}
	b.WriteString("‹" + name + "›")
}

// hidden tells characters that a reader could not see or that would move
// their neighbours.
func hidden(r rune) bool {
	switch {
	case r >= 0x80 && r < 0xa0, r == 0xad, r == 0x61c, r == 0xfeff:
		return true
	case r >= 0x200b && r <= 0x200f, r >= 0x2028 && r <= 0x202e, r >= 0x2060 && r <= 0x206f:
		return true
	case r >= 0xe0000 && r <= 0xe0fff:
		return true
	}
	return false
}

// TrailToNetwork leads back to the network.
func TrailToNetwork(w *words.Words) []Link { return []Link{{Href: "/", Text: w.Say("The network")}} }

// TrailToSite leads back to a site.
func TrailToSite(w *words.Words, s Site) []Link {
	return append(TrailToNetwork(w), Link{Href: "/sites/" + s.Code, Text: s.Name})
}

// TrailToCards leads back to the cards of a site.
func TrailToCards(w *words.Words, s Site) []Link {
	return append(TrailToSite(w, s), Link{Href: "/sites/" + s.Code + "/cards", Text: w.Say("Cards")})
}

// Titles of figures that could not be drawn, and what stands in their place.
const (
	ChartMissing   words.Text = "This chart could not be drawn. The log says why."
	TitleByHour    words.Text = "By hour of the day"
	TitleByWeekday words.Text = "By weekday"
	TitleWeek      words.Text = "Hour by hour through the week"
	TitleByMonth   words.Text = "By month"
	TitleBySeason  words.Text = "By season"
	TitleTimeline  words.Text = "Week by week"
)

// AllTime names the choice of no season.
const AllTime words.Text = "All time"

// SeasonWords is words.Words.Season in English.
func SeasonWords(season usage.Season) string { return words.English.Season(season) }

// PatternNotes stand beside the profile by hour of the day.
func PatternNotes(w *words.Words, p usage.Pattern) []Note {
	return []Note{
		{Term: w.Say("Counted over"), Text: w.Say("%s of recording, %s.", words.HoursOf(int64(p.ExposureH*3600)), words.Count(p.Visits, "visit", "visits"))},
		{Term: w.Say("Limits"), Text: w.Say("The thin lines are 95 % limits: where the true rate lies, had we watched for longer. They allow for good and bad days; those of one hour of the week alone take visits to come independently.")},
		{Term: w.Say("Hours"), Text: w.Say("Civil time at the box, daylight saving included.")},
	}
}

// WeekdayNotes stand beside the profile by weekday.
func WeekdayNotes(w *words.Words) []Note {
	return []Note{{Term: w.Say("A day"), Text: w.Say("Visits in 24 hours of recording, so that a day with a gap counts for what it was watched.")}}
}

// WeekNotes stand beside the hours of the week.
func WeekNotes(w *words.Words) []Note {
	return []Note{
		{Term: w.Say("Hatched"), Text: w.Say("Hours in which the logger was never recording. Nought is drawn as nought.")},
		{Term: w.Say("Few hours"), Text: w.Say("One cell of the week comes but once a week: mind the exposure in the numbers before you trust a single cell.")},
	}
}

// MonthNotes stand beside the months.
func MonthNotes(w *words.Words, oneSeason bool) []Note {
	notes := []Note{{Term: w.Say("Rates, not sums"), Text: w.Say("Visits in a week of recording. A month watched for three days shows its rate, with wide limits.")}}
	if oneSeason {
		notes = append(notes, Note{Term: w.Say("All time"), Text: w.Say("This figure and those below show all seasons.")})
	}
	return notes
}

// SeasonNotes stand beside the seasons.
func SeasonNotes(w *words.Words) []Note {
	return []Note{{Term: w.Say("Seasons"), Text: w.Say("Three whole months each, as in weather records. A winter bears both its years.")}}
}

// TimelineNotes stand beside the time line.
func TimelineNotes(w *words.Words, code string) []Note {
	return []Note{
		{Term: w.Say("Gaps"), Text: w.Say("Hatched weeks are those in which the logger was not recording: its card was out, or nothing tells.")},
		{Text: w.Say("Every opening, with its line:"), Link: &Link{Href: "/sites/" + code + "/openings", Text: w.Say("show the lines")}},
	}
}

// Dialect is how a card's rows are written.
type Dialect struct {
	Delimiter    string
	Header       bool
	Columns      []string
	DateOrder    string // "" unknown
	Hours        int
	WeekdayShift int
}

var lineEndWords = map[string]words.Text{
	"crlf": "lines end with CR LF", "lf": "lines end with LF", "cr": "lines end with CR",
	"mixed": "line ends are mixed", "none": "no line ends",
}

var delimiterWords = map[string]words.Text{
	"tab": "columns split by tabs", "comma": "columns split by commas", "semicolon": "columns split by semicolons",
	"pipe": "columns split by bars", "spaces": "columns split by spaces",
}

// columnNames are what a column of a card can hold.
var columnNames = map[string]words.Text{
	"other": "other", "weekday": "weekday", "date": "date", "time": "time", "stamp": "stamp", "unix": "unix",
	"seconds": "seconds", "event": "event", "closed": "closed", "counter": "counter", "am/pm": "am/pm",
}

func columnWords(w *words.Words, columns []string) []string {
	var all []string
	for _, c := range columns {
		if text, ok := columnNames[c]; ok {
			c = w.Say(text)
		}
		all = append(all, c)
	}
	return all
}

// whatWords name the lines of a card that are no row.
var whatWords = map[string]words.Text{"header": "header", "blank": "blank", "complaint": "not understood", "row": "row"}

// Reads says how a card is written.
func Reads(w *words.Words, encoding, lineEnd string, d Dialect) []string {
	var says []string
	add := func(text words.Text, args ...any) {
		if text != "" {
			says = append(says, w.Say(text, args...))
		}
	}
	add(delimiterWords[d.Delimiter])
	if len(d.Columns) > 0 {
		add("columns: %s", strings.Join(columnWords(w, d.Columns), ", "))
	}
	if d.Header {
		add("with a header")
	}
	if d.DateOrder != "" {
		add("dates as %s", orderWords[d.DateOrder])
	}
	if d.Hours == 12 {
		add("12-hour clock")
	}
	if d.WeekdayShift != 0 {
		add("its weekdays are set %s ahead", words.Count(int64(d.WeekdayShift), "day", "days"))
	}
	if encoding != "" {
		says = append(says, w.Retell(encoding))
	}
	add(lineEndWords[lineEnd])
	return says
}

// RowDoubt says what is wrong with the time of a row; "" when nothing is.
func RowDoubt(w *words.Words, timed, suspect bool) string {
	switch {
	case !timed:
		return w.Say("an opening whose time is unknown")
	case suspect:
		return w.Say("a doubtful time")
	}
	return ""
}

// WallSeconds is words.Words.WallSeconds in English.
func WallSeconds(reading int64) string { return words.English.WallSeconds(reading) }

// RowWhole says what a row of a whole opening was read as.
func RowWhole(w *words.Words, when string, openS int32) string {
	return joined(when, w.Say("open %s", w.Duration(openS)))
}

// RowOpened and RowShut say what one end of an opening was read as.
func RowOpened(w *words.Words, when string) string { return joined(when, w.Say("the door opened")) }

// RowShut is RowOpened for the other end.
func RowShut(w *words.Words, when string) string { return joined(when, w.Say("the door shut")) }

func joined(when, what string) string {
	if when == "" {
		return what
	}
	return when + ", " + what
}

// SpanWords writes two clock readings as the dates that they span.
func SpanWords(w *words.Words, first, last int64) string {
	return w.Say("%s to %s", dateOfWall(first), dateOfWall(last))
}

func dateOfWall(reading int64) usage.Date { return usage.DateOf(time.Unix(reading, 0).UTC().Date()) }

// LineWords names a line of a card.
func LineWords(w *words.Words, line int32) string { return w.Say("line %s", w.Number(int64(line))) }

// Links between the pages of a card's lines.
const (
	FirstLines   words.Text = "First lines"
	EarlierLines words.Text = "Earlier lines"
	LaterLines   words.Text = "Later lines"
	LastLines    words.Text = "Last lines"
)

// UploadLimits says what one upload may hold.
func UploadLimits(w *words.Words, card, total int64, files int) []string {
	return []string{w.Say("%s a card file", w.Bytes(card)), w.Say("%s together", w.Bytes(total)), w.Say("%s at once", words.Count(int64(files), "file", "files"))}
}

// Problem says what a fault is, as a sentence.
func Problem(w *words.Words, err error) string {
	var f *usage.Fault
	if errors.As(err, &f) {
		return sentence(w.Retell(f.What))
	}
	return sentence(w.Retell(err.Error()))
}

// Try says what to try about a fault, as a sentence, or "".
func Try(w *words.Words, err error) string {
	var f *usage.Fault
	if errors.As(err, &f) {
		return sentence(w.Retell(f.Try))
	}
	return ""
}

// sentence begins s with a capital and ends it with a full stop.
func sentence(s string) string { return words.Sentence(s) }

// What the tray says of cards and of its form.
const (
	ProblemEmpty      words.Text = "The file is empty: not one byte. Copy it off the card again; if it is empty there too, the logger wrote nothing."
	ProblemUnforeseen words.Text = "Something went wrong, and nothing of it was kept."
	OrderFromSite     words.Text = "Taken from the site's settings. Change it if that is wrong."
	OrderFromCards    words.Text = "Taken from earlier cards of the site. Change it if that is wrong."
	NothingTicked     words.Text = "Tick the cards to keep, or throw the tray away."
	ChooseSite        words.Text = "Choose the site it belongs to."
	ChooseOrder       words.Text = "Say in which order its dates are written."
	TimeMissing       words.Text = "That time did not exist: the clocks went forward over it."
	TimeUnread        words.Text = "Give the date and time, such as 2024-03-01 17:20, or leave the field empty."
	DateUnread        words.Text = "Give a date such as 2024-03-01, or leave the field empty."
	DatesTurned       words.Text = "The last date is before the first."
	WhyKept           words.Text = "The same bytes are kept there."
	WhyTag            words.Text = "Its tag file says so."
	WhyFolder         words.Text = "Its folder's name says so."
	WhyOnly           words.Text = "It is the only site."
	WhyNone           words.Text = "Nothing on the card tells."
)

// WhyTagUnknown says that a tag file names no site.
func WhyTagUnknown(w *words.Words, tag string) string {
	return w.Say("Its tag file names %s, and there is no such site.", tag)
}

// WhyOverlap says that a card's rows are known.
func WhyOverlap(w *words.Words, rows int) string {
	return w.Say("%s in that site's logbook already.", words.Count(int64(rows), "of its rows stands", "of its rows stand"))
}

// HeldQuestion asks about a card whose rows stand in another site's logbook.
func HeldQuestion(w *words.Words, rows int, there, here string) string {
	return w.Say("%s in the logbook of %s, not of %s. Was it really in the logger at %s?",
		words.Count(int64(rows), "of its rows stands", "of its rows stand"), there, here, here)
}

var siteFaults = map[string]words.Text{
	"code":      "Give a code of 1 to 8 capital letters A to Z or digits.",
	"name":      "Give a name of up to 120 characters.",
	"latitude":  "Give the latitude as a number from −90 to 90, such as 52.1.",
	"longitude": "Give the longitude as a number from −180 to 180, such as −8.2.",
	"zone":      "Give an IANA time zone name, such as Europe/Dublin.",
	"installed": "Give the date on which the logger was installed, as 2024-03-01.",
	"clock":     "Choose what the logger's clock does.",
	"order":     "Choose one of the date orders.",
}

// SiteFieldFault says what a field of the form of a site wants.
func SiteFieldFault(w *words.Words, field string) FieldFault {
	return FieldFault{Field: field, Says: w.Say(siteFaults[field])}
}

// CodeInUse says that a code is taken.
func CodeInUse(w *words.Words, code string) string {
	return w.Say("The code %s is in use already. Choose another.", code)
}

// capital makes the first letter of s a capital.
func capital(s string) string { return words.Capital(s) }
