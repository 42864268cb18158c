package web

import (
	"fmt"
	"strconv"
	"strings"

	"doorleaf/usage"
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
func WeekdayOptions(chosen string) []Option {
	options := []Option{{Value: "", Says: "any weekday"}}
	for i, name := range weekdays {
		options = append(options, Option{Value: strconv.Itoa(i + 1), Says: name})
	}
	return choose(options, chosen)
}

// HourOptions is WeekdayOptions for the hours of the day.
func HourOptions(chosen string) []Option {
	options := []Option{{Value: "", Says: "any hour"}}
	for h := range 24 {
		options = append(options, Option{Value: strconv.Itoa(h), Says: fmt.Sprintf("%d:00 to %d:00", h, h+1)})
	}
	return choose(options, chosen)
}

// LightOptions is WeekdayOptions for daylight.
func LightOptions(chosen string) []Option {
	return choose([]Option{{"", "any light", false}, {"daylight", "in daylight", false}, {"twilight", "in twilight", false}, {"dark", "in the dark", false}}, chosen)
}

func choose(options []Option, chosen string) []Option {
	for i := range options {
		options[i].Chosen = options[i].Value == chosen
	}
	return options
}

var weekdays = [...]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

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

var lightWords = map[usage.Light]string{usage.Daylight: "in daylight", usage.Twilight: "in twilight", usage.Dark: "in the dark"}

// VisitsSay says how many visits a list holds, and of which.
func VisitsSay(timed, untimed int64, asked Asked) string {
	says := "No visit"
	switch {
	case timed > 0 && untimed > 0:
		says = fmt.Sprintf("%s with a time and %s without one", Plural(timed, "visit", "visits"), Number(untimed))
	case timed > 0:
		says = Plural(timed, "visit", "visits")
	case untimed > 0:
		says = Plural(untimed, "visit", "visits") + " without a time"
	}
	return says + asked.words() + "."
}

func (a Asked) words() string {
	var b strings.Builder
	if a.Weekday > 0 {
		b.WriteString(" on a " + weekdays[a.Weekday-1])
	}
	if a.Hour != nil {
		fmt.Fprintf(&b, " from %d:00 to %d:00", *a.Hour, *a.Hour+1)
	}
	if a.Light != nil {
		b.WriteString(" " + lightWords[*a.Light])
	}
	if a.Boxes > 0 {
		b.WriteString(" at " + Plural(int64(a.Boxes), "box", "boxes"))
	}
	if a.Season != "" {
		b.WriteString(" in " + a.Season)
	}
	switch {
	case a.From != nil && a.To != nil && *a.From == *a.To:
		b.WriteString(", on " + DateWords(*a.From))
	case a.From != nil && a.To != nil:
		b.WriteString(", " + DateWords(*a.From) + " to " + DateWords(*a.To))
	case a.From != nil:
		b.WriteString(", from " + DateWords(*a.From) + " on")
	case a.To != nil:
		b.WriteString(", up to " + DateWords(*a.To))
	}
	if a.ExposedS > 0 {
		b.WriteString(", in " + HourWords(a.ExposedS) + " of recording")
		if a.Boxes > 1 {
			b.WriteString(", all boxes added up")
		}
	}
	return b.String()
}

// What a list of visits says of fields that it cannot read.
const (
	WeekdayUnread = "Give a weekday from 1, Monday, to 7, Sunday."
	HourUnread    = "Give an hour from 0 to 23."
	LightUnread   = "Give daylight, twilight or dark."
)

// VisitsNotes stand beside a list of visits.
func VisitsNotes(site usage.Site) []Note {
	return []Note{
		{Term: "A visit", Text: "Openings that begin within " + DurationWords(site.Thresholds.JoinS) + " of the last one’s close are one visit; it has the time of its first."},
		{Term: "Without a time", Text: "Visits whose time could not be recovered stand in the list when all of the time that they may be of is in it."},
		AboutNote(AboutAddress(site.Code)),
	}
}

// NetworkVisitsNotes are VisitsNotes for the list of all sites.
func NetworkVisitsNotes() []Note {
	return []Note{
		{Term: "Order", Text: "Box by box, each in the order in which its logger wrote."},
		{Term: "Times", Text: "Civil time at each box; so are dates, weekdays, hours and the light that you choose."},
		{Term: "Without a time", Text: "Visits whose time could not be recovered stand in the list when all of the time that they may be of is in it."},
		AboutNote("/about-the-numbers"),
	}
}

// AboutAddress is where the numbers of a site are explained.
func AboutAddress(code string) string { return "/sites/" + code + "/about-the-numbers" }

// TrailToVisits leads back to the visits of a site.
func TrailToVisits(s Site) []Link {
	return append(TrailToSite(s), Link{Href: "/sites/" + s.Code + "/visits", Text: "Visits"})
}

// VisitSays says what one visit was.
func VisitSays(openings int, openS int64, unknown int, light string) []string {
	says := []string{Plural(int64(openings), "opening", "openings") + ", the door open for " + DurationWords(int32(openS)) + " together" + light + "."}
	if unknown == openings {
		says[0] = Plural(int64(openings), "opening", "openings") + "; how long the door stood open is not known" + light + "."
	} else if unknown > 0 {
		says = append(says, Plural(int64(unknown), "opening lacks its seconds and is", "openings lack their seconds and are")+" not in that time.")
	}
	return says
}

// LightSays ends VisitSays.
func LightSays(l usage.Light) string { return "; " + lightWords[l] }

// ClassWhy says why an opening is of its class. call is the time of the service
// call that made it one, in words; "" for none.
func ClassWhy(o usage.Opening, t usage.Thresholds, call string) string {
	switch {
	case o.Removal:
		return "A service opening: in it the card was taken out."
	case o.Class == usage.Service && call != "":
		return "A service opening: it may have been made at the service call of " + call + "."
	case o.Class == usage.Service:
		return "A service opening."
	case o.Class == usage.Rattle:
		return "A rattle, and no visit: the door was open for less than " + DurationWords(t.RattleS) + "."
	case o.Class == usage.Ajar:
		return "Left ajar: open for more than " + DurationWords(t.AjarS) + ". It is one visit, of which " + DurationWords(t.AjarS) + " count as time at the shelf."
	case o.OpenS == usage.Unknown:
		return "A visitor: how long the door stood open is not known, so that it is held to be neither a rattle nor ajar."
	}
	return fmt.Sprintf("A visitor: the door was open for %s, not less than %s and not more than %s.", DurationWords(o.OpenS), DurationWords(t.RattleS), DurationWords(t.AjarS))
}

// What the page of an opening says of one without a time, and of findings.
const (
	TimeLost    = "What the clock showed could not be tied to true time here, and the order of the lines says no more than between which openings it lies."
	NoticedHere = "Noticed here"
	NoticedMore = "See it with its evidence"
)

// RunWhy says what a run of the clock is and what its times stand on.
func RunWhy(run usage.Run, position, runs int) []string {
	says := []string{fmt.Sprintf("It is in run %d of %d in which the clock went undisturbed; it began with: %s.", position, runs, run.Why)}
	switch len(run.Anchors) {
	case 0:
		says = append(says, fmt.Sprintf("Nothing ties that run to true time: the clock is taken as it reads, with an error that grows by %.1f s a day from the last time it was set.", usage.ClockDrift*86400))
	case 1:
		says = append(says, "One anchor ties the run to true time, and fixes how far the clock was off.")
	default:
		says = append(says, Plural(int64(len(run.Anchors)), "anchor ties", "anchors tie")+" the run to true time: between two of them the clock’s drift is taken to be even.")
	}
	return says
}

// Corrected says by how much a reading was corrected to give the true time.
func Corrected(reading, at int64, zone *usage.Zone) string {
	by := at + int64(zone.OffsetAt(at)) - reading
	switch {
	case by == 0:
		return "The logger’s clock was right to the second, in civil time at the box."
	case by > 0:
		return "The logger’s clock was " + exactly(by) + " behind civil time at the box; that was put right."
	}
	return "The logger’s clock was " + exactly(-by) + " ahead of civil time at the box; that was put right."
}

// exactly writes a length of time to the second.
func exactly(s int64) string {
	var parts []string
	for _, u := range []struct {
		s         int64
		one, many string
	}{{86400, "day", "days"}, {3600, "hour", "hours"}, {60, "minute", "minutes"}, {1, "second", "seconds"}} {
		if n := s / u.s; n > 0 {
			parts = append(parts, Plural(n, u.one, u.many))
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
