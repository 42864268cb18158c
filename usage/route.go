package usage

import (
	"math"
	"math/bits"
)

// Point is a point on the globe, degrees, north and east positive.
type Point struct {
	Latitude  float64 `json:"latitude"`
	Longitude float64 `json:"longitude"`
}

// EarthRadius is the mean radius of the Earth, (2a+b)/3 of the ellipsoid GRS 80, in
// metres (IUGG; Moritz, "Geodetic Reference System 1980", from memory). Great circles
// on a sphere of it are within 0.6 % of the way along the ellipsoid.
const EarthRadius = 6_371_008.8

// Arc returns the angle between two places as seen from the centre of the Earth,
// radians, by the haversine formula
//
//	2·asin √(sin²(Δφ/2) + cos φ₁·cos φ₂·sin²(Δλ/2))
//
// (R. W. Sinnott, "Virtues of the Haversine", Sky and Telescope 68, 1984, page 159,
// from memory), which stays exact for places close together. It is NaN where a
// coordinate is.
func Arc(a, b Point) float64 {
	const degree = math.Pi / 180
	half := func(d float64) float64 { s := math.Sin(d * degree / 2); return s * s }
	h := half(b.Latitude-a.Latitude) + math.Cos(a.Latitude*degree)*math.Cos(b.Latitude*degree)*half(b.Longitude-a.Longitude)
	return 2 * math.Asin(math.Sqrt(math.Min(1, h)))
}

// Distance returns the length of the great circle between two places, metres.
func Distance(a, b Point) float64 { return EarthRadius * Arc(a, b) }

// Route is an order in which to walk stops.
type Route struct {
	Order  []int   // indexes of the stops
	Metres float64 // along great circles, from the start (if there is one) and back (if asked)
	Exact  bool    // no order is shorter; false: a good one, by 2-opt
}

// MostExact is the largest number of stops whose shortest order is worked out
// exactly.
const MostExact = 12

// ShortestRoute returns a short order in which to walk stops: from start where it is
// not nil, else from whichever stop is best, and back to where it began if asked.
//
// Up to MostExact stops the order is the shortest there is (M. Held and R. M. Karp,
// "A dynamic programming approach to sequencing problems", J. SIAM 10, 1962, pages
// 196–210). Beyond, it is that of the nearest neighbour, made better by reversing
// pieces of it until no reversal shortens it (2-opt; G. A. Croes, "A method for
// solving traveling-salesman problems", Operations Research 6, 1958, pages 791–812).
// The sources are named from memory. The same stops give the same order.
func ShortestRoute(start *Point, stops []Point, back bool) Route {
	n := len(stops)
	if n == 0 {
		return Route{Order: []int{}, Exact: true}
	}
	w := newWalk(start, stops, back)
	var order []int
	if n <= MostExact {
		order = w.exact()
	} else {
		order = w.better(w.nearest())
	}
	return Route{Order: order, Metres: w.length(order), Exact: n <= MostExact}
}

// walk holds the distances of one problem.
type walk struct {
	n       int
	between [][]float64
	from    []float64 // from the start to each stop; 0 without one
	to      []float64 // from each stop back to the start; 0 where the walk ends at its last stop
	closed  bool      // back to the first stop, without a start of its own
}

func newWalk(start *Point, stops []Point, back bool) *walk {
	n := len(stops)
	w := &walk{n: n, between: make([][]float64, n), from: make([]float64, n), to: make([]float64, n), closed: back && start == nil}
	for i, a := range stops {
		w.between[i] = make([]float64, n)
		for j, b := range stops {
			w.between[i][j] = Distance(a, b)
		}
		if start != nil {
			w.from[i] = Distance(*start, a)
		}
		if start != nil && back {
			w.to[i] = w.from[i]
		}
	}
	return w
}

// length returns the metres of an order.
func (w *walk) length(order []int) float64 {
	if len(order) == 0 {
		return 0
	}
	sum := w.from[order[0]]
	for i := 1; i < len(order); i++ {
		sum += w.between[order[i-1]][order[i]]
	}
	last := order[len(order)-1]
	if w.closed {
		return sum + w.between[last][order[0]]
	}
	return sum + w.to[last]
}

// exact is Held and Karp's way. best[set][last] is the shortest way from the start
// through a set of stops that ends at one of them. A closed walk may begin anywhere,
// and begins at stop 0.
func (w *walk) exact() []int {
	size := 1 << w.n
	best, came := make([]float64, size*w.n), make([]int8, size*w.n)
	for i := range best {
		best[i], came[i] = math.Inf(1), -1
	}
	for i := range w.n {
		if !w.closed || i == 0 {
			best[(1<<i)*w.n+i] = w.from[i]
		}
	}
	for set := 1; set < size; set++ {
		for last := range w.n {
			here := best[set*w.n+last]
			if math.IsInf(here, 1) {
				continue
			}
			for next := range w.n {
				if set>>next&1 == 1 {
					continue
				}
				at := (set|1<<next)*w.n + next
				if d := here + w.between[last][next]; d < best[at] {
					best[at], came[at] = d, int8(last)
				}
			}
		}
	}
	return w.retrace(best, came)
}

// retrace follows the shortest way from its end.
func (w *walk) retrace(best []float64, came []int8) []int {
	set := 1<<w.n - 1
	last, shortest := 0, math.Inf(1)
	for i := range w.n {
		home := w.to[i]
		if w.closed {
			home = w.between[i][0]
		}
		if d := best[set*w.n+i] + home; d < shortest {
			last, shortest = i, d
		}
	}
	order := make([]int, w.n)
	for at := bits.OnesCount(uint(set)) - 1; at >= 0; at-- {
		order[at] = last
		before := came[set*w.n+last]
		set &^= 1 << last
		last = int(before)
	}
	return order
}

// nearest goes from each stop to the nearest that is left.
func (w *walk) nearest() []int {
	left := make([]bool, w.n)
	for i := range left {
		left[i] = true
	}
	order := make([]int, 0, w.n)
	for len(order) < w.n {
		next := -1
		for i := range w.n {
			if left[i] && (next < 0 || w.step(order, i) < w.step(order, next)) {
				next = i
			}
		}
		left[next] = false
		order = append(order, next)
	}
	return order
}

// step is the way from the end of an order to a stop.
func (w *walk) step(order []int, stop int) float64 {
	if len(order) == 0 {
		return w.from[stop]
	}
	return w.between[order[len(order)-1]][stop]
}

// better reverses pieces of an order as long as that shortens it. A gain smaller than
// a millimetre is none, so that rounding cannot turn it round for ever.
func (w *walk) better(order []int) []int {
	const least = 1e-3
	for improved := true; improved; {
		improved = false
		for i := 0; i < w.n-1; i++ {
			for j := i + 1; j < w.n; j++ {
				if w.gain(order, i, j) > least {
					reverse(order[i : j+1])
					improved = true
				}
			}
		}
	}
	return order
}

// gain is what reversing the stops i to j of an order saves. What lies before the
// first and behind the last stop is the start, the way back, or nothing.
func (w *walk) gain(order []int, i, j int) float64 {
	if w.closed && i == 0 && j == w.n-1 {
		return 0
	}
	into := func(stop int) float64 {
		switch {
		case i > 0:
			return w.between[order[i-1]][stop]
		case w.closed:
			return w.between[order[w.n-1]][stop]
		}
		return w.from[stop]
	}
	out := func(stop int) float64 {
		switch {
		case j < w.n-1:
			return w.between[stop][order[j+1]]
		case w.closed:
			return w.between[stop][order[0]]
		}
		return w.to[stop]
	}
	return into(order[i]) + out(order[j]) - into(order[j]) - out(order[i])
}

func reverse(s []int) {
	for i, j := 0, len(s)-1; i < j; i, j = i+1, j-1 {
		s[i], s[j] = s[j], s[i]
	}
}
