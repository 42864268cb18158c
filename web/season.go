package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// SeasonsPage lists the seasons of the network.
type SeasonsPage struct {
	Base
	Seasons []SeasonLine // the latest first
}

// Template implements Page.
func (SeasonsPage) Template() string { return "seasons" }

// SeasonLine is one season of the network in a list.
type SeasonLine struct {
	Name    string // as in addresses: 2026-spring
	Words   string
	Boxes   int    // with recording in it
	Visits  string // address of the list of its visits
	Running bool
	Figures usage.SeasonFigures
}

// SeasonPage shows the figures of one season, of each site and of the network.
type SeasonPage struct {
	Base
	Name     string
	Words    string
	Lead     []string // sentences, the first one leads
	Sites    []SeasonSite
	Network  usage.SeasonFigures
	Visits   string // address of the list of the visits of all boxes
	Panel    *Panel
	Order    []SitePlace // the busiest first; nil where nothing can be said
	Pooled   bool        // sites differ by no more than chance
	Notes    []Note
	Previous *Link
	Next     *Link
}

// Template implements Page.
func (SeasonPage) Template() string { return "season" }

// figured is the figures of a season with the address of the visits that they count,
// which has a query.
type figured struct {
	Figures usage.SeasonFigures
	Visits  string
	Mean    bool // rates are those of a mean box of several
}

// SeasonSite is one site in a season.
type SeasonSite struct {
	Site
	Figures  usage.SeasonFigures
	Visits   string // address of the list of the visits counted
	Before   string // of those of the same season last year
	Findings int    // open ones that touch the season
	Remarks  []string
}

// SitePlace is a site's place in the order of the network.
type SitePlace struct {
	Site
	Weekly    *usage.Estimate // drawn towards the network's
	Low, High int
}

// Place says where a site stands in the order.
func (p SitePlace) Place() string {
	if p.Low == p.High {
		return Ordinal(p.Low)
	}
	return "somewhere between " + Ordinal(p.Low) + " and " + Ordinal(p.High)
}

// Ordinal writes 1st, 2nd, 3rd, 4th …
func Ordinal(n int) string {
	end := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			end = "st"
		case 2:
			end = "nd"
		case 3:
			end = "rd"
		}
	}
	return strconv.Itoa(n) + end
}

// Weekly makes an estimate a day one of seven days.
func Weekly(daily *usage.Estimate) *usage.Estimate {
	if daily == nil {
		return nil
	}
	return &usage.Estimate{Value: 7 * daily.Value, Low: 7 * daily.Low, High: 7 * daily.High, Level: daily.Level}
}

// Rounded is an estimate written with the digits that it can bear.
type Rounded = words.Rounded

// Round is words.Words.Round in English.
func Round(e *usage.Estimate) Rounded { return words.English.Round(e) }

// RoundRatio is words.Words.RoundRatio in English.
func RoundRatio(e *usage.Estimate) Rounded { return words.English.RoundRatio(e) }

// Between is words.Words.Between in English.
func Between(e *usage.Estimate) string { return words.English.Between(e) }

// Percent makes a share one of a hundred.
func Percent(share *usage.Estimate) *usage.Estimate {
	if share == nil {
		return nil
	}
	return &usage.Estimate{Value: 100 * share.Value, Low: 100 * share.Low, High: 100 * share.High, Level: share.Level}
}

// SeasonLead says the figures of a season at one box in sentences, the main one
// first. last are those of the same season a year before; current says that the
// season holds today.
func SeasonLead(f, last usage.SeasonFigures, season usage.Season, current bool) []string {
	if f.PerDay == nil {
		return []string{nothingIn(f, season)}
	}
	weekly := Weekly(f.PerDay)
	lead := fmt.Sprintf("About %s visits a week %s, %s", Round(weekly).Value, during(season, current), Between(weekly))
	if last.PerDay != nil {
		before := Weekly(last.PerDay)
		lead += fmt.Sprintf("; %s %s, %s", lastOne(season, current), Round(before).Value, Between(before))
	}
	return []string{lead + ".", Compared(f, last, season)}
}

// NetworkLead is SeasonLead of all boxes together.
func NetworkLead(f, last usage.SeasonFigures, season usage.Season, current bool, boxes int) []string {
	lead := SeasonLead(f, last, season, current)
	if boxes < 2 || f.Estimated == nil {
		return lead
	}
	lead[0] = strings.Replace(lead[0], "visits a week", "visits a week at a mean box", 1)
	all := fmt.Sprintf("At all %d boxes together: about %s visits, %s.", boxes, Round(f.Estimated).Value, Between(f.Estimated))
	return slices.Insert(lead, 1, all)
}

func nothingIn(f usage.SeasonFigures, season usage.Season) string {
	if f.Counted > 0 {
		return fmt.Sprintf("%s counted in %s, and no recording time to set them against.", Plural(f.Counted, "visit was", "visits were"), SeasonWords(season))
	}
	return "Nothing was recorded in " + SeasonWords(season) + "."
}

func during(season usage.Season, current bool) string {
	if current {
		return "this " + season.Word()
	}
	return "in " + SeasonWords(season)
}

func lastOne(season usage.Season, current bool) string {
	if current {
		return "last " + season.Word()
	}
	return "in " + SeasonWords(season.LastYear()) + " it was"
}

// Compared says how a season stands against the same one last year. It speaks of a
// rise or a fall only where the limits leave out 1.
func Compared(f, last usage.SeasonFigures, season usage.Season) string {
	ratio, before := f.RatioToLast, "the "+season.Word()+" before"
	if ratio == nil || math.IsNaN(ratio.Value) {
		if last.PerDay != nil {
			return "No dates that both years recorded can be set against each other."
		}
		return "There is no recording of " + before + " to set it against."
	}
	times := "times as many visits a day as in " + before + ", on the dates that both have"
	limits := words.English.Limits(RoundRatio(ratio))
	switch usage.DirectionOf(ratio) {
	case usage.Rise:
		return fmt.Sprintf("That is a rise: %s %s.", limits, times)
	case usage.Fall:
		return fmt.Sprintf("That is a fall: %s %s.", limits, times)
	}
	return fmt.Sprintf("Whether that is more or fewer than a year before cannot be told: %s %s.", limits, times)
}

// Until says how far the figures of a season go that is not complete, though over
// where ended is true, of one box or of several.
func Until(until *usage.Date, ended bool, boxes int) string {
	switch {
	case until == nil && ended:
		return ""
	case until == nil:
		return "The season is still running."
	}
	far := "as far as its last card, " + DateWords(*until)
	if boxes > 1 {
		far = "as far as the last card of each box, the earliest of them " + DateWords(*until)
	}
	if ended {
		return "The last cards of the season have not been read: its figures go " + far + ", and nothing is projected beyond."
	}
	return "The season is still running: its figures go " + far + ", and nothing is projected beyond."
}

// OpenTime is words.Words.OpenTime in English.
func OpenTime(s float64) string { return words.English.OpenTime(s) }

// OpenWeek is words.Words.OpenWeek in English.
func OpenWeek(e *usage.Estimate) Rounded { return words.English.OpenWeek(e) }

// Remarks are what stands beside the figures of a season at a site.
func Remarks(f usage.SeasonFigures, findings int, complete bool) []string {
	var says []string
	add := func(n int64, one, many string) {
		if n > 0 {
			says = append(says, Plural(n, one, many))
		}
	}
	add(f.Untimed, "visit has no time, though its season is known: counted", "visits have no time, though their season is known: counted")
	add(f.UntimedAbout, "visit without a time may be of this season or not: not counted", "visits without a time may be of this season or not: not counted")
	add(f.UnknownOpen, "visit without its seconds", "visits without their seconds")
	add(int64(findings), "open question touches this season", "open questions touch this season")
	if f.Until != nil && !complete {
		says = append(says, "figures up to "+DateWords(*f.Until))
	}
	return says
}

// SeasonFiguresNotes stand beside a season's figures.
func SeasonFiguresNotes(f usage.SeasonFigures) []Note {
	notes := []Note{
		{Term: "Counted and estimated", Text: "Counted is what the loggers wrote. Estimated is for all of the days, those not covered filled in from covered days of the same weekday."},
		{Term: "Limits", Text: "95 % limits: where the true figure lies, had we watched for longer."},
	}
	if f.Phi > 1.05 {
		notes = append(notes, Note{Term: "Good and bad days", Text: fmt.Sprintf("Days differ by up to %s times what chance alone makes of them; the limits allow for it.", OneFigure(f.Phi))})
	}
	return append(notes, AboutNote("/about-the-numbers"))
}

// AboutNote leads to the page on how figures are made.
func AboutNote(address string) Note {
	return Note{Link: &Link{Href: address, Text: "About the numbers"}}
}

// TitleSites is the title of the chart of sites when it cannot be drawn.
const TitleSites = "The boxes side by side"
