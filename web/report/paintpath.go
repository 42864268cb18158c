package report

import (
	"fmt"
	"math"
	"strconv"
)

type point struct{ x, y float64 }

// A step of an outline: a move, a line, a curve or a close, in absolute
// coordinates. A curve is a cubic Bézier one; to is where every step but a close
// ends.
type step struct {
	kind         byte // 'M', 'L', 'C', 'Z'
	first, other point
	to           point
}

// outlineOf reads the d of a path (SVG 1.1, 8.3): M, L, H, V, C, Q, A and Z,
// absolute or relative. Quadratic curves and arcs become cubic curves.
func outlineOf(d string) ([]step, error) {
	r := pathReader{rest: d}
	for {
		done, err := r.command()
		if err != nil {
			return nil, fmt.Errorf("paint: path %.40q: %w", d, err)
		}
		if done {
			return r.out, nil
		}
	}
}

type pathReader struct {
	rest      string
	verb      byte
	out       []step
	at, begin point
}

// command reads one command with its numbers; a command's letter may be left out
// where it repeats.
func (r *pathReader) command() (done bool, err error) {
	r.skip()
	if r.rest == "" {
		return true, nil
	}
	if c := r.rest[0]; c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
		r.verb, r.rest = c, r.rest[1:]
	} else if r.verb == 0 || r.verb|0x20 == 'z' {
		return false, fmt.Errorf("%q where a command is due", c)
	}
	if len(r.out) == 0 && r.verb|0x20 != 'm' {
		return false, fmt.Errorf("it begins with %q", r.verb)
	}
	count, known := map[byte]int{'m': 2, 'l': 2, 'h': 1, 'v': 1, 'c': 6, 'q': 4, 'a': 7, 'z': 0}[r.verb|0x20]
	if !known {
		return false, fmt.Errorf("command %q is not known", r.verb)
	}
	v := make([]float64, count)
	for i := range v {
		flag := r.verb|0x20 == 'a' && (i == 3 || i == 4)
		if v[i], err = r.number(flag); err != nil {
			return false, err
		}
	}
	r.do(v)
	return false, nil
}

func (r *pathReader) skip() {
	for r.rest != "" && (r.rest[0] == ' ' || r.rest[0] == ',' || r.rest[0] == '\n' || r.rest[0] == '\t') {
		r.rest = r.rest[1:]
	}
}

// number reads a number; the flags of an arc are one digit each and may stand
// without a space behind them.
func (r *pathReader) number(flag bool) (float64, error) {
	r.skip()
	n := numberLength(r.rest)
	if flag && n > 1 {
		n = 1
	}
	v, err := strconv.ParseFloat(r.rest[:n], 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%.8q where a number is due", r.rest)
	}
	r.rest = r.rest[n:]
	return v, nil
}

func numberLength(s string) int {
	dot, exponent := false, false
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
		case (c == '-' || c == '+') && (i == 0 || s[i-1]|0x20 == 'e'):
		case c == '.' && !dot && !exponent:
			dot = true
		case c|0x20 == 'e' && !exponent && i > 0:
			exponent = true
		default:
			return i
		}
	}
	return len(s)
}

func (r *pathReader) do(v []float64) {
	base := point{}
	if r.verb >= 'a' {
		base = r.at
	}
	p := func(i int) point { return point{base.x + v[i], base.y + v[i+1]} }
	switch r.verb | 0x20 {
	case 'm':
		r.add(step{kind: 'M', to: p(0)})
		r.begin = r.at
		r.verb -= 1 // what follows without a letter is a line: 'm' − 1 is 'l'
	case 'l':
		r.add(step{kind: 'L', to: p(0)})
	case 'h':
		r.add(step{kind: 'L', to: point{base.x + v[0], r.at.y}})
	case 'v':
		r.add(step{kind: 'L', to: point{r.at.x, base.y + v[0]}})
	case 'c':
		r.add(step{'C', p(0), p(2), p(4)})
	case 'q':
		c, to := p(0), p(2)
		r.add(step{'C', between(r.at, c, 2.0/3), between(to, c, 2.0/3), to})
	case 'a':
		r.arc(v, p(5))
	case 'z':
		r.out = append(r.out, step{kind: 'Z', to: r.begin})
		r.at = r.begin
	}
}

func (r *pathReader) add(s step) {
	r.out = append(r.out, s)
	r.at = s.to
}

func between(a, b point, t float64) point { return point{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)} }

// arc adds an elliptic arc as curves of a quarter of the way round at most: centre
// and angles by SVG 1.1, appendix F.6.5, with radii made large enough by F.6.6; the
// curve of an angle by the usual factor 4/3·tan(θ/4).
func (r *pathReader) arc(v []float64, to point) {
	rx, ry := math.Abs(v[0]), math.Abs(v[1])
	from := r.at
	if rx == 0 || ry == 0 || from == to {
		r.add(step{kind: 'L', to: to})
		return
	}
	sin, cos := math.Sincos(v[2] * math.Pi / 180)
	dx, dy := (from.x-to.x)/2, (from.y-to.y)/2
	x1, y1 := cos*dx+sin*dy, cos*dy-sin*dx
	if l := x1*x1/(rx*rx) + y1*y1/(ry*ry); l > 1 {
		rx, ry = rx*math.Sqrt(l), ry*math.Sqrt(l)
	}
	k := math.Sqrt(math.Max(0, rx*rx*ry*ry-rx*rx*y1*y1-ry*ry*x1*x1) / (rx*rx*y1*y1 + ry*ry*x1*x1))
	if (v[3] != 0) == (v[4] != 0) {
		k = -k
	}
	cx, cy := k*rx*y1/ry, -k*ry*x1/rx
	a := math.Atan2((y1-cy)/ry, (x1-cx)/rx)
	sweep := math.Atan2((-y1-cy)/ry, (-x1-cx)/rx) - a
	if v[4] != 0 && sweep < 0 {
		sweep += 2 * math.Pi
	} else if v[4] == 0 && sweep > 0 {
		sweep -= 2 * math.Pi
	}
	m := affine{cos, sin, -sin, cos, (from.x + to.x) / 2, (from.y + to.y) / 2}
	m = m.then(affine{rx, 0, 0, ry, cx, cy})
	for _, s := range arcSteps(a, sweep) {
		r.add(step{'C', m.at(s.first), m.at(s.other), m.at(s.to)})
	}
	r.out[len(r.out)-1].to, r.at = to, to
}

// arcSteps is an arc of the circle of radius 1 about 0 0, from the angle a on.
func arcSteps(a, sweep float64) (out []step) {
	n := max(1, int(math.Ceil(math.Abs(sweep)/(math.Pi/2)-1e-9)))
	part := sweep / float64(n)
	k := 4.0 / 3 * math.Tan(part/4)
	for range n {
		s0, c0 := math.Sincos(a)
		a += part
		s1, c1 := math.Sincos(a)
		out = append(out, step{'C', point{c0 - k*s0, s0 + k*c0}, point{c1 + k*s1, s1 - k*c1}, point{c1, s1}})
	}
	return out
}

// ellipse is a whole ellipse.
func ellipse(cx, cy, rx, ry float64) []step {
	m := affine{rx, 0, 0, ry, cx, cy}
	out := []step{{kind: 'M', to: point{cx + rx, cy}}}
	for _, s := range arcSteps(0, 2*math.Pi) {
		out = append(out, step{'C', m.at(s.first), m.at(s.other), m.at(s.to)})
	}
	return append(out, step{kind: 'Z'})
}

func polygon(closed bool, points ...point) []step {
	var out []step
	for i, p := range points {
		kind := byte('L')
		if i == 0 {
			kind = 'M'
		}
		out = append(out, step{kind: kind, to: p})
	}
	if closed && len(out) > 0 {
		out = append(out, step{kind: 'Z'})
	}
	return out
}

// flat makes an outline a polygon, its curves in eight pieces each.
func flat(outline []step) []point {
	var out []point
	at := point{}
	for _, s := range outline {
		switch s.kind {
		case 'C':
			for i := 1.0; i <= 8; i++ {
				out = append(out, onCurve(at, s, i/8))
			}
		case 'M', 'L':
			out = append(out, s.to)
		}
		at = s.to
	}
	return out
}

func onCurve(from point, s step, t float64) point {
	a, b, c := between(from, s.first, t), between(s.first, s.other, t), between(s.other, s.to, t)
	return between(between(a, b, t), between(b, c, t), t)
}

// outline is the outline of an element that has one.
func (e *element) outline() ([]step, error) {
	switch e.name {
	case "path":
		return outlineOf(e.attr["d"])
	case "polyline", "polygon":
		v, err := numbersOf(e.attr["points"])
		if err != nil || len(v)%2 != 0 {
			return nil, fmt.Errorf("paint: points of a %s: %q", e.name, e.attr["points"])
		}
		var points []point
		for i := 0; i < len(v); i += 2 {
			points = append(points, point{v[i], v[i+1]})
		}
		return polygon(e.name == "polygon", points...), nil
	case "line":
		v, err := e.all("x1", "y1", "x2", "y2")
		if err != nil {
			return nil, err
		}
		return polygon(false, point{v[0], v[1]}, point{v[2], v[3]}), nil
	case "rect":
		v, err := e.all("x", "y", "width", "height")
		if err != nil || v[2] <= 0 || v[3] <= 0 {
			return nil, err // a size of nought: not painted (SVG 1.1, 9.2)
		}
		x, y := v[0]+v[2], v[1]+v[3]
		return polygon(true, point{v[0], v[1]}, point{x, v[1]}, point{x, y}, point{v[0], y}), nil
	case "circle":
		v, err := e.all("cx", "cy", "r")
		if err != nil || v[2] <= 0 {
			return nil, err
		}
		return ellipse(v[0], v[1], v[2], v[2]), nil
	case "ellipse":
		v, err := e.all("cx", "cy", "rx", "ry")
		if err != nil || v[2] <= 0 || v[3] <= 0 {
			return nil, err
		}
		return ellipse(v[0], v[1], v[2], v[3]), nil
	}
	return nil, fmt.Errorf("paint: %s has no outline", e.name)
}
