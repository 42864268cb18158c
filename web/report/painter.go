package report

import (
	"fmt"
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// centralRise is how far below the middle of its letters the baseline of a text is,
// as a part of its size: half the height of the capitals and figures of the
// drawings' face (0.668 of its em, by its OS/2 table).
const centralRise = 0.334

// painter puts a drawing on a page.
type painter struct {
	*pen
	*painting
}

// paint puts a drawing on the page with its top left corner at x, y mm, width mm
// wide, and returns its height, mm.
func (p *pen) paint(svg string, x, y, width float64) (float64, error) {
	drawing, err := readPainting(svg)
	if err != nil {
		return 0, err
	}
	k := width / drawing.width
	pt := painter{p, drawing}
	err = pt.children(drawing.root, freshBrush(affine{k, 0, 0, k, x, y}))
	p.plainLines()
	return drawing.height * k, err
}

// sizeOf returns the height of a drawing that is width wide.
func sizeOf(svg string, width float64) (height float64, err error) {
	drawing, err := readPainting(svg)
	if err != nil {
		return 0, err
	}
	return drawing.height * width / drawing.width, nil
}

func (p painter) children(e *element, b brush) error {
	for _, c := range e.children {
		if err := p.element(c, b); err != nil {
			return err
		}
	}
	return nil
}

func (p painter) element(e *element, b brush) error {
	if e.name == "defs" || e.name == "clipPath" || e.name == "linearGradient" {
		return nil // painted where it is referred to
	}
	b, err := b.take(p.painting, e)
	if err != nil {
		return err
	}
	if name := e.attr["clip-path"]; name != "" && name != "none" {
		end, err := p.clip(name, b)
		if err != nil {
			return err
		}
		defer end()
	}
	switch e.name {
	case "g", "a", "svg":
		return p.children(e, b)
	case "text":
		return p.words(e, b)
	}
	outline, err := e.outline()
	if err != nil {
		return err
	}
	return p.shape(outline, b)
}

// clip keeps what is painted until end is called to the inside of a clipPath.
func (p painter) clip(name string, b brush) (end func(), err error) {
	m := reference.FindStringSubmatch(name)
	if m == nil || p.byID[m[1]] == nil || p.byID[m[1]].name != "clipPath" {
		return nil, fmt.Errorf("paint: clip-path %q is not known", name)
	}
	path := p.byID[m[1]]
	if units := path.attr["clipPathUnits"]; len(path.children) != 1 || units != "" && units != "userSpaceOnUse" {
		return nil, fmt.Errorf("paint: clipPath of %d shapes in units %q is not known", len(path.children), units)
	}
	shape := path.children[0]
	move, err := transformOf(shape.attr["transform"])
	if err != nil {
		return nil, err
	}
	outline, err := shape.outline()
	if err != nil {
		return nil, err
	}
	to := b.to.then(move)
	p.ClipPolygon(pointsOf(flat(outline), to), false)
	return p.ClipEnd, nil
}

func pointsOf(points []point, to affine) []fpdf.PointType {
	out := make([]fpdf.PointType, len(points))
	for i, q := range points {
		r := to.at(q)
		out[i] = fpdf.PointType{X: r.x, Y: r.y}
	}
	return out
}

// shape fills and strokes an outline.
func (p painter) shape(outline []step, b brush) error {
	if len(outline) == 0 {
		return nil
	}
	fill, stroke := !b.fill.none, !b.stroke.none && b.width > 0
	if fill && b.fill.gradient != nil {
		if err := p.shade(outline, b); err != nil {
			return err
		}
		fill = false
	}
	if stroke && b.stroke.gradient != nil {
		return fmt.Errorf("paint: a stroke of a gradient is not known")
	}
	if fill {
		p.SetFillColor(b.fill.r, b.fill.g, b.fill.b)
		p.seeThrough(b.opacity*b.fillOpacity*b.fill.opacity, func() {
			style := "F"
			if b.evenOdd {
				style = "F*"
			}
			p.trace(outline, b.to)
			p.DrawPath(style)
		})
	}
	if stroke {
		p.stroked(b)
		p.seeThrough(b.opacity*b.strokOpacity*b.stroke.opacity, func() {
			p.trace(outline, b.to)
			p.DrawPath("D")
		})
	}
	return nil
}

// seeThrough paints with an opacity.
func (p painter) seeThrough(opacity float64, paint func()) {
	if opacity >= 1 {
		paint()
		return
	}
	p.SetAlpha(max(0, opacity), "Normal")
	paint()
	p.SetAlpha(1, "Normal")
}

func (p painter) stroked(b brush) {
	k := b.to.scale()
	p.SetDrawColor(b.stroke.r, b.stroke.g, b.stroke.b)
	p.SetLineWidth(b.width * k)
	p.SetLineCapStyle(b.linecap)
	p.SetLineJoinStyle(b.join)
	dash := make([]float64, len(b.dash))
	for i, d := range b.dash {
		dash[i] = d * k
	}
	p.SetDashPattern(dash, b.dashOffset*k)
}

func (p painter) trace(outline []step, to affine) {
	for _, s := range outline {
		q := to.at(s.to)
		switch s.kind {
		case 'M':
			p.MoveTo(q.x, q.y)
		case 'L':
			p.LineTo(q.x, q.y)
		case 'C':
			a, b := to.at(s.first), to.at(s.other)
			p.CurveBezierCubicTo(a.x, a.y, b.x, b.y, q.x, q.y)
		case 'Z':
			p.ClosePath()
		}
	}
}

// shade fills an outline with a gradient from one colour to another along the box
// around it (SVG 1.1, 13.2.2, units objectBoundingBox).
func (p painter) shade(outline []step, b brush) error {
	g := b.fill.gradient
	if units := g.attr["gradientUnits"]; len(g.children) != 2 || units != "" && units != "objectBoundingBox" {
		return fmt.Errorf("paint: gradient of %d colours in units %q is not known", len(g.children), units)
	}
	var ends [2]ink
	for i, s := range g.children {
		at, err := s.number("offset", 0)
		if err != nil || at != float64(i) {
			return fmt.Errorf("paint: gradient with a colour at %q is not known", s.attr["offset"])
		}
		if s.attr["stop-opacity"] != "" && s.attr["stop-opacity"] != "1" {
			return fmt.Errorf("paint: gradient with an opacity is not known")
		}
		if ends[i], err = p.inkOf(s.attr["stop-color"]); err != nil {
			return err
		}
	}
	x2, err := g.number("x2", 1)
	if err != nil {
		return err
	}
	v, err := g.all("x1", "y1", "y2")
	if err != nil {
		return err
	}
	points := pointsOf(flat(outline), b.to)
	x, y, w, h := boxAround(points)
	p.ClipPolygon(points, false)
	p.seeThrough(b.opacity*b.fillOpacity, func() {
		// the library counts up from the lower edge
		p.LinearGradient(x, y, w, h, ends[0].r, ends[0].g, ends[0].b, ends[1].r, ends[1].g, ends[1].b, v[0], 1-v[1], x2, 1-v[2])
	})
	p.ClipEnd()
	return nil
}

func boxAround(points []fpdf.PointType) (x, y, w, h float64) {
	x, y = math.Inf(1), math.Inf(1)
	right, low := math.Inf(-1), math.Inf(-1)
	for _, q := range points {
		x, y, right, low = min(x, q.X), min(y, q.Y), max(right, q.X), max(low, q.Y)
	}
	return x, y, right - x, low - y
}

// words writes a text.
func (p painter) words(e *element, b brush) error {
	if !b.stroke.none || b.fill.gradient != nil {
		return fmt.Errorf("paint: text %.20q with a stroke or a gradient is not known", e.words)
	}
	v, err := e.all("x", "y")
	if err != nil || b.fill.none || e.words == "" {
		return err
	}
	k := b.to.scale()
	style := style{face: faceText, size: b.fontSize * k / mmPerPt, colour: [3]int{b.fill.r, b.fill.g, b.fill.b}}
	if b.bold {
		style.face = faceBold
	}
	at := b.to.at(point{v[0], v[1]})
	wide, dy := p.measure(e.words, style), 0.0
	x := at.x
	switch b.anchor {
	case "middle":
		x -= wide / 2
	case "end":
		x -= wide
	}
	if b.central {
		dy = centralRise * b.fontSize * k
	}
	p.seeThrough(b.opacity*b.fillOpacity*b.fill.opacity, func() {
		turn := b.to.turn()
		if math.Abs(turn) < 0.01 {
			p.write(x, at.y+dy, e.words, style)
			return
		}
		p.TransformBegin()
		p.TransformRotate(turn, at.x, at.y)
		p.write(x, at.y+dy, e.words, style)
		p.TransformEnd()
	})
	return nil
}
