package usage

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// process is a made-up site's visitors: an inhomogeneous Poisson process, in UTC,
// whose days carry gamma factors.
type process struct {
	name   string
	perDay float64 // mean over the year
	theta  float64 // variance of a day's factor
	day    func(hour float64, weekday int) float64
	season func(Date) float64
	level  func(year float64) float64 // by years since the beginning
}

func bell(x, middle, width float64) float64 {
	z := (x - middle) / width
	return math.Exp(-z * z / 2)
}

// Kinds of day, season and level.
func afternoon(h float64, weekday int) float64 {
	return 0.02 + bell(h, 14, 3.5)*(1+0.5*float64(weekday/6))
}
func schoolDay(h float64, weekday int) float64 {
	if weekday > 5 {
		return 0.08 * bell(h, 13, 3.5)
	}
	return bell(h, 8.6, 0.5) + 1.3*bell(h, 15.2, 0.9) + 0.08*bell(h, 12, 3)
}
func evenings(h float64, weekday int) float64 {
	return bell(h, 21, 2) + 0.3*bell(h, 1, 1.5) + 0.2*bell(h, 16, 3)
}

func even(Date) float64     { return 1 }
func summer(d Date) float64 { return 1 + 0.7*math.Sin(2*math.Pi*(float64(d)-110)/365.25) }

// school has holidays in which a quarter of the visitors come: two weeks about New
// Year, two in April, six in summer. The year's day counts from 1 January.
func school(d Date) float64 {
	y, _, _ := d.YMD()
	day := int(d - DateOf(y, 1, 1))
	for _, h := range [][2]int{{0, 6}, {98, 112}, {196, 238}, {356, 367}} {
		if day >= h[0] && day < h[1] {
			return 0.25
		}
	}
	return 1.12
}

func steady(float64) float64    { return 1 }
func growing(y float64) float64 { return math.Pow(1.3, y) }
func dropped(y float64) float64 {
	if y > 0.6 {
		return 0.3
	}
	return 1
}

func processes() []process {
	return []process{
		{"sparse", 1, 0, afternoon, even, steady},
		{"sparse, over-dispersed", 1, 0.5, afternoon, even, steady},
		{"few, school", 3, 0.15, schoolDay, school, steady},
		{"usual", 8, 0.1, afternoon, summer, steady},
		{"usual, growing", 8, 0, afternoon, summer, growing},
		{"usual, dropped", 10, 0.1, evenings, even, dropped},
		{"over-dispersed", 11, 0.45, afternoon, summer, steady},
		{"school", 16, 0.08, schoolDay, school, steady},
		{"busy", 30, 0, evenings, even, steady},
		{"busy, over-dispersed", 30, 0.25, afternoon, even, steady},
		{"busy, school", 30, 0.08, schoolDay, school, dropped},
	}
}

// hourly returns the expected visits of each hour of so many days from a Monday.
func (p process) hourly(from Date, days int) []float64 {
	mean := 0.0
	for w := 1; w <= 7; w++ {
		for h := range 24 {
			mean += p.day(float64(h)+0.5, w) / 7
		}
	}
	out := make([]float64, 0, 24*days)
	for d := from; d < from+Date(days); d++ {
		f := p.perDay / mean * p.season(d) * p.level(float64(d-from)/365.25)
		for h := range 24 {
			out = append(out, f*p.day(float64(h)+0.5, d.Weekday()))
		}
	}
	return out
}

func drawGamma(random *rand.Rand, mean, variance float64) float64 {
	if variance <= 0 {
		return mean
	}
	return distuv.Gamma{Alpha: mean * mean / variance, Beta: mean / variance, Src: random}.Rand()
}

func drawPoisson(random *rand.Rand, mean float64) int {
	if mean <= 0 {
		return 0
	}
	return int(distuv.Poisson{Lambda: mean, Src: random}.Rand())
}

// arrivals draws instants outside the outages.
func (p process) arrivals(random *rand.Rand, from Date, hourly []float64, outages []reach) []int64 {
	var out []int64
	factor := 1.0
	for i, mean := range hourly {
		if i%24 == 0 {
			factor = drawGamma(random, 1, p.theta)
		}
		start, k := int64(from)*daySeconds+int64(i)*hourSeconds, len(out)
		for range drawPoisson(random, mean*factor) {
			out = append(out, start+random.Int64N(hourSeconds))
		}
		slices.Sort(out[k:])
	}
	return slices.DeleteFunc(out, func(at int64) bool {
		return slices.ContainsFunc(outages, func(o reach) bool { return o.from <= at && at < o.to })
	})
}

// logbookOf makes a logbook of instants; recording goes from the first to the last.
func logbookOf(at []int64) Logbook {
	lb := Logbook{Cards: []CardRef{{ID: "0123456789abcdef0123456789abcdef"}}}
	for i, t := range at {
		o := timed(t, 20)
		o.Line = int32(i + 1)
		lb.Openings = append(lb.Openings, o)
	}
	if len(at) > 0 {
		lb.Stretches = []Stretch{{at[0], at[len(at)-1], Recording}}
	}
	return lb
}
