package usage

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// drain is a charge as it is drawn, date by date, each part of it worth e^kt at the
// time t after the beginning: with self-discharge k a pack of Q₀ is empty when the
// sum has come to Q₀, since dQ/dt = −L − kQ has the solution
// Q·e^kt = Q₀ − ∫ L·e^kt dt.
//
// Ahead of the records the sum may go many ways, its paths: use is log-normal around
// what is expected, with a variance that falls as weeks add up, and doors are left
// ajar by chance (Poisson), for times that are exponential: one such door may draw as
// much as a month of visits.
type drain struct {
	u      *doorUse
	k      float64
	from   float64   // dates since u.first
	first  int       // the date that holds from
	ajar   float64   // charge a second of a door left ajar
	steady []float64 // sums by the end of date first+i: standby, and what was recorded
	ahead  []float64 // what visits ahead are expected to draw
	doubt  []float64 // ahead, each part times the standard deviation of its season
	open   []float64 // what doors left ajar ahead are expected to draw
	sums   map[int][]float64
}

// expected is the path on which all goes as expected.
const expected = -1

// drain sums the load of date i, mAh a day by visits and steady, from a time on, and of
// doors left ajar by the second.
func (u *doorUse) drain(from, k, ajar float64, load func(i int) (visits, steady float64)) *drain {
	d := &drain{u: u, k: k, from: from, first: int(from), ajar: ajar, sums: map[int][]float64{}}
	var steady, ahead, doubt, open float64
	for i := d.first; i < len(u.openings); i++ {
		worth := d.worth(i)
		v, s := load(i)
		steady += s * worth
		left := 0.0
		if ajar > 0 {
			left = ajar * u.ajar[i]
		}
		if i < u.recorded {
			steady += (v + left) * worth
		} else {
			ahead += v * worth
			doubt += v * worth * u.seasonSD[u.week(i)]
			open += left * worth
		}
		d.steady, d.ahead = append(d.steady, steady), append(d.ahead, ahead)
		d.doubt, d.open = append(d.doubt, doubt), append(d.open, open)
	}
	return d
}

// worth is what one a day, drawn on date i, comes to.
func (d *drain) worth(i int) float64 {
	begin := max(float64(i), d.from) - d.from
	end := float64(i+1) - d.from
	if d.k > 0 {
		return (math.Exp(d.k*end) - math.Exp(d.k*begin)) / d.k
	}
	return end - begin
}

// sum returns the sums by the end of each date on a path; they never fall.
func (d *drain) sum(path int) []float64 {
	if s, ok := d.sums[path]; ok {
		return s
	}
	s := make([]float64, len(d.steady))
	var random *rand.Rand
	if path != expected {
		random = rand.New(rand.NewPCG(20000101, uint64(path))) // the same paths each time
	}
	highest, open, factor := 0.0, 0.0, 1.0
	for i := range s {
		if i%daysOfWeek == 0 || d.first+i == d.u.recorded {
			factor = d.factor(i, path)
		}
		if random == nil {
			open = d.open[i]
		} else if at := d.first + i; d.ajar > 0 && at >= d.u.recorded && random.Float64() < d.u.ajarRate {
			open += d.ajar * d.u.ajarS * random.ExpFloat64() * d.worth(at)
		}
		highest = max(highest, d.steady[i]+d.ahead[i]*factor+open)
		s[i] = highest
	}
	d.sums[path] = s
	return s
}

// factor is by what the use ahead, up to the end of date first+i, is off on a path:
// log-normal with mean 1.
func (d *drain) factor(i, path int) float64 {
	if path == expected || d.ahead[i] <= 0 {
		return 1
	}
	weeks := max(float64(d.first+i+1-d.u.recorded)/daysOfWeek, 1)
	season := d.doubt[i] / d.ahead[i] * min(1, math.Sqrt(weeks/seasonWeeks))
	variance := d.u.weekSD*d.u.weekSD/weeks + d.u.levelSD*d.u.levelSD + season*season
	variance = min(variance, 1)
	return math.Exp(normalLevels[path]*math.Sqrt(variance) - variance/2)
}

// at returns the sum at a time in dates since u.first, on a path.
func (d *drain) at(t float64, path int) float64 {
	s := d.sum(path)
	x := t - float64(d.first)
	switch i := int(x); {
	case t <= d.from || len(s) == 0:
		return 0
	case i >= len(s):
		return s[len(s)-1]
	case i == 0:
		return s[0] * (t - d.from) / (float64(d.first+1) - d.from)
	default:
		return s[i-1] + (s[i]-s[i-1])*(x-float64(i))
	}
}

// when returns the time at which the sum comes to a charge on a path; +Inf beyond the
// horizon.
func (d *drain) when(charge float64, path int) float64 {
	s := d.sum(path)
	i, _ := slices.BinarySearch(s, charge)
	if i == len(s) {
		return math.Inf(1)
	}
	before, begin := 0.0, d.from
	if i > 0 {
		before, begin = s[i-1], float64(d.first+i)
	}
	end := float64(d.first + i + 1)
	if s[i] <= before {
		return end
	}
	return begin + (end-begin)*(charge-before)/(s[i]-before)
}

// weighted is a value with its weight.
type weighted struct{ v, w float64 }

// normalLevels are pathsAhead values, equally likely, that stand for a normal law.
var normalLevels = func() (z [pathsAhead]float64) {
	for i := range z {
		z[i] = distuv.UnitNormal.Quantile((float64(i) + 0.5) / pathsAhead)
	}
	return z
}()

// dates returns when the sum comes to a charge that is e^−y times as large, for the
// weighted y, with the use ahead as uncertain as it is.
func (d *drain) dates(charge float64, ys []weighted) DateRange {
	times := make([]weighted, 0, len(ys)*len(normalLevels))
	for path := range normalLevels {
		for _, y := range ys {
			times = append(times, weighted{d.when(charge*math.Exp(-y.v), path), y.w})
		}
	}
	q := quantiles(times, (1-Confidence)/2, 0.5, 1-(1-Confidence)/2)
	return DateRange{Low: d.u.dateAt(q[0]), Likely: d.u.dateAt(q[1]), High: d.u.dateAt(q[2]), Level: Confidence}
}

// dateAt returns the date of a time, nil for none.
func (u *doorUse) dateAt(t float64) *Date {
	if math.IsInf(t, 0) || math.IsNaN(t) {
		return nil
	}
	date := u.first + Date(math.Floor(t))
	return &date
}

// quantiles returns quantiles of a weighted sample, which it sorts. They are NaN
// without weight.
func quantiles(sample []weighted, ps ...float64) []float64 {
	slices.SortFunc(sample, func(a, b weighted) int { return cmp.Compare(a.v, b.v) })
	total := 0.0
	for _, s := range sample {
		total += s.w
	}
	out := make([]float64, len(ps))
	for i, p := range ps {
		out[i] = math.NaN()
		sum := 0.0
		for _, s := range sample {
			if sum += s.w; total > 0 && sum >= p*total {
				out[i] = s.v
				break
			}
		}
	}
	return out
}
