package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func spotAt(name string, latitude, longitude, weekly float64) Spot {
	return Spot{
		Name: name, At: usage.Point{Latitude: latitude, Longitude: longitude}, Href: "/sites/" + name, Visits: "/sites/" + name + "/visits",
		Weekly: &usage.Estimate{Value: weekly, Low: weekly / 2, High: 2*weekly + 1, Level: usage.Confidence},
	}
}

// Along the standard parallel and the meridians the plane's lengths are those of the
// sphere, and over 100 km at 52° they are within the 1 % that its comment claims;
// the reference is usage.Distance, great circles by haversines.
func TestLocalKeepsLengths(t *testing.T) {
	for _, c := range []struct {
		name      string
		a, b      usage.Point
		tolerance float64
	}{
		{"a street", usage.Point{Latitude: 52.1, Longitude: -8.2}, usage.Point{Latitude: 52.103, Longitude: -8.196}, 1e-5},
		{"100 km north", usage.Point{Latitude: 51.6, Longitude: -8}, usage.Point{Latitude: 52.5, Longitude: -8}, 1e-9},
		{"100 km across", usage.Point{Latitude: 51.7, Longitude: -8.5}, usage.Point{Latitude: 52.35, Longitude: -7.5}, 0.01},
		{"over the 180° meridian", usage.Point{Latitude: -17, Longitude: 179.99}, usage.Point{Latitude: -17.01, Longitude: -179.98}, 1e-5},
		{"on the equator", usage.Point{Latitude: 0, Longitude: 10}, usage.Point{Latitude: 0, Longitude: 10.5}, 1e-9},
		{"far north", usage.Point{Latitude: 69.65, Longitude: 18.9}, usage.Point{Latitude: 69.66, Longitude: 18.99}, 1e-4},
	} {
		l := LocalOf([]usage.Point{c.a, c.b})
		ax, ay := l.Place(c.a)
		bx, by := l.Place(c.b)
		got, want := math.Hypot(bx-ax, by-ay), usage.Distance(c.a, c.b)
		if math.Abs(got/want-1) > c.tolerance {
			t.Errorf("%s: %.2f m on the plane, want %.2f within %g", c.name, got, want, c.tolerance)
		}
		if (c.b.Latitude > c.a.Latitude) != (by > ay) && c.b.Latitude != c.a.Latitude || bx < ax-1e-6 {
			t.Errorf("%s: from %v %v to %v %v, want north up and east right", c.name, ax, ay, bx, by)
		}
	}
}

// networks are those that a map has to bear.
func networks() map[string][]Spot {
	all := map[string][]Spot{
		"one":                 {spotAt("Mill Lane", 52.1, -8.2, 40)},
		"one without figures": {{Name: "Old Quay", At: usage.Point{Latitude: 52.1, Longitude: -8.2}, Href: "/sites/QUAY"}},
		"two at one place":    {spotAt("Mill Lane", 52.1, -8.2, 40), spotAt("Old Quay", 52.1, -8.2, 40)},
		"at the pole":         {spotAt("A", 90, 0, 1), spotAt("B", 90, 90, 2)},
		"100 km":              {spotAt("South", 51.65, -8, 5), spotAt("North", 52.55, -8.1, 50), spotAt("East", 52, -7.2, 0)},
		"over 180°":           {spotAt("West", -17, 179.99, 5), spotAt("East", -17.01, -179.98, 50)},
		"no visits":           {spotAt("A", 52, -8, 0), spotAt("B", 52.001, -8, 0)},
	}
	var many, heap []Spot
	for i := range 60 {
		a := float64(i) * 2.4 // the golden angle, radians: spread evenly
		many = append(many, spotAt(fmt.Sprintf("Number %d Long Street", i), 52+0.001*math.Sqrt(float64(i))*math.Sin(a), -8+0.0016*math.Sqrt(float64(i))*math.Cos(a), float64(i*7%90)))
		heap = append(heap, spotAt(fmt.Sprintf("Box %d", i), 52, -8, float64(i)))
	}
	all["sixty"], all["sixty at one place"] = many, heap
	return all
}

func plans(spots []Spot) []plan {
	p := planeOf(spots)
	return []plan{planOf(spots, p, wideWidth, 420), planOf(spots, p, narrowWidth, 360)}
}

// checkPlan sees to what every map keeps: all circles and names inside, no name on a
// name or a circle, areas in proportion, one scale in both directions, a round bar.
func checkPlan(t interface{ Errorf(string, ...any) }, name string, spots []Spot, l plan) {
	inner := box{0, 0, l.width, l.height - mapFoot}
	plane := planeOf(spots)
	for i, m := range l.marks {
		if !(box{m.x - m.outer, m.y - m.outer, m.x + m.outer, m.y + m.outer}).within(inner) {
			t.Errorf("%s: circle of %q at %.1f, %.1f, radius %.1f, leaves the map of %v × %v", name, spots[i].Name, m.x, m.y, m.outer, l.width, inner.bottom)
		}
		dx, dy := (plane.at[i][0]-plane.at[0][0])/l.perPx, (plane.at[i][1]-plane.at[0][1])/l.perPx
		if math.Abs(m.placeX-l.marks[0].placeX-dx) > 1e-6 || math.Abs(l.marks[0].placeY-m.placeY-dy) > 1e-6 {
			t.Errorf("%s: %q stands %.2f, %.2f px from the first, want %.2f, %.2f", name, spots[i].Name, m.placeX-l.marks[0].placeX, l.marks[0].placeY-m.placeY, dx, dy)
		}
		if !m.moved && (m.x != m.placeX || m.y != m.placeY) {
			t.Errorf("%s: %q is moved and does not say so", name, spots[i].Name)
		}
		if e := spots[i].Weekly; e != nil && m.radius > leastRadius && math.Abs(m.radius*m.radius-e.Value*l.perArea) > 1e-6*m.radius {
			t.Errorf("%s: area of %q is not in proportion", name, spots[i].Name)
		}
		if !m.named {
			continue
		}
		if !m.label.within(inner) {
			t.Errorf("%s: name %q leaves the map", name, m.text)
		}
		for j, o := range l.marks {
			if j != i && o.named && o.label.hits(m.label) {
				t.Errorf("%s: names %q and %q overlap", name, m.text, o.text)
			}
			if m.label.hitsCircle(o.x, o.y, o.radius) {
				t.Errorf("%s: name %q lies on the circle of %q", name, m.text, spots[j].Name)
			}
		}
	}
	if px := l.bar / l.perPx; floorTo125(l.bar) != l.bar || px > 0.3*l.width+1e-6 || px < 0.3*l.width/2.5-1e-6 {
		t.Errorf("%s: scale bar of %v m is %.1f px long, want 1, 2 or 5 times a power of ten within %.0f to %.0f px", name, l.bar, px, 0.12*l.width, 0.3*l.width)
	}
}

func TestMapPlans(t *testing.T) {
	for name, spots := range networks() {
		for _, l := range plans(spots) {
			checkPlan(t, name, spots, l)
		}
	}
	for _, l := range plans(networks()["two at one place"]) {
		a, b := l.marks[0], l.marks[1]
		if math.Hypot(a.x-b.x, a.y-b.y) < a.radius+b.radius {
			t.Errorf("two boxes at one place overlap on a map %v wide", l.width)
		}
		if !a.named || !b.named {
			t.Errorf("two boxes at one place are not both named on a map %v wide", l.width)
		}
	}
	named := 0
	for _, m := range plans(networks()["sixty"])[0].marks {
		if m.named {
			named++
		}
	}
	if named < 20 {
		t.Errorf("%d of 60 boxes are named, want 20 at least", named)
	}
}

func TestMapPlansOfAnyNetwork(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		spread := rapid.SampledFrom([]float64{0, 1e-5, 1e-3, 0.1, 0.9}).Draw(rt, "spread")
		middle := rapid.Float64Range(-80, 80).Draw(rt, "latitude")
		east := rapid.Float64Range(-180, 180).Draw(rt, "longitude")
		var spots []Spot
		for i := range rapid.IntRange(1, 25).Draw(rt, "sites") {
			s := spotAt(strings.Repeat("n", 1+i%30), middle+spread*rapid.Float64Range(-1, 1).Draw(rt, "north"),
				halfTurn(east+spread*rapid.Float64Range(-1, 1).Draw(rt, "east")), rapid.Float64Range(0, 500).Draw(rt, "weekly"))
			s.NeedsHand = rapid.Bool().Draw(rt, "hand")
			spots = append(spots, s)
		}
		for _, l := range plans(spots) {
			checkPlan(rt, "made", spots, l)
		}
	})
}

// The drawing is well-formed XML without styles, scripts or ids; each site is one link
// with a name.
func TestMapDrawing(t *testing.T) {
	for name, spots := range networks() {
		spots[0].Name, spots[0].NeedsHand, spots[0].Use = `<b>"&'`, true, UseThrives
		f := Map(words.English, "map", spots)
		for _, svg := range []string{string(f.Wide), string(f.Narrow)} {
			links := 0
			for d := xml.NewDecoder(strings.NewReader(svg)); ; {
				token, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatalf("%s: %v in %s", name, err, svg)
				}
				e, ok := token.(xml.StartElement)
				if !ok {
					continue
				}
				says := ""
				for _, a := range e.Attr {
					if a.Name.Local == "style" || a.Name.Local == "id" || strings.HasPrefix(a.Name.Local, "on") {
						t.Errorf("%s: <%s> has the attribute %s", name, e.Name.Local, a.Name.Local)
					}
					if a.Name.Local == "aria-label" {
						says = a.Value
					}
					if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
						t.Errorf("%s: %s=%q", name, a.Name.Local, a.Value)
					}
				}
				if e.Name.Local == "a" {
					if links++; says == "" {
						t.Errorf("%s: a link has no name", name)
					}
				}
			}
			if links != len(spots) {
				t.Errorf("%s: %d links, want %d", name, links, len(spots))
			}
		}
		if len(f.Table.Rows) != len(spots) || len(f.Table.Links) != len(spots) {
			t.Errorf("%s: table of %d rows and %d links, want %d", name, len(f.Table.Rows), len(f.Table.Links), len(spots))
		}
	}
	if f := Map(words.English, "map", nil); f.Wide != "" {
		t.Error("a network without sites has a map")
	}
}

func TestRoundLengths(t *testing.T) {
	for _, c := range []struct{ v, floor, ceil float64 }{
		{1, 1, 1}, {1.5, 1, 2}, {2, 2, 2}, {4.99, 2, 5}, {5, 5, 5}, {6, 5, 10}, {999, 500, 1000}, {1000, 1000, 1000}, {0.03, 0.02, 0.05}, {21000, 20000, 50000},
	} {
		if f, u := floorTo125(c.v), ceilTo125(c.v); f != c.floor || u != c.ceil {
			t.Errorf("floorTo125, ceilTo125(%v) = %v, %v, want %v, %v", c.v, f, u, c.floor, c.ceil)
		}
	}
}

// All sides are drawn on the scale of the tallest.
func TestHoursTogetherShareAScale(t *testing.T) {
	r := &recorder{}
	low, high := made(40, gappy, 1).pattern(), made(40, gappy, 9).pattern()
	figures, err := New(r).HoursTogether(t.Context(), []HourSide{{ID: "a", Name: "Low", Pattern: low}, {ID: "b", Name: "High", Pattern: high}})
	if err != nil || len(figures) != 2 || figures[0].Title != "Low" || len(r.options) != 2 {
		t.Fatalf("HoursTogether = %d figures, %v", len(figures), err)
	}
	top := func(o map[string]any) any { return o["yAxis"].([]any)[0].(map[string]any)["max"] }
	own := &recorder{}
	if _, err := New(own).ByHour(t.Context(), "a", low); err != nil {
		t.Fatal(err)
	}
	if a, b := top(r.options[0]), top(r.options[1]); a == nil || a != b || a == top(own.options[0]) {
		t.Errorf("axes end at %v and %v, and at %v drawn alone, want the first two alike", a, b, top(own.options[0]))
	}
}
