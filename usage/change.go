package usage

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// KindChange is the kind of a finding about a change of level.
const KindChange = "change of level"

const (
	// changeChance is the p below which a change is told.
	changeChance = 0.01
	// changeWeeks is the least number of weeks with exposure, changeEdge how many of
	// them lie on each side of a change at least. In less than a year and some weeks
	// no change can be told from a season. Common practice, no source.
	changeWeeks, changeEdge = 60, 4
	// changeDraws is the number of series drawn for a p.
	changeDraws = 499
	// changeWithin is how far the statistic may lie below its maximum for a date to
	// be a possible date of the change: on each side of the true one it falls by an
	// exponential amount, so that (1 − e^(−x/2))² = 0.95. (D. Siegmund, Confidence
	// sets in change-point problems, International Statistical Review 56, 1988,
	// pages 31–48; from memory. Steps in time make it hold more often than that.)
	changeWithin = 7.352
	// changeTrend is by how much a change must explain a series better than a steady
	// trend does, as a difference of the two statistics. Common practice, no source.
	changeTrend = 6
)

// Periods are counts of successive periods, their exposures, and the part of the
// year, 0 to 11, in which each lies; Part is nil where there are no seasons.
type Periods struct {
	Count    []float64
	Exposure []float64 // more than 0
	Part     []int
}

// Change is one change of level in a series.
type Change struct {
	At          int        // the first period of the new level
	First, Last int        // limits of At, at the level 0.95
	Before      ChangeSide // the level before, and from At on
	After       ChangeSide
	Phi         float64 // dispersion of the counts about the two levels, 1 at least
	Statistic   float64 // about 2 ln of the likelihood ratio, over φ
	Trend       float64 // the same of a steady trend
	P           float64
}

// ChangeSide is the counts of one side of a change and their exposure, as if all parts
// of the year had been as busy as their mean.
type ChangeSide struct{ Count, Exposure float64 }

// Rates returns the two levels with limits at a level of confidence, by
// DispersedLimits of the counts; the seasons are taken as known.
func (c Change) Rates(level float64) (before, after Estimate) {
	side := func(s ChangeSide) Estimate {
		low, high := DispersedLimits(s.Count, c.Phi, level)
		return Estimate{s.Count / s.Exposure, low / s.Exposure, high / s.Exposure, level}
	}
	return side(c.Before), side(c.After)
}

// FindChange looks for one change of level and says how sure it is; false where the
// series is too short, or empty, to say anything.
//
// Without a change, counts are taken to be Poisson, over-dispersed by φ, with mean
// μ = e·N_m/E_m: exposure times the rate of the part of the year m over all periods.
// For a change before period k, by the factor ρ, with E_m⁻ and E_m⁺ the exposures of
// part m on the two sides and N⁺ the count from k on, twice the logarithm of the
// likelihood ratio, each part's rate fitted anew, is
//
//	2·max_ρ (N⁺ ln ρ − Σ_m N_m ln((E_m⁻ + ρE_m⁺)/E_m))
//
// so that a part of the year that was seen on one side only says nothing. The
// statistic is its maximum over k, over φ. φ is Pearson's, about the two best
// levels, of single periods or of four together, whichever is larger, so that
// levels that wander are no change, and 1 at least. p is the share of series drawn
// without a change, φ·Poisson(μ/φ), that reach the same statistic, all of it worked
// out anew (parametric bootstrap: B. Efron and R. J. Tibshirani, An Introduction to
// the Bootstrap, 1993, chapter 16; from memory). The draws are always the same.
func FindChange(p Periods) (Change, bool) {
	if len(p.Count) < 2*changeEdge || sumOf(p.Count) == 0 {
		return Change{}, false
	}
	s := newScan(p)
	c, ok := s.best()
	if !ok {
		return Change{}, false
	}
	c.P = s.chance(c)
	return c, true
}

func sumOf(values []float64) (sum float64) {
	for _, v := range values {
		sum += v
	}
	return sum
}

// scan is a series with its means without a change.
type scan struct {
	Periods
	mean []float64
	part [12]float64 // sum of the means
	stat []float64   // of a change before each period, not yet over φ; 0 where it is not looked for
}

func newScan(p Periods) *scan {
	if p.Part == nil {
		p.Part = make([]int, len(p.Count))
	}
	s := &scan{Periods: p, mean: make([]float64, len(p.Count)), stat: make([]float64, len(p.Count))}
	s.fit()
	return s
}

// fit sets the means for the counts.
func (s *scan) fit() {
	var n, e [12]float64
	for i, m := range s.Part {
		n[m] += s.Count[i]
		e[m] += s.Exposure[i]
	}
	for i, m := range s.Part {
		s.mean[i] = s.Exposure[i] * n[m] / e[m]
	}
	s.part = n
}

// best returns the best change, without its p.
func (s *scan) best() (Change, bool) {
	c := Change{}
	top := s.ratios()
	for k, v := range s.stat {
		if v == top {
			c.At = k
			break
		}
	}
	if top <= 0 {
		return c, false
	}
	s.levels(&c)
	c.Statistic, c.Trend = top/c.Phi, s.trend()/c.Phi
	c.First, c.Last = c.At, c.At
	for k, v := range s.stat {
		if v > 0 && v/c.Phi >= c.Statistic-changeWithin {
			c.First, c.Last = min(c.First, k), max(c.Last, k)
		}
	}
	return c, true
}

// ratios enters the likelihood ratios and returns their maximum. They are worked out
// only where the efficient score, which is nearly the same and comes cheap, is half
// of its own maximum or more (D. R. Cox and D. V. Hinkley, Theoretical Statistics,
// 1974, section 9.3; from memory).
func (s *scan) ratios() (top float64) {
	scores, most := s.scores(), 0.0
	for _, v := range scores {
		most = max(most, v)
	}
	var after, all [12]float64
	for i, m := range s.Part {
		all[m] += s.Exposure[i]
	}
	count := 0.0
	for k := len(s.Count) - 1; k >= 0; k-- {
		count += s.Count[k]
		after[s.Part[k]] += s.Exposure[k]
		s.stat[k] = 0
		if scores[k] > 0 && scores[k] >= most/2 {
			s.stat[k], _ = s.ratio(count, &after, &all)
		}
		top = max(top, s.stat[k])
	}
	return top
}

// ratio returns twice the logarithm of the likelihood ratio of a change, with so
// much counted and exposed after it, and ρ. The best ρ is where the count after it is
// Σ N_m·ρE⁺/(E⁻ + ρE⁺), found by Newton's steps in ln ρ, each held within 1.
func (s *scan) ratio(count float64, after, all *[12]float64) (value, rho float64) {
	const far = 12 // ln ρ of a level that begins or ends at nought
	log := 0.0
	for range 40 {
		sum, slope := 0.0, 0.0
		rho = math.Exp(log)
		for m, n := range s.part {
			if n > 0 {
				share := rho * after[m] / (all[m] - after[m] + rho*after[m])
				sum += n * share
				slope += n * share * (1 - share)
			}
		}
		step := min(max((count-sum)/max(slope, 1e-9), -1), 1)
		log = min(max(log+step, -far), far)
		if math.Abs(step) < 1e-7 || math.Abs(log) == far {
			break
		}
	}
	rho, value = math.Exp(log), count*log
	for m, n := range s.part {
		if n > 0 {
			value -= n * math.Log1p((rho-1)*after[m]/all[m])
		}
	}
	return 2 * value, rho
}

// scores returns U²/I of a change before each period, with
//
//	U = Σ_{i≥k} (y_i − μ_i),  I = Σ_m M_m⁺(1 − M_m⁺/M_m)
//
// for M_m the sum of μ in part m and M_m⁺ that from k on; 0 where no change is
// looked for.
func (s *scan) scores() []float64 {
	out := make([]float64, len(s.Count))
	u, info := 0.0, 0.0
	var after [12]float64
	for k := len(s.Count) - 1; k >= changeEdge; k-- {
		m := s.Part[k]
		u += s.Count[k] - s.mean[k]
		info -= within(after[m], s.part[m])
		after[m] += s.mean[k]
		info += within(after[m], s.part[m])
		if k <= len(s.Count)-changeEdge && info > 0.5 {
			out[k] = u * u / info
		}
	}
	return out
}

// within is what a part of the year tells of a change, of whose mean so much comes
// after it.
func within(after, all float64) float64 {
	if all <= 0 {
		return 0
	}
	return after * (1 - after/all)
}

// levels enters the two levels and the dispersion.
func (s *scan) levels(c *Change) {
	var after, all, rate [12]float64
	count, changed := [2]float64{}, 0.0
	for i, m := range s.Part {
		all[m] += s.Exposure[i]
		if i < c.At {
			count[0] += s.Count[i]
		} else {
			count[1] += s.Count[i]
			after[m] += s.Exposure[i]
		}
	}
	_, rho := s.ratio(count[1], &after, &all)
	for m, n := range s.part {
		if n > 0 {
			rate[m] = n / (all[m] - after[m] + rho*after[m])
			changed += after[m] * rate[m]
		}
	}
	mean := s.meanRate(&rate) // at the level before
	c.Before, c.After = ChangeSide{count[0], 0}, ChangeSide{count[1], changed / mean}
	for m := range rate {
		c.Before.Exposure += (all[m] - after[m]) * rate[m] / mean
	}
	c.Phi = s.dispersion(func(i int) float64 {
		mu := s.Exposure[i] * rate[s.Part[i]]
		if i >= c.At {
			mu *= rho
		}
		return mu
	})
}

// meanRate returns the mean over the parts of the year that the series has.
func (s *scan) meanRate(rate *[12]float64) float64 {
	var has [12]bool
	sum, parts := 0.0, 0.0
	for _, m := range s.Part {
		if !has[m] {
			has[m] = true
			sum, parts = sum+rate[m], parts+1
		}
	}
	return sum / parts
}

// dispersion returns Pearson's φ about some means, as FindChange has it.
func (s *scan) dispersion(mean func(int) float64) float64 {
	const together = 4
	var parts [12]bool
	used := 1.0
	single, block, periods, blocks := 0.0, 0.0, 0.0, 0.0
	rest, size, in := 0.0, 0.0, 0
	for i := range s.Count {
		mu := mean(i)
		if !parts[s.Part[i]] {
			parts[s.Part[i]] = true
			used++
		}
		if mu > 0 {
			d := s.Count[i] - mu
			single, periods = single+d*d/mu, periods+1
			rest, size = rest+d, size+mu
		}
		if in++; in == together {
			if size > 0 {
				block, blocks = block+rest*rest/size, blocks+1
			}
			rest, size, in = 0, 0, 0
		}
	}
	phi := 1.0
	if periods > used {
		phi = max(phi, single/(periods-used))
	}
	if left := blocks * (1 - used/max(periods, 1)); left > 4 {
		phi = max(phi, block/left)
	}
	return phi
}

// trend returns the score of a steady trend in place of a change.
func (s *scan) trend() float64 {
	var weight, place [12]float64
	for i, m := range s.Part {
		weight[m] += s.mean[i]
		place[m] += s.mean[i] * float64(i)
	}
	u, info := 0.0, 0.0
	for i, m := range s.Part {
		if weight[m] > 0 {
			z := float64(i) - place[m]/weight[m]
			u += z * (s.Count[i] - s.mean[i])
			info += s.mean[i] * z * z
		}
	}
	if info <= 0 {
		return 0
	}
	return u * u / info
}

// chance returns the p of a change. It draws no more than it needs: a statistic
// that hundreds of draws pass will not become rare.
func (s *scan) chance(c Change) float64 {
	random := rand.New(rand.NewPCG(uint64(len(s.Count)), changeDraws))
	drawn := newScan(Periods{Count: slices.Clone(s.Count), Exposure: s.Exposure, Part: s.Part})
	reached, draws := 0, 0
	for draws < changeDraws && reached < 100 {
		draws++
		for i, mu := range s.mean {
			drawn.Count[i] = 0
			if mu > 0 {
				drawn.Count[i] = c.Phi * distuv.Poisson{Lambda: mu / c.Phi, Src: random}.Rand()
			}
		}
		drawn.fit()
		if other, ok := drawn.best(); ok && other.Statistic >= c.Statistic {
			reached++
		}
	}
	return float64(reached+1) / float64(draws+1)
}

// changeFinding returns a finding about one change of level in the weekly visits, or
// none. Weeks that a raised quiet stretch touches are left out, unless it was
// answered that nobody came.
func changeFinding(z *Zone, days []Day, quiet []Finding) []Finding {
	weeks := slices.DeleteFunc(ByWeek(days), func(w WeekSum) bool {
		return w.ExposureS < daySeconds || touchesQuiet(z, w.Monday, quiet)
	})
	if len(weeks) < changeWeeks {
		return nil
	}
	var p Periods
	for _, w := range weeks {
		_, month := MonthOf(w.Monday + 3).YM()
		p.Count = append(p.Count, float64(w.Visits))
		p.Exposure = append(p.Exposure, float64(w.ExposureS)/weekSeconds)
		p.Part = append(p.Part, int(month)-1)
	}
	c, ok := FindChange(p)
	if !ok || c.P >= changeChance || c.Statistic < c.Trend+changeTrend {
		return nil
	}
	return []Finding{describeChange(z, weeks, c)}
}

func touchesQuiet(z *Zone, monday Date, quiet []Finding) bool {
	from, to := z.StartOfDay(monday), z.StartOfDay(monday+7)
	return slices.ContainsFunc(quiet, func(f Finding) bool {
		return (f.Ruling == nil || f.Ruling.Answer != AnswerQuiet) && f.From < to && from < f.To
	})
}

func describeChange(z *Zone, weeks []WeekSum, c Change) Finding {
	// The week before the new level may hold the change itself.
	at, first, last := weeks[c.At].Monday, weeks[c.First-1].Monday, weeks[c.Last].Monday
	before, after := c.Rates(Confidence)
	when := fmt.Sprintf("about %s (between %s and %s)", at, first, last+6)
	return Finding{
		Key:  "change-" + MonthOf(at).String(),
		Kind: KindChange,
		From: z.StartOfDay(first),
		To:   z.StartOfDay(last + 7),
		Says: fmt.Sprintf("Visits changed %s: before, about %s; after, about %s. The seasons are evened out. Without a change, less than one site in %.0f would look like this (p = %s).",
			when, weekly(before), weekly(after), math.Floor(1/c.P), small(c.P)),
		Changes: "Nothing: counts and rates stay as they are. Figures across that date are of two levels together.",
		Choices: []Choice{{AnswerSeen, "Noted; nothing changes."}},
	}
}

// weekly writes visits a week with their limits.
func weekly(e Estimate) string {
	return fmt.Sprintf("%s a week (%s to %s)", rounded(e.Value), rounded(e.Low), rounded(e.High))
}
