package chart

import (
	"context"
	"math"
	"unicode/utf8"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// cividis is an even scale from blue to yellow that reads the same to people
// with any common colour vision and in grey print. J. R. Nuñez, C. R. Anderton
// and R. S. Renslow, PLOS ONE 13(7), 2018, e0199239. Ten of its colours, as R's
// viridisLite gives them; from memory, compared with the polynomial of npm's
// d3-scale-chromatic 3.1, which lies within 14 of 255 in every channel.
var cividis = []string{
	"#00204d", "#00336f", "#39486b", "#575c6d", "#707173",
	"#8a8779", "#a69d75", "#c4b56c", "#e4cf5b", "#ffea46",
}

// Text on a cell is light up to lightText of the scale and dark above: the
// side on which its contrast is the higher.
const (
	lightText = 0.46
	onDark    = "#ffffff"
	onLight   = "#000000"
)

// HourByWeekday draws the 168 civil hours of the week as a heatmap of visits
// an hour of exposure: hours across and weekdays down, on a phone the other way
// round. Cells without exposure are hatched.
func (m *Maker) HourByWeekday(ctx context.Context, id string, p usage.Pattern) (Figure, error) {
	cells := m.weekCells(p)
	f := Figure{
		ID:    id,
		Title: weekTitle(m.Words, cells),
		Says:  patternSays(m.Words, "Visits an hour for each hour of the week", p),
		Table: tableOf(m.Words, m.Words.Say("Visits by weekday and hour"), "Hour of the week", "Visits an hour", cells),
	}
	return m.draw(ctx, f, m.weekAcross(cells), m.weekDown(cells))
}

// weekCells orders the cells of a pattern by hour of the week, which begins on the
// region's first day. A cell that the pattern lacks has no exposure.
func (m *Maker) weekCells(p usage.Pattern) []bar {
	cells := make([]bar, usage.HoursOfWeek)
	week := m.Words.Week()
	for i := range cells {
		cells[i].label = m.Words.Say("%s %s", m.Words.Weekday(week[i/24]), hourSpan(m.Words, i%24))
	}
	for _, c := range p.Cells {
		if c.Weekday < 1 || c.Weekday > 7 || c.Hour < 0 || c.Hour > 23 {
			continue
		}
		i := (c.Weekday-week[0]+7)%7*24 + c.Hour
		cells[i] = newBar(cells[i].label, cells[i].visits+c.Visits, cells[i].exposureH+c.ExposureH, hour)
		cells[i].which = Visits{Weekday: c.Weekday, Hour: &c.Hour}
	}
	return m.addressed(cells)
}

func weekTitle(w *words.Words, cells []bar) string {
	l := leadOf(cells)
	switch {
	case l.top < 0:
		return w.Say(nothing)
	case cells[l.top].visits == 0:
		return w.Say("No visits in any hour of the week")
	case !l.clear:
		return w.Say("No hour of the week clearly stands out")
	case len(l.peers) == 1:
		return w.Say("Busiest hour of the week: %s", cells[l.top].label)
	case len(l.peers) <= 3:
		return w.Say("Busiest: %s", l.names(w, cells))
	}
	return w.Say("Highest on %s, but not by much", cells[l.top].label)
}

// weekAcross puts hours across and weekdays down.
func (m *Maker) weekAcross(cells []bar) drawing {
	f := frame{wideWidth, 278, 74, 32, 0, 26}
	h := heat{frame: f, words: m.Words, columns: 24, rows: 7, place: func(i int) (x, y int) { return i % 24, i / 24 }}
	for _, weekday := range m.Words.Week() {
		h.rowLabels = append(h.rowLabels, m.Words.Weekday(weekday))
	}
	every := 1
	if m.Words.Region().Clock == 12 {
		every = 3 // "12 am" is wider than a cell
	}
	for c := range 24 {
		mark := ""
		if c%every == 0 {
			mark = m.Words.HourMark(c)
		}
		h.columnLabels = append(h.columnLabels, mark)
	}
	return h.draw(cells)
}

// weekDown puts weekdays across and hours down.
func (m *Maker) weekDown(cells []bar) drawing {
	f := frame{narrowWidth, 652, 44, 50, 0, 26} // 24 px an hour, for fingers
	h := heat{frame: f, words: m.Words, columns: 7, rows: 24, place: func(i int) (x, y int) { return i / 24, i % 24 }}
	for _, weekday := range m.Words.Week() {
		h.columnLabels = append(h.columnLabels, m.Words.WeekdayShort(weekday))
	}
	for r := range 24 {
		h.rowLabels = append(h.rowLabels, m.Words.Hour(r))
	}
	return h.draw(cells)
}

// heat is a heatmap of cells on two category axes.
type heat struct {
	frame
	words                   *words.Words
	columns, rows           int
	columnLabels, rowLabels []string
	place                   func(i int) (x, y int) // of cell i, the top row first
}

func (h heat) draw(cells []bar) drawing {
	top := 0.0
	for _, c := range cells {
		if c.rate != nil {
			top = math.Max(top, c.rate.Value)
		}
	}
	c := charts.NewHeatMap()
	c.SetGlobalOptions(
		charts.WithAnimation(false), gridOf(h.frame),
		charts.WithXAxisOpts(h.columnAxis()), charts.WithYAxisOpts(h.rowAxis()),
		charts.WithVisualMapOpts(opts.VisualMap{Type: "continuous", Show: opts.Bool(false), Min: 0, Max: float32(orOne(top)),
			Dimension: "2", InRange: &opts.VisualMapInRange{Color: cividis}}),
	)
	c.AddSeries("rate", h.data(cells), charts.WithItemStyleOpts(opts.ItemStyle{BorderColor: draw.Ground, BorderWidth: 1}))
	c.Overlap(h.gaps(cells))
	c.Validate()
	o := optionOf(c.JSON())
	o["visualMap"].([]any)[0].(map[string]any)["seriesIndex"] = 0
	o["graphic"] = append(h.head(cells, top), h.values(cells, top)...)
	addMarks(h.words, o, 3, cells, func(i int) [4]float64 {
		x, y := h.place(i)
		return [4]float64{float64(x), float64(x), float64(y), float64(y)}
	})
	return drawing{o, h.width, h.height}
}

func orOne(v float64) float64 {
	if v > 0 {
		return v
	}
	return 1
}

func (h heat) columnAxis() opts.XAxis {
	l := label()
	l.Interval = "0"
	return opts.XAxis{
		Type: "category", Data: h.columnLabels, AxisLabel: l,
		AxisLine:  &opts.AxisLine{Show: opts.Bool(false)},
		AxisTick:  &opts.AxisTick{Show: opts.Bool(false)},
		SplitLine: &opts.SplitLine{Show: opts.Bool(false)},
	}
}

func (h heat) rowAxis() opts.YAxis {
	axis := rowAxis(h.rowLabels)
	axis.AxisLine.Show = opts.Bool(false)
	if h.rows > h.columns {
		axis.AxisLabel.Color = draw.Faint
	}
	return axis
}

func (h heat) data(cells []bar) []opts.HeatMapData {
	data := []opts.HeatMapData{} // go-echarts leaves a nil list out, ECharts wants one
	for i, c := range cells {
		if c.rate != nil {
			x, y := h.place(i)
			data = append(data, opts.HeatMapData{Value: []float64{float64(x), float64(y), c.rate.Value}})
		}
	}
	return data
}

// values writes the rates on the cells. ECharts could label them itself, but
// takes twice the time.
func (h heat) values(cells []bar, top float64) (out []any) {
	w, ht := h.plotWidth()/float64(h.columns), h.plotHeight()/float64(h.rows)
	for i, c := range cells {
		if c.rate == nil {
			continue
		}
		text := h.fitting(c)
		if text == "" {
			continue
		}
		colour := onDark
		if top > 0 && c.rate.Value >= lightText*top {
			colour = onLight
		}
		x, y := h.place(i)
		out = append(out, textAt(text, float64(h.left)+(float64(x)+0.5)*w, float64(h.top)+(float64(y)+0.5)*ht, "center", colour, 11))
	}
	return out
}

// fitting is the text of a cell: its rate where the cell has room for it.
func (h heat) fitting(c bar) string {
	text := short(h.words, c.rate.Value)
	if room := h.plotWidth()/float64(h.columns) - 4; float64(utf8.RuneCountInString(text))*0.56*11 > room {
		return ""
	}
	return text
}

// gaps hatches the cells without exposure, those of one weekday that follow
// each other as one.
func (h heat) gaps(cells []bar) *charts.Custom {
	var data []opts.CustomData
	for from := 0; from < len(cells); from += 24 {
		for _, g := range gaps(cells[from : from+24]) {
			x0, y0 := h.place(from + g[0])
			x1, y1 := h.place(from + g[1] - 1)
			data = append(data, opts.CustomData{Value: []int{x0, x1, y0, y1}})
		}
	}
	return hatched("hatch-xy", data)
}

// head explains the colours above the plot.
func (h heat) head(cells []bar, top float64) []any {
	unit := h.words.Say(visitsAnHour)
	out := []any{textAt(unit, 0, headLine/2, "left", draw.Ink, fontSize)}
	x, y, cell := float64(h.left), float64(headLine*3/2)+2, 14.0
	if h.width > narrowWidth {
		x, y = math.Max(float64(h.left)+24, textWidth(unit)+8), headLine/2
	}
	if top > 0 {
		out = append(out, textAt("0", x, y, "left", draw.Faint, fontSize))
		x += 12
		for i, colour := range cividis {
			out = append(out, rectAt(x+float64(i)*cell, y-6, cell, 12, map[string]any{"fill": colour}))
		}
		x += float64(len(cividis))*cell + 5
		highest := short(h.words, top)
		out = append(out, textAt(highest, x, y, "left", draw.Faint, fontSize))
		x += textWidth(highest) + 20
	}
	if anyGap(cells) {
		out = append(out, swatchHatch(x, y)...)
		out = append(out, textAt(h.words.Say(notCovered), x+swatchGap, y, "left", draw.Faint, fontSize))
	}
	return out
}
