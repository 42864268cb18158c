package report

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A painting is a drawing in SVG as the package draw writes it: a small part of
// SVG 1.1 (W3C Recommendation, second edition, 2011), read into a tree. What the
// painter does not know is an error that names it, so that nothing is left out of
// a report in silence.
type painting struct {
	root          *element
	width, height float64 // of the viewBox, whose origin is 0 0
	byID          map[string]*element
}

// element is one element with its attributes and, of a text, its words.
type element struct {
	name     string
	attr     map[string]string
	words    string
	children []*element
}

// paintable are the elements that the painter knows, by the attributes that it
// takes from them beside those of every element; the rest of svgSilent say nothing
// about what is seen on paper.
var paintable = map[string]string{
	"svg": "viewBox", "g": "", "a": "", "defs": "", "path": "d", "rect": "x y width height",
	"circle": "cx cy r", "ellipse": "cx cy rx ry", "line": "x1 y1 x2 y2", "polyline": "points", "polygon": "points",
	"text": "x y", "clipPath": "clipPathUnits", "linearGradient": "x1 y1 x2 y2 gradientUnits", "stop": "offset stop-color stop-opacity",
}

const (
	svgStyle = " id fill stroke stroke-width stroke-linecap stroke-linejoin stroke-miterlimit stroke-dasharray stroke-dashoffset opacity" +
		" fill-opacity stroke-opacity fill-rule clip-rule clip-path transform font-size font-weight text-anchor dominant-baseline color "
	svgSilent = " xmlns space href role aria-hidden aria-label pointer-events class "
)

var svgSkipped = []string{"title", "desc"} // for those who do not see the drawing

// readPainting reads a drawing.
func readPainting(svg string) (*painting, error) {
	p := &painting{byID: map[string]*element{}}
	dec := xml.NewDecoder(strings.NewReader(svg))
	var open []*element
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("read drawing: %w", err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if slices.Contains(svgSkipped, t.Name.Local) {
				if err := dec.Skip(); err != nil {
					return nil, fmt.Errorf("read drawing: %w", err)
				}
				continue
			}
			e, err := elementOf(t)
			if err != nil {
				return nil, err
			}
			if id := e.attr["id"]; id != "" {
				p.byID[id] = e
			}
			if len(open) > 0 {
				parent := open[len(open)-1]
				parent.children = append(parent.children, e)
			} else if p.root = e; e.name != "svg" {
				return nil, fmt.Errorf("read drawing: it begins with %q, want svg", e.name)
			}
			open = append(open, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if err := addWords(open, string(t)); err != nil {
				return nil, err
			}
		}
	}
	if p.root == nil {
		return nil, errors.New("read drawing: it is empty")
	}
	return p, p.sized()
}

func addWords(open []*element, words string) error {
	if len(open) > 0 && open[len(open)-1].name == "text" {
		open[len(open)-1].words += words
		return nil
	}
	if strings.TrimSpace(words) != "" {
		return fmt.Errorf("read drawing: text %q outside a text element", words)
	}
	return nil
}

func elementOf(t xml.StartElement) (*element, error) {
	e := &element{name: t.Name.Local, attr: make(map[string]string, len(t.Attr))}
	own, known := paintable[e.name]
	if !known {
		return nil, fmt.Errorf("paint: element %q is not known", e.name)
	}
	for _, a := range t.Attr {
		name := a.Name.Local
		switch {
		case strings.Contains(svgSilent, " "+name+" "):
		case strings.Contains(svgStyle, " "+name+" "), slices.Contains(strings.Fields(own), name):
			e.attr[name] = strings.TrimSpace(a.Value)
		default:
			return nil, fmt.Errorf("paint: attribute %s=%q of %s is not known", name, a.Value, e.name)
		}
	}
	return e, nil
}

func (p *painting) sized() error {
	box, err := numbersOf(p.root.attr["viewBox"])
	if err != nil || len(box) != 4 || box[0] != 0 || box[1] != 0 || !(box[2] > 0) || !(box[3] > 0) {
		return fmt.Errorf("read drawing: viewBox %q, want 0 0 and a size", p.root.attr["viewBox"])
	}
	p.width, p.height = box[2], box[3]
	return nil
}

// numbersOf reads numbers between spaces and commas.
func numbersOf(s string) ([]float64, error) {
	fields := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == ',' || r == '\n' || r == '\t' })
	out := make([]float64, len(fields))
	for i, f := range fields {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("paint: %q is no number", f)
		}
		out[i] = v
	}
	return out, nil
}

// number reads an attribute that is a number; standard where it is not there.
func (e *element) number(name string, standard float64) (float64, error) {
	s, ok := e.attr[name]
	if !ok {
		return standard, nil
	}
	v, err := numbersOf(s)
	if err != nil || len(v) != 1 {
		return 0, fmt.Errorf("paint: %s=%q of %s is no number", name, s, e.name)
	}
	return v[0], nil
}

// all reads several numbers, each 0 where it is not there.
func (e *element) all(names ...string) ([]float64, error) {
	out := make([]float64, len(names))
	for i, n := range names {
		var err error
		if out[i], err = e.number(n, 0); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// affine is a transform: x′ = a·x + c·y + e, y′ = b·x + d·y + f.
type affine struct{ a, b, c, d, e, f float64 }

var unmoved = affine{a: 1, d: 1}

// then returns the transform that does n first and m afterwards.
func (m affine) then(n affine) affine {
	return affine{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

func (m affine) at(p point) point { return point{m.a*p.x + m.c*p.y + m.e, m.b*p.x + m.d*p.y + m.f} }

// scale is by how much m makes lengths longer, where it does so evenly.
func (m affine) scale() float64 { return math.Sqrt(math.Abs(m.a*m.d - m.b*m.c)) }

// turn is the angle of m in degrees, counted as PDF does, against the clock.
func (m affine) turn() float64 { return -math.Atan2(m.b, m.a) * 180 / math.Pi }

// transformOf reads a transform attribute (SVG 1.1, 7.6).
func transformOf(s string) (affine, error) {
	m := unmoved
	for rest := strings.TrimSpace(s); rest != ""; {
		name, after, ok := strings.Cut(rest, "(")
		inner, tail, ok2 := strings.Cut(after, ")")
		v, err := numbersOf(inner)
		if !ok || !ok2 || err != nil {
			return m, fmt.Errorf("paint: transform %q is not known", s)
		}
		one, err := oneTransform(strings.Trim(name, " ,"), v)
		if err != nil {
			return m, fmt.Errorf("paint: transform %q: %w", s, err)
		}
		m = m.then(one)
		rest = strings.TrimSpace(tail)
	}
	return m, nil
}

func oneTransform(name string, v []float64) (affine, error) {
	switch {
	case name == "matrix" && len(v) == 6:
		return affine{v[0], v[1], v[2], v[3], v[4], v[5]}, nil
	case name == "translate" && len(v) == 2:
		return affine{1, 0, 0, 1, v[0], v[1]}, nil
	case name == "translate" && len(v) == 1:
		return affine{1, 0, 0, 1, v[0], 0}, nil
	case name == "scale" && len(v) == 2:
		return affine{v[0], 0, 0, v[1], 0, 0}, nil
	case name == "scale" && len(v) == 1:
		return affine{v[0], 0, 0, v[0], 0, 0}, nil
	case name == "rotate" && (len(v) == 1 || len(v) == 3):
		sin, cos := math.Sincos(v[0] * math.Pi / 180)
		m := affine{cos, sin, -sin, cos, 0, 0}
		if len(v) == 3 {
			m = affine{1, 0, 0, 1, v[1], v[2]}.then(m).then(affine{1, 0, 0, 1, -v[1], -v[2]})
		}
		return m, nil
	}
	return unmoved, fmt.Errorf("%s of %d numbers is not known", name, len(v))
}
