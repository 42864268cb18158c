package chart

import (
	"context"
	"unicode/utf8"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// SiteRate is what a figure of sites side by side shows of one.
type SiteRate struct {
	Name      string
	Visits    int64           // counted
	ExposureH float64         // recording time, h
	Weekly    *usage.Estimate // visits a week, estimated; nil without exposure
	Href      string          // where those visits are listed; "" for nowhere, and then for every site
}

// thinSiteH is how little exposure makes a site's bar pale. Common practice, no
// source.
const thinSiteH = 7 * day

// The rooms for names of sites, in letters.
const (
	nameWide   = 20
	nameNarrow = 12
)

// BySite draws the estimated visits a week of all sites on one scale, with their
// 95 % limits, in the order given. span names the time that they are of.
func (m *Maker) BySite(ctx context.Context, id, span string, sites []SiteRate) (Figure, error) {
	bars := make([]bar, len(sites))
	var visits int64
	for i, s := range sites {
		bars[i] = bar{label: s.Name, visits: s.Visits, exposureH: s.ExposureH, unitH: week, rate: s.Weekly, thin: s.ExposureH < thinSiteH, href: s.Href}
		visits += s.Visits
	}
	f := Figure{
		ID:    id,
		Title: siteTitle(m.Words, bars),
		Says: m.Words.Say("Visits a week at each box in %s, estimated from %s, with 95 %% limits; all on one scale.",
			span, words.Count(visits, "counted visit", "counted visits")),
		Table: tableOf(m.Words, m.Words.Say("Visits a week by box, %s", span), "Box", "Visits a week, estimated", bars),
	}
	if !anyCovered(bars) {
		f.Says = m.Words.Say(nothingSays)
	}
	return m.draw(ctx, f,
		siteRows(m.Words, bars, nameWide, frame{wideWidth, 0, 150, 34, 56, 26}),
		siteRows(m.Words, bars, nameNarrow, frame{narrowWidth, 0, 92, 50, 44, 26}))
}

func siteTitle(w *words.Words, bars []bar) string {
	l := leadOf(bars)
	switch {
	case l.top < 0:
		return w.Say(nothing)
	case bars[l.top].visits == 0:
		return w.Say("No visits at any box")
	case len(bars) == 1:
		return w.Say("Visits a week at the one box")
	case len(l.peers) == 1:
		return w.Say("%s is the busiest", bars[l.top].label)
	case len(l.peers) <= 3:
		return w.Say("Busiest: %s", l.names(w, bars))
	}
	return w.Say("No box clearly stands out")
}

// siteRows draws a row a site, its name cut to so many letters.
func siteRows(w *words.Words, bars []bar, letters int, f frame) drawing {
	if len(bars) == 0 {
		bars = []bar{{}}
	}
	short := make([]bar, len(bars))
	for i, b := range bars {
		b.label = cut(b.label, letters)
		short[i] = b
	}
	f.height = f.top + f.bottom + 28*len(short)
	return sideways(w, short, visitsAWeek, "under a week", f)
}

// cut shortens a name to so many letters.
func cut(name string, letters int) string {
	if utf8.RuneCountInString(name) <= letters {
		return name
	}
	return string([]rune(name)[:letters-1]) + "…"
}
