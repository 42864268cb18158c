package chart

import (
	"context"
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// DaylightIn is what Daylight draws.
type DaylightIn struct {
	Site     usage.Site
	Visits   []usage.VisitTime // any; those from From to To are drawn
	Days     []usage.Day       // for what was covered
	From, To usage.Date        // civil dates, both included
}

// The visits of one drawing are drawn in cells of so many days and parts of a day: as
// dense as they are, tens of thousands of visits are no more shapes than hundreds.
const (
	cellDays   = 7
	hourParts  = 48
	shadeParts = 96 // of a day, for the background
	tints      = 4  // of a cell, by its visits
)

// Daylight draws visit times against the sun: dates across, hours of the civil day
// upwards, the night shaded, with the lines of sunrise, sunset and civil twilight. The
// more visits a cell holds, the stronger its colour. Dates without coverage are hatched.
func (m *Maker) Daylight(ctx context.Context, id string, in DaylightIn) (Figure, error) {
	g, err := m.newDayGrid(in)
	if err != nil {
		return Figure{}, err
	}
	f := Figure{ID: id, Title: g.title(m.Words), Says: m.daylightSays(g), Table: m.daylightTable(g)}
	return m.draw(ctx, f,
		m.daylight(g, frame{wideWidth, 420, 48, 34, 8, 42}),
		m.daylight(g, frame{narrowWidth, 400, 44, 68, 8, 42}))
}

// dayGrid is visits by week and part of the day.
type dayGrid struct {
	DaylightIn
	span  span
	sun   usage.SunYear
	light [][]usage.Light // by week and part, of the middle of the week
	cells map[[2]int]int  // week and part: visits
	most  int
	count [3]int64   // visits by light
	weeks [][3]int64 // the same by week
	month []monthLight
}

// monthLight is the visits of a month by light.
type monthLight struct {
	month usage.Month
	count [3]int64
}

func (m *Maker) newDayGrid(in DaylightIn) (*dayGrid, error) {
	g := &dayGrid{DaylightIn: in, span: m.spanBetween(in.Days, in.From, in.To), cells: map[[2]int]int{}}
	zone, err := usage.LoadZone(in.Site.Zone)
	if err != nil {
		return nil, err
	}
	if g.sun, err = usage.SunOver(in.Site, in.From, in.To); err != nil {
		return nil, err
	}
	var middles []usage.Date
	for i := 0; i < len(g.span.days); i += cellDays {
		middles = append(middles, g.span.begin+usage.Date(i+cellDays/2))
	}
	if g.light, err = usage.HoursLight(in.Site, middles, shadeParts); err != nil {
		return nil, err
	}
	for month := usage.MonthOf(in.From); month <= usage.MonthOf(in.To); month++ {
		g.month = append(g.month, monthLight{month: month})
	}
	g.fill(zone)
	return g, nil
}

func (g *dayGrid) fill(zone *usage.Zone) {
	g.weeks = make([][3]int64, len(g.light))
	sun, cursor := usage.NewSun(g.Site.Latitude, g.Site.Longitude), zone.Cursor()
	for _, v := range g.Visits {
		date, second := cursor.Civil(v.At)
		if date < g.From || date > g.To {
			continue
		}
		cell := [2]int{int(date-g.span.begin) / cellDays, int(second) * hourParts / 86400}
		g.cells[cell]++
		g.most = max(g.most, g.cells[cell])
		light := sun.Light(v.At)
		g.count[light]++
		g.weeks[cell[0]][light]++
		g.month[usage.MonthOf(date)-g.month[0].month].count[light]++
	}
}

func (g *dayGrid) visits() int64 { return g.count[0] + g.count[1] + g.count[2] }

func (g *dayGrid) title(w *words.Words) string {
	n := g.visits()
	if n == 0 {
		return w.Say(nothing)
	}
	return w.Say("%s of a hundred visits came after dark", short(w, 100*float64(g.count[usage.Dark])/float64(n)))
}

func (m *Maker) daylightSays(g *dayGrid) string {
	if g.visits() == 0 {
		return m.Words.Say("No visits from %s to %s.", g.From, g.To)
	}
	say := sunSays
	if g.polar() {
		say = polarSays
	}
	return m.Words.Say(say, visitsOf(g.visits()), g.From, g.To, m.Words.Number(int64(g.most)))
}

// What the drawing shows, and what it shows where the sun does not always rise.
const (
	sunSays   words.Text = "%s by date and hour, %s to %s, against sunrise, sunset and civil twilight; the stronger a cell, the more visits, up to %s in a week’s half hour."
	polarSays words.Text = "%s by date and hour, %s to %s, against sunrise, sunset and civil twilight; the stronger a cell, the more visits, up to %s in a week’s half hour; where a line is missing, the sun did not rise or did not set."
)

// polar reports whether some dates have no sunrise.
func (g *dayGrid) polar() bool { return len(g.sun.Rise) < int(g.To-g.From) }

func (m *Maker) daylightTable(g *dayGrid) Table {
	w := m.Words
	t := Table{Caption: w.Say("Visits by month and light"), Head: []string{
		w.Say("Month"), w.Say("Visits"), w.Say("In daylight"), w.Say("In twilight"), w.Say("After dark"), w.Say("Sunrise, 15th"), w.Say("Sunset, 15th"),
	}, Rows: [][]string{}}
	for _, l := range g.month {
		row := []string{w.MonthOf(l.month), w.Number(l.count[0] + l.count[1] + l.count[2])}
		for _, n := range l.count {
			row = append(row, w.Number(n))
		}
		middle := l.month.First() + 14
		t.Rows = append(t.Rows, append(row, clockOn(w, g.sun.Rise, middle), clockOn(w, g.sun.Set, middle)))
		first, last := max(l.month.First(), g.From), min((l.month+1).First()-1, g.To)
		t.Visits = append(t.Visits, visitsFrom(first, last))
	}
	return t
}

// clockOn writes the hour of the point on a date.
func clockOn(w *words.Words, points []usage.SunPoint, d usage.Date) string {
	for _, p := range points {
		if p.Date == d {
			minutes := int(math.Round(p.Hour * 60))
			if w.Region().Clock == 24 {
				return w.Say("%d:%02d", minutes/60, minutes%60)
			}
			return w.Clock(minutes/60, minutes%60)
		}
	}
	return w.Say("none")
}

func (m *Maker) daylight(g *dayGrid, f frame) drawing {
	length := float64(len(g.span.days))
	c := charts.NewLine()
	y := opts.YAxis{Type: "value", Min: 0, Max: 24, MinInterval: 6, MaxInterval: 6,
		AxisLabel: label(), SplitLine: gridLine(), AxisLine: &opts.AxisLine{Show: opts.Bool(false)}}
	c.SetGlobalOptions(charts.WithAnimation(false), gridOf(f), charts.WithXAxisOpts(bottomAxis(length)), charts.WithYAxisOpts(y))
	for _, line := range []struct {
		points []usage.SunPoint
		colour string
		kind   string
	}{{g.sun.Rise, draw.Ink, "solid"}, {g.sun.Set, draw.Ink, "solid"}, {g.sun.Dawn, draw.Ink, "dotted"}, {g.sun.Dusk, draw.Ink, "dotted"}} {
		c.AddSeries("sun", g.curve(line.points), charts.WithLineChartOpts(opts.LineChart{ShowSymbol: opts.Bool(false)}),
			charts.WithLineStyleOpts(opts.LineStyle{Color: line.colour, Width: 1.2, Type: line.kind}))
	}
	c.Overlap(g.span.hatches(scale{24, 6}))
	c.Validate()
	o := optionOf(c.JSON())
	labelAt(o, "xAxis", m.timeTicks(g.span, f))
	labelAt(o, "yAxis", hourTicks(m.Words, 6))
	alignEnds(o)
	o["graphic"] = append(tied(g.shapes(f)), head(f, m.Words.Say("hour of the day"), g.keys(m.Words))...)
	if tips := m.weekTips(g); len(tips.Items) > 0 {
		o[tipsKey] = tips
	}
	addZoom(o, m.zoomLevels(g.span, f)...)
	return drawing{o, f.width, f.height}
}

// curve is a line through points, broken where the sun has no such passage and where
// it moves over midnight.
func (g *dayGrid) curve(points []usage.SunPoint) []opts.LineData {
	data := []opts.LineData{}
	for i, p := range points {
		if i > 0 && (p.Date-points[i-1].Date > 1 || math.Abs(p.Hour-points[i-1].Hour) > 3) {
			data = append(data, opts.LineData{Value: []any{nil, nil}})
		}
		data = append(data, opts.LineData{Value: []float64{float64(p.Date-g.span.begin) + 0.5, p.Hour}})
	}
	return data
}

// shapes are the shaded night and the cells of visits. Parts of a day on end that
// look alike are one shape.
func (g *dayGrid) shapes(f frame) (out []any) {
	across := f.plotWidth() / float64(len(g.span.days)) * cellDays
	height := float64(f.height - f.top - f.bottom)
	column := func(week, parts int, inset float64, look func(part int) (colour string, opacity float64)) {
		for from := 0; from < parts; {
			colour, opacity := look(from)
			to := from + 1
			for to < parts {
				if c, o := look(to); c != colour || o != opacity {
					break
				}
				to++
			}
			if opacity > 0 {
				top := float64(f.top) + height*(1-float64(to)/float64(parts))
				wide := across - 2*inset
				if colour == draw.Rule && opacity == 1 {
					wide += 0.5 // else a seam shows between weeks
				}
				out = append(out, tile(float64(f.left)+across*float64(week)+inset, top, min(wide, float64(f.width-f.right)-float64(f.left)-across*float64(week)), height*float64(to-from)/float64(parts), colour, opacity))
			}
			from = to
		}
	}
	for week := range g.light {
		column(week, shadeParts, 0, func(part int) (string, float64) {
			return draw.Rule, [...]float64{usage.Daylight: 0, usage.Twilight: 0.5, usage.Dark: 1}[g.light[week][part]]
		})
		column(week, hourParts, min(0.6, across/10), func(part int) (string, float64) {
			if n := g.cells[[2]int{week, part}]; n > 0 {
				return draw.Use, tintOpacity(g.tint(n))
			}
			return draw.Use, 0
		})
	}
	return out
}

// tile is a box below what the series draw.
func tile(x, y, w, h float64, colour string, opacity float64) any {
	return map[string]any{"type": "rect", "silent": true, "z": 0,
		"shape": map[string]any{"x": hundredth(x), "y": hundredth(y), "width": hundredth(w), "height": hundredth(h)},
		"style": map[string]any{"fill": colour, "opacity": opacity}}
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

// tint is how dark a cell of n visits is: by steps of the square root.
func (g *dayGrid) tint(n int) int {
	return min(tints-1, int(tints*math.Sqrt(float64(n)/float64(g.most+1))))
}

func tintOpacity(i int) float64 { return 0.35 + 0.65*float64(i)/(tints-1) }

func (g *dayGrid) keys(w *words.Words) []key {
	keys := []key{{swatchNight, w.Say("dark")}, {swatchSun, w.Say("sunrise, sunset")}}
	if len(g.span.stretches(isGap)) > 0 {
		keys = append(keys, key{swatchHatch, w.Say(notCovered)})
	}
	return keys
}

func swatchNight(x, y float64) []any {
	return []any{rectAt(x, y-5, 18, 10, map[string]any{"fill": draw.Rule})}
}

func swatchSun(x, y float64) []any { return []any{lineAt(x, y, x+18, y, draw.Ink)} }
