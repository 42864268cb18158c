package chart

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// Timeline draws the visits of each week, which begins on the region's first day,
// from the first day to the last, with the coverage below and stretches without coverage hatched.
// The days may come in any order; dates that are missing have no coverage. What
// is drawn is counted, not estimated: a week that was covered in part has a
// paler bar. Where the weeks are too many for the width, a bar stands for
// several.
func (m *Maker) Timeline(ctx context.Context, id string, days []usage.Day) (Figure, error) {
	s := m.spanOf(days)
	f := Figure{
		ID:    id,
		Title: m.timelineTitle(s),
		Says:  m.timelineSays(s),
		Table: m.weekTable(s, m.Words.Say("Visits by week")),
	}
	return m.draw(ctx, f,
		m.timeline(s, frame{wideWidth, 270, 44, 34, 6, 42}),
		m.timeline(s, frame{narrowWidth, 260, 40, 68, 6, 42}))
}

// A span is the days of some weeks on end, none missing.
type span struct {
	begin       usage.Date  // first day of the first week
	days        []usage.Day // whole weeks
	first, last int         // index of the first and last day that was given; last < first: none was
}

// spanOf lays days out from the beginning of the first one's week to the end of the
// last one's.
func (m *Maker) spanOf(days []usage.Day) span {
	if len(days) == 0 {
		return span{last: -1}
	}
	byDate := func(a, b usage.Day) int { return int(a.Date - b.Date) }
	first, last := slices.MinFunc(days, byDate).Date, slices.MaxFunc(days, byDate).Date
	return m.spanBetween(days, first, last)
}

// spanBetween is spanOf for the days from first to last, both included.
func (m *Maker) spanBetween(days []usage.Day, first, last usage.Date) span {
	begin := weekBegin(m.Words, first)
	s := span{begin: begin, first: int(first - begin), last: int(last - begin)}
	s.days = make([]usage.Day, (s.last/7+1)*7)
	for i := range s.days {
		s.days[i].Date = begin + usage.Date(i)
	}
	for _, d := range days {
		if d.Date < first || d.Date > last {
			continue
		}
		s.days[d.Date-begin].Visits += d.Visits
		s.days[d.Date-begin].ExposureS += d.ExposureS
	}
	return s
}

// weekBegin is the first day of a date's week.
func weekBegin(w *words.Words, d usage.Date) usage.Date {
	return d - usage.Date((d.Weekday()-w.Region().FirstDay+7)%7)
}

// weeks returns a bar for every n weeks: its visits as they were counted, with
// the rate a week beside them, and thin where the days given were not covered
// for the most part of seven days.
func (m *Maker) weeks(s span, n int) (bars []bar) {
	phi := usage.WholeDispersion(s.days, m.days)
	for chunk := range slices.Chunk(s.days, 7*n) {
		b := m.daysBar(chunk, week, phi)
		b.thin = b.exposureH < float64(n)*(week-day)
		bars = append(bars, b)
	}
	return m.addressed(bars)
}

// daysBar is the bar of some days that follow each other: their visits as they were
// counted, and the rate beside them. phi is the dispersion of all days that are shown,
// which is that of these days unless they are busier: of a few days with hardly a
// visit their own says nothing.
func (m *Maker) daysBar(days []usage.Day, unitH, phi float64) bar {
	visits, exposure := sumOf(days)
	first, last := days[0].Date, days[len(days)-1].Date
	b := bar{label: m.Words.Date(first), visits: visits, exposureH: exposure, unitH: unitH, which: visitsFrom(first, last)}
	b.rate = usage.DispersedRate(visits, exposure/unitH, max(phi, usage.WholeDispersion(days, m.days)), usage.Confidence)
	if last > first {
		b.label = m.Words.Say(fromTo, first, last)
	}
	return b
}

// stretches returns the stretches [from, to) of days that satisfy is, within the
// days given.
func (s span) stretches(is func(usage.Day) bool) (out [][2]int) {
	for i := s.first; i <= s.last; i++ {
		if !is(s.days[i]) {
			continue
		}
		if n := len(out); n > 0 && out[n-1][1] == i {
			out[n-1][1] = i + 1
		} else {
			out = append(out, [2]int{i, i + 1})
		}
	}
	return out
}

func isCovered(d usage.Day) bool { return d.ExposureS > 0 }
func isGap(d usage.Day) bool     { return d.ExposureS <= 0 }

func (s span) sum() (visits int64, exposureH float64) {
	for _, d := range s.days {
		visits, exposureH = visits+int64(d.Visits), exposureH+float64(d.ExposureS)/3600
	}
	return visits, exposureH
}

func (m *Maker) timelineTitle(s span) string {
	visits, exposure := s.sum()
	switch {
	case s.last < s.first || exposure == 0 && visits == 0:
		return m.Words.Say(nothing)
	case s.first == s.last:
		return m.Words.Say("%s on %s", visitsOf(visits), s.days[s.first].Date)
	}
	first, last := usage.MonthOf(s.days[s.first].Date), usage.MonthOf(s.days[s.last].Date)
	if first == last {
		year, month := first.YM()
		return m.Words.Say("%s in %s %d", visitsOf(visits), m.Words.Month(month), year)
	}
	return m.Words.Say("%s from %s to %s", visitsOf(visits), m.Words.MonthOf(first), m.Words.MonthOf(last))
}

func (m *Maker) timelineSays(s span) string {
	visits, exposure := s.sum()
	if exposure == 0 && visits == 0 {
		return m.Words.Say(nothingSays)
	}
	gaps, lost := s.stretches(isGap), 0
	for _, g := range gaps {
		lost += g[1] - g[0]
	}
	switch {
	case exposure == 0 || len(gaps) == 0:
		return m.Words.Say("Visits counted over %s of recording.", covered(exposure))
	case len(gaps) == 1:
		return m.Words.Say("Visits counted over %s of recording; one gap of %s is hatched.", covered(exposure), daysOf(lost))
	}
	return m.Words.Say("Visits counted over %s of recording; %d gaps, %s together, are hatched.", covered(exposure), len(gaps), daysOf(lost))
}

// weekTable is the table of a span by week.
func (m *Maker) weekTable(s span, caption string) Table {
	t := Table{Caption: caption, Head: []string{
		m.Words.Say("Week from"), m.Words.Say("Visits counted"), m.Words.Say("Hours covered"), m.Words.Say("Visits a week"), m.Words.Say(limitsOf95),
	}, Rows: [][]string{}}
	for i, b := range m.weeks(s, 1) {
		rate, limits := rateCells(m.Words, b.rate)
		t.Rows = append(t.Rows, []string{m.Words.Date(s.begin + usage.Date(7*i)), m.Words.Number(b.visits), hoursCell(m.Words, b.exposureH), rate, limits})
		t.Visits = append(t.Visits, b.which)
		if b.href != "" {
			t.Links = append(t.Links, b.href)
		}
	}
	return t
}

// barWeeks is how many weeks a bar of the timeline stands for, so that it is
// at least 1.6 px wide.
func barWeeks(weeks int, room float64) int {
	for _, n := range []int{1, 2, 4, 13, 26, 52} {
		if room*float64(n) >= 1.6*float64(weeks) {
			return n
		}
	}
	return 104
}

func (m *Maker) timeline(s span, f frame) drawing {
	if len(s.days) == 0 {
		return upright(m.Words, []bar{{}}, nil, visitsCountedAWeek, "", f)
	}
	n := barWeeks(len(s.days)/7, f.plotWidth())
	bars := m.weeks(s, n)
	top := int64(0)
	for _, b := range bars {
		top = max(top, b.visits)
	}
	scale := niceScale(float64(max(top, 5)))
	length := float64(len(s.days))
	c := charts.NewBar()
	c.SetGlobalOptions(charts.WithAnimation(false), gridOf(f),
		charts.WithXAxisOpts(bottomAxis(length)), charts.WithYAxisOpts(valueAxisY(scale)))
	slot := f.plotWidth() * float64(7*n) / length
	c.AddSeries("visits", timelineData(bars, n, slot),
		charts.WithBarChartOpts(opts.BarChart{BarWidth: px(math.Min(slot-math.Min(slot*0.25, 2), 44))}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: draw.Use}))
	c.Overlap(s.hatches(scale))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", m.timeTicks(s, f))
	numberAt(m.Words, o, "yAxis", scale)
	alignEnds(o)
	unit := m.Words.Say(visitsCountedAWeek)
	if n > 1 {
		unit = m.Words.Say("visits counted in %d weeks", n)
	}
	o["graphic"] = append(head(f, unit, timelineKeys(m.Words, s, bars)), tied(s.strip(f))...)
	s.addMarks(m.Words, o, bars, 7*n, scale)
	addZoom(o, m.zoomLevels(s, f)...)
	return drawing{o, f.width, f.height}
}

const visitsCountedAWeek words.Text = "visits counted a week"

// addMarks makes bars that stand for n days each links of the drawing.
func (s span) addMarks(w *words.Words, o map[string]any, bars []bar, n int, y scale) {
	for i := range bars {
		bars[i].says = bars[i].countedName(w)
	}
	addMarks(w, o, 0, bars, func(i int) [4]float64 {
		return [4]float64{float64(n * i), float64(min(n*(i+1), len(s.days))), 0, y.max}
	})
}

func timelineData(bars []bar, n int, slot float64) []opts.BarData {
	data := []opts.BarData{}
	for i, b := range bars {
		if b.rate != nil || b.visits > 0 {
			data = append(data, opts.BarData{Value: []float64{(float64(i) + 0.5) * float64(7*n), float64(b.visits)}, ItemStyle: b.style(slot)})
		}
	}
	return data
}

func (s span) hatches(y scale) *charts.Custom {
	var data []opts.CustomData
	for _, g := range s.stretches(isGap) {
		data = append(data, opts.CustomData{Value: []float64{float64(g[0]), float64(g[1]), 0, y.max}})
	}
	return hatched("hatch", data)
}

const stripHeight = 5 // px

// strip draws the coverage as a line below the axis.
func (s span) strip(f frame) (out []any) {
	scale := f.plotWidth() / float64(len(s.days))
	y := float64(f.height-f.bottom) + 6
	for _, c := range s.stretches(isCovered) {
		x := float64(f.left) + scale*float64(c[0])
		out = append(out, rectAt(x, y, math.Max(1, scale*float64(c[1]-c[0])), stripHeight, map[string]any{"fill": draw.Faint}))
	}
	return out
}

func timelineKeys(w *words.Words, s span, bars []bar) []key {
	var keys []key
	if slices.ContainsFunc(bars, func(b bar) bool { return b.thin && (b.rate != nil || b.visits > 0) }) {
		keys = append(keys, key{swatchBlock(draw.Pale), w.Say(partlyCovered)})
	}
	if len(s.stretches(isGap)) > 0 {
		keys = append(keys, key{swatchHatch, w.Say(notCovered)})
	}
	if len(s.stretches(isCovered)) > 0 {
		keys = append(keys, key{swatchStrip, w.Say("covered")})
	}
	return keys
}

func swatchStrip(x, y float64) []any {
	return []any{rectAt(x, y-stripHeight/2.0, 18, stripHeight, map[string]any{"fill": draw.Faint})}
}

// timeTicks labels the first and the last day, and years or months between
// them where there is room.
func (m *Maker) timeTicks(s span, f frame) []tick {
	scale := f.plotWidth() / float64(len(s.days))
	first, last := m.Words.DateShort(s.days[s.first].Date), m.Words.DateShort(s.days[s.last].Date)
	from, to := textWidth(first)+18, f.plotWidth()-textWidth(last)-18
	ticks := []tick{{0, first}}
	if s.first == s.last {
		return ticks
	}
	next := from
	for _, t := range m.between(s, f) {
		half := textWidth(t.text) / 2
		if at := t.at * scale; at-half >= next && at+half <= to {
			next = at + half + 18
		} else {
			t.text = ""
		}
		ticks = append(ticks, t)
	}
	return append(ticks, tick{float64(len(s.days)), last})
}

// between lists the beginnings of years, or of months in a short span.
func (m *Maker) between(s span, f frame) (ticks []tick) {
	for i := s.first + 1; i < s.last; i++ {
		year, month, dom := s.days[i].Date.YMD()
		switch {
		case dom != 1:
		case month == time.January:
			ticks = append(ticks, tick{float64(i), fmt.Sprint(year)})
		case len(s.days) < 400:
			ticks = append(ticks, tick{float64(i), m.Words.Month(month)})
		}
	}
	return ticks
}

// alignEnds keeps the first and last label of the axis within the drawing.
func alignEnds(o map[string]any) {
	l := o["xAxis"].([]any)[0].(map[string]any)["axisLabel"].(map[string]any)
	l["alignMinLabel"], l["alignMaxLabel"] = "left", "right"
	l["margin"] = 6 + stripHeight + 8
}

// sparkWeeks is the number of weeks in a WeeksSpark.
const sparkWeeks = 26

// WeeksSpark draws a spark of visits counted in each of the 26 weeks that end
// with the week of last, which is the latest date that can be known (often the
// last card's), one drawing for every width (144 × 36 CSS px).
func (m *Maker) WeeksSpark(ctx context.Context, id string, days []usage.Day, last usage.Date) (Figure, error) {
	end := weekBegin(m.Words, last) + 6
	s := m.spanBetween(days, end-7*sparkWeeks+1, end)
	bars := m.weeks(s, 1)
	visits, exposure := s.sum()
	for i := range bars {
		if bars[i].rate != nil {
			bars[i].rate.Value = float64(bars[i].visits) // counted, not estimated
		}
	}
	f := Figure{
		ID:    id,
		Title: m.Words.Say("%s in %d weeks", visitsOf(visits), sparkWeeks),
		Says:  m.Words.Say("Visits counted a week up to %s, in %s of recording.", last, covered(exposure)),
		Table: m.weekTable(s, m.Words.Say("Visits by week, %d weeks up to %s", sparkWeeks, last)),
	}
	if exposure == 0 && visits == 0 {
		f.Title, f.Says = m.Words.Say(nothing), m.Words.Say("No time has been covered in the %d weeks up to %s.", sparkWeeks, last)
	}
	return m.draw(ctx, f, spark(bars))
}
