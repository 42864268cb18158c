package chart

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/web/draw"
	"doorleaf/web/words"
)

const fontSize = 12 // CSS px

// optionOf turns what go-echarts built into plain maps, so that what it has no
// field for can be added, and takes out the parts for a mouse.
func optionOf(built map[string]any) map[string]any {
	text, err := json.Marshal(built)
	if err != nil {
		panic(fmt.Sprintf("chart: option is not JSON: %v", err)) // the values are numbers and texts of ours
	}
	var o map[string]any
	if err := json.Unmarshal(text, &o); err != nil {
		panic(fmt.Sprintf("chart: option: %v", err))
	}
	for _, part := range []string{"tooltip", "toolbox", "legend", "title", "color"} {
		delete(o, part)
	}
	for _, s := range o["series"].([]any) {
		finishSeries(s.(map[string]any))
	}
	for _, y := range o["yAxis"].([]any) {
		y.(map[string]any)["axisTick"] = map[string]any{"show": false}
	}
	for _, x := range o["xAxis"].([]any) {
		x.(map[string]any)["containShape"] = false // else ECharts widens the axis to hold the bars
	}
	return o
}

// finishSeries sets what decides which shape lies on top, and draws nought as
// a line that can be seen.
func finishSeries(s map[string]any) {
	switch s["type"] {
	case "bar":
		s["barMinHeight"] = 1.5
		s["z"] = 3
	case "custom":
		s["z"] = 4
		if s["name"] == "gaps" {
			s["z"] = 2
		}
	}
	s["silent"] = true
	s["emphasis"] = map[string]any{"disabled": true} // nothing is hovered over; saves time
}

func gridOf(f frame) charts.GlobalOpts {
	return charts.WithGridOpts(opts.Grid{
		Left: strconv.Itoa(f.left), Top: strconv.Itoa(f.top),
		Right: strconv.Itoa(f.right), Bottom: strconv.Itoa(f.bottom),
	})
}

// bottomAxis is a value axis below the chart, from 0 to n. labelAt says what
// stands under it.
func bottomAxis(n float64) opts.XAxis {
	return opts.XAxis{
		Type: "value", Min: 0, Max: n,
		AxisLabel: label(), SplitLine: &opts.SplitLine{Show: opts.Bool(false)},
		AxisLine: &opts.AxisLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: draw.Faint}},
		AxisTick: &opts.AxisTick{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: draw.Faint}},
	}
}

func valueAxisY(s scale) opts.YAxis {
	return opts.YAxis{
		Type: "value", Min: 0, Max: s.max, MinInterval: s.step, MaxInterval: s.step,
		AxisLabel: label(), SplitLine: gridLine(),
		AxisLine: &opts.AxisLine{Show: opts.Bool(false)},
	}
}

func valueAxisX(s scale) opts.XAxis {
	return opts.XAxis{
		Type: "value", Min: 0, Max: s.max, MinInterval: s.step, MaxInterval: s.step,
		AxisLabel: label(), SplitLine: gridLine(),
		AxisLine: &opts.AxisLine{Show: opts.Bool(false)}, AxisTick: &opts.AxisTick{Show: opts.Bool(false)},
	}
}

// rowAxis names the rows of a sideways chart, the first on top.
func rowAxis(labels []string) opts.YAxis {
	l := label()
	l.Color, l.Interval = draw.Ink, "0"
	return opts.YAxis{
		Type: "category", Data: labels, Inverse: opts.Bool(true), AxisLabel: l,
		AxisLine:  &opts.AxisLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: draw.Faint}},
		SplitLine: &opts.SplitLine{Show: opts.Bool(false)},
	}
}

func label() *opts.AxisLabel {
	return &opts.AxisLabel{Show: opts.Bool(true), Color: draw.Faint, FontSize: fontSize,
		ShowMinLabel: opts.Bool(true), ShowMaxLabel: opts.Bool(true)}
}

func gridLine() *opts.SplitLine {
	return &opts.SplitLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: draw.Rule}}
}

// blank takes the scale off an axis on which nothing is drawn: its numbers
// would mean nothing.
func blank(o map[string]any, kind string) {
	axis := o[kind].([]any)[0].(map[string]any)
	axis["axisLabel"].(map[string]any)["show"] = false
	axis["splitLine"] = map[string]any{"show": false}
}

// labelAt puts ticks at their places on the first axis of the kind, instead of
// at even steps. go-echarts has no field for that.
func labelAt(o map[string]any, kind string, ticks []tick) {
	axis := o[kind].([]any)[0].(map[string]any)
	marks, words := []float64{}, map[string]string{}
	labels := []float64{}
	for _, t := range ticks {
		marks = append(marks, t.at)
		if t.text != "" {
			labels = append(labels, t.at)
			words[strconv.FormatFloat(t.at, 'f', -1, 64)] = t.text
		}
	}
	l := axis["axisLabel"].(map[string]any)
	l["customValues"], l["words"], l["hideOverlap"] = labels, words, false
	axis["axisTick"].(map[string]any)["customValues"] = marks
}

// numberAt writes the numbers of the first axis of the kind, which is of a scale, in
// the region's way.
func numberAt(w *words.Words, o map[string]any, kind string, s scale) {
	numbers := map[string]string{}
	for i := 0; i <= int(math.Round(s.max/s.step)); i++ {
		v := tidy(float64(i) * s.step)
		numbers[strconv.FormatFloat(v, 'f', -1, 64)] = axisNumber(w, v)
	}
	o[kind].([]any)[0].(map[string]any)["axisLabel"].(map[string]any)["words"] = numbers
}

// axisNumber writes a number with as many decimals as it has.
func axisNumber(w *words.Words, v float64) string {
	if v == math.Trunc(v) {
		return whole(w, v)
	}
	return w.Shortest(v)
}

func hatched(shape string, data []opts.CustomData) *charts.Custom {
	return custom("gaps", shape, opts.ItemStyle{Color: draw.Hatch}, data, opts.Encode{X: []int{0, 1}, Y: []int{2, 3}})
}

func whiskers(shape string, data []opts.CustomData, e opts.Encode) *charts.Custom {
	return custom("limits", shape, opts.ItemStyle{Color: draw.Ink, BorderColor: draw.Ground}, data, e)
}

// custom is a series of shapes that shapes.mjs draws.
func custom(name, shape string, style opts.ItemStyle, data []opts.CustomData, e opts.Encode) *charts.Custom {
	c := charts.NewCustom()
	c.AddSeries(name, data,
		charts.WithCustomChartOpts(opts.CustomChart{RenderItem: opts.FuncOpts(shape)}),
		charts.WithItemStyleOpts(style),
		charts.WithEncodeOpts(e))
	return c
}

// A key explains one mark of a drawing.
type key struct {
	swatch func(x, y float64) []any // 18 × 10 px at x, centred on y
	text   string
}

const (
	headLine  = 18 // px a line above the plot
	swatchGap = 24 // px from a swatch's left edge to its text
)

// head writes the unit above the plot and the key beside it, or below it where
// the drawing is narrow.
func head(f frame, unit string, keys []key) []any {
	out := []any{textAt(unit, 0, headLine/2, "left", draw.Ink, fontSize)}
	x, y := float64(f.width), float64(headLine/2)
	if f.width <= narrowWidth {
		y += headLine
		x = keysWidth(keys)
	}
	for i := len(keys) - 1; i >= 0; i-- {
		x -= keysWidth(keys[i : i+1])
		out = append(out, keys[i].swatch(x, y)...)
		out = append(out, textAt(keys[i].text, x+swatchGap, y, "left", draw.Faint, fontSize))
	}
	return out
}

// keysWidth estimates the room of keys side by side.
func keysWidth(keys []key) (w float64) {
	for _, k := range keys {
		w += swatchGap + textWidth(k.text) + 16
	}
	return w
}

// textWidth estimates the width of a text in the charts' face and size, px: a
// little more than the face's average of half an em a letter.
func textWidth(s string) float64 { return 0.53 * fontSize * float64(utf8.RuneCountInString(s)) }

func textAt(s string, x, y float64, align, colour string, size int) any {
	return map[string]any{"type": "text", "x": x, "y": y, "silent": true, "z": 5, "style": map[string]any{
		"text": s, "fill": colour, "fontSize": size, "align": align, "verticalAlign": "middle"}}
}

func rectAt(x, y, w, h float64, style map[string]any) any {
	return map[string]any{"type": "rect", "silent": true, "z": 5, "style": style,
		"shape": map[string]any{"x": x, "y": y, "width": w, "height": h}}
}

func lineAt(x1, y1, x2, y2 float64, colour string) any {
	return map[string]any{"type": "line", "silent": true, "z": 5, "style": map[string]any{"stroke": colour, "lineWidth": 1},
		"shape": map[string]any{"x1": x1, "y1": y1, "x2": x2, "y2": y2}}
}

// swatchBlock is a pale bar with its outline.
func swatchBlock(colour string) func(x, y float64) []any {
	return func(x, y float64) []any {
		return []any{rectAt(x, y-5, 18, 10, map[string]any{"fill": colour, "stroke": draw.Use, "lineWidth": 1})}
	}
}

func swatchHatch(x, y float64) []any {
	out := []any{rectAt(x, y-5, 18, 10, map[string]any{"fill": "none", "stroke": draw.Hatch, "lineWidth": 0.5})}
	for c := 6.0; c < 28; c += 6 { // the lines of hatchPath in shapes.mjs, in a box of 18 × 10
		left, right := max(0, c-10), min(18, c)
		out = append(out, lineAt(x+left, y-5+c-left, x+right, y-5+c-right, draw.Hatch))
	}
	return out
}

func swatchWhisker(x, y float64) []any {
	return []any{
		lineAt(x+9, y-6, x+9, y+6, draw.Ink),
		lineAt(x+6, y-6, x+12, y-6, draw.Ink), lineAt(x+6, y+6, x+12, y+6, draw.Ink),
	}
}
