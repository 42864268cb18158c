package chart

import (
	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/web/draw"
)

// The size of a spark, CSS px.
const (
	sparkWidth  = 144
	sparkHeight = 36
)

// spark draws bars without axes or whiskers on a base line; bars without
// exposure are hatched.
func spark(bars []bar) drawing {
	top := 0.0
	for _, b := range bars {
		if b.rate != nil {
			top = max(top, b.rate.Value)
		}
	}
	if top == 0 {
		top = 1
	}
	f := frame{sparkWidth, sparkHeight, 0, 2, 0, 2}
	x, y := bottomAxis(float64(len(bars))), valueAxisY(scale{max: top, step: top})
	x.AxisTick.Show, x.AxisLine.LineStyle.Color = opts.Bool(false), draw.Rule
	c := charts.NewBar()
	c.SetGlobalOptions(charts.WithAnimation(false), gridOf(f), charts.WithXAxisOpts(x), charts.WithYAxisOpts(y))
	c.AddSeries("rate", uprightData(bars, 0),
		charts.WithBarChartOpts(opts.BarChart{BarWidth: px(f.plotWidth() / float64(len(bars)) * 0.74)}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: draw.Use}))
	c.Overlap(uprightGaps(bars, scale{max: top, step: top}))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", nil)
	blank(o, "xAxis")
	blank(o, "yAxis")
	return drawing{o, f.width, f.height}
}
