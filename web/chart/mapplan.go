package chart

import (
	"cmp"
	"math"
	"slices"
)

// mark is a site as a map of some size draws it, CSS px.
type mark struct {
	x, y         float64 // its circle
	placeX       float64 // its true place, elsewhere where sites are too close
	placeY       float64
	radius       float64
	outer        float64 // radius with the ring of a site that needs a hand
	press        float64 // radius of the area that can be pressed
	label        box     // of its name; not there where there was no room
	named        bool
	leader       bool // a line leads from the name to the circle
	text         string
	moved        bool
	lineX, lineY float64 // end of the leader at the name
}

// box is a rectangle.
type box struct{ left, top, right, bottom float64 }

func (b box) hits(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

func (b box) hitsCircle(x, y, r float64) bool {
	dx, dy := x-min(max(x, b.left), b.right), y-min(max(y, b.top), b.bottom)
	return dx*dx+dy*dy < r*r
}

func (b box) within(o box) bool {
	return b.left >= o.left && b.right <= o.right && b.top >= o.top && b.bottom <= o.bottom
}

// plan is a map laid out in a space of width × height CSS px.
type plan struct {
	width, height float64
	perPx         float64 // metres
	bar           float64 // length of the scale bar, metres
	key           float64 // visits a week that the key's circle stands for; 0: none
	perArea       float64 // square px of radius² a visit a week
	marks         []mark
	order         []int // in which marks are drawn: the largest first
}

// planOf lays out a map, at most so high.
func planOf(spots []Spot, p plane, width, highest float64) plan {
	most := min(mostRadius, width/14, 0.28*math.Sqrt(width*highest/float64(len(spots))))
	edge := mapMargin + most
	across := width - 2*edge
	l := plan{width: width, perPx: max(p.width, leastSpan) / across}
	if up := highest - mapFoot - 2*edge; p.height/l.perPx > up {
		l.perPx = p.height / up
	}
	l.height = math.Ceil(max(p.height/l.perPx+2*edge, 170) + mapFoot)
	l.bar = floorTo125(0.3 * width * l.perPx)
	l.size(spots, most)
	middleX, middleY := width/2, (l.height-mapFoot)/2
	for i := range l.marks {
		m := &l.marks[i]
		m.placeX = middleX + (p.at[i][0]-p.midX)/l.perPx
		m.placeY = middleY - (p.at[i][1]-p.midY)/l.perPx
		m.x, m.y = m.placeX, m.placeY
	}
	l.apart()
	l.pressable()
	l.name(spots)
	return l
}

// size gives each mark its radius: √(rate/highest rate) of the largest, and not less
// than leastRadius, so that nought can be seen and pressed.
func (l *plan) size(spots []Spot, most float64) {
	top := 0.0
	for _, s := range spots {
		if s.Weekly != nil {
			top = max(top, s.Weekly.Value)
		}
	}
	l.marks = make([]mark, len(spots))
	l.order = make([]int, len(spots))
	if top > 0 {
		l.perArea = most * most / top
		l.key = floorTo125(min(top, mostKey*mostKey/l.perArea))
	}
	for i, s := range spots {
		l.order[i] = i
		l.marks[i].radius = leastRadius
		if s.Weekly != nil {
			l.marks[i].radius = max(leastRadius, l.radius(s.Weekly.Value))
		}
		if l.marks[i].outer = l.marks[i].radius; s.NeedsHand {
			l.marks[i].outer += handGap + 1
		}
	}
	slices.SortStableFunc(l.order, func(a, b int) int { return cmp.Compare(l.marks[b].radius, l.marks[a].radius) })
}

// radius is that of a circle that stands for so many visits a week.
func (l *plan) radius(weekly float64) float64 { return math.Sqrt(weekly * l.perArea) }

// tooClose is how near two places are that cannot be told apart, px.
const tooClose = 7.0

// apart puts sites that are too close into rings around the middle of their places.
func (l *plan) apart() {
	done := make([]bool, len(l.marks))
	for i := range l.marks {
		if done[i] {
			continue
		}
		var group []int
		for j := i; j < len(l.marks); j++ {
			if !done[j] && math.Hypot(l.marks[j].placeX-l.marks[i].placeX, l.marks[j].placeY-l.marks[i].placeY) < tooClose {
				group, done[j] = append(group, j), true
			}
		}
		if len(group) > 1 {
			l.ring(group)
		}
	}
}

func (l *plan) ring(group []int) {
	x, y, largest, n := 0.0, 0.0, 0.0, float64(len(group))
	for _, i := range group {
		x, y, largest = x+l.marks[i].placeX/n, y+l.marks[i].placeY/n, max(largest, l.marks[i].outer)
	}
	radius := min((largest+3)/math.Sin(math.Pi/n), (l.height-mapFoot)/2-largest-4)
	x = min(max(x, radius+largest+2), l.width-radius-largest-2)
	y = min(max(y, radius+largest+2), l.height-mapFoot-radius-largest-2)
	for k, i := range group {
		turn := 2 * math.Pi * float64(k) / n
		m := &l.marks[i]
		m.x, m.y, m.moved = x-radius*math.Cos(turn), y-radius*math.Sin(turn), true
	}
}

// pressable gives each mark an area of 24 px across, as W3C, Web Content
// Accessibility Guidelines 2.2, 2.5.8 has it, or as much as its neighbours leave.
func (l *plan) pressable() {
	for i := range l.marks {
		m, nearest := &l.marks[i], math.Inf(1)
		for j, o := range l.marks {
			if j != i {
				nearest = min(nearest, math.Hypot(o.x-m.x, o.y-m.y)-o.radius)
			}
		}
		m.press = max(m.outer, min(12, nearest))
	}
}

// name puts names beside their circles where they hit nothing, the largest circle's
// first: close by, else further off with a line that leads to it, else not at all.
func (l *plan) name(spots []Spot) {
	var taken []box
	letters := int(l.width / 22)
	for _, i := range l.order {
		m := &l.marks[i]
		m.text = cut(spots[i].Name, letters)
		for _, far := range []float64{0, 14, 28} {
			if l.nameAt(m, far, taken) {
				taken = append(taken, m.label)
				break
			}
		}
	}
}

// nameAt tries the eight sides of a circle at some distance.
func (l *plan) nameAt(m *mark, far float64, taken []box) bool {
	frame := box{2, 2, l.width - 26, l.height - mapFoot} // the north mark stands on the right
	w := nameWidth(m.text)
	for _, side := range [][2]float64{{1, 0}, {-1, 0}, {0, -1}, {0, 1}, {1, -1}, {1, 1}, {-1, -1}, {-1, 1}} {
		reach := m.outer + 4 + far
		if side[0] != 0 && side[1] != 0 {
			reach *= math.Sqrt2 / 2
		}
		x, y := m.x+side[0]*reach, m.y+side[1]*reach
		b := box{x + (side[0]-1)*w/2, y + (side[1]-1)*mapLine/2, x + (side[0]+1)*w/2, y + (side[1]+1)*mapLine/2}
		if b.within(frame) && !l.covers(b, taken) && (far == 0 || !crossed(m.x, m.y, x, y, taken)) {
			m.label, m.named, m.leader, m.lineX, m.lineY = b, true, far > 0, x, y
			return true
		}
	}
	return false
}

func (l *plan) covers(b box, taken []box) bool {
	for _, m := range l.marks {
		if b.hitsCircle(m.x, m.y, m.outer+1) {
			return true
		}
	}
	return slices.ContainsFunc(taken, b.hits)
}

// crossed reports whether a straight line goes through any of the boxes.
func crossed(x1, y1, x2, y2 float64, boxes []box) bool {
	for t := 0.0; t <= 1; t += 0.1 {
		x, y := x1+t*(x2-x1), y1+t*(y2-y1)
		if slices.ContainsFunc(boxes, func(b box) bool { return b.hitsCircle(x, y, 1) }) {
			return true
		}
	}
	return false
}

// nameWidth is an ample guess of the width of a name of 12 px: scripts with letters
// as wide as they are high begin with Hangul.
func nameWidth(s string) float64 {
	w := 0.0
	for _, r := range s {
		if w += mapLetter; r >= 0x1100 {
			w += 12 - mapLetter
		}
	}
	return w
}
