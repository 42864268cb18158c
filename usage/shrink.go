package usage

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Exposed is the visits of a site and its exposure in days. Over-dispersed sites
// go in with both divided by their φ.
type Exposed struct {
	Visits float64
	Days   float64
}

// PriorMethod says how a prior is fitted.
type PriorMethod uint8

// The methods, with r = n/t, m = Σn/Σt, T = Σt, and K sites.
const (
	// PriorML takes the largest marginal (negative binomial) likelihood.
	PriorML PriorMethod = iota
	// PriorMarshall takes the variance Σt(r − m)²/T − m/(T/K). (R. J. Marshall,
	// Mapping disease and mortality rates using empirical Bayes estimators, Applied
	// Statistics 40, 1991, pages 283–294; formula from memory.)
	PriorMarshall
	// PriorUnbiased takes (Σt(r − m)² − (K − 1)m) / (T − Σt²/T), which has the right
	// mean.
	PriorUnbiased
)

// Prior is the gamma law that the rates of a network's sites are taken to follow,
// in visits a day: mean Shape/Rate, variance Shape/Rate².
//
// Where the sites differ by no more than chance, there is no such law: Pooled is
// true, Shape and Rate are 0, and every site has the network's rate.
type Prior struct {
	Shape, Rate float64
	Pooled      bool
	all         Exposed
}

// FitPrior fits a prior to the rates of some sites. Sites without exposure, or with
// a count that is negative or NaN, are passed over. With fewer than two sites, or a
// variance of rates of 0 or less, the prior is pooled.
func FitPrior(sites []Exposed, method PriorMethod) Prior {
	var fit []Exposed
	p := Prior{Pooled: true}
	for _, s := range sites {
		if s.Days > 0 && s.Visits >= 0 {
			fit = append(fit, s)
			p.all.Visits += s.Visits
			p.all.Days += s.Days
		}
	}
	if len(fit) < 2 || p.all.Visits == 0 {
		return p
	}
	if method == PriorML {
		p.Shape, p.Rate = likeliestGamma(fit, p.all)
	} else {
		mean, variance := p.all.Visits/p.all.Days, p.variance(fit, method)
		if variance > 0 {
			p.Shape, p.Rate = mean*mean/variance, mean/variance
		}
	}
	p.Pooled = !(p.Shape > 0)
	return p
}

// variance returns the variance of the rates by moments.
func (p Prior) variance(fit []Exposed, method PriorMethod) float64 {
	m, k := p.all.Visits/p.all.Days, float64(len(fit))
	spread, squares := 0.0, 0.0
	for _, s := range fit {
		d := s.Visits/s.Days - m
		spread += s.Days * d * d
		squares += s.Days * s.Days
	}
	if method == PriorMarshall {
		return spread/p.all.Days - m*k/p.all.Days
	}
	return (spread - (k-1)*m) / (p.all.Days - squares/p.all.Days)
}

// likeliestGamma returns shape and rate of the largest likelihood
//
//	Σ lnΓ(n + a) − lnΓ(a) + a ln b − (n + a) ln(b + t),
//
// 0, 0 where it only grows as the variance falls to 0. Its slope in the variance is
// there ½Σ((n − mt)² − n).
func likeliestGamma(fit []Exposed, all Exposed) (shape, rate float64) {
	m, slope := all.Visits/all.Days, 0.0
	for _, s := range fit {
		d := s.Visits - m*s.Days
		slope += d*d - s.Visits
	}
	if slope <= 0 {
		return 0, 0
	}
	score := func(logShape float64) float64 {
		a := math.Exp(logShape)
		b, sum := likeliestRate(fit, a), 0.0
		for _, s := range fit {
			sum += mathext.Digamma(s.Visits+a) - mathext.Digamma(a) - math.Log1p(s.Days/b)
		}
		return sum
	}
	shape = math.Exp(falling(score, math.Log(1e-6), math.Log(1e7)))
	return shape, likeliestRate(fit, shape)
}

// likeliestRate returns the rate of the largest likelihood for a shape.
func likeliestRate(fit []Exposed, shape float64) float64 {
	return math.Exp(falling(func(logRate float64) float64 {
		b, sum := math.Exp(logRate), shape*float64(len(fit))
		for _, s := range fit {
			sum -= (s.Visits + shape) * b / (b + s.Days)
		}
		return sum
	}, -60, 60))
}

// falling returns where f, which is positive at low and falls, becomes negative.
func falling(f func(float64) float64, low, high float64) float64 {
	for range 200 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if f(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// Posterior estimates a site's visits a day: its own rate drawn towards the
// network's, the more, the less is known of the site. Given n visits in t days it
// is gamma with shape Shape + n and rate Rate + t; the limits are its equal tails.
// A site without exposure gets the prior's; a pooled prior gives every site the
// network's rate with PoissonLimits of all visits together. Without any exposure in
// the network the answer is nil.
func (p Prior) Posterior(s Exposed, level float64) *Estimate {
	if !p.Pooled {
		n, t := max(s.Visits, 0), max(s.Days, 0)
		g := distuv.Gamma{Alpha: p.Shape + n, Beta: p.Rate + t}
		tail := (1 - level) / 2
		return &Estimate{g.Alpha / g.Beta, g.Quantile(tail), g.Quantile(1 - tail), level}
	}
	if !(p.all.Days > 0) {
		return nil
	}
	low, high := PoissonLimits(p.all.Visits, level)
	return &Estimate{p.all.Visits / p.all.Days, low / p.all.Days, high / p.all.Days, level}
}

// Place is a site's place in the order of a network, 1 for the busiest.
type Place struct {
	Site      int       // position in what Order was given
	Rate      *Estimate // visits a day, by Posterior
	Place     int       // by Rate.Value; ties by position
	Low, High int       // limits of the place: at the level Confidence it lies between
	Mean      float64   // mean of the place
}

// orderDraws is how many times the order is drawn; the limits of a place are sure
// to about one place then, in networks of up to a hundred sites.
const orderDraws = 4000

// Order returns the sites from the busiest to the quietest, with the uncertainty of
// that order: rates are drawn from the posteriors and put in order again and again,
// and the limits of a place are the equal tails of what came out. The draws are
// always the same, so that the same sites give the same answer. (Ranks of Bayesian
// posteriors: H. Goldstein and D. J. Spiegelhalter, League tables and their
// limitations, Journal of the Royal Statistical Society A 159, 1996, pages
// 385–443; from memory.)
//
// Where the prior is pooled nothing is known of the order: every place goes from
// the first to the last, and sites stand as they came. Sites without exposure have
// only the prior to go by. Without exposure in the whole network the answer is nil.
func Order(sites []Exposed, p Prior) []Place {
	places := make([]Place, len(sites))
	for i, s := range sites {
		places[i] = Place{Site: i, Rate: p.Posterior(s, Confidence), Low: 1, High: len(sites), Mean: float64(len(sites)+1) / 2}
		if places[i].Rate == nil {
			return nil
		}
	}
	if !p.Pooled && len(sites) > 1 {
		drawPlaces(sites, p, places)
	}
	slices.SortStableFunc(places, func(a, b Place) int { return cmp.Compare(b.Rate.Value, a.Rate.Value) })
	for i := range places {
		places[i].Place = i + 1
	}
	return places
}

// drawPlaces enters limits and mean of the places, which are in the order of the
// sites.
func drawPlaces(sites []Exposed, p Prior, places []Place) {
	k := len(sites)
	random := rand.New(rand.NewPCG(uint64(k), orderDraws))
	counts := make([]int, k*k) // of site·k + place
	rates, order := make([]float64, k), make([]int, k)
	for range orderDraws {
		for i, s := range sites {
			rates[i] = distuv.Gamma{Alpha: p.Shape + max(s.Visits, 0), Beta: p.Rate + max(s.Days, 0), Src: random}.Rand()
			order[i] = i
		}
		slices.SortFunc(order, func(a, b int) int { return cmp.Compare(rates[b], rates[a]) })
		for place, i := range order {
			counts[i*k+place]++
		}
	}
	tail := (1 - Confidence) / 2 * orderDraws
	for i := range places {
		places[i].Low, places[i].High, places[i].Mean = placeLimits(counts[i*k:(i+1)*k], tail)
	}
}

// placeLimits returns the first and last place with no more than tail draws beyond
// them, and the mean place, all from 1.
func placeLimits(counts []int, tail float64) (low, high int, mean float64) {
	low, high = 1, len(counts)
	for seen := counts[0]; float64(seen) <= tail; low++ {
		seen += counts[low]
	}
	for seen := counts[high-1]; float64(seen) <= tail; high-- {
		seen += counts[high-2]
	}
	all := 0
	for place, n := range counts {
		mean += float64((place + 1) * n)
		all += n
	}
	return low, high, mean / float64(all)
}
