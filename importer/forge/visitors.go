package forge

import (
	"math"
	"math/rand/v2"
	"time"

	"doorleaf/usage"
)

// Character says who comes to a box, when, and what they do there.
type Character struct {
	Name   string  `json:"name"`
	PerDay float64 `json:"per_day"` // expected visits a day, mean over the year, at the start
	// Week holds relative weights by civil hour of the week, Monday 0 h first;
	// their scale does not matter.
	Week [usage.HoursOfWeek]float64 `json:"week"`
	// Season holds relative weights by month as north of the equator, January
	// first; they are turned by half a year south of it. Scale does not matter.
	Season [12]float64 `json:"season"`
	Trend  float64     `json:"trend"` // growth a year, as a fraction
	// Dispersion is the variance of the gamma factor, of mean 1, that every
	// civil date draws: counts of a date with mean m have variance m + Dispersion·m².
	Dispersion float64 `json:"dispersion"`
	Again      float64 `json:"again"`        // probability that a visitor opens the door once more
	OpenS      float64 `json:"open_s"`       // median of the open seconds, log-normal
	OpenSigma  float64 `json:"open_sigma"`   // standard deviation of their logarithm
	Bounce     float64 `json:"bounce"`       // probability that a shutting door bounces (a rattle)
	WindPerDay float64 `json:"wind_per_day"` // rattles a day that nobody made
	Ajar       float64 `json:"ajar"`         // probability that a visitor leaves the door ajar
}

// rates is a Character's expected visits an hour, worked out once.
type rates struct {
	week   [usage.HoursOfWeek]float64 // a full civil hour, mean season
	season [12]float64                // mean 1
}

func (c Character) rates(south bool) rates {
	var r rates
	sum, mean := 0.0, 0.0
	for _, w := range c.Week {
		sum += w
	}
	for _, w := range c.Season {
		mean += w / 12
	}
	for i, w := range c.Week {
		r.week[i] = c.PerDay * 7 * w / sum
	}
	for i, w := range c.Season {
		if south {
			i = (i + 6) % 12
		}
		r.season[i] = w / mean
	}
	return r
}

// perHour returns the expected visits an hour at a civil time, without trend.
func (r *rates) perHour(local time.Time) float64 {
	return r.week[hourOfWeek(local)] * r.season[local.Month()-1]
}

// hourOfWeek returns 24·(ISO weekday − 1) + hour.
func hourOfWeek(local time.Time) int {
	return (int(local.Weekday())+6)%7*24 + local.Hour()
}

// grown returns the factor by which visits have grown after s seconds.
func (c Character) grown(s int64) float64 {
	return math.Pow(1+c.Trend, float64(s)/(365.25*86400))
}

// Expected returns the expected visits in [from, to), Unix seconds, at a site
// in the given zone whose trend starts at from. Visits that find the door ajar
// are among them, although they leave no opening.
func (c Character) Expected(from, to int64, zone *time.Location, south bool) float64 {
	r, sum := c.rates(south), 0.0
	for h := range civilHours(from, to, zone) {
		sum += r.perHour(h.local) * c.grown(h.from-from) * float64(h.to-h.from) / 3600
	}
	return sum
}

// civilHour is the part [from, to) of one civil hour.
type civilHour struct {
	from, to int64
	local    time.Time // at from
}

// civilHours cuts [from, to) at the full hours of the zone's civil time. The
// hour that comes twice comes twice, the missing one not at all.
func civilHours(from, to int64, zone *time.Location) func(yield func(civilHour) bool) {
	return func(yield func(civilHour) bool) {
		for t := from; t < to; {
			local := time.Unix(t, 0).In(zone)
			next := min(to, t+3600-int64(local.Minute()*60+local.Second()))
			if !yield(civilHour{t, next, local}) {
				return
			}
			t = next
		}
	}
}

// arrivals draws the instants in [from, to) at which visitors come, ascending:
// a Poisson process whose rate follows the pattern and the factor of the date.
func (c Character) arrivals(rng *rand.Rand, from, to int64, zone *time.Location, south bool) []int64 {
	r := c.rates(south)
	var out []int64
	factor, day := 1.0, -1
	for h := range civilHours(from, to, zone) {
		if h.local.YearDay() != day {
			day, factor = h.local.YearDay(), dayFactor(rng, c.Dispersion)
		}
		perSecond := r.perHour(h.local) * factor * c.grown(h.from-from) / 3600
		if perSecond <= 0 {
			continue
		}
		for t := float64(h.from); ; {
			if t += rng.ExpFloat64() / perSecond; t >= float64(h.to) {
				break
			}
			out = append(out, int64(t))
		}
	}
	return out
}

// dayFactor draws from a gamma distribution of mean 1 and the given variance.
func dayFactor(rng *rand.Rand, variance float64) float64 {
	if variance <= 0 {
		return 1
	}
	return gamma(rng, 1/variance) * variance
}

// gamma draws from the gamma distribution of the given shape and scale 1.
// Method: Marsaglia and Tsang, "A simple method for generating gamma
// variables", ACM TOMS 26 (2000), 363–372; below shape 1 by their note on
// page 371: gamma(a) = gamma(a+1)·U^(1/a).
func gamma(rng *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(rng, shape+1) * math.Pow(rng.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := rng.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-rng.Float64()) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
