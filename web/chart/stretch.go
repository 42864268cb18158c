package chart

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
)

// How many days a figure of a stretch shows on either side of it: three weeks,
// or as much as half the stretch where that is more, up to three months.
const (
	leastAround = 21
	mostAround  = 91
)

// StretchWindow returns the dates, Monday to Sunday, that Stretch shows for a
// stretch from from to to, both included: some weeks before it and after it.
func StretchWindow(from, to usage.Date) (first, last usage.Date) {
	around := min(max(leastAround, (to-from+1)/2), mostAround)
	first, last = from-around, to+around
	return first - usage.Date(first.Weekday()-1), last + usage.Date(7-last.Weekday())
}

// Stretch draws the visits of each day around the dates from and to, both
// included, and shades those dates. It shows the days of StretchWindow, which
// may come in any order; dates that are missing have no coverage. What is drawn
// is counted, not estimated: a day that was covered in part has a paler bar.
// Where the days are too many for the width, a bar stands for whole weeks.
func (m *Maker) Stretch(ctx context.Context, id string, days []usage.Day, from, to usage.Date) (Figure, error) {
	to = max(from, to)
	first, last := StretchWindow(from, to)
	s := shaded{span: spanBetween(days, first, last), from: int(from - first), to: int(to-first) + 1}
	f := Figure{
		ID:    id,
		Title: s.title(),
		Says: fmt.Sprintf("Visits counted a day, %s to %s; %s shaded.",
			m.date(first), m.date(last), m.shadedWords(from, to)),
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
func (s shaded) title() string {
	inside, _ := sumOf(s.days[s.from:s.to])
	before, hoursBefore := sumOf(s.days[:s.from])
	after, hoursAfter := sumOf(s.days[s.to:])
	title := fmt.Sprintf("%s in %s", counted(inside, "visit"), counted(int64(s.to-s.from), "day"))
	if hours := hoursBefore + hoursAfter; hours > 0 {
		title += fmt.Sprintf(", %s in %s around", grouped(float64(before+after)), covered(hours))
	}
	return title
}

func sumOf(days []usage.Day) (visits int64, exposureH float64) {
	return span{days: days}.sum()
}

func (m *Maker) shadedWords(from, to usage.Date) string {
	if from == to {
		return m.date(from) + " is"
	}
	return fmt.Sprintf("the %s from %s to %s are", counted(int64(to-from+1), "day"), m.date(from), m.date(to))
}

func (m *Maker) dayTable(s shaded) Table {
	t := Table{Caption: "Visits by day", Head: []string{"Day", "Visits counted", "Hours covered"}, Rows: [][]string{}}
	for i, d := range s.days {
		name := m.date(d.Date)
		if i >= s.from && i < s.to {
			name += " (shaded)"
		}
		t.Rows = append(t.Rows, []string{name, grouped(float64(d.Visits)), hoursCell(float64(d.ExposureS) / 3600)})
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
	alignEnds(o)
	unit := "visits counted a day"
	if n > 1 {
		unit = fmt.Sprintf("visits counted in %d days", n)
	}
	o["graphic"] = append(tied(s.shade(f)), head(f, unit, s.keys(bars))...)
	s.addMarks(o, bars, n, scale)
	addZoom(o, m.zoomLevels(s.span, f)...)
	return drawing{o, f.width, f.height}
}

func (s shaded) keys(bars []bar) []key {
	keys := []key{{swatchShade, "in question"}}
	if slices.ContainsFunc(bars, func(b bar) bool { return b.thin && (b.rate != nil || b.visits > 0) }) {
		keys = append(keys, key{swatchBlock(draw.Pale), "partly covered"})
	}
	if len(s.stretches(isGap)) > 0 {
		keys = append(keys, key{swatchHatch, "not covered"})
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
