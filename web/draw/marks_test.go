package draw

import (
	"bytes"
	"context"
	"encoding/xml"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// linkOf is a link of a drawing as a browser sees it.
type linkOf struct {
	Href string `xml:"href,attr"`
	Name string `xml:"aria-label,attr"`
	Tip  string `xml:"title"`
	Rect struct {
		X      float64 `xml:"x,attr"`
		Y      float64 `xml:"y,attr"`
		Width  float64 `xml:"width,attr"`
		Height float64 `xml:"height,attr"`
	} `xml:"rect"`
}

// drawn is a drawing with links: what is seen, then the links.
type drawn struct {
	Parts []struct {
		Hidden string   `xml:"aria-hidden,attr"`
		Fill   string   `xml:"fill,attr"`
		Links  []linkOf `xml:"a"`
	} `xml:"g"`
	Links []linkOf `xml:"-"`
}

func readDrawn(t testing.TB, svg []byte) drawn {
	t.Helper()
	var d drawn
	if err := xml.Unmarshal(svg, &d); err != nil {
		t.Fatalf("drawing is not well-formed: %v\n%s", err, svg)
	}
	if len(d.Parts) != 2 || d.Parts[0].Hidden != "true" || len(d.Parts[0].Links) > 0 || d.Parts[1].Fill != "none" {
		t.Fatalf("parts of the drawing are %+v, want what is seen, hidden from those who do not see it, and links without a colour", d.Parts)
	}
	d.Links = d.Parts[1].Links
	return d
}

// withMarks is an option of two axes with marks on them.
func withMarks(xAxis, yAxis map[string]any, marks Marks) []byte {
	return mustJSON(map[string]any{
		"grid":  map[string]any{"left": 40, "right": 10, "top": 20, "bottom": 30},
		"xAxis": xAxis, "yAxis": yAxis,
		"series": []any{map[string]any{"type": "bar", "data": []any{}}},
		"marks":  marks,
	})
}

// Areas of marks on a grid of 250 × 150 px that begins at (40, 20).
func TestMarksLieWhereTheAxesSay(t *testing.T) {
	e := newEngine(t, Options{})
	value := func(n float64) map[string]any { return map[string]any{"type": "value", "min": 0, "max": n} }
	category := func(names ...string) map[string]any { return map[string]any{"type": "category", "data": names} }
	inverse := category("a", "b", "c")
	inverse["inverse"] = true
	for _, c := range []struct {
		name string
		x, y map[string]any
		pad  int
		box  [4]float64
		want [4]float64
	}{
		{"value axes", value(10), value(5), 0, [4]float64{2, 3, 0, 5}, [4]float64{90, 20, 25, 150}},
		{"a part in height", value(10), value(5), 0, [4]float64{0, 10, 1, 2}, [4]float64{40, 110, 250, 30}},
		{"rows", value(10), inverse, 2, [4]float64{0, 10, 1, 1}, [4]float64{40, 70, 250, 50}},
		{"one row alone", value(10), category("a"), 2, [4]float64{0, 10, 0, 0}, [4]float64{40, 20, 250, 150}},
		{"cells", category("a", "b", "c", "d", "e"), inverse, 3, [4]float64{4, 4, 2, 2}, [4]float64{240, 120, 50, 50}},
		{"two columns", category("a", "b", "c", "d", "e"), value(5), 1, [4]float64{1, 2, 0, 5}, [4]float64{90, 20, 100, 150}},
	} {
		marks := Marks{c.pad, []Mark{{c.box, "/here", "Here"}, {c.box, "/there", "There"}}}
		d := readDrawn(t, mustDraw(t, e, withMarks(c.x, c.y, marks), 300, 200))
		if len(d.Links) != 2 || d.Links[1].Href != "/there" {
			t.Fatalf("%s: links %+v, want /here and /there", c.name, d.Links)
		}
		r := d.Links[0].Rect
		for i, got := range []float64{r.X, r.Y, r.Width, r.Height} {
			if math.Abs(got-c.want[i]) > 0.02 {
				t.Errorf("%s: area %+v, want %v", c.name, r, c.want)
				break
			}
		}
	}
}

// The area of a bar's slot holds the bar that ECharts drew.
func TestMarksLieOverTheirBars(t *testing.T) {
	e := newEngine(t, Options{})
	values := []float64{3, 1, 4, 1, 5}
	option := map[string]any{
		"grid":  map[string]any{"left": 40, "right": 10, "top": 20, "bottom": 30},
		"xAxis": map[string]any{"type": "category", "data": []string{"a", "b", "c", "d", "e"}},
		"yAxis": map[string]any{"type": "value", "min": 0, "max": 5},
	}
	var data []any
	var marks Marks
	for i, v := range values {
		data = append(data, map[string]any{"value": v, "itemStyle": map[string]any{"color": "#12345" + strconv.Itoa(i)}})
		marks.Links = append(marks.Links, Mark{[4]float64{float64(i), float64(i), 0, 5}, "/bar/" + strconv.Itoa(i), "Bar"})
	}
	marks.Pad = 1
	option["series"], option["marks"] = []any{map[string]any{"type": "bar", "data": data}}, marks
	svg := mustDraw(t, e, mustJSON(option), 300, 200)
	for i, link := range readDrawn(t, svg).Links {
		m := regexp.MustCompile(`d="M([\d.]+) ([\d.]+)[^"]*" fill="#12345` + strconv.Itoa(i)).FindSubmatch(svg)
		if m == nil {
			t.Fatalf("no bar %d in\n%s", i, svg)
		}
		x, _ := strconv.ParseFloat(string(m[1]), 64)
		if r := link.Rect; x < r.X || x > r.X+r.Width/2 || r.Width != 50 {
			t.Errorf("bar %d begins at %v, its area goes from %v to %v", i, x, r.X, r.X+r.Width)
		}
	}
}

func TestMarksAreSafeAndNamed(t *testing.T) {
	e := newEngine(t, Options{})
	axis := map[string]any{"type": "value", "min": 0, "max": 1}
	says := `"><script>alert(1)</script> & ` + "\x00\u202e"
	svg := mustDraw(t, e, withMarks(axis, axis, Marks{0, []Mark{{[4]float64{0, 1, 0, 1}, `/a?b="c"&d='<e>'`, says}}}), 300, 200)
	d := readDrawn(t, svg)
	want := strings.ReplaceAll(says, "\x00", "\ufffd")
	if l := d.Links[0]; l.Name != want || l.Tip != want || l.Href != `/a?b="c"&d='<e>'` {
		t.Errorf("link %+v, want the name and tip %q", l, want)
	}
	if bytes.Contains(svg, []byte("<script")) || bytes.Contains(svg, []byte("style=")) {
		t.Errorf("drawing holds a script or style:\n%s", svg)
	}
	fresh := mustDraw(t, newEngine(t, Options{}), withMarks(axis, axis, Marks{0, []Mark{{[4]float64{0, 1, 0, 1}, `/a?b="c"&d='<e>'`, says}}}), 300, 200)
	if !bytes.Equal(svg, fresh) {
		t.Error("two engines draw the same option with marks differently")
	}
	for _, bad := range []Mark{
		{Href: "https://elsewhere.example/", Says: "x"}, {Href: "//elsewhere.example/", Says: "x"}, {Href: `/\elsewhere.example/`, Says: "x"},
		{Href: "/\t/elsewhere.example/", Says: "x"}, {Href: "javascript:alert(1)", Says: "x"}, {Href: "", Says: "x"}, {Href: "#x", Says: "x"},
		{Href: "/nameless"},
	} {
		bad.Box = [4]float64{0, 1, 0, 1}
		if _, err := e.Draw(context.Background(), withMarks(axis, axis, Marks{0, []Mark{bad}}), 300, 200); err == nil {
			t.Errorf("Draw with the mark %+v = no error, want one", bad)
		}
	}
	for name, box := range map[string][4]float64{"empty": {1, 1, 0, 1}, "far away": {0, 1e9, 0, 1}} {
		if _, err := e.Draw(context.Background(), withMarks(axis, axis, Marks{0, []Mark{{box, "/x", "x"}}}), 300, 200); err == nil {
			t.Errorf("Draw with a mark that is %s = no error, want one", name)
		}
	}
}
