package chart

import (
	"context"
	"fmt"
	"slices"

	"doorleaf/usage"
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
		year, month := months[i].Month.YM()
		bars[i] = m.tallyBar(fmt.Sprintf("%s %d", m.Words.Months[month-1], year), months[i:i+1], thinMonthH)
	}
	bars = m.addressed(bars)
	f := Figure{
		ID:    id,
		Title: spanTitle(latest(bars, monthsDrawn), "month"),
		Says:  spanSays(bars, "month", monthsDrawn),
		Table: tableOf("Visits by month", "Month", "Visits a week", bars),
	}
	bars, months = latest(bars, monthsDrawn), latest(months, monthsDrawn)
	wide := m.monthBars(bars, months, frame{wideWidth, 290, 44, 34, 4, 44})
	narrow := m.monthBars(bars, months, frame{narrowWidth, 280, 40, 50, 4, 44})
	return m.draw(ctx, f, wide, narrow)
}

func (m *Maker) monthBars(bars []bar, months []usage.MonthTally, f frame) drawing {
	if len(bars) == 0 {
		return upright([]bar{{}}, nil, "visits a week", "", f)
	}
	d := upright(bars, m.monthTicks(months, f.plotWidth()), "visits a week", "less than a week covered", f)
	every := make([]tick, len(months))
	for i := range months {
		year, month := months[i].Month.YM()
		every[i] = tick{float64(i) + 0.5, fmt.Sprintf("%s\n%d", m.Words.MonthsShort[month-1], year)}
	}
	addZoom(d.option, m.monthTicks(months, f.plotWidth()), every)
	return d
}

// monthTicks labels as many months as there is room for, each year's first
// label with the year below it.
func (m *Maker) monthTicks(months []usage.MonthTally, room float64) (ticks []tick) {
	slot := room / float64(len(months))
	names, every := m.monthNames(slot)
	lastYear := 0
	for i := range months {
		year, month := months[i].Month.YM()
		if (int(month)-1)%every != 0 && len(months) >= every {
			continue
		}
		text := names[month-1]
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
func (m *Maker) monthNames(slot float64) (names [12]string, every int) {
	if slot >= 66 {
		return m.Words.Months, 1
	}
	for _, every := range []int{1, 2, 3, 6} {
		if float64(every)*slot >= 32 {
			return m.Words.MonthsShort, every
		}
	}
	return m.Words.MonthsShort, 12
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
		Title: spanTitle(latest(bars, seasonsDrawn), "season"),
		Says:  spanSays(bars, "season", seasonsDrawn),
		Table: tableOf("Visits by season", "Season", "Visits a week", bars),
	}
	bars = latest(bars, seasonsDrawn)
	return m.draw(ctx, f,
		seasonRows(bars, frame{wideWidth, 0, 116, 34, 56, 26}),
		seasonRows(bars, frame{narrowWidth, 0, 108, 50, 48, 26}))
}

func (m *Maker) seasonBars(months []usage.MonthTally, h usage.Hemisphere) (bars []bar) {
	for i := 0; i < len(months); {
		season := usage.SeasonOf(months[i].Month.First(), h)
		from := i
		for i < len(months) && season.Holds(months[i].Month) {
			i++
		}
		bars = append(bars, m.tallyBar(m.seasonName(season), months[from:i], thinSeasonH))
	}
	return bars
}

// seasonName writes a season with its year, the one that spans the new year
// with both: Winter 2025–26.
func (m *Maker) seasonName(s usage.Season) string {
	year, month := s.Start.YM()
	quarter := int(month) % 12 / 3 // 0 begins in December
	if s.In == usage.South {
		quarter += 2
	}
	name := m.Words.Seasons[quarter%4]
	if month == 12 {
		return fmt.Sprintf("%s %d–%02d", name, year, (year+1)%100)
	}
	return fmt.Sprintf("%s %d", name, year)
}

func seasonRows(bars []bar, f frame) drawing {
	if len(bars) == 0 {
		bars = []bar{{}}
	}
	f.height = f.top + f.bottom + 28*len(bars)
	return sideways(bars, "visits a week", "less than four weeks covered", f)
}

// spanTitle says which of some spans of time was the busiest. Spans with
// little exposure do not compete.
func spanTitle(bars []bar, noun string) string {
	full := slices.DeleteFunc(slices.Clone(bars), func(b bar) bool { return b.thin || b.rate == nil })
	l := leadOf(full)
	switch {
	case !anyCovered(bars):
		return nothing
	case l.top < 0:
		return "Too little recorded to compare " + noun + "s"
	case full[l.top].visits == 0:
		return "No visits in any " + noun
	case len(full) == 1:
		return fmt.Sprintf("%s: %s to %s visits a week", full[0].label, short(full[0].rate.Low), short(full[0].rate.High))
	case !l.clear:
		return fmt.Sprintf("No %s clearly stands out", noun)
	case len(l.peers) == 1:
		return fmt.Sprintf("Busiest %s: %s", noun, full[l.top].label)
	case len(l.peers) <= 3:
		return "Busiest: " + l.names(full)
	}
	return fmt.Sprintf("Highest in %s, but not by much", full[l.top].label)
}

func spanSays(bars []bar, noun string, most int) string {
	var visits int64
	var exposure float64
	for _, b := range bars {
		visits, exposure = visits+b.visits, exposure+b.exposureH
	}
	if exposure == 0 {
		return nothingSays
	}
	says := fmt.Sprintf("Visits a week by %s, from %s in %s of recording", noun, counted(visits, "visit"), covered(exposure))
	if len(bars) > most {
		says += fmt.Sprintf("; the drawing has the latest %d %ss, the table has all", most, noun)
	}
	return says + "."
}
