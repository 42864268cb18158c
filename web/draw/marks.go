package draw

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
)

// Marks are the parts of a drawing that lead somewhere. They stand in an option
// under the key "marks", of which ECharts knows nothing: the drawing has a link
// over each, in their order, that a keyboard reaches and a pointer tells about.
type Marks struct {
	Pad   int    `json:"pad"` // which axes have categories, of which a box holds the whole: 0 none, 1 x, 2 y, 3 both
	Links []Mark `json:"links"`
}

// Mark is one such part.
type Mark struct {
	Box  [4]float64 `json:"box"`  // x from and to, y from and to, in units of the first axes
	Href string     `json:"href"` // an address on the same server, from its root: /sites/…
	Says string     `json:"says"` // the name of the link
}

// area is where a mark lies: x, y, width and height in CSS px.
type area [4]float64

// marksOf returns the marks of an option, which is JSON.
func marksOf(option []byte) ([]Mark, error) {
	var o struct {
		Marks *Marks `json:"marks"`
	}
	if err := json.Unmarshal(option, &o); err != nil {
		return nil, fmt.Errorf("marks of an option: %w", err)
	}
	if o.Marks == nil {
		return nil, nil
	}
	for _, m := range o.Marks.Links {
		if !local(m.Href) {
			return nil, fmt.Errorf("mark %q leads to %q: want an address on this server", m.Says, m.Href)
		}
		if m.Says == "" {
			return nil, fmt.Errorf("mark that leads to %q has no name", m.Href)
		}
	}
	return o.Marks.Links, nil
}

// local reports whether an address leads to a path of the same server whatever
// page it stands on. Browsers take \ for /, and leave out tabs and line ends.
func local(href string) bool {
	return strings.HasPrefix(href, "/") && !strings.HasPrefix(href, "//") &&
		!strings.ContainsFunc(href, func(r rune) bool { return r <= ' ' || r == '\\' || r == 0x7f })
}

// errArea says that ECharts did not place a mark.
var errArea = errors.New("place marks: the drawing has not as many areas as marks, or one out of measure")

// parted splits what a machine returns into the drawing and the areas of its
// marks.
func parted(drawn string) (svg string, areas []area, err error) {
	const end = "</svg>"
	at := strings.LastIndex(drawn, end) + len(end)
	if at < len(end) || at == len(drawn) {
		return drawn, nil, nil
	}
	if err := json.Unmarshal([]byte(drawn[at:]), &areas); err != nil {
		return "", nil, fmt.Errorf("place marks: %w", err)
	}
	return drawn[:at], areas, nil
}

// linked returns svg, as rewrite made it, with a link over each mark. What is
// drawn is hidden from those who do not see it: for them the links say it.
func linked(svg []byte, marks []Mark, areas []area) ([]byte, error) {
	if len(marks) == 0 {
		return svg, nil
	}
	first, last := bytes.IndexByte(svg, '>')+1, bytes.LastIndex(svg, []byte("</svg>"))
	if len(areas) != len(marks) || first == 0 || last < first {
		return nil, errArea
	}
	var out bytes.Buffer
	out.Grow(len(svg) + 300*len(marks))
	out.Write(svg[:first])
	out.WriteString(`<g aria-hidden="true">`)
	out.Write(svg[first:last])
	out.WriteString(`</g><g fill="none" pointer-events="all">`)
	for i, m := range marks {
		if !areas[i].measured() {
			return nil, errArea
		}
		writeLink(&out, m, areas[i])
	}
	out.WriteString(`</g>`)
	out.Write(svg[last:])
	return out.Bytes(), nil
}

func (a area) measured() bool {
	for _, v := range a {
		if math.IsNaN(v) || math.Abs(v) > maxSide {
			return false
		}
	}
	return a[2] > 0 && a[3] > 0
}

func writeLink(out *bytes.Buffer, m Mark, a area) {
	says := legible(m.Says)
	out.WriteString(`<a href="`)
	escape(out, m.Href)
	out.WriteString(`" aria-label="`)
	escape(out, says)
	out.WriteString(`"><title>`)
	escape(out, says)
	fmt.Fprintf(out, `</title><rect x="%s" y="%s" width="%s" height="%s"/></a>`,
		shorten(fmt.Sprint(a[0])), shorten(fmt.Sprint(a[1])), shorten(fmt.Sprint(a[2])), shorten(fmt.Sprint(a[3])))
}
