package usage

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The angles of two published examples, both from memory: Los Angeles to New York by
// Ed Williams, "Aviation Formulary", worked examples (0.623585 radians), and Nashville
// to Los Angeles by Rosetta Code, "Haversine formula" (2887.2599506 km on a sphere of
// 6372.8 km).
func TestArcOfPublishedExamples(t *testing.T) {
	for _, c := range []struct {
		name string
		a, b Point
		want float64 // radians
		give float64
	}{
		{"LAX to JFK", Point{33 + 57./60, -118 - 24./60}, Point{40 + 38./60, -73 - 47./60}, 0.623585, 1e-6},
		{"BNA to LAX", Point{36.12, -86.67}, Point{33.94, -118.40}, 2887.2599506 / 6372.8, 1e-9},
		{"a quarter of the equator, by definition", Point{0, 10}, Point{0, 100}, math.Pi / 2, 1e-12},
		{"pole to pole, by definition", Point{90, 0}, Point{-90, 77}, math.Pi, 1e-7},
		{"over the date line, by definition", Point{0, 179.5}, Point{0, -179.5}, math.Pi / 180, 1e-12},
		{"the same place", Point{52.1, -8.2}, Point{52.1, -8.2}, 0, 0},
	} {
		if got := Arc(c.a, c.b); math.Abs(got-c.want) > c.give {
			t.Errorf("%s: Arc(%v, %v) = %.9f, want %.9f", c.name, c.a, c.b, got, c.want)
		}
	}
	if got := Distance(Point{0, 0}, Point{0, 180}); math.Abs(got-math.Pi*EarthRadius) > 1e-3 {
		t.Errorf("Distance half round the equator = %v, want %v", got, math.Pi*EarthRadius)
	}
}

// The great circle agrees with the angle between the vectors, a formula of its own.
func TestArcAgainstVectors(t *testing.T) {
	vector := func(p Point) [3]float64 {
		f, l := p.Latitude*math.Pi/180, p.Longitude*math.Pi/180
		return [3]float64{math.Cos(f) * math.Cos(l), math.Cos(f) * math.Sin(l), math.Sin(f)}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawPoint(t), drawPoint(t)
		u, v := vector(a), vector(b)
		x := [3]float64{u[1]*v[2] - u[2]*v[1], u[2]*v[0] - u[0]*v[2], u[0]*v[1] - u[1]*v[0]}
		want := math.Atan2(math.Hypot(math.Hypot(x[0], x[1]), x[2]), u[0]*v[0]+u[1]*v[1]+u[2]*v[2])
		if got := Arc(a, b); math.Abs(got-want) > 1e-7 {
			t.Fatalf("Arc(%v, %v) = %v, want %v", a, b, got, want)
		}
	})
}

func drawPoint(t *rapid.T) Point {
	return Point{rapid.Float64Range(-90, 90).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")}
}

// drawTown returns stops of one town, some of them at the same spot.
func drawTown(t *rapid.T, least, most int) (start *Point, stops []Point, back bool) {
	spot := rapid.Custom(func(t *rapid.T) Point {
		return Point{52 + float64(rapid.IntRange(0, 60).Draw(t, "north"))/1000, -8 + float64(rapid.IntRange(0, 60).Draw(t, "east"))/1000}
	})
	stops = rapid.SliceOfN(spot, least, most).Draw(t, "stops")
	if rapid.Bool().Draw(t, "started") {
		p := spot.Draw(t, "start")
		start = &p
	}
	return start, stops, rapid.Bool().Draw(t, "back")
}

// slowLength adds up the legs of a walk as one would with a map.
func slowLength(start *Point, stops []Point, back bool, order []int) float64 {
	var way []Point
	if start != nil {
		way = append(way, *start)
	}
	for _, i := range order {
		way = append(way, stops[i])
	}
	if back && len(way) > 0 {
		way = append(way, way[0])
	}
	sum := 0.0
	for i := 1; i < len(way); i++ {
		sum += Distance(way[i-1], way[i])
	}
	return sum
}

// permutations calls try with every order of n stops (Heap's algorithm).
func permutations(n int, try func([]int)) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var walk func(k int)
	walk = func(k int) {
		if k <= 1 {
			try(order)
			return
		}
		for i := range k {
			walk(k - 1)
			if k%2 == 0 {
				order[i], order[k-1] = order[k-1], order[i]
			} else {
				order[0], order[k-1] = order[k-1], order[0]
			}
		}
	}
	walk(n)
}

// Up to eight stops no order at all is shorter.
func TestExactRouteAgainstAllOrders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		most := 7
		if rapid.IntRange(0, 9).Draw(t, "long") == 0 {
			most = 8
		}
		start, stops, back := drawTown(t, 0, most)
		r := ShortestRoute(start, stops, back)
		checkRoute(t, start, stops, back, r)
		shortest := math.Inf(1)
		permutations(len(stops), func(order []int) { shortest = min(shortest, slowLength(start, stops, back, order)) })
		if !r.Exact || math.Abs(r.Metres-shortest) > 1e-6 {
			t.Fatalf("ShortestRoute(%v, %v, %v) = %.3f m (exact %v), want %.3f m", start, stops, back, r.Metres, r.Exact, shortest)
		}
	})
}

// checkRoute: every stop once, and the length is that of the order.
func checkRoute(t *rapid.T, start *Point, stops []Point, back bool, r Route) {
	t.Helper()
	seen := slices.Sorted(slices.Values(r.Order))
	for i := range stops {
		if len(seen) != len(stops) || seen[i] != i {
			t.Fatalf("order %v of %d stops, want each once", r.Order, len(stops))
		}
	}
	if want := slowLength(start, stops, back, r.Order); math.Abs(r.Metres-want) > 1e-6 {
		t.Fatalf("order %v = %v m, want %v", r.Order, r.Metres, want)
	}
}

// 2-opt is never longer than the nearest neighbour that it began with, and no single
// reversal makes it shorter.
func TestLongRoute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start, stops, back := drawTown(t, MostExact+1, 30)
		r := ShortestRoute(start, stops, back)
		checkRoute(t, start, stops, back, r)
		if r.Exact {
			t.Fatalf("%d stops are said to be exact", len(stops))
		}
		w := newWalk(start, stops, back)
		if near := w.length(w.nearest()); r.Metres > near+1e-6 {
			t.Fatalf("2-opt = %v m, longer than the nearest neighbour's %v m", r.Metres, near)
		}
		for i := range r.Order {
			for j := i + 1; j < len(r.Order); j++ {
				turned := slices.Clone(r.Order)
				reverse(turned[i : j+1])
				if shorter := slowLength(start, stops, back, turned); shorter < r.Metres-0.01 {
					t.Fatalf("reversing %d to %d of %v = %v m, shorter than %v m", i, j, r.Order, shorter, r.Metres)
				}
			}
		}
	})
}

// 2-opt by itself comes close to the shortest order where that is known.
func TestTwoOptAgainstExact(t *testing.T) {
	worst := 1.0
	rapid.Check(t, func(t *rapid.T) {
		start, stops, back := drawTown(t, 3, 10)
		w := newWalk(start, stops, back)
		got, best := w.length(w.better(w.nearest())), w.length(w.exact())
		if got < best-1e-6 {
			t.Fatalf("2-opt = %v m, shorter than the shortest %v m", got, best)
		}
		if best > 0 {
			worst = max(worst, got/best)
		}
		if got > 2*best+1e-6 { // 1.5 at most in 20,000 towns
			t.Fatalf("2-opt = %v m, more than twice %v m", got, best)
		}
	})
	t.Logf("2-opt is at most %.0f %% longer than the shortest order here", (worst-1)*100)
}

func BenchmarkExactRoute(b *testing.B) {
	stops := make([]Point, MostExact)
	for i := range stops {
		stops[i] = Point{52 + float64(i*i%7)/100, -8 + float64(i*5%11)/100}
	}
	for b.Loop() {
		ShortestRoute(&stops[0], stops, true)
	}
}

// A degree of latitude is 111,195 m on a sphere of the mean radius: π/180 · 6,371,008.8.
// The last row was worked out with the spherical law of cosines, another formula.
func TestDistance(t *testing.T) {
	for _, test := range []struct{ lat1, lon1, lat2, lon2, want, within float64 }{
		{0, 0, 0, 0, 0, 0},
		{52, 8, 53, 8, 111195, 1},
		{0, 179.9995, 0, -179.9995, 111.195, 0.01},
		{51.5074, -0.1278, 48.8566, 2.3522, 343556, 100},
	} {
		if got := Distance(Point{test.lat1, test.lon1}, Point{test.lat2, test.lon2}); math.Abs(got-test.want) > test.within {
			t.Errorf("Distance(%v %v, %v %v) = %v, want %v", test.lat1, test.lon1, test.lat2, test.lon2, got, test.want)
		}
	}
}
