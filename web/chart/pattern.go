package chart

import (
	"context"
	"fmt"

	"doorleaf/usage"
)

// unitHours are the hours of exposure that each unit of a rate stands for.
const (
	hour = 1.0
	day  = 24.0
	week = 168.0
)

// nothing titles a figure without any exposure.
const nothing = "Nothing recorded yet"

// ByHour draws visits an hour of exposure for each civil hour of the day, all
// weekdays together, with 95 % limits.
func (m *Maker) ByHour(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.hourBars(p)
	f := Figure{
		ID:    id,
		Title: hourTitle(bars),
		Says:  patternSays("Visits an hour by hour of the day", p),
		Table: tableOf("Visits by hour of the day", "Hour", "Visits an hour", bars),
	}
	wide := upright(bars, hourTicks(3), "visits an hour", "", frame{wideWidth, 280, 44, 34, 12, 30})
	narrow := upright(bars, hourTicks(6), "visits an hour", "", frame{narrowWidth, 250, 36, 50, 16, 30})
	return m.draw(ctx, f, wide, narrow)
}

// nothingSays is the sentence of a figure without any exposure.
const nothingSays = "No time has been covered yet, so there is nothing to draw."

// patternSays says what is drawn and from how much.
func patternSays(what string, p usage.Pattern) string {
	if p.ExposureH <= 0 {
		return nothingSays
	}
	return fmt.Sprintf("%s, from %s in %s of recording.", what, counted(p.Visits, "visit"), covered(p.ExposureH))
}

// hourBars sums a pattern by hour of the day.
func (m *Maker) hourBars(p usage.Pattern) []bar {
	bars := make([]bar, 24)
	for h := range bars {
		bars[h] = m.cellsBar(hourSpan(h), p, hour, func(c usage.Cell) bool { return c.Hour == h })
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
func hourSpan(h int) string { return fmt.Sprintf("%d:00–%d:00", h, h+1) }

func hourTicks(every int) (ticks []tick) {
	for h := 0; h <= 24; h += every {
		ticks = append(ticks, tick{float64(h), fmt.Sprintf("%d:00", h)})
	}
	return ticks
}

func hourTitle(bars []bar) string {
	l := leadOf(bars)
	switch {
	case l.top < 0:
		return nothing
	case bars[l.top].visits == 0:
		return "No visits in any hour"
	case !l.clear:
		return "No hour of the day clearly stands out"
	}
	first, last := l.peers[0], l.peers[len(l.peers)-1]
	if last-first >= len(l.peers) { // hours between them are behind
		return fmt.Sprintf("Highest from %d:00 to %d:00, but not by much", l.top, l.top+1)
	}
	return fmt.Sprintf("Busiest from %d:00 to %d:00", first, last+1)
}

// ByWeekday draws visits a day (24 h of exposure) for each weekday, Monday
// first, with 95 % limits.
func (m *Maker) ByWeekday(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.weekdayBars(p)
	f := Figure{
		ID:    id,
		Title: weekdayTitle(bars),
		Says:  patternSays("Visits a day by weekday", p),
		Table: tableOf("Visits by weekday", "Weekday", "Visits a day", bars),
	}
	wide := sideways(bars, "visits a day", "", frame{wideWidth, 264, 88, 34, 56, 26})
	narrow := sideways(bars, "visits a day", "", frame{narrowWidth, 280, 82, 50, 48, 26})
	return m.draw(ctx, f, wide, narrow)
}

func (m *Maker) weekdayBars(p usage.Pattern) []bar {
	bars := make([]bar, 7)
	for d := range bars {
		bars[d] = m.cellsBar(m.Words.Weekdays[d], p, day, func(c usage.Cell) bool { return c.Weekday == d+1 })
		bars[d].which.Weekday = d + 1
	}
	return m.addressed(bars)
}

func weekdayTitle(bars []bar) string {
	l := leadOf(bars)
	switch {
	case l.top < 0:
		return nothing
	case bars[l.top].visits == 0:
		return "No visits on any weekday"
	case !l.clear:
		return "No weekday clearly stands out"
	case len(l.peers) == 1:
		return bars[l.top].label + " is the busiest day"
	case len(l.peers) <= 3:
		return l.names(bars) + " are the busiest days"
	}
	return "Highest on " + bars[l.top].label + ", but not by much"
}

// HourProfile draws a spark of visits an hour by hour of the day: 24 bars
// without axes, one drawing for every width (144 × 36 CSS px).
func (m *Maker) HourProfile(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	bars := m.hourBars(p)
	f := Figure{
		ID:    id,
		Title: hourTitle(bars),
		Says:  patternSays("Visits an hour from midnight to midnight", p),
		Table: tableOf("Visits by hour of the day", "Hour", "Visits an hour", bars),
	}
	return m.draw(ctx, f, spark(bars))
}
