package chart

import (
	"context"
	"fmt"
	"slices"
	"time"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// Months and seasons with less exposure than this are marked as telling
// little. Common practice, no source.
const (
	thinMonthH  = 7 * day
	thinSeasonH = 28 * day
)

// So many of the latest months and seasons are drawn, three years of each; the
// table has them all.
const (
	monthsDrawn  = 36
	seasonsDrawn = 12
)

// latest returns the last n of s, or all where there are fewer.
func latest[S ~[]E, E any](s S, n int) S { return s[max(0, len(s)-n):] }

// ByMonth draws visits a week (168 h of exposure) for each civil month, with
// 95 % limits. The months may come in any order; months that are missing
// between the first and the last are drawn as without coverage.
func (m *Maker) ByMonth(ctx context.Context, id string, months []usage.MonthTally) (Figure, error) {
	months = unbroken(months)
	bars := make([]bar, len(months))
	for i := range months {
		bars[i] = m.tallyBar(m.Words.MonthOf(months[i].Month), months[i:i+1], thinMonthH)
	}
	bars = m.addressed(bars)
	f := Figure{
		ID:    id,
		Title: byMonth.title(m.Words, latest(bars, monthsDrawn)),
		Says:  byMonth.says(m.Words, bars, monthsDrawn),
		Table: tableOf(m.Words, m.Words.Say("Visits by month"), "Month", "Visits a week", bars),
	}
	bars, months = latest(bars, monthsDrawn), latest(months, monthsDrawn)
	wide := m.monthBars(bars, months, frame{wideWidth, 290, 44, 34, 4, 44})
	narrow := m.monthBars(bars, months, frame{narrowWidth, 280, 40, 50, 4, 44})
	return m.draw(ctx, f, wide, narrow)
}

func (m *Maker) monthBars(bars []bar, months []usage.MonthTally, f frame) drawing {
	if len(bars) == 0 {
		return upright(m.Words, []bar{{}}, nil, visitsAWeek, "", f)
	}
	d := upright(m.Words, bars, m.monthTicks(months, f.plotWidth()), visitsAWeek, "less than a week covered", f)
	every := make([]tick, len(months))
	for i := range months {
		year, month := months[i].Month.YM()
		every[i] = tick{float64(i) + 0.5, fmt.Sprintf("%s\n%d", m.Words.MonthShort(month), year)}
	}
	addZoom(d.option, m.monthTicks(months, f.plotWidth()), every)
	return d
}

// monthTicks labels as many months as there is room for, each year's first
// label with the year below it.
func (m *Maker) monthTicks(months []usage.MonthTally, room float64) (ticks []tick) {
	slot := room / float64(len(months))
	name, every := m.monthNames(slot)
	lastYear := 0
	for i := range months {
		year, month := months[i].Month.YM()
		if (int(month)-1)%every != 0 && len(months) >= every {
			continue
		}
		text := name(month)
		if year != lastYear {
			text += fmt.Sprintf("\n%d", year)
			lastYear = year
		}
		ticks = append(ticks, tick{float64(i) + 0.5, text})
	}
	return ticks
}

// monthNames chooses whole names where a month has room for one, and else
// short ones for every month, or for every second, third … of the year.
func (m *Maker) monthNames(slot float64) (name func(time.Month) string, every int) {
	if slot >= 66 {
		return m.Words.Month, 1
	}
	for _, every := range []int{1, 2, 3, 6} {
		if float64(every)*slot >= 32 {
			return m.Words.MonthShort, every
		}
	}
	return m.Words.MonthShort, 12
}

// unbroken sorts months and fills the holes between them; months given twice
// are added up.
func unbroken(months []usage.MonthTally) []usage.MonthTally {
	sorted := slices.Clone(months)
	slices.SortStableFunc(sorted, func(a, b usage.MonthTally) int { return int(a.Month - b.Month) })
	var out []usage.MonthTally
	for _, t := range sorted {
		for len(out) > 0 && out[len(out)-1].Month+1 < t.Month {
			out = append(out, usage.MonthTally{Month: out[len(out)-1].Month + 1})
		}
		if len(out) > 0 && out[len(out)-1].Month == t.Month {
			last := &out[len(out)-1]
			for c := range t.Visits {
				last.Visits[c] += t.Visits[c]
				last.ExposureS[c] += t.ExposureS[c]
			}
			continue
		}
		out = append(out, t)
	}
	return out
}

// tallyBar is the bar of some months together, in visits a week.
func (m *Maker) tallyBar(label string, months []usage.MonthTally, thinH float64) bar {
	sum := m.days.Weekly(months)
	b := bar{label: label, visits: sum.Visits, exposureH: float64(sum.ExposureS) / 3600, unitH: week, rate: sum.Rate}
	b.thin = b.exposureH < thinH
	b.which = visitsFrom(months[0].Month.First(), (months[len(months)-1].Month+1).First()-1)
	return b
}

// BySeason draws visits a week (168 h of exposure) for each meteorological
// season, one row a season, the first on top. The months may come in any order.
// south says that the site lies south of the equator, which turns the names of
// the seasons round.
func (m *Maker) BySeason(ctx context.Context, id string, months []usage.MonthTally, south bool) (Figure, error) {
	hemisphere := usage.North
	if south {
		hemisphere = usage.South
	}
	bars := m.addressed(m.seasonBars(unbroken(months), hemisphere))
	f := Figure{
		ID:    id,
		Title: bySeason.title(m.Words, latest(bars, seasonsDrawn)),
		Says:  bySeason.says(m.Words, bars, seasonsDrawn),
		Table: tableOf(m.Words, m.Words.Say("Visits by season"), "Season", "Visits a week", bars),
	}
	bars = latest(bars, seasonsDrawn)
	return m.draw(ctx, f,
		seasonRows(m.Words, bars, frame{wideWidth, 0, 116, 34, 56, 26}),
		seasonRows(m.Words, bars, frame{narrowWidth, 0, 108, 50, 48, 26}))
}

func (m *Maker) seasonBars(months []usage.MonthTally, h usage.Hemisphere) (bars []bar) {
	for i := 0; i < len(months); {
		season := usage.SeasonOf(months[i].Month.First(), h)
		from := i
		for i < len(months) && season.Holds(months[i].Month) {
			i++
		}
		bars = append(bars, m.tallyBar(words.Capital(m.Words.Season(season)), months[from:i], thinSeasonH))
	}
	return bars
}

func seasonRows(w *words.Words, bars []bar, f frame) drawing {
	if len(bars) == 0 {
		bars = []bar{{}}
	}
	f.height = f.top + f.bottom + 28*len(bars)
	return sideways(w, bars, visitsAWeek, "less than four weeks covered", f)
}

// spanWords are what a figure of spans of time says of them.
type spanWords struct {
	none, empty, level  words.Text // nothing to compare; no visit; none stands out
	busiest             words.Text // with the label of the one
	drawn, drawnInParts words.Text // with visits and exposure; and how many are drawn
}

var (
	byMonth = spanWords{
		none: "Too little recorded to compare months", empty: "No visits in any month", level: "No month clearly stands out",
		busiest:      "Busiest month: %s",
		drawn:        "Visits a week by month, from %s in %s of recording.",
		drawnInParts: "Visits a week by month, from %s in %s of recording; the drawing has the latest %d months, the table has all.",
	}
	bySeason = spanWords{
		none: "Too little recorded to compare seasons", empty: "No visits in any season", level: "No season clearly stands out",
		busiest:      "Busiest season: %s",
		drawn:        "Visits a week by season, from %s in %s of recording.",
		drawnInParts: "Visits a week by season, from %s in %s of recording; the drawing has the latest %d seasons, the table has all.",
	}
)

// title says which of some spans of time was the busiest. Spans with little exposure
// do not compete.
func (of spanWords) title(w *words.Words, bars []bar) string {
	full := slices.DeleteFunc(slices.Clone(bars), func(b bar) bool { return b.thin || b.rate == nil })
	l := leadOf(full)
	switch {
	case !anyCovered(bars):
		return w.Say(nothing)
	case l.top < 0:
		return w.Say(of.none)
	case full[l.top].visits == 0:
		return w.Say(of.empty)
	case len(full) == 1:
		return w.Say("%s: %s to %s visits a week", full[0].label, short(w, full[0].rate.Low), short(w, full[0].rate.High))
	case !l.clear:
		return w.Say(of.level)
	case len(l.peers) == 1:
		return w.Say(of.busiest, full[l.top].label)
	case len(l.peers) <= 3:
		return w.Say("Busiest: %s", l.names(w, full))
	}
	return w.Say("Highest in %s, but not by much", full[l.top].label)
}

func (of spanWords) says(w *words.Words, bars []bar, most int) string {
	var visits int64
	var exposure float64
	for _, b := range bars {
		visits, exposure = visits+b.visits, exposure+b.exposureH
	}
	switch {
	case exposure == 0:
		return w.Say(nothingSays)
	case len(bars) > most:
		return w.Say(of.drawnInParts, visitsOf(visits), covered(exposure), most)
	}
	return w.Say(of.drawn, visitsOf(visits), covered(exposure))
}
