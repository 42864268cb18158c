package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"doorleaf/usage"
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
type Rounded struct{ Value, Low, High string }

// Round writes an estimate in steps of the power of ten next below a quarter of the
// distance between its limits, so that the last digit shown is one that is in doubt.
// Steps are not finer than a hundredth. An infinite or unknown part is "unknown".
func Round(e *usage.Estimate) Rounded {
	return roundTo(e, stepOf(e.Low, e.High))
}

func stepOf(low, high float64) int {
	quarter := (high - low) / 4
	if !(quarter > 0) || math.IsInf(quarter, 0) {
		return -2
	}
	return max(-2, int(math.Floor(math.Log10(quarter))))
}

// RoundRatio is Round for a ratio, with as many decimals more as it takes to show
// that a limit is not 1.
func RoundRatio(e *usage.Estimate) Rounded {
	power := min(-1, stepOf(e.Low, e.High))
	r := roundTo(e, power)
	for ; power > -6; power-- {
		one := trimmed(1, -power)
		if r = roundTo(e, power); (r.Low == one) == (e.Low == 1) && (r.High == one) == (e.High == 1) {
			break
		}
	}
	return r
}

func roundTo(e *usage.Estimate, power int) Rounded {
	write := func(v float64) string {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "unknown"
		}
		if power < 0 {
			return trimmed(v, -power)
		}
		unit := math.Pow(10, float64(power))
		return Number(int64(math.Round(v/unit) * unit))
	}
	return Rounded{write(e.Value), write(e.Low), write(e.High)}
}

// trimmed writes v with so many decimals, nought as "0", and no nought that is
// none: then it says that v is less.
func trimmed(v float64, decimals int) string {
	if v == 0 {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "0.") == "" {
		return "less than " + s[:len(s)-1] + "1"
	}
	return s
}

// Between writes the limits of an estimate: "between 11 and 17".
func Between(e *usage.Estimate) string { return Round(e).between() }

func (r Rounded) between() string {
	switch {
	case r.Low == "unknown" && r.High == "unknown":
		return "too few to say how sure that is"
	case r.High == "unknown":
		return r.Low + " or more"
	}
	return "between " + r.Low + " and " + r.High
}

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
	limits := RoundRatio(ratio).between()
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

// OpenTime writes an open time of any length in the unit that suits it.
func OpenTime(s float64) string {
	switch {
	case s < 120:
		return strconv.FormatFloat(s, 'f', 0, 64) + " s"
	case s < 7200:
		return strconv.FormatFloat(s/60, 'f', 0, 64) + " min"
	case s < 100*3600:
		return strconv.FormatFloat(s/3600, 'f', 1, 64) + " h"
	}
	return Number(int64(math.Round(s/3600))) + " h"
}

// OpenWeek writes the open time in a week, seconds, with its limits, in the unit that
// suits it: 39 min, 33, 46.
func OpenWeek(e *usage.Estimate) Rounded {
	unit, name := 3600.0, "h"
	switch {
	case e.Value < 120:
		unit, name = 1, "s"
	case e.Value < 7200:
		unit, name = 60, "min"
	}
	r := Round(&usage.Estimate{Value: e.Value / unit, Low: e.Low / unit, High: e.High / unit, Level: e.Level})
	r.Value += " " + name
	return r
}

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
