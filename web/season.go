package web

import (
	"math"
	"slices"

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
func (p SitePlace) Place(w *words.Words) string {
	if p.Low == p.High {
		return Ordinal(w, p.Low)
	}
	return w.Say("somewhere between %s and %s", Ordinal(w, p.Low), Ordinal(w, p.High))
}

// Ordinal writes 1st, 2nd, 3rd, 4th …
func Ordinal(w *words.Words, n int) string {
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			return w.Say("%dst", n)
		case 2:
			return w.Say("%dnd", n)
		case 3:
			return w.Say("%drd", n)
		}
	}
	return w.Say("%dth", n)
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
func SeasonLead(w *words.Words, f, last usage.SeasonFigures, season usage.Season, current bool) []string {
	return seasonLead(w, f, last, season, current, false)
}

// NetworkLead is SeasonLead of all boxes together.
func NetworkLead(w *words.Words, f, last usage.SeasonFigures, season usage.Season, current bool, boxes int) []string {
	if boxes < 2 || f.Estimated == nil {
		return seasonLead(w, f, last, season, current, false)
	}
	lead := seasonLead(w, f, last, season, current, true)
	all := w.Say("At all %d boxes together: about %s visits, %s.", boxes, w.Round(f.Estimated).Value, w.Between(f.Estimated))
	return slices.Insert(lead, 1, all)
}

// seasonLead is SeasonLead, for one box or for a mean one of several.
func seasonLead(w *words.Words, f, last usage.SeasonFigures, season usage.Season, current, mean bool) []string {
	if f.PerDay == nil {
		return []string{nothingIn(w, f, season)}
	}
	weekly := Weekly(f.PerDay)
	rate := w.Say("About %s visits a week %s, %s", w.Round(weekly).Value, during(w, season, current), w.Between(weekly))
	if mean {
		rate = w.Say("About %s visits a week at a mean box %s, %s", w.Round(weekly).Value, during(w, season, current), w.Between(weekly))
	}
	if last.PerDay != nil {
		before := Weekly(last.PerDay)
		rate = w.Say("%s; %s %s, %s", rate, lastOne(w, season, current), w.Round(before).Value, w.Between(before))
	}
	return []string{rate + ".", Compared(w, f, last, season)}
}

func nothingIn(w *words.Words, f usage.SeasonFigures, season usage.Season) string {
	if f.Counted > 0 {
		return w.Say("%s counted in %s, and no recording time to set them against.", words.Count(f.Counted, "visit was", "visits were"), season)
	}
	return w.Say("Nothing was recorded in %s.", season)
}

// during says in which season, of which "this" one holds today.
func during(w *words.Words, season usage.Season, current bool) string {
	if current {
		return w.Say(thisSeason[season.Word()])
	}
	return w.Say("in %s", season)
}

func lastOne(w *words.Words, season usage.Season, current bool) string {
	if current {
		return w.Say(lastSeason[season.Word()])
	}
	return w.Say("in %s it was", season.LastYear())
}

// What is said of a season by its word, whole: other languages bend the words.
var (
	thisSeason = map[string]words.Text{"winter": "this winter", "spring": "this spring", "summer": "this summer", "autumn": "this autumn"}
	lastSeason = map[string]words.Text{"winter": "last winter", "spring": "last spring", "summer": "last summer", "autumn": "last autumn"}
	unrecorded = map[string]words.Text{
		"winter": "There is no recording of the winter before to set it against.",
		"spring": "There is no recording of the spring before to set it against.",
		"summer": "There is no recording of the summer before to set it against.",
		"autumn": "There is no recording of the autumn before to set it against.",
	}
	timesBefore = map[string]words.Text{
		"winter": "%s times as many visits a day as in the winter before, on the dates that both have",
		"spring": "%s times as many visits a day as in the spring before, on the dates that both have",
		"summer": "%s times as many visits a day as in the summer before, on the dates that both have",
		"autumn": "%s times as many visits a day as in the autumn before, on the dates that both have",
	}
)

// Compared says how a season stands against the same one last year. It speaks of a
// rise or a fall only where the limits leave out 1.
func Compared(w *words.Words, f, last usage.SeasonFigures, season usage.Season) string {
	ratio := f.RatioToLast
	if ratio == nil || math.IsNaN(ratio.Value) {
		if last.PerDay != nil {
			return w.Say("No dates that both years recorded can be set against each other.")
		}
		return w.Say(unrecorded[season.Word()])
	}
	times := w.Say(timesBefore[season.Word()], w.Limits(w.RoundRatio(ratio)))
	switch usage.DirectionOf(ratio) {
	case usage.Rise:
		return w.Say("That is a rise: %s.", times)
	case usage.Fall:
		return w.Say("That is a fall: %s.", times)
	}
	return w.Say("Whether that is more or fewer than a year before cannot be told: %s.", times)
}

// Until says how far the figures of a season go that is not complete, though over
// where ended is true, of one box or of several.
func Until(w *words.Words, until *usage.Date, ended bool, boxes int) string {
	switch {
	case until == nil && ended:
		return ""
	case until == nil:
		return w.Say("The season is still running.")
	}
	far := w.Say("as far as its last card, %s", *until)
	if boxes > 1 {
		far = w.Say("as far as the last card of each box, the earliest of them %s", *until)
	}
	if ended {
		return w.Say("The last cards of the season have not been read: its figures go %s, and nothing is projected beyond.", far)
	}
	return w.Say("The season is still running: its figures go %s, and nothing is projected beyond.", far)
}

// OpenWeek is words.Words.OpenWeek in English.
func OpenWeek(e *usage.Estimate) Rounded { return words.English.OpenWeek(e) }

// Remarks are what stands beside the figures of a season at a site.
func Remarks(w *words.Words, f usage.SeasonFigures, findings int, complete bool) []string {
	var says []string
	add := func(n int64, one, many words.Text) {
		if n > 0 {
			says = append(says, w.Plural(n, one, many))
		}
	}
	add(f.Untimed, "visit has no time, though its season is known: counted", "visits have no time, though their season is known: counted")
	add(f.UntimedAbout, "visit without a time may be of this season or not: not counted", "visits without a time may be of this season or not: not counted")
	add(f.UnknownOpen, "visit without its seconds", "visits without their seconds")
	add(int64(findings), "open question touches this season", "open questions touch this season")
	if f.Until != nil && !complete {
		says = append(says, w.Say("figures up to %s", *f.Until))
	}
	return says
}

// SeasonFiguresNotes stand beside a season's figures.
func SeasonFiguresNotes(w *words.Words, f usage.SeasonFigures) []Note {
	notes := []Note{
		{Term: w.Say("Counted and estimated"), Text: w.Say("Counted is what the loggers wrote. Estimated is for all of the days, those not covered filled in from covered days of the same weekday.")},
		{Term: w.Say("Limits"), Text: w.Say("95 % limits: where the true figure lies, had we watched for longer.")},
	}
	if f.Phi > 1.05 {
		notes = append(notes, Note{Term: w.Say("Good and bad days"), Text: w.Say("Days differ by up to %s times what chance alone makes of them; the limits allow for it.", w.OneFigure(f.Phi))})
	}
	return append(notes, AboutNote(w, "/about-the-numbers"))
}

// AboutNote leads to the page on how figures are made.
func AboutNote(w *words.Words, address string) Note {
	return Note{Link: &Link{Href: address, Text: w.Say("About the numbers")}}
}

// TitleSites is the title of the chart of sites when it cannot be drawn.
const TitleSites words.Text = "The boxes side by side"
