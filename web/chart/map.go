package chart

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// Use says how a site's visits stand against those of its own year before.
type Use uint8

// The states of use.
const (
	UseUnknown Use = iota // nothing to set against each other
	UseSteady             // neither more nor fewer beyond doubt
	UseThrives            // more, beyond doubt
	UseQuiet              // fewer beyond doubt, or no visit at all
)

// useClasses are the classes of the style sheet for each state.
var useClasses = [...]string{UseUnknown: "unknown", UseSteady: "steady", UseThrives: "thrives", UseQuiet: "quiet"}

// Class is the class of the style sheet for the state.
func (u Use) Class() string { return useClasses[u] }

// Spot is a site on a map.
type Spot struct {
	Name      string
	At        usage.Point
	Weekly    *usage.Estimate // visits a week; nil: not known
	Use       Use
	NeedsHand bool
	Href      string // page of the site
	Visits    string // address of the list of its visits
	Says      string // what the table and the accessible name say of its state
}

// The lengths of a map, CSS px.
const (
	mapMargin   = 14.0 // between the frame and the nearest circle
	mapFoot     = 44.0 // strip below the map for scale bar and key
	mapLetter   = 6.9  // width of a Latin letter of 12 px, amply
	mapLine     = 15.0 // height of a line of text
	leastRadius = 4.5
	mostRadius  = 22.0
	handGap     = 3.0           // between a circle and its ring
	mostKey     = mapFoot/2 - 3 // radius of the key's circle at most
	leastSpan   = 250.0         // metres across a map of one site, so that its scale says something
)

// Map draws sites at their places: a circle each, its area in proportion to visits a
// week, on a projection that keeps lengths near its middle, see Local. It needs no
// other map. Sites too close to be told apart stand in a ring around their place.
// Without sites the figure is the zero value.
func Map(w *words.Words, id string, spots []Spot) Figure {
	if len(spots) == 0 {
		return Figure{}
	}
	plane := planeOf(spots)
	f := Figure{ID: id, Title: mapTitle(w, len(spots), plane), Linked: true, Table: mapTable(w, spots)}
	f.Says = w.Say("North is up. A circle’s area stands for visits a week; lengths are those at latitude %.2f°.", plane.Latitude)
	wide := planOf(spots, plane, wideWidth, 420)
	narrow := planOf(spots, plane, narrowWidth, 360)
	f.Wide, f.Narrow = wide.svg(w, spots), narrow.svg(w, spots)
	return f
}

func mapTitle(w *words.Words, n int, p plane) string {
	if n == 1 {
		return w.Say("Where the box stands")
	}
	if span := math.Hypot(p.width, p.height); span >= 1 {
		return w.Say("%s within %s", words.Count(int64(n), "box", "boxes"), metres(w, ceilTo125(span)))
	}
	return w.Say("%s at one place", words.Count(int64(n), "box", "boxes"))
}

func mapTable(w *words.Words, spots []Spot) Table {
	t := Table{Caption: w.Say("The boxes on the map"), Head: []string{w.Say("Box"), w.Say("Visits a week"), w.Say(limitsOf95), w.Say("State")}}
	for _, s := range spots {
		rate, limits := rateCells(w, s.Weekly)
		t.Rows = append(t.Rows, []string{s.Name, rate, limits, s.Says})
		t.Links = append(t.Links, s.Visits)
	}
	return t
}

// Local is a local plane: the equirectangular projection about a standard parallel φ₀
// and a central meridian λ₀,
//
//	x = R·(λ − λ₀)·cos φ₀   y = R·(φ − φ₀)
//
// with R = usage.EarthRadius, metres, x to the east and y to the north. Lengths along
// meridians and along φ₀ are true; along another parallel φ they are cos φ₀/cos φ
// times too long: within 1 % over 100 km at 52°. (J. P. Snyder, Map projections: a
// working manual, US Geological Survey Professional Paper 1395, 1987, pages 90–91,
// from memory.)
//
// λ − λ₀ is taken to lie within half a turn, so that the 180° meridian is no edge.
type Local struct{ Latitude, Longitude float64 } // φ₀, λ₀, degrees

// LocalOf returns the plane about the mean latitude of points. Its meridian is the
// middle of the shortest arc of longitude that holds them all. Without points it is
// the plane about 0, 0.
func LocalOf(points []usage.Point) Local {
	var l Local
	longitudes := make([]float64, len(points))
	for i, p := range points {
		l.Latitude += p.Latitude / float64(len(points))
		longitudes[i] = math.Mod(math.Mod(p.Longitude, 360)+360, 360)
	}
	slices.Sort(longitudes)
	gap := -1.0
	for i, east := range longitudes {
		west := longitudes[(i+len(longitudes)-1)%len(longitudes)]
		if i == 0 {
			west -= 360
		}
		if east-west > gap { // the widest stretch without a point is outside the map
			gap = east - west
			l.Longitude = halfTurn(east + (360-gap)/2)
		}
	}
	return l
}

// halfTurn returns an angle, degrees, as from −180 (included) to 180.
func halfTurn(d float64) float64 { return d - 360*math.Floor((d+180)/360) }

// Place returns the metres of a point east and north of the plane's middle.
func (l Local) Place(p usage.Point) (x, y float64) {
	const degree = math.Pi / 180
	return usage.EarthRadius * halfTurn(p.Longitude-l.Longitude) * degree * math.Cos(l.Latitude*degree),
		usage.EarthRadius * (p.Latitude - l.Latitude) * degree
}

// plane is a Local with the places of all sites on it, and their extent in metres.
type plane struct {
	Local
	at            [][2]float64
	width, height float64
	midX, midY    float64
}

func planeOf(spots []Spot) plane {
	points := make([]usage.Point, len(spots))
	for i, s := range spots {
		points[i] = s.At
	}
	p := plane{Local: LocalOf(points)}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, point := range points {
		x, y := p.Place(point)
		p.at = append(p.at, [2]float64{x, y})
		low[0], high[0] = min(low[0], x), max(high[0], x)
		low[1], high[1] = min(low[1], y), max(high[1], y)
	}
	p.width, p.height = high[0]-low[0], high[1]-low[1]
	p.midX, p.midY = (low[0]+high[0])/2, (low[1]+high[1])/2
	return p
}

// floorTo125 returns the largest of 1, 2 and 5 times a power of ten up to v.
func floorTo125(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{10, 5, 2} {
		if m*power <= v*(1+1e-12) {
			return tidy(m * power)
		}
	}
	return tidy(power)
}

// ceilTo125 returns the least of 1, 2 and 5 times a power of ten from v.
func ceilTo125(v float64) float64 {
	low := floorTo125(v)
	for _, m := range []float64{1, 2, 2.5, 5} {
		if got := low * m; got >= v*(1-1e-12) && floorTo125(got) == tidy(got) {
			return tidy(got)
		}
	}
	return low
}

// metres writes a length of 1, 2 or 5 times a power of ten.
func metres(w *words.Words, v float64) string {
	switch {
	case v >= 1000:
		return whole(w, v/1000) + " km"
	case v >= 1:
		return whole(w, v) + " m"
	}
	return w.Typed(v) + " m"
}

// svg draws the map. Its colours are classes of the style sheet.
func (l *plan) svg(w *words.Words, spots []Spot) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="map" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s">`, at(l.width), at(l.height))
	fmt.Fprintf(&b, `<rect class="field" x=".5" y=".5" width="%s" height="%s"/>`, at(l.width-1), at(l.height-mapFoot-1))
	l.drawLines(&b)
	for _, i := range l.order {
		l.marks[i].draw(w, &b, spots[i])
	}
	for _, m := range l.marks {
		if m.named {
			fmt.Fprintf(&b, `<text class="name" aria-hidden="true" x="%s" y="%s">%s</text>`, at(m.label.left+1), at(m.label.bottom-3.5), template.HTMLEscapeString(m.text))
		}
	}
	l.drawFoot(w, &b)
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

func (l *plan) drawLines(b *strings.Builder) {
	for _, m := range l.marks {
		if m.moved {
			fmt.Fprintf(b, `<path class="leader" d="M%s %sL%s %s"/><circle class="place" cx="%s" cy="%s" r="1.5"/>`,
				at(m.placeX), at(m.placeY), at(m.x), at(m.y), at(m.placeX), at(m.placeY))
		}
		if m.leader {
			fmt.Fprintf(b, `<path class="leader" d="M%s %sL%s %s"/>`, at(m.x), at(m.y), at(m.lineX), at(m.lineY))
		}
	}
}

func (m *mark) draw(w *words.Words, b *strings.Builder, s Spot) {
	says := template.HTMLEscapeString(s.name(w))
	fmt.Fprintf(b, `<a href="%s" aria-label="%s"><title>%s</title>`, template.HTMLEscapeString(s.Href), says, says)
	fmt.Fprintf(b, `<circle class="press" cx="%s" cy="%s" r="%s"/>`, at(m.x), at(m.y), at(m.press))
	b.WriteString(Symbol(m.x, m.y, m.radius, s.Use, s.NeedsHand))
	b.WriteString(`</a>`)
}

// Symbol draws a site's circle as SVG elements, for the map and for its key: full
// where the site thrives, half full where it is steady, a ring with a line through it
// where it is quiet, a dashed ring where nothing is known; and a second ring with a
// flag where it needs a hand. Shapes tell them apart, colours only help.
func Symbol(x, y, r float64, use Use, needsHand bool) string {
	var b strings.Builder
	if needsHand {
		fmt.Fprintf(&b, `<circle class="hand" cx="%s" cy="%s" r="%s"/>`, at(x), at(y), at(r+handGap))
	}
	fmt.Fprintf(&b, `<circle class="spot %s" cx="%s" cy="%s" r="%s"/>`, use.Class(), at(x), at(y), at(r))
	switch use {
	case UseSteady:
		fmt.Fprintf(&b, `<path class="half" d="M%s %sA%s %s 0 0 0 %s %sZ"/>`, at(x-r), at(y), at(r), at(r), at(x+r), at(y))
	case UseQuiet:
		fmt.Fprintf(&b, `<path class="dash" d="M%s %sH%s"/>`, at(x-r*0.6), at(y), at(x+r*0.6))
	}
	if needsHand {
		fx, fy := x+(r+handGap)*math.Sqrt2/2, y-(r+handGap)*math.Sqrt2/2
		fmt.Fprintf(&b, `<path class="flag" d="M%s %sv-9l8 3.5-8 3.5z"/>`, at(fx), at(fy+1))
	}
	return b.String()
}

// name is the accessible name of a circle.
func (s Spot) name(w *words.Words) string {
	says := w.Say("%s: nothing recorded yet", s.Name)
	if e := s.Weekly; e != nil {
		says = w.Say("%s: %s visits a week, between %s and %s", s.Name, short(w, e.Value), short(w, e.Low), short(w, e.High))
	}
	if s.Says != "" {
		says += ". " + s.Says
	}
	return says
}

// drawFoot draws the scale bar, the key to the circles' area, and the north mark.
func (l *plan) drawFoot(w *words.Words, b *strings.Builder) {
	length, y := l.bar/l.perPx, l.height-14
	fmt.Fprintf(b, `<path class="bar" d="M1 %sv6h%sv-6"/><text x="%s" y="%s">%s</text>`,
		at(y-6), at(length), at(length+8), at(y+2), metres(w, l.bar))
	if l.key > 0 {
		r, text := l.radius(l.key), w.Say("%s a week", roundVisits(w, l.key))
		x := l.width - nameWidth(text) - 2
		fmt.Fprintf(b, `<circle class="key" cx="%s" cy="%s" r="%s"/><text x="%s" y="%s">%s</text>`,
			at(x-8-r), at(l.height-mapFoot/2), at(r), at(x), at(y+2), text)
	}
	x := l.width - 14
	fmt.Fprintf(b, `<g aria-hidden="true"><path class="north" d="M%s 28V8m-5 7l5-8 5 8"/><text class="mid" x="%s" y="41">%s</text></g>`, at(x), at(x), w.Say("N"))
}

// roundVisits writes a round number of visits.
func roundVisits(w *words.Words, v float64) string {
	if v < 1 {
		return w.Typed(v)
	}
	return whole(w, v)
}

// at writes a length for SVG, with a tenth of a pixel.
func at(v float64) string {
	s := strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
	if s == "-0" {
		return "0"
	}
	return s
}
