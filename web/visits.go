package web

import (
	"strconv"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// VisitsPage lists visits of a site.
type VisitsPage struct {
	Base
	Site
	Says     string // how many there are, of which
	Form     VisitForm
	Weekdays []Option
	Hours    []Option
	Lights   []Option
	Visits   []Visit
	Next     string // address of the next page, ""
	Faults   FieldFaults
	Notes    []Note
}

// Template implements Page.
func (VisitsPage) Template() string { return "visits" }

// NetworkVisitsPage lists visits of all sites, site by site.
type NetworkVisitsPage struct {
	Base
	Says     string // how many there are, of which
	Form     VisitForm
	Seasons  []Option
	Weekdays []Option
	Hours    []Option
	Lights   []Option
	Visits   []NetworkVisit
	Next     string // address of the next page, ""
	Faults   FieldFaults
	Notes    []Note
}

// Template implements Page.
func (NetworkVisitsPage) Template() string { return "networkvisits" }

// NetworkVisit is a visit with its site.
type NetworkVisit struct {
	Site
	Visit
}

// VisitForm is the choice of visits as it was asked for; Season for all sites alone.
type VisitForm struct{ From, To, Weekday, Hour, Light, Season string }

// Visit is one visit in a list.
type Visit struct {
	Visit            int32
	Href             string
	Timed            bool
	At               int64 // Unix s
	Earliest, Latest int64
	ErrorS           int32
	Openings         int
	OpenS            int32
	Unknown          int // openings whose seconds are not known
	Light            string
}

// VisitPage shows the openings of one visit.
type VisitPage struct {
	Base
	Site
	Visit    int32
	Says     []string
	Openings []Opening
	Notes    []Note
}

// Template implements Page.
func (VisitPage) Template() string { return "visit" }

// OpeningPage shows one opening: its line, and how it came to its time and class.
type OpeningPage struct {
	Base
	Site
	Opening
	Position  int64
	Card      string // id
	CardName  string
	VisitHref string // "" for none
	Reading   *int64 // wall seconds: what the logger's clock showed; nil where no time was read
	Clock     []string
	Anchors   []Anchor
	Run       int // of the clock, 1 first; 0 for none
	Runs      int
	ClassWhy  string
	Before    string // address of the opening before, ""
	After     string
	Notes     []Note
}

// Template implements Page.
func (OpeningPage) Template() string { return "opening" }

// Anchor ties a clock to true time.
type Anchor struct {
	Kind    string
	Reading int64 // wall seconds
	True    int64 // Unix s
	ErrorS  int32
}

// WeekdayOptions, HourOptions and LightOptions are what visits can be chosen by.
func WeekdayOptions(w *words.Words, chosen string) []Option {
	options := []Option{{Value: "", Says: w.Say("any weekday")}}
	for _, day := range w.Week() {
		options = append(options, Option{Value: strconv.Itoa(day), Says: w.Weekday(day)})
	}
	return choose(options, chosen)
}

// HourOptions is WeekdayOptions for the hours of the day.
func HourOptions(w *words.Words, chosen string) []Option {
	options := []Option{{Value: "", Says: w.Say("any hour")}}
	for h := range 24 {
		options = append(options, Option{Value: strconv.Itoa(h), Says: w.Say("%s to %s", w.Hour(h), w.Hour(h+1))})
	}
	return choose(options, chosen)
}

// LightOptions is WeekdayOptions for daylight.
func LightOptions(w *words.Words, chosen string) []Option {
	return choose([]Option{{"", w.Say("any light"), false}, {"daylight", w.Say("in daylight"), false}, {"twilight", w.Say("in twilight"), false}, {"dark", w.Say("in the dark"), false}}, chosen)
}

func choose(options []Option, chosen string) []Option {
	for i := range options {
		options[i].Chosen = options[i].Value == chosen
	}
	return options
}

// Asked is which visits were asked for.
type Asked struct {
	From, To *usage.Date
	Weekday  int // 0: any
	Hour     *int
	Light    *usage.Light
	Boxes    int    // of all sites: how many were asked; 0 for one site
	Season   string // in words; "" for all time
	ExposedS int64  // recording time over which they are counted; 0 where that is not known
}

var lightWords = map[usage.Light]words.Text{usage.Daylight: "in daylight", usage.Twilight: "in twilight", usage.Dark: "in the dark"}

// VisitsSay says how many visits a list holds, and of which.
func VisitsSay(w *words.Words, timed, untimed int64, asked Asked) string {
	says := w.Say("No visit")
	switch {
	case timed > 0 && untimed > 0:
		says = w.Say("%s with a time and %s without one", words.Count(timed, "visit", "visits"), w.Number(untimed))
	case timed > 0:
		says = w.Plural(timed, "visit", "visits")
	case untimed > 0:
		says = w.Say("%s without a time", words.Count(untimed, "visit", "visits"))
	}
	return says + asked.words(w) + "."
}

// words are what was asked for, each part with what goes before it.
func (a Asked) words(w *words.Words) string {
	var b strings.Builder
	add := func(text words.Text, args ...any) { b.WriteString(w.Say(text, args...)) }
	if a.Weekday > 0 {
		add(" on a %s", w.Weekday(a.Weekday))
	}
	if a.Hour != nil {
		add(" from %s to %s", w.Hour(*a.Hour), w.Hour(*a.Hour+1))
	}
	if a.Light != nil {
		b.WriteString(" " + w.Say(lightWords[*a.Light]))
	}
	if a.Boxes > 0 {
		add(" at %s", words.Count(int64(a.Boxes), "box", "boxes"))
	}
	if a.Season != "" {
		add(" in %s", a.Season)
	}
	switch {
	case a.From != nil && a.To != nil && *a.From == *a.To:
		add(", on %s", *a.From)
	case a.From != nil && a.To != nil:
		add(", %s to %s", *a.From, *a.To)
	case a.From != nil:
		add(", from %s on", *a.From)
	case a.To != nil:
		add(", up to %s", *a.To)
	}
	switch {
	case a.ExposedS > 0 && a.Boxes > 1:
		add(", in %s of recording, all boxes added up", words.HoursOf(a.ExposedS))
	case a.ExposedS > 0:
		add(", in %s of recording", words.HoursOf(a.ExposedS))
	}
	return b.String()
}

// What a list of visits says of fields that it cannot read.
const (
	WeekdayUnread words.Text = "Give a weekday from 1, Monday, to 7, Sunday."
	HourUnread    words.Text = "Give an hour from 0 to 23."
	LightUnread   words.Text = "Give daylight, twilight or dark."
)

// VisitsNotes stand beside a list of visits.
func VisitsNotes(w *words.Words, site usage.Site) []Note {
	return []Note{
		{Term: w.Say("A visit"), Text: w.Say("Openings that begin within %s of the last one’s close are one visit; it has the time of its first.", w.Duration(site.Thresholds.JoinS))},
		{Term: w.Say("Without a time"), Text: w.Say("Visits whose time could not be recovered stand in the list when all of the time that they may be of is in it.")},
		AboutNote(w, AboutAddress(site.Code)),
	}
}

// NetworkVisitsNotes are VisitsNotes for the list of all sites.
func NetworkVisitsNotes(w *words.Words) []Note {
	return []Note{
		{Term: w.Say("Order"), Text: w.Say("Box by box, each in the order in which its logger wrote.")},
		{Term: w.Say("Times"), Text: w.Say("Civil time at each box; so are dates, weekdays, hours and the light that you choose.")},
		{Term: w.Say("Without a time"), Text: w.Say("Visits whose time could not be recovered stand in the list when all of the time that they may be of is in it.")},
		AboutNote(w, "/about-the-numbers"),
	}
}

// AboutAddress is where the numbers of a site are explained.
func AboutAddress(code string) string { return "/sites/" + code + "/about-the-numbers" }

// TrailToVisits leads back to the visits of a site.
func TrailToVisits(w *words.Words, s Site) []Link {
	return append(TrailToSite(w, s), Link{Href: "/sites/" + s.Code + "/visits", Text: w.Say("Visits")})
}

// VisitSays says what one visit was; light is when it was by the sun, nil where its
// time is not known.
func VisitSays(w *words.Words, openings int, openS int64, unknown int, light *usage.Light) []string {
	n := words.Count(int64(openings), "opening", "openings")
	says := []string{w.Say("%s, the door open for %s together", n, w.Duration(int32(openS)))}
	if unknown == openings {
		says[0] = w.Say("%s; how long the door stood open is not known", n)
	} else if unknown > 0 {
		says = append(says, w.Say("%s not in that time.", words.Count(int64(unknown), "opening lacks its seconds and is", "openings lack their seconds and are")))
	}
	if light != nil {
		says[0] += "; " + w.Say(lightWords[*light])
	}
	says[0] += "."
	return says
}

// ClassWhy says why an opening is of its class. call is the time of the service
// call that made it one, in words; "" for none.
func ClassWhy(w *words.Words, o usage.Opening, t usage.Thresholds, call string) string {
	switch {
	case o.Removal:
		return w.Say("A service opening: in it the card was taken out.")
	case o.Class == usage.Service && call != "":
		return w.Say("A service opening: it may have been made at the service call of %s.", call)
	case o.Class == usage.Service:
		return w.Say("A service opening.")
	case o.Class == usage.Rattle:
		return w.Say("A rattle, and no visit: the door was open for less than %s.", w.Duration(t.RattleS))
	case o.Class == usage.Ajar:
		return w.Say("Left ajar: open for more than %[1]s. It is one visit, of which %[1]s count as time at the shelf.", w.Duration(t.AjarS))
	case o.OpenS == usage.Unknown:
		return w.Say("A visitor: how long the door stood open is not known, so that it is held to be neither a rattle nor ajar.")
	}
	return w.Say("A visitor: the door was open for %s, not less than %s and not more than %s.", w.Duration(o.OpenS), w.Duration(t.RattleS), w.Duration(t.AjarS))
}

// What the page of an opening says of one without a time, and of findings.
const (
	TimeLost    words.Text = "What the clock showed could not be tied to true time here, and the order of the lines says no more than between which openings it lies."
	NoticedHere words.Text = "Noticed here"
	NoticedMore words.Text = "See it with its evidence"
)

// RunWhy says what a run of the clock is and what its times stand on.
func RunWhy(w *words.Words, run usage.Run, position, runs int) []string {
	says := []string{w.Say("It is in run %d of %d in which the clock went undisturbed; it began with: %s.", position, runs, w.Retell(string(run.Why)))}
	switch len(run.Anchors) {
	case 0:
		says = append(says, w.Say("Nothing ties that run to true time: the clock is taken as it reads, with an error that grows by %.1f s a day from the last time it was set.", usage.ClockDrift*86400))
	case 1:
		says = append(says, w.Say("One anchor ties the run to true time, and fixes how far the clock was off."))
	default:
		says = append(says, w.Say("%s the run to true time: between two of them the clock’s drift is taken to be even.", words.Count(int64(len(run.Anchors)), "anchor ties", "anchors tie")))
	}
	return says
}

// Corrected says by how much a reading was corrected to give the true time.
func Corrected(w *words.Words, reading, at int64, zone *usage.Zone) string {
	by := at + int64(zone.OffsetAt(at)) - reading
	switch {
	case by == 0:
		return w.Say("The logger’s clock was right to the second, in civil time at the box.")
	case by > 0:
		return w.Say("The logger’s clock was %s behind civil time at the box; that was put right.", exactly(w, by))
	}
	return w.Say("The logger’s clock was %s ahead of civil time at the box; that was put right.", exactly(w, -by))
}

// exactly writes a length of time to the second.
func exactly(w *words.Words, s int64) string {
	var parts []string
	for _, u := range []struct {
		s         int64
		one, many words.Text
	}{{86400, "day", "days"}, {3600, "hour", "hours"}, {60, "minute", "minutes"}, {1, "second", "seconds"}} {
		if n := s / u.s; n > 0 {
			parts = append(parts, w.Plural(n, u.one, u.many))
			s %= u.s
		}
	}
	return strings.Join(parts, " ")
}

// Option is one choice of a field.
type Option struct {
	Value, Says string
	Chosen      bool
}
