package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"doorleaf/usage"
)

// Program is the name that titles carry.
const Program = "Doorleaf"

var months = [...]string{"January", "February", "March", "April", "May", "June", "July",
	"August", "September", "October", "November", "December"}

var orderWords = map[string]string{
	"dmy": "day, month, year",
	"mdy": "month, day, year",
	"ymd": "year, month, day",
}

var clockWords = map[usage.ClockKeeping]string{
	usage.ClockFixed: "takes no notice of daylight saving",
	usage.ClockCivil: "follows daylight saving",
	usage.ClockUTC:   "keeps UTC",
}

var classWords = map[usage.Class]string{
	usage.Visitor: "visitor",
	usage.Service: "service",
	usage.Rattle:  "rattle",
	usage.Ajar:    "left ajar",
}

func (s *Set) funcs() template.FuncMap {
	return template.FuncMap{
		"about":       AboutAddress,
		"asked":       func(q Question, site Site) asked { return asked{q, site} },
		"between":     Between,
		"bracket":     BracketWords,
		"bytes":       Bytes,
		"days":        daysWords,
		"class":       func(c usage.Class) string { return classWords[c] },
		"capital":     capital,
		"clock":       func(c usage.ClockKeeping) string { return clockWords[c] },
		"date":        DateWords,
		"deref":       func(n *int32) int32 { return *n },
		"degrees":     func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) },
		"hours":       HourWords,
		"link":        s.link,
		"figured":     func(f usage.SeasonFigures, visits string, mean bool) figured { return figured{f, visits, mean} },
		"fonts":       fontPaths,
		"minutes":     DurationWords,
		"number":      number,
		"one":         OneFigure,
		"openAll":     func(s int64) string { return OpenTime(float64(s)) },
		"openWeek":    OpenWeek,
		"order":       func(o string) string { return orderWords[o] },
		"percent":     Percent,
		"plural":      plural,
		"round":       Round,
		"roundRatio":  RoundRatio,
		"seconds":     func(s float64) string { return DurationWords(int32(math.Round(min(s, math.MaxInt32)))) },
		"short":       func(id string) string { return id[:min(len(id), 10)] },
		"visible":     Visible,
		"wall":        Wall,
		"wallSeconds": WallSeconds,
		"weekly":      Weekly,
		"wallDate":    func(reading int64) string { return DateWords(dateOfWall(reading)) },
		"when":        When,
	}
}

// Number writes n with commas between thousands.
func Number(n int64) string {
	digits := strconv.FormatInt(n, 10)
	sign := ""
	if strings.HasPrefix(digits, "-") {
		sign, digits = "−", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "," + digits[i:]
	}
	return sign + digits
}

// OneFigure writes a rate with no more digits than a reader can use: whole
// numbers from ten up, one decimal below, two below one.
func OneFigure(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "unknown"
	case math.Abs(v) >= 9.95:
		return Number(int64(math.Round(v)))
	case math.Abs(v) >= 0.995 || v == 0:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// number is Number for templates, whose numbers come in several sizes.
func number(n any) (string, error) {
	v, err := wide(n)
	return Number(v), err
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

// Plural writes a number and its noun.
func Plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Number(n) + " " + many
}

// plural is Plural for templates.
func plural(n any, one, many string) (string, error) {
	v, err := wide(n)
	return Plural(v, one, many), err
}

// DateWords writes a civil date.
func DateWords(d usage.Date) string {
	y, m, day := d.YMD()
	return fmt.Sprintf("%d %s %d", day, months[m-1], y)
}

// When writes an instant, Unix seconds, in the civil time of a zone.
func When(at int64, zone string) string {
	return timeWords(time.Unix(at, 0).In(zoneOf(zone)))
}

// BracketWords says between which instants an opening without a time lies, as far
// as they are known; "" where neither is.
func BracketWords(earliest, latest int64, zone string) string {
	switch first, last := earliest > 0, latest > 0 && latest < usage.Beyond; {
	case first && last:
		return "between " + When(earliest, zone) + " and " + When(latest, zone)
	case first:
		return "after " + When(earliest, zone)
	case last:
		return "before " + When(latest, zone)
	}
	return ""
}

// Wall writes a clock reading (wall seconds) as the logger wrote it.
func Wall(reading int64) string { return timeWords(time.Unix(reading, 0).UTC()) }

func timeWords(t time.Time) string {
	return fmt.Sprintf("%d %s %d, %02d:%02d", t.Day(), months[t.Month()-1], t.Year(), t.Hour(), t.Minute())
}

func zoneOf(name string) *time.Location {
	if loc, err := time.LoadLocation(name); err == nil {
		return loc
	}
	return time.UTC
}

// HourWords writes a time of recording, seconds, in the unit that suits it.
func HourWords(s int64) string {
	switch {
	case s < 3600:
		return Plural((s+30)/60, "minute", "minutes")
	case s < 3*86400:
		return Plural((s+1800)/3600, "hour", "hours")
	case s < 120*86400:
		return Plural((s+43200)/86400, "day", "days")
	}
	return Plural((s+7*43200)/(7*86400), "week", "weeks")
}

// DurationWords writes how long a door stood open.
func DurationWords(s int32) string {
	switch {
	case s == usage.Unknown:
		return "not known"
	case s < 120:
		return fmt.Sprintf("%d s", s)
	case s < 7200:
		return twoUnits(s/60, "min", s%60, "s")
	}
	return twoUnits(s/3600, "h", s/60%60, "min")
}

// twoUnits leaves out the smaller unit where there is none of it.
func twoUnits(big int32, unit string, small int32, smallUnit string) string {
	if small == 0 {
		return fmt.Sprintf("%d %s", big, unit)
	}
	return fmt.Sprintf("%d %s %d %s", big, unit, small, smallUnit)
}

// AgeWords says how long ago an instant was; both are Unix seconds.
func AgeWords(at, now int64) string {
	days := (now - at) / 86400
	switch {
	case now < at:
		return "in the future"
	case days == 0:
		return "in the last day"
	case days < 14:
		return Plural(days, "day", "days") + " ago"
	case days < 120:
		return Plural(days/7, "week", "weeks") + " ago"
	}
	return Plural(days/30, "month", "months") + " ago"
}

// Bytes writes a size.
func Bytes(n int64) string {
	switch {
	case n < 1<<10:
		return Plural(n, "byte", "bytes")
	case n < 1<<20:
		return inUnits(n, 1<<10) + " kB"
	}
	return inUnits(n, 1<<20) + " MB"
}

func inUnits(n, unit int64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(n)/float64(unit)), ".0")
}

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
func TrailToNetwork() []Link { return []Link{{Href: "/", Text: "The network"}} }

// TrailToSite leads back to a site.
func TrailToSite(s Site) []Link {
	return append(TrailToNetwork(), Link{Href: "/sites/" + s.Code, Text: s.Name})
}

// TrailToCards leads back to the cards of a site.
func TrailToCards(s Site) []Link {
	return append(TrailToSite(s), Link{Href: "/sites/" + s.Code + "/cards", Text: "Cards"})
}

// Titles of figures that could not be drawn, and what stands in their place.
const (
	ChartMissing   = "This chart could not be drawn. The log says why."
	TitleByHour    = "By hour of the day"
	TitleByWeekday = "By weekday"
	TitleWeek      = "Hour by hour through the week"
	TitleByMonth   = "By month"
	TitleBySeason  = "By season"
	TitleTimeline  = "Week by week"
)

// AllTime names the choice of no season.
const AllTime = "All time"

// SeasonWords writes a season: "spring 2026", "winter 2025–26".
func SeasonWords(season usage.Season) string {
	first, _, _ := season.First().YMD()
	if last, _, _ := season.Last().YMD(); last != first {
		return fmt.Sprintf("%s %d–%02d", season.Word(), first, last%100)
	}
	return fmt.Sprintf("%s %d", season.Word(), first)
}

// PatternNotes stand beside the profile by hour of the day.
func PatternNotes(p usage.Pattern) []Note {
	return []Note{
		{Term: "Counted over", Text: HourWords(int64(p.ExposureH*3600)) + " of recording, " + Plural(p.Visits, "visit", "visits") + "."},
		{Term: "Limits", Text: "The thin lines are 95 % limits: where the true rate lies, had we watched for longer. They allow for good and bad days; those of one hour of the week alone take visits to come independently."},
		{Term: "Hours", Text: "Civil time at the box, daylight saving included."},
	}
}

// WeekdayNotes stand beside the profile by weekday.
func WeekdayNotes() []Note {
	return []Note{{Term: "A day", Text: "Visits in 24 hours of recording, so that a day with a gap counts for what it was watched."}}
}

// WeekNotes stand beside the hours of the week.
func WeekNotes() []Note {
	return []Note{
		{Term: "Hatched", Text: "Hours in which the logger was never recording. Nought is drawn as nought."},
		{Term: "Few hours", Text: "One cell of the week comes but once a week: mind the exposure in the numbers before you trust a single cell."},
	}
}

// MonthNotes stand beside the months.
func MonthNotes(oneSeason bool) []Note {
	notes := []Note{{Term: "Rates, not sums", Text: "Visits in a week of recording. A month watched for three days shows its rate, with wide limits."}}
	if oneSeason {
		notes = append(notes, Note{Term: "All time", Text: "This figure and those below show all seasons."})
	}
	return notes
}

// SeasonNotes stand beside the seasons.
func SeasonNotes() []Note {
	return []Note{{Term: "Seasons", Text: "Three whole months each, as in weather records. A winter bears both its years."}}
}

// TimelineNotes stand beside the time line.
func TimelineNotes(code string) []Note {
	return []Note{
		{Term: "Gaps", Text: "Hatched weeks are those in which the logger was not recording: its card was out, or nothing tells."},
		{Text: "Every opening, with its line:", Link: &Link{Href: "/sites/" + code + "/openings", Text: "show the lines"}},
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

var lineEndWords = map[string]string{
	"crlf": "lines end with CR LF", "lf": "lines end with LF", "cr": "lines end with CR",
	"mixed": "line ends are mixed", "none": "no line ends",
}

var delimiterWords = map[string]string{
	"tab": "columns split by tabs", "comma": "columns split by commas", "semicolon": "columns split by semicolons",
	"pipe": "columns split by bars", "spaces": "columns split by spaces",
}

// Reads says how a card is written.
func Reads(encoding, lineEnd string, d Dialect) []string {
	var says []string
	add := func(s string) {
		if s != "" {
			says = append(says, s)
		}
	}
	add(delimiterWords[d.Delimiter])
	if len(d.Columns) > 0 {
		add("columns: " + strings.Join(d.Columns, ", "))
	}
	if d.Header {
		add("with a header")
	}
	if d.DateOrder != "" {
		add("dates as " + orderWords[d.DateOrder])
	}
	if d.Hours == 12 {
		add("12-hour clock")
	}
	if d.WeekdayShift != 0 {
		add("its weekdays are set " + Plural(int64(d.WeekdayShift), "day", "days") + " ahead")
	}
	add(encoding)
	add(lineEndWords[lineEnd])
	return says
}

// RowDoubt says what is wrong with the time of a row; "" when nothing is.
func RowDoubt(timed, suspect bool) string {
	switch {
	case !timed:
		return "an opening whose time is unknown"
	case suspect:
		return "a doubtful time"
	}
	return ""
}

// WallSeconds writes a clock reading to the second.
func WallSeconds(reading int64) string {
	t := time.Unix(reading, 0).UTC()
	return timeWords(t) + fmt.Sprintf(":%02d", t.Second())
}

// RowWhole says what a row of a whole opening was read as.
func RowWhole(when string, openS int32) string {
	return joined(when, "open "+DurationWords(openS))
}

// RowOpened and RowShut say what one end of an opening was read as.
func RowOpened(when string) string { return joined(when, "the door opened") }

// RowShut is RowOpened for the other end.
func RowShut(when string) string { return joined(when, "the door shut") }

func joined(when, what string) string {
	if when == "" {
		return what
	}
	return when + ", " + what
}

// SpanWords writes two clock readings as the dates that they span.
func SpanWords(first, last int64) string {
	return DateWords(dateOfWall(first)) + " to " + DateWords(dateOfWall(last))
}

func dateOfWall(reading int64) usage.Date { return usage.DateOf(time.Unix(reading, 0).UTC().Date()) }

// LineWords names a line of a card.
func LineWords(line int32) string { return "line " + Number(int64(line)) }

// Links between the pages of a card's lines.
const (
	FirstLines   = "First lines"
	EarlierLines = "Earlier lines"
	LaterLines   = "Later lines"
	LastLines    = "Last lines"
)

// UploadLimits says what one upload may hold.
func UploadLimits(card, total int64, files int) []string {
	return []string{Bytes(card) + " a card file", Bytes(total) + " together", Plural(int64(files), "file", "files") + " at once"}
}

// Problem says what a fault is, as a sentence.
func Problem(err error) string {
	var f *usage.Fault
	if errors.As(err, &f) {
		return sentence(f.What)
	}
	return sentence(err.Error())
}

// Try says what to try about a fault, as a sentence, or "".
func Try(err error) string {
	var f *usage.Fault
	if errors.As(err, &f) {
		return sentence(f.Try)
	}
	return ""
}

// sentence begins s with a capital and ends it with a full stop.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	s = capital(s)
	if strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// What the tray says of cards and of its form.
const (
	ProblemEmpty      = "The file is empty: not one byte. Copy it off the card again; if it is empty there too, the logger wrote nothing."
	ProblemUnforeseen = "Something went wrong, and nothing of it was kept."
	OrderFromSite     = "Taken from the site's settings. Change it if that is wrong."
	OrderFromCards    = "Taken from earlier cards of the site. Change it if that is wrong."
	NothingTicked     = "Tick the cards to keep, or throw the tray away."
	ChooseSite        = "Choose the site it belongs to."
	ChooseOrder       = "Say in which order its dates are written."
	TimeMissing       = "That time did not exist: the clocks went forward over it."
	TimeUnread        = "Give the date and time, such as 2024-03-01 17:20, or leave the field empty."
	DateUnread        = "Give a date such as 2024-03-01, or leave the field empty."
	DatesTurned       = "The last date is before the first."
	WhyKept           = "The same bytes are kept there."
	WhyTag            = "Its tag file says so."
	WhyFolder         = "Its folder's name says so."
	WhyOnly           = "It is the only site."
	WhyNone           = "Nothing on the card tells."
)

// WhyTagUnknown says that a tag file names no site.
func WhyTagUnknown(tag string) string {
	return "Its tag file names " + tag + ", and there is no such site."
}

// WhyOverlap says that a card's rows are known.
func WhyOverlap(rows int) string {
	return Plural(int64(rows), "of its rows stands", "of its rows stand") + " in that site's logbook already."
}

// HeldQuestion asks about a card whose rows stand in another site's logbook.
func HeldQuestion(rows int, there, here string) string {
	return fmt.Sprintf("%s in the logbook of %s, not of %s. Was it really in the logger at %s?",
		Plural(int64(rows), "of its rows stands", "of its rows stand"), there, here, here)
}

var siteFaults = map[string]string{
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
func SiteFieldFault(field string) FieldFault {
	return FieldFault{Field: field, Says: siteFaults[field]}
}

// CodeInUse says that a code is taken.
func CodeInUse(code string) string {
	return "The code " + code + " is in use already. Choose another."
}

// capital makes the first letter of s a capital.
func capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[size:]
}
