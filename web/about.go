package web

import (
	"fmt"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// AboutPage tells how figures are made, with the settings and the data of one site.
type AboutPage struct {
	Base
	Site            // whose data the examples are; Code "" where there is none yet
	Whole      bool // the page of the network and not of the site
	Thresholds usage.Thresholds
	Totals     usage.Totals
	Visit      *Visit // an example; nil without any
	Season     *AboutSeason
}

// Template implements Page.
func (AboutPage) Template() string { return "about" }

// AboutSeason is the season that the examples are worked on.
type AboutSeason struct {
	Name    string
	Words   string
	Figures usage.SeasonFigures
	Visits  string // address of its visits
}

// Weekly says the example of a rate.
func (s AboutSeason) Weekly() string {
	f := s.Figures
	if f.PerDay == nil {
		return ""
	}
	weekly := Weekly(f.PerDay)
	says := fmt.Sprintf("%s in %s of recording make about %s a week. Had we watched such a season again and again, the count would have gone up and down by chance; rates %s a week go well with the count that we have.",
		Plural(f.Counted, "visit", "visits"), daysWords(f.CoveredDays), Round(weekly).Value, Between(weekly))
	if f.Phi > 1.05 {
		says += fmt.Sprintf(" Days at this box differ by %s times what chance alone would make of them (rain, market days), so the limits are wider by the root of that.", OneFigure(f.Phi))
	}
	return says
}

// Estimated says the example of a total.
func (s AboutSeason) Estimated() string {
	f := s.Figures
	switch {
	case f.Estimated == nil:
		return ""
	case float64(f.Days)-f.CoveredDays < 0.05:
		return fmt.Sprintf("All of the %s were covered, and the estimate is the count itself, %s; its limits are those of the rate.", Plural(int64(f.Days), "day", "days"), Number(f.Counted))
	}
	return fmt.Sprintf("%s of %s were covered, in which %s counted. On all of them there were about %s, %s.",
		daysWords(f.CoveredDays), Plural(int64(f.Days), "day", "days"), Plural(f.Counted, "visit was", "visits were"),
		Round(f.Estimated).Value, Between(f.Estimated))
}

// daysWords writes an exposure in days with one decimal at most.
func daysWords(days float64) string { return words.English.Days(days) }
