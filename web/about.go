package web

import (
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
func (s AboutSeason) Weekly(w *words.Words) string {
	f := s.Figures
	if f.PerDay == nil {
		return ""
	}
	weekly := Weekly(f.PerDay)
	says := w.Say("%s in %s of recording make about %s a week. Had we watched such a season again and again, the count would have gone up and down by chance; rates %s a week go well with the count that we have.",
		words.Count(f.Counted, "visit", "visits"), w.Days(f.CoveredDays), w.Round(weekly).Value, w.Between(weekly))
	if f.Phi > 1.05 {
		says += " " + w.Say("Days at this box differ by %s times what chance alone would make of them (rain, market days), so the limits are wider by the root of that.", w.OneFigure(f.Phi))
	}
	return says
}

// Estimated says the example of a total.
func (s AboutSeason) Estimated(w *words.Words) string {
	f := s.Figures
	switch {
	case f.Estimated == nil:
		return ""
	case float64(f.Days)-f.CoveredDays < 0.05:
		return w.Say("All of the %s were covered, and the estimate is the count itself, %s; its limits are those of the rate.", words.Count(int64(f.Days), "day", "days"), w.Number(f.Counted))
	}
	return w.Say("%s of %s were covered, in which %s counted. On all of them there were about %s, %s.",
		w.Days(f.CoveredDays), words.Count(int64(f.Days), "day", "days"), words.Count(f.Counted, "visit was", "visits were"),
		w.Round(f.Estimated).Value, w.Between(f.Estimated))
}
