package usage

import (
	"fmt"
	"regexp"
	"strings"
)

// CardSetting says what a site's logger wants to find on a card.
type CardSetting struct {
	LogFile   string `json:"log_file"`             // 8.3 name of the file that it writes
	ClockFile string `json:"clock_file,omitempty"` // 8.3 name of the file that it sets its clock from; "": it reads none
	// Template is what stands in the clock-set file: digits, signs, and the places
	// {year}, {yy}, {month}, {day}, {weekday}, {hour}, {minute} and {second}, which
	// become digits, two each but {year} four and {weekday} one.
	Template string `json:"template,omitempty"`
	FirstDay int    `json:"first_day,omitempty"` // ISO weekday that the clock counts as 1; 0 is Monday
	// Header is the line, without its end, that the log begins with; nil: as on the last
	// card read, or none.
	Header *string `json:"header,omitempty"`
}

// DefaultCardSetting is the setting of a site that has none. Common practice, no
// source. The ending of the clock-set file is none that card files have.
var DefaultCardSetting = CardSetting{
	LogFile: "LOG.TXT", ClockFile: "CLOCK.SET",
	Template: "{year}{month}{day}{weekday}{hour}{minute}{second}", FirstDay: 1,
}

// shortName is a name that every FAT file system knows: at most eight letters and
// digits, a full stop, at most three.
var shortName = regexp.MustCompile(`^[A-Z0-9_-]{1,8}(\.[A-Z0-9_-]{1,3})?$`)

// deviceNames are refused as names of files by one system or another (from memory).
var deviceNames = regexp.MustCompile(`^(CON|PRN|AUX|NUL|COM[0-9]|LPT[0-9])(\.|$)`)

// ShortName reports whether a file may be called so on a card that a small logger
// reads: an 8.3 name in capitals.
func ShortName(name string) bool {
	return shortName.MatchString(name) && !deviceNames.MatchString(name)
}

// ClockPlaces are the places of a template, with what they stand for.
var ClockPlaces = []struct{ Place, Says string }{
	{"{year}", "year, four digits"}, {"{yy}", "year, its last two"}, {"{month}", "month, 01 to 12"}, {"{day}", "day, 01 to 31"},
	{"{weekday}", "weekday, 1 to 7"}, {"{hour}", "hour, 00 to 23"}, {"{minute}", "minute"}, {"{second}", "second"},
}

// What a setting may hold at most, in bytes. Common practice, no source.
const (
	mostTemplate = 200
	mostHeader   = 200
)

// signs are what a template may hold beside digits and places.
const signs = " \t\r\n,;:./|_=+-"

// Check returns Invalid for the first thing in a setting that makes no sense.
func (s CardSetting) Check(tagFile string) error {
	rest := s.Template
	for _, p := range ClockPlaces {
		rest = strings.ReplaceAll(rest, p.Place, "0")
	}
	stray := strings.Trim(rest, "0123456789"+signs)
	for _, c := range []struct {
		good      bool
		what, try string
	}{
		{ShortName(s.LogFile), fmt.Sprintf("%q is no name that a small logger can read", s.LogFile), "use up to eight capitals or digits, a full stop and up to three more, such as LOG.TXT"},
		{s.ClockFile == "" || ShortName(s.ClockFile), fmt.Sprintf("%q is no name that a small logger can read", s.ClockFile), "use up to eight capitals or digits, a full stop and up to three more, such as CLOCK.SET"},
		{s.LogFile != s.ClockFile && s.LogFile != tagFile && s.ClockFile != tagFile, "two files of the card would have the same name", "give log and clock-set file names of their own, and leave " + tagFile + " to the site's tag"},
		{s.ClockFile == "" || strings.Contains(s.Template, "{"), "the clock-set file would hold no time", "put places such as {hour} and {minute} in the template"},
		{stray == "" && !strings.ContainsAny(rest, "{}"), fmt.Sprintf("the template of the clock-set file holds %q, which is no digit", firstStray(rest)), "use places in braces, digits, and signs between them"},
		{len(s.Template) <= mostTemplate, "the template is too long", fmt.Sprintf("use at most %d characters", mostTemplate)},
		{s.FirstDay >= 0 && s.FirstDay <= 7, fmt.Sprintf("%d is no weekday", s.FirstDay), "give 1 for Monday to 7 for Sunday"},
		{s.Header == nil || len(*s.Header) <= mostHeader && !strings.ContainsAny(*s.Header, "\r\n\x00"), "the header is more than one line, or too long", fmt.Sprintf("use one line of at most %d characters", mostHeader)},
	} {
		if !c.good {
			return &Fault{Kind: Invalid, What: c.what, Try: c.try}
		}
	}
	return nil
}

// firstStray is the first run of a template's rest that may not stand there.
func firstStray(rest string) string {
	return strings.FieldsFunc(rest+"{", func(r rune) bool { return strings.ContainsRune("0123456789"+signs, r) })[0]
}

// ClockDigits writes what a clock shows at a reading, in wall seconds, by the
// setting's template.
func (s CardSetting) ClockDigits(reading int64) string {
	date, second := splitWall(reading)
	y, m, d := date.YMD()
	first := s.FirstDay
	if first == 0 {
		first = 1
	}
	return strings.NewReplacer(
		"{year}", fmt.Sprintf("%04d", y), "{yy}", fmt.Sprintf("%02d", y%100),
		"{month}", fmt.Sprintf("%02d", m), "{day}", fmt.Sprintf("%02d", d),
		"{weekday}", fmt.Sprint((date.Weekday()-first+7)%7+1),
		"{hour}", fmt.Sprintf("%02d", second/3600), "{minute}", fmt.Sprintf("%02d", second/60%60), "{second}", fmt.Sprintf("%02d", second%60),
	).Replace(s.Template)
}

// ReadingToSet returns what a clock of a kind is to be set to at a true instant, in wall
// seconds. A UTC clock is set to UTC. Both others are set to the civil time of the
// site at that instant: the one that follows daylight saving because it does, and the
// one that takes no notice of it since that is what its readings are held to begin
// with when nobody logs the set; it then keeps that offset until it is set again.
func ReadingToSet(z *Zone, keeping ClockKeeping, unix int64) int64 {
	if keeping == ClockUTC {
		return unix
	}
	return unix + int64(z.OffsetAt(unix))
}
