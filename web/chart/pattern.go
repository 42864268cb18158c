package chart

import (
	"context"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// unitHours are the hours of exposure that each unit of a rate stands for.
const (
	hour = 1.0
	day  = 24.0
	week = 168.0
)

// nothing titles a figure without any exposure.
const nothing words.Text = "Nothing recorded yet"

// ByHour draws visits an hour of exposure for each civil hour of the day, all
// weekdays together, with 95 % limits.
func (m *Maker) ByHour(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.hourBars(p)
	f := Figure{
		ID:    id,
		Title: hourTitle(m.Words, bars),
		Says:  patternSays(m.Words, "Visits an hour by hour of the day", p),
		Table: hourTable(m.Words, bars),
	}
	wide := upright(m.Words, bars, hourTicks(m.Words, 3), visitsAnHour, "", frame{wideWidth, 280, 44, 34, 12, 30})
	narrow := upright(m.Words, bars, hourTicks(m.Words, 6), visitsAnHour, "", frame{narrowWidth, 250, 36, 50, 16, 30})
	return m.draw(ctx, f, wide, narrow)
}

// The units of rates, as drawings have them.
const (
	visitsAnHour words.Text = "visits an hour"
	visitsADay   words.Text = "visits a day"
	visitsAWeek  words.Text = "visits a week"
)

// hourTable is the table of bars by hour of the day.
func hourTable(w *words.Words, bars []bar) Table {
	return tableOf(w, w.Say("Visits by hour of the day"), "Hour", "Visits an hour", bars)
}

// nothingSays is the sentence of a figure without any exposure.
const nothingSays words.Text = "No time has been covered yet, so there is nothing to draw."

// patternSays says what is drawn and from how much.
func patternSays(w *words.Words, what words.Text, p usage.Pattern) string {
	if p.ExposureH <= 0 {
		return w.Say(nothingSays)
	}
	return w.Say("%s, from %s in %s of recording.", what, visitsOf(p.Visits), covered(p.ExposureH))
}

// hourBars sums a pattern by hour of the day.
func (m *Maker) hourBars(p usage.Pattern) []bar {
	bars := make([]bar, 24)
	for h := range bars {
		bars[h] = m.cellsBar(hourSpan(m.Words, h), p, hour, func(c usage.Cell) bool { return c.Hour == h })
		bars[h].which.Hour = &h
	}
	return m.addressed(bars)
}

// cellsBar is the bar of the cells of a pattern that belong to it together.
func (m *Maker) cellsBar(label string, p usage.Pattern, unitH float64, belongs func(usage.Cell) bool) bar {
	var cells []usage.Cell
	b := bar{label: label, unitH: unitH}
	for _, c := range p.Cells {
		if c.Weekday >= 1 && c.Weekday <= 7 && belongs(c) {
			cells = append(cells, c)
			b.visits, b.exposureH = b.visits+c.Visits, b.exposureH+c.ExposureH
		}
	}
	b.rate = m.days.OfCells(cells).Per(int64(unitH * 3600))
	return b
}

// hourSpan writes a civil hour as the time that it spans.
func hourSpan(w *words.Words, h int) string { return w.Say("%s–%s", w.Hour(h), w.Hour(h+1)) }

func hourTicks(w *words.Words, every int) (ticks []tick) {
	for h := 0; h <= 24; h += every {
		ticks = append(ticks, tick{float64(h), w.Hour(h)})
	}
	return ticks
}

func hourTitle(w *words.Words, bars []bar) string {
	l := leadOf(bars)
	switch {
	case l.top < 0:
		return w.Say(nothing)
	case bars[l.top].visits == 0:
		return w.Say("No visits in any hour")
	case !l.clear:
		return w.Say("No hour of the day clearly stands out")
	}
	first, last := l.peers[0], l.peers[len(l.peers)-1]
	if last-first >= len(l.peers) { // hours between them are behind
		return w.Say("Highest from %s to %s, but not by much", w.Hour(l.top), w.Hour(l.top+1))
	}
	return w.Say("Busiest from %s to %s", w.Hour(first), w.Hour(last+1))
}

// ByWeekday draws visits a day (24 h of exposure) for each weekday, from
// the first of the week on, with 95 % limits.
func (m *Maker) ByWeekday(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.weekdayBars(p)
	f := Figure{
		ID:    id,
		Title: weekdayTitle(m.Words, bars),
		Says:  patternSays(m.Words, "Visits a day by weekday", p),
		Table: tableOf(m.Words, m.Words.Say("Visits by weekday"), "Weekday", "Visits a day", bars),
	}
	wide := sideways(m.Words, bars, visitsADay, "", frame{wideWidth, 264, 88, 34, 56, 26})
	narrow := sideways(m.Words, bars, visitsADay, "", frame{narrowWidth, 280, 82, 50, 48, 26})
	return m.draw(ctx, f, wide, narrow)
}

func (m *Maker) weekdayBars(p usage.Pattern) []bar {
	bars := make([]bar, 7)
	for i, weekday := range m.Words.Week() {
		bars[i] = m.cellsBar(m.Words.Weekday(weekday), p, day, func(c usage.Cell) bool { return c.Weekday == weekday })
		bars[i].which.Weekday = weekday
	}
	return m.addressed(bars)
}

func weekdayTitle(w *words.Words, bars []bar) string {
	l := leadOf(bars)
	switch {
	case l.top < 0:
		return w.Say(nothing)
	case bars[l.top].visits == 0:
		return w.Say("No visits on any weekday")
	case !l.clear:
		return w.Say("No weekday clearly stands out")
	case len(l.peers) == 1:
		return w.Say("%s is the busiest day", bars[l.top].label)
	case len(l.peers) <= 3:
		return w.Say("%s are the busiest days", l.names(w, bars))
	}
	return w.Say("Highest on %s, but not by much", bars[l.top].label)
}

// HourProfile draws a spark of visits an hour by hour of the day: 24 bars
// without axes, one drawing for every width (144 × 36 CSS px).
func (m *Maker) HourProfile(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.hourBars(p)
	f := Figure{
		ID:    id,
		Title: hourTitle(m.Words, bars),
		Says:  patternSays(m.Words, "Visits an hour from midnight to midnight", p),
		Table: hourTable(m.Words, bars),
	}
	return m.draw(ctx, f, spark(bars))
}
