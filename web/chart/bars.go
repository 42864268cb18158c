package chart

import (
	"math"
	"strconv"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// A bar is one bar of a chart: a count over an exposure, and the rate of it in
// the chart's unit. The rate is nil without exposure.
type bar struct {
	label     string // whole, for tables, titles and the rows of a sideways chart
	visits    int64
	exposureH float64
	unitH     float64 // hours of exposure that the rate is for
	rate      *usage.Estimate
	thin      bool // the exposure is too little to say much
	which     Visits
	href      string // where its visits are listed; "" for nowhere
	says      string // name of that link; "" for the usual one
}

// newBar makes the bar of visits in exposureH hours with its rate in visits a
// unitH hours.
func newBar(label string, visits int64, exposureH, unitH float64) bar {
	return bar{label: label, visits: visits, exposureH: exposureH, unitH: unitH,
		rate: usage.Rate(visits, exposureH/unitH, usage.Confidence)}
}

func anyCovered(bars []bar) bool {
	for _, b := range bars {
		if b.rate != nil {
			return true
		}
	}
	return false
}

func anyGap(bars []bar) bool { return len(gaps(bars)) > 0 }

// gaps returns the stretches [from, to) of bars without exposure.
func gaps(bars []bar) (out [][2]int) {
	for i, b := range bars {
		if b.rate != nil {
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

// A frame is the space of a drawing and the part of it that the axes enclose.
type frame struct {
	width, height            int
	left, top, right, bottom int
}

func (f frame) plotWidth() float64  { return float64(f.width - f.left - f.right) }
func (f frame) plotHeight() float64 { return float64(f.height - f.top - f.bottom) }

// A tick is a label below an upright chart, at a place on its axis. Where text
// is empty there is a tick mark alone.
type tick struct {
	at   float64
	text string
}

// upright draws bars side by side, bar i from i to i+1 on the axis, with
// whiskers, and hatches the bars without exposure. unit names the rate.
func upright(w *words.Words, bars []bar, ticks []tick, unit, thinNote words.Text, f frame) drawing {
	return uprightOn(w, scaleOf(bars), bars, ticks, unit, thinNote, f)
}

// uprightOn is upright on a scale that other drawings share.
func uprightOn(w *words.Words, scale scale, bars []bar, ticks []tick, unit, thinNote words.Text, f frame) drawing {
	n := float64(len(bars))
	slot := f.plotWidth() / n
	c := charts.NewBar()
	c.SetGlobalOptions(
		charts.WithAnimation(false), gridOf(f),
		charts.WithXAxisOpts(bottomAxis(n)),
		charts.WithYAxisOpts(valueAxisY(scale)),
	)
	c.AddSeries("rate", uprightData(bars, slot),
		charts.WithBarChartOpts(opts.BarChart{BarWidth: px(math.Min(slot*0.74, 44))}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: draw.Use}))
	c.Overlap(uprightGaps(bars, scale), uprightWhiskers(bars, scale))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", ticks)
	numberAt(w, o, "yAxis", scale)
	if !anyCovered(bars) {
		blank(o, "yAxis")
	}
	o["graphic"] = head(f, w.Say(unit), keysOf(w, bars, thinNote))
	addMarks(w, o, 0, bars, func(i int) [4]float64 { return [4]float64{float64(i), float64(i + 1), 0, scale.max} })
	return drawing{o, f.width, f.height}
}

func uprightData(bars []bar, slot float64) []opts.BarData {
	data := []opts.BarData{}
	for i, b := range bars {
		if b.rate != nil {
			data = append(data, opts.BarData{Value: []float64{float64(i) + 0.5, b.rate.Value}, ItemStyle: b.style(slot)})
		}
	}
	return data
}

// style is the item style of a bar in a slot of so many px, or nil where it is
// that of its series. A pale bar has an outline where there is room for one,
// since its colour alone is too near to the ground's.
func (b bar) style(slot float64) *opts.ItemStyle {
	switch {
	case !b.thin:
		return nil
	case slot < 6:
		return &opts.ItemStyle{Color: draw.Pale}
	}
	return &opts.ItemStyle{Color: draw.Pale, BorderColor: draw.Use, BorderWidth: 1}
}

func uprightGaps(bars []bar, s scale) *charts.Custom {
	var data []opts.CustomData
	for _, g := range gaps(bars) {
		data = append(data, opts.CustomData{Value: []float64{float64(g[0]), float64(g[1]), 0, s.max}})
	}
	return hatched("hatch", data)
}

func uprightWhiskers(bars []bar, s scale) *charts.Custom {
	var data []opts.CustomData
	for i, b := range bars {
		if b.rate != nil {
			data = append(data, opts.CustomData{Value: s.whisker(float64(i)+0.5, b.rate)})
		}
	}
	return whiskers("whisker-up", data, opts.Encode{X: 0, Y: []int{1, 2}})
}

// sideways draws one row a bar, the first on top, its label on the left and its
// value on the right, with whiskers; rows without exposure are hatched.
func sideways(w *words.Words, bars []bar, unit, thinNote words.Text, f frame) drawing {
	scale := scaleOf(bars)
	labels := make([]string, len(bars))
	data := make([]opts.BarData, len(bars))
	slot := f.plotHeight() / float64(max(1, len(bars)))
	for i, b := range bars {
		labels[i] = b.label
		data[i] = opts.BarData{Value: "-", ItemStyle: b.style(slot)} // "-": ECharts' word for no value
		if b.rate != nil {
			data[i].Value = b.rate.Value
		}
	}
	c := charts.NewBar()
	c.SetGlobalOptions(
		charts.WithAnimation(false), gridOf(f),
		charts.WithXAxisOpts(valueAxisX(scale)),
		charts.WithYAxisOpts(rowAxis(labels)),
	)
	c.AddSeries("rate", data,
		charts.WithBarChartOpts(opts.BarChart{BarWidth: px(slot * 0.66)}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: draw.Use}))
	c.Overlap(sidewaysGaps(bars, scale), sidewaysWhiskers(bars, scale))
	c.Validate()
	o := optionOf(c.JSON())
	numberAt(w, o, "xAxis", scale)
	if !anyCovered(bars) {
		blank(o, "xAxis")
	}
	o["graphic"] = append(head(f, w.Say(unit), keysOf(w, bars, thinNote)), rowValues(w, bars, f)...)
	addMarks(w, o, 2, bars, func(i int) [4]float64 { return [4]float64{0, scale.max, float64(i), float64(i)} })
	return drawing{o, f.width, f.height}
}

func sidewaysGaps(bars []bar, s scale) *charts.Custom {
	var data []opts.CustomData
	for _, g := range gaps(bars) {
		data = append(data, opts.CustomData{Value: []float64{0, s.max, float64(g[0]), float64(g[1] - 1)}})
	}
	return hatched("hatch-y", data)
}

func sidewaysWhiskers(bars []bar, s scale) *charts.Custom {
	var data []opts.CustomData
	for i, b := range bars {
		if b.rate != nil {
			data = append(data, opts.CustomData{Value: s.whisker(float64(i), b.rate)})
		}
	}
	return whiskers("whisker-right", data, opts.Encode{X: []int{1, 2}, Y: 0})
}

// rowValues writes each row's value in the margin on the right.
func rowValues(w *words.Words, bars []bar, f frame) []any {
	slot := f.plotHeight() / float64(max(1, len(bars)))
	var out []any
	for i, b := range bars {
		value := "–"
		if b.rate != nil {
			value = short(w, b.rate.Value)
		}
		out = append(out, textAt(value, float64(f.width-2), float64(f.top)+slot*(float64(i)+0.5), "right", draw.Ink, fontSize))
	}
	return out
}

// keysOf lists what a chart of bars has to explain, and no more.
func keysOf(w *words.Words, bars []bar, thinNote words.Text) []key {
	var keys []key
	thin := false
	for _, b := range bars {
		thin = thin || b.thin && b.rate != nil
	}
	if thin {
		keys = append(keys, key{swatchBlock(draw.Pale), w.Say(thinNote)})
	}
	if anyGap(bars) {
		keys = append(keys, key{swatchHatch, w.Say(notCovered)})
	}
	if anyCovered(bars) {
		keys = append(keys, key{swatchWhisker, w.Say(limitsOf95)})
	}
	return keys
}

// px writes a length for ECharts with a tenth of a pixel.
func px(v float64) string { return strconv.FormatFloat(math.Max(1, v), 'f', 1, 64) }
