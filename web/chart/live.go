package chart

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// Live is a chart for a script that shows it in a browser by the same ECharts: the
// option of the drawing that stands on the page, and what a reader can ask of it.
type Live struct {
	Width  int               `json:"width"` // of the drawing, CSS px
	Height int               `json:"height"`
	Option map[string]any    `json:"option"` // as the server draws it; see revive in option.mjs
	Tips   Tips              `json:"tips"`
	Zoom   [][]Stop          `json:"zoom"`   // labels of the time axis, from coarse to fine; empty: it has none
	Colour map[string]string `json:"colour"` // colours of the option that stand for CSS variables: "#25221d": "--c-ink"
}

// Tips are what the parts of a chart say when they are pointed at.
type Tips struct {
	Pad   int   `json:"pad"` // see draw.Marks
	Items []Tip `json:"items"`
}

// Tip is what one part says.
type Tip struct {
	Box  [4]float64 `json:"box"`  // see draw.Mark
	Head string     `json:"head"` // what it is of
	Says []string   `json:"says"` // lines: the number with its limits in words, and what it rests on
	Href string     `json:"href,omitempty"`
}

// Stop is a label of an axis at its place.
type Stop struct {
	At   float64 `json:"at"`
	Text string  `json:"text"`
}

// Want asks for the live form of one figure among those that are made with a context.
type Want struct {
	ID     string // of the figure
	Narrow bool   // that of its narrow drawing
	Live   *Live  // the answer; nil: no such figure was made
}

type wantKey struct{}

// Wanting returns a context with which makers draw nothing but answer w.
func Wanting(ctx context.Context, w *Want) context.Context {
	return context.WithValue(ctx, wantKey{}, w)
}

// Wanted returns what a context wants, or nil.
func Wanted(ctx context.Context) *Want {
	w, _ := ctx.Value(wantKey{}).(*Want)
	return w
}

// answer sets w.Live if id is the figure that w asks for.
func (w *Want) answer(id string, wide drawing, narrow []drawing) {
	if id != w.ID {
		return
	}
	d := wide
	if w.Narrow && len(narrow) > 0 {
		d = narrow[0]
	}
	tips, ok := d.option[tipsKey].(Tips)
	if !ok {
		return
	}
	w.Live = &Live{Width: d.width, Height: d.height, Option: d.bare("marks"), Tips: tips, Zoom: [][]Stop{}, Colour: map[string]string{}}
	if zoom, ok := d.option[zoomKey].([][]Stop); ok {
		w.Live.Zoom = zoom
	}
	for name, hex := range draw.Variables() {
		w.Live.Colour[hex] = name
	}
}

// Options may hold what ECharts knows nothing of under these keys: Tips, and the
// labels of a time axis that can be looked at more closely. They are not drawn.
const (
	tipsKey = "tips"
	zoomKey = "zoom"
)

// bare is the option without what is not drawn, and without the keys named.
func (d drawing) bare(keys ...string) map[string]any {
	option := maps.Clone(d.option)
	for _, key := range append(keys, tipsKey, zoomKey) {
		delete(option, key)
	}
	return option
}

func (d drawing) json() ([]byte, error) {
	option, err := json.Marshal(d.bare())
	if err != nil {
		return nil, fmt.Errorf("write option: %w", err)
	}
	return option, nil
}

// addTips lets each bar say what it counts; box and pad are those of addMarks.
func addTips(w *words.Words, o map[string]any, pad int, bars []bar, box func(i int) [4]float64) {
	tips := Tips{Pad: pad}
	for i, b := range bars {
		if b.label != "" {
			tips.Items = append(tips.Items, Tip{Box: box(i), Head: b.label, Says: b.lines(w), Href: b.link()})
		}
	}
	if len(tips.Items) > 0 {
		o[tipsKey] = tips
	}
}

// link is where the bar leads if it is a link of the drawing.
func (b bar) link() string {
	if b.rate != nil || b.visits > 0 {
		return b.href
	}
	return ""
}

// lines are what a bar says beside its label.
func (b bar) lines(w *words.Words) []string {
	switch {
	case b.rate == nil && b.visits == 0:
		return []string{w.Say(notCovered)}
	case b.rate == nil:
		return []string{w.Say("%s counted", visitsOf(b.visits))}
	case b.says != "": // it shows a count
		lines := []string{w.Say("%s counted", visitsOf(b.visits))}
		if b.thin {
			lines = append(lines, w.Say("partly covered: %s", covered(b.exposureH)))
		}
		return lines
	}
	return []string{
		w.Say(rateWords[b.unitH], short(w, b.rate.Value)),
		w.Say(limitsLine, short(w, b.rate.Low), short(w, b.rate.High)),
		w.Say("%s in %s of recording", visitsOf(b.visits), covered(b.exposureH)),
	}
}

// rateWords write a rate by its unit.
var rateWords = map[float64]words.Text{hour: "%s an hour", day: "%s a day", week: "%s a week"}

const limitsLine words.Text = "95 %% limits: %s to %s"

// addZoom lets the time axis of an option be looked at more closely. Each level of
// labels has more than the one before.
func addZoom(o map[string]any, levels ...[]tick) {
	zoom := [][]Stop{}
	for _, level := range levels {
		stops := []Stop{}
		for _, t := range level {
			if t.text != "" {
				stops = append(stops, Stop{t.at, t.text})
			}
		}
		if len(stops) > 0 {
			zoom = append(zoom, stops)
		}
	}
	if len(zoom) > 0 {
		o[zoomKey] = zoom
	}
}

// zoomLevels are the labels of a span of days: as drawn, by month, by week.
func (m *Maker) zoomLevels(s span, f frame) [][]tick {
	var months, weeks []tick
	for i, d := range s.days {
		year, month, dom := d.Date.YMD()
		if dom == 1 {
			months = append(months, tick{float64(i), fmt.Sprintf("%s %d", m.Words.MonthShort(month), year)})
		}
		if i%7 == 0 {
			weeks = append(weeks, tick{float64(i), m.Words.DateShort(d.Date)})
		}
	}
	return [][]tick{m.timeTicks(s, f), months, weeks}
}

// tied marks shapes of a drawing that lie on its axis of time and move with it.
func tied(shapes []any) []any {
	for _, s := range shapes {
		s.(map[string]any)["tied"] = true
	}
	return shapes
}

// pointLines are what a charge curve says at a point.
func pointLines(w *words.Words, p usage.ChargePoint) []string {
	return []string{w.Say("%s %% left", whole(w, p.Value)), w.Say(limitsLine, whole(w, p.Low), whole(w, p.High))}
}

// weekTips let each week of a day grid say its visits by light.
func (m *Maker) weekTips(g *dayGrid) (tips Tips) {
	for week := range g.light {
		first := g.span.begin + usage.Date(week*cellDays)
		tip := Tip{Box: [4]float64{float64(week * cellDays), float64((week + 1) * cellDays), 0, 24},
			Head: m.Words.Say(fromTo, first, first+cellDays-1)}
		days := g.span.days[week*cellDays : (week+1)*cellDays]
		if _, hours := sumOf(days); hours <= 0 {
			tip.Says = []string{m.Words.Say(notCovered)}
		} else {
			n := g.weeks[week]
			tip.Says = []string{m.Words.Say("%s", visitsOf(n[0]+n[1]+n[2])),
				m.Words.Say("%s in daylight, %s in twilight, %s after dark", m.Words.Number(n[usage.Daylight]), m.Words.Number(n[usage.Twilight]), m.Words.Number(n[usage.Dark]))}
		}
		tips.Items = append(tips.Items, tip)
	}
	return tips
}
