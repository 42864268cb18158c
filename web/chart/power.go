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

// Charge draws what is left of a pack from the day it was put in, with its limits,
// and marks today. The points must be ascending.
func (m *Maker) Charge(ctx context.Context, id string, points []usage.ChargePoint, today usage.Date) (Figure, error) {
	f := Figure{ID: id, Title: m.chargeTitle(points, today), Says: m.chargeSays(points), Table: m.chargeTable(points)}
	return m.draw(ctx, f,
		m.charge(points, today, frame{wideWidth, 270, 44, 34, 8, 34}),
		m.charge(points, today, frame{narrowWidth, 260, 40, 50, 8, 34}))
}

const perCentLeft words.Text = "% left"

var chargeScale = scale{100, 25}

// chargeAt returns the point of a date, between two by a straight line.
func chargeAt(points []usage.ChargePoint, d usage.Date) usage.ChargePoint {
	for i, p := range points {
		if p.Date < d {
			continue
		}
		if i == 0 || p.Date == d {
			return p
		}
		q := points[i-1]
		w := float64(d-q.Date) / float64(p.Date-q.Date)
		return usage.ChargePoint{Date: d, Low: q.Low + w*(p.Low-q.Low), Value: q.Value + w*(p.Value-q.Value), High: q.High + w*(p.High-q.High)}
	}
	return points[len(points)-1]
}

func (m *Maker) chargeTitle(points []usage.ChargePoint, today usage.Date) string {
	if len(points) == 0 {
		return m.Words.Say(nothing)
	}
	p := chargeAt(points, today)
	return m.Words.Say("About %s %% of the pack is left", whole(m.Words, p.Value))
}

func (m *Maker) chargeSays(points []usage.ChargePoint) string {
	if len(points) == 0 {
		return m.Words.Say(nothingSays)
	}
	return m.Words.Say("Charge left in the pack, in hundredths of what a new one gives, from %s on; 95 %% limits are shaded.", points[0].Date)
}

func (m *Maker) chargeTable(points []usage.ChargePoint) Table {
	t := Table{Caption: m.Words.Say("Charge left by date"), Head: []string{m.Words.Say("Date"), m.Words.Say("Left, %"), m.Words.Say(limitsOf95)}, Rows: [][]string{}}
	for _, p := range points {
		t.Rows = append(t.Rows, []string{m.Words.Date(p.Date), whole(m.Words, p.Value), m.Words.Say(fromTo, whole(m.Words, p.Low), whole(m.Words, p.High))})
	}
	return t
}

func (m *Maker) charge(points []usage.ChargePoint, today usage.Date, f frame) drawing {
	if len(points) == 0 {
		return upright(m.Words, []bar{{}}, nil, perCentLeft, "", f)
	}
	first, last := points[0].Date, points[len(points)-1].Date
	s := span{begin: first, days: make([]usage.Day, int(last-first)+1), last: int(last - first)}
	for i := range s.days {
		s.days[i].Date = first + usage.Date(i)
	}
	length := float64(len(s.days))
	c := charts.NewLine()
	c.SetGlobalOptions(charts.WithAnimation(false), gridOf(f), charts.WithXAxisOpts(bottomAxis(length)), charts.WithYAxisOpts(valueAxisY(chargeScale)))
	data := []opts.LineData{}
	for _, p := range points {
		data = append(data, opts.LineData{Value: []float64{float64(p.Date - first), p.Value}})
	}
	c.AddSeries("left", data, charts.WithLineChartOpts(opts.LineChart{ShowSymbol: opts.Bool(false)}),
		charts.WithLineStyleOpts(opts.LineStyle{Color: draw.Use, Width: 2}))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", m.timeTicks(s, f))
	numberAt(m.Words, o, "yAxis", chargeScale)
	alignEnds(o)
	keys := []key{{swatchBlock(draw.Pale), m.Words.Say(limitsOf95)}}
	shapes := []any{band(points, f)}
	tips := Tips{}
	for i, p := range points[:max(0, len(points)-1)] {
		tips.Items = append(tips.Items, Tip{Box: [4]float64{float64(p.Date - first), float64(points[i+1].Date - first), 0, 100}, Head: m.Words.Date(p.Date), Says: pointLines(m.Words, p)})
	}
	if today >= first && today <= last {
		x := float64(f.left) + f.plotWidth()*float64(today-first)/length
		shapes = append(shapes, lineAt(x, float64(f.top), x, float64(f.height-f.bottom), draw.Brick))
		keys = append(keys, key{func(x, y float64) []any { return []any{lineAt(x+9, y-6, x+9, y+6, draw.Brick)} }, m.Words.Say("today")})
	}
	o["graphic"] = append(tied(shapes), head(f, m.Words.Say(perCentLeft), keys)...)
	if len(tips.Items) > 0 {
		o[tipsKey] = tips
	}
	addZoom(o, m.zoomLevels(s, f)...)
	return drawing{o, f.width, f.height}
}

// band is the area between the limits.
func band(points []usage.ChargePoint, f frame) any {
	first, last := points[0].Date, points[len(points)-1].Date
	at := func(d usage.Date, v float64) [2]float64 {
		x := float64(f.left) + f.plotWidth()*float64(d-first)/float64(last-first+1)
		y := float64(f.top) + float64(f.height-f.top-f.bottom)*(1-math.Max(0, math.Min(100, v))/100)
		return [2]float64{hundredth(x), hundredth(y)}
	}
	var corners [][2]float64
	for _, p := range points {
		corners = append(corners, at(p.Date, p.High))
	}
	for _, p := range slices.Backward(points) {
		corners = append(corners, at(p.Date, p.Low))
	}
	return polygonOf(corners, draw.Pale, 0.6)
}

// polygonOf fills a polygon, below what the series draw.
func polygonOf(points [][2]float64, colour string, opacity float64) any {
	return map[string]any{"type": "polygon", "silent": true, "z": 0, "shape": map[string]any{"points": points},
		"style": map[string]any{"fill": colour, "opacity": opacity}}
}
