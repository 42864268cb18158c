package chart

import (
	"context"
	"math"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// How many days a figure of a stretch shows on either side of it: three weeks,
// or as much as half the stretch where that is more, up to three months.
const (
	leastAround = 21
	mostAround  = 91
)

// StretchWindow returns the dates, whole weeks of the region, that Stretch shows for a
// stretch from from to to, both included: some weeks before it and after it.
func StretchWindow(w *words.Words, from, to usage.Date) (first, last usage.Date) {
	around := min(max(leastAround, (to-from+1)/2), mostAround)
	return weekBegin(w, from-around), weekBegin(w, to+around) + 6
}

// Stretch draws the visits of each day around the dates from and to, both
// included, and shades those dates. It shows the days of StretchWindow, which
// may come in any order; dates that are missing have no coverage. What is drawn
// is counted, not estimated: a day that was covered in part has a paler bar.
// Where the days are too many for the width, a bar stands for whole weeks.
func (m *Maker) Stretch(ctx context.Context, id string, days []usage.Day, from, to usage.Date) (Figure, error) {
	to = max(from, to)
	first, last := StretchWindow(m.Words, from, to)
	s := shaded{span: m.spanBetween(days, first, last), from: int(from - first), to: int(to-first) + 1}
	f := Figure{
		ID:    id,
		Title: s.title(m.Words),
		Says:  stretchSays(m.Words, first, last, from, to),
		Table: m.dayTable(s),
	}
	return m.draw(ctx, f,
		m.stretch(s, frame{wideWidth, 210, 44, 34, 6, 42}),
		m.stretch(s, frame{narrowWidth, 230, 40, 68, 6, 42}))
}

// shaded is a span of which the days [from, to) are shaded.
type shaded struct {
	span
	from, to int
}

// title compares the stretch with the days around it.
func (s shaded) title(w *words.Words) string {
	inside, _ := sumOf(s.days[s.from:s.to])
	before, hoursBefore := sumOf(s.days[:s.from])
	after, hoursAfter := sumOf(s.days[s.to:])
	if hours := hoursBefore + hoursAfter; hours > 0 {
		return w.Say("%s in %s, %s in %s around", visitsOf(inside), daysOf(s.to-s.from), w.Number(before+after), covered(hours))
	}
	return w.Say("%s in %s", visitsOf(inside), daysOf(s.to-s.from))
}

func sumOf(days []usage.Day) (visits int64, exposureH float64) {
	return span{days: days}.sum()
}

func stretchSays(w *words.Words, first, last, from, to usage.Date) string {
	if from == to {
		return w.Say("Visits counted a day, %s to %s; %s is shaded.", first, last, from)
	}
	return w.Say("Visits counted a day, %s to %s; the %s from %s to %s are shaded.", first, last, daysOf(int(to-from)+1), from, to)
}

func (m *Maker) dayTable(s shaded) Table {
	t := Table{Caption: m.Words.Say("Visits by day"), Head: []string{m.Words.Say("Day"), m.Words.Say("Visits counted"), m.Words.Say("Hours covered")}, Rows: [][]string{}}
	for i, d := range s.days {
		name := m.Words.Date(d.Date)
		if i >= s.from && i < s.to {
			name = m.Words.Say("%s (shaded)", name)
		}
		t.Rows = append(t.Rows, []string{name, m.Words.Number(int64(d.Visits)), hoursCell(m.Words, float64(d.ExposureS)/3600)})
		t.Visits = append(t.Visits, visitsFrom(d.Date, d.Date))
		if m.link != nil {
			t.Links = append(t.Links, m.link(visitsFrom(d.Date, d.Date)))
		}
	}
	return t
}

// barDays is how many days a bar stands for, so that it is at least 1.6 px wide.
func barDays(days int, room float64) int {
	if room >= 1.6*float64(days) {
		return 1
	}
	return 7 * barWeeks((days+6)/7, room)
}

// stretchBars returns a bar for every n days, thin where a seventh or more of them was
// not covered.
func (m *Maker) stretchBars(s shaded, n int) (bars []bar) {
	for chunk := range slices.Chunk(s.days, n) {
		b := m.daysBar(chunk, day, 1) // of which no rate is shown
		b.thin = b.exposureH < float64(len(chunk))*day*6/7
		bars = append(bars, b)
	}
	return m.addressed(bars)
}

func (m *Maker) stretch(s shaded, f frame) drawing {
	n := barDays(len(s.days), f.plotWidth())
	bars := m.stretchBars(s, n)
	top := int64(5)
	for _, b := range bars {
		top = max(top, b.visits)
	}
	scale, length := niceScale(float64(top)), float64(len(s.days))
	slot := f.plotWidth() * float64(n) / length
	c := charts.NewBar()
	c.SetGlobalOptions(charts.WithAnimation(false), gridOf(f),
		charts.WithXAxisOpts(bottomAxis(length)), charts.WithYAxisOpts(valueAxisY(scale)))
	c.AddSeries("visits", dayData(bars, n, slot),
		charts.WithBarChartOpts(opts.BarChart{BarWidth: px(math.Min(slot-math.Min(slot*0.25, 2), 24))}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: draw.Use}))
	c.Overlap(s.hatches(scale))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", m.timeTicks(s.span, f))
	numberAt(m.Words, o, "yAxis", scale)
	alignEnds(o)
	unit := m.Words.Say("visits counted a day")
	if n > 1 {
		unit = m.Words.Say("visits counted in %d days", n)
	}
	o["graphic"] = append(tied(s.shade(f)), head(f, unit, s.keys(m.Words, bars))...)
	s.addMarks(m.Words, o, bars, n, scale)
	addZoom(o, m.zoomLevels(s.span, f)...)
	return drawing{o, f.width, f.height}
}

func (s shaded) keys(w *words.Words, bars []bar) []key {
	keys := []key{{swatchShade, w.Say("in question")}}
	if slices.ContainsFunc(bars, func(b bar) bool { return b.thin && (b.rate != nil || b.visits > 0) }) {
		keys = append(keys, key{swatchBlock(draw.Pale), w.Say(partlyCovered)})
	}
	if len(s.stretches(isGap)) > 0 {
		keys = append(keys, key{swatchHatch, w.Say(notCovered)})
	}
	return keys
}

func dayData(bars []bar, n int, slot float64) []opts.BarData {
	data := []opts.BarData{}
	for i, b := range bars {
		if b.rate != nil || b.visits > 0 {
			data = append(data, opts.BarData{Value: []float64{(float64(i) + 0.5) * float64(n), float64(b.visits)}, ItemStyle: b.style(slot)})
		}
	}
	return data
}

// shade lays a wash behind the stretch and a bracket above it, which is seen
// in grey print as well.
func (s shaded) shade(f frame) []any {
	scale := f.plotWidth() / float64(len(s.days))
	x, w := float64(f.left)+scale*float64(s.from), scale*float64(s.to-s.from)
	return shadeAt(x, float64(f.top), w, f.plotHeight(), 5)
}

func swatchShade(x, y float64) []any { return shadeAt(x, y-5, 18, 10, 3) }

func shadeAt(x, y, w, h, tooth float64) []any {
	wash := rectAt(x, y, w, h, map[string]any{"fill": draw.Brick, "opacity": 0.18}).(map[string]any)
	wash["z"] = 1 // below the bars
	return []any{wash,
		lineAt(x, y, x+w, y, draw.Brick),
		lineAt(x, y, x, y+tooth, draw.Brick), lineAt(x+w, y, x+w, y+tooth, draw.Brick)}
}
