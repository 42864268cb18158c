package web

import (
	"doorleaf/usage"
	"doorleaf/web/words"
)

// DaylightPage shows visits against sunrise and sunset.
type DaylightPage struct {
	Base
	Site
	Lead  string
	Years []Link
	Panel *Panel
	Rows  []DaylightRow
	Mind  []string
}

// Template implements Page.
func (DaylightPage) Template() string { return "daylight" }

// DaylightRow is a season by light.
type DaylightRow struct {
	Season     string
	Visits     int64
	Counts     [3]int64
	Shares     [3]*usage.Estimate
	EitherSide int64
	Href       string // the visits after dark
}

// DaylightLead says in one sentence how many visits come after dark; all is of all
// time.
func DaylightLead(w *words.Words, all usage.DaylightShare) string {
	if all.Visits == 0 {
		return w.Say("No visit with a known time has been recorded.")
	}
	dark := w.Round(Percent(all.Shares[usage.Dark]))
	return w.Say("About %s of a hundred visits come after dark (%s to %s), of %s in all.", dark.Value, dark.Low, dark.High, words.Count(all.Visits, "visit", "visits"))
}

// DaylightMinds are what to bear in mind.
func DaylightMinds(w *words.Words, all usage.DaylightShare) []string {
	mind := []string{w.Say("Daylight: the sun above −0.833°. Twilight: from there to −6°. Dark: below −6°. By the formulas of Meeus, Astronomical Algorithms; hills, houses and street lamps are left out.")}
	if all.EitherSide > 0 {
		mind = append(mind, w.Say("%s could be on either side of a change of light, since the logger’s clock is not known better; each is counted where its most likely time puts it.", words.Count(all.EitherSide, "visit", "visits")))
	}
	if all.Phi > 1.05 {
		mind = append(mind, w.Say("The share after dark varies from week to week by %s times what chance makes of it; the limits allow for that.", w.OneFigure(all.Phi)))
	}
	return mind
}
