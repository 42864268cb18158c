package usage

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// seasonTrial is a made-up season of a site: how many visits a full season has in
// the mean, how much its days vary, and which of them were not covered.
type seasonTrial struct {
	name    string
	mean    float64
	theta   float64 // variance of a day's factor
	missing func(*rand.Rand) map[int]bool
}

func noneMissing(*rand.Rand) map[int]bool { return nil }

// weeksMissing leaves out a fortnight and ten days.
func weeksMissing(random *rand.Rand) map[int]bool {
	out := map[int]bool{}
	a, b := random.IntN(40), 50+random.IntN(30)
	for i := range 14 {
		out[a+i] = true
	}
	for i := range 10 {
		out[b+i] = true
	}
	return out
}

// mondaysMissing leaves out all Mondays but one, and half of the rest.
func mondaysMissing(random *rand.Rand) map[int]bool {
	out := map[int]bool{}
	for i := range 92 {
		out[i] = i%7 == 0 && i != 35 || random.IntN(2) == 0
	}
	out[35] = false
	return out
}

// weekdayWeights are the mean visits by weekday in proportion, Monday first.
var weekdayWeights = [7]float64{0.6, 0.8, 0.9, 1, 1.1, 1.5, 1.1}

// darkShare is the chance of a visit to be dark.
const darkShare = 0.2

// draw makes the days of the season that begins with first, in one level.
func (s seasonTrial) draw(random *rand.Rand, first Date, mean float64) []Day {
	missing, days := s.missing(random), []Day{}
	for i := range 92 {
		d := first + Date(i)
		mu := mean / 92 * weekdayWeights[d.Weekday()-1]
		visits := drawPoisson(random, mu*drawGamma(random, 1, s.theta))
		if !missing[i] {
			dark := 0
			for range visits {
				if random.Float64() < darkShare {
					dark++
				}
			}
			days = append(days, Day{Date: d, Visits: int32(visits), Dark: int32(dark), ExposureS: daySeconds})
		}
	}
	return days
}

// held counts how often limits hold the truth, and how wide they are.
type held struct {
	tries, inside int
	widths        []float64
}

func (h *held) see(e *Estimate, truth, ideal float64) {
	h.tries++
	if e.Low <= truth && truth <= e.High {
		h.inside++
	}
	if ideal > 0 {
		h.widths = append(h.widths, (e.High-e.Low)/ideal)
	}
}

func (h *held) share() float64 { return float64(h.inside) / float64(h.tries) }

func (h *held) width() float64 {
	if len(h.widths) == 0 {
		return math.NaN()
	}
	slices.Sort(h.widths)
	return h.widths[len(h.widths)/2]
}

// How often the 95 % limits hold the truth. Exact limits of small counts hold it
// more often than they say, since counts come in steps; they must not hold it less
// often than 93 times in 100, and of more than a few visits not more than 97.
func TestLimitsHoldTheTruth(t *testing.T) {
	const trials = 1500
	autumn := Season{Start: Month(12*2025 + 8), In: North}
	site := millSite("UTC")
	site.InstalledOn = DateOf(2020, 1, 1)
	for _, s := range []seasonTrial{
		{"few, all days", 5, 0, noneMissing},
		{"few, weeks missing", 5, 0, weeksMissing},
		{"some, all days", 40, 0, noneMissing},
		{"some, weeks missing", 40, 0, weeksMissing},
		{"some, Mondays missing", 40, 0, mondaysMissing},
		{"some, over-dispersed", 40, 0.5, weeksMissing},
		{"many, all days", 700, 0, noneMissing},
		{"many, weeks missing", 700, 0, weeksMissing},
		{"many, Mondays missing", 700, 0, mondaysMissing},
		{"many, over-dispersed", 700, 0.3, weeksMissing},
		{"many, over-dispersed, Mondays missing", 700, 0.3, mondaysMissing},
	} {
		random := rand.New(rand.NewPCG(9, uint64(len(s.name))))
		var rate, total, ratio, dark held
		for range trials {
			last := s.draw(random, autumn.LastYear().First(), s.mean)
			days := append(last, s.draw(random, autumn.First(), 1.3*s.mean)...)
			days = append(days, Day{Date: autumn.Last() + 1, ExposureS: daySeconds})
			f, err := SeasonFiguresOf(site, autumn, SeasonData{Days: days})
			if err != nil {
				t.Fatal(err)
			}
			truth, truePhi := 0.0, 0.0
			for d := autumn.First(); d <= autumn.Last(); d++ {
				mu := 1.3 * s.mean / 92 * weekdayWeights[d.Weekday()-1]
				truth += mu
				truePhi += mu * (1 + s.theta*mu)
			}
			truePhi /= truth
			low, high := DispersedLimits(math.Round(truth), truePhi, Confidence)
			total.see(f.Estimated, truth, high-low)
			if f.RatioToLast != nil {
				ratio.see(f.RatioToLast, 1.3, 0)
			}
			if f.DarkShare != nil {
				dark.see(f.DarkShare, darkShare, 0)
			}
			// The plain rate, of days that are all alike.
			n, e := int64(0), 0.0
			var even []Day
			missing := s.missing(random)
			for i := range 92 {
				if v := drawPoisson(random, s.mean/92*drawGamma(random, 1, s.theta)); !missing[i] {
					n, e = n+int64(v), e+1
					even = append(even, Day{Date: autumn.First() + Date(i), Visits: int32(v), ExposureS: daySeconds})
				}
			}
			rate.see(DispersedRate(n, e, DispersionOf(even).Phi, Confidence), s.mean/92, 0)
		}
		t.Logf("%-38s rate %5.1f %%, total %5.1f %% (width ×%.2f), ratio %5.1f %%, dark share %5.1f %%", s.name,
			100*rate.share(), 100*total.share(), total.width(), 100*ratio.share(), 100*dark.share())
		top := 0.975
		if s.mean < 100 {
			top = 1
		}
		for name, h := range map[string]*held{"rate": &rate, "total": &total, "ratio": &ratio, "dark share": &dark} {
			if got := h.share(); got < 0.925 || got > top {
				t.Errorf("%s: limits of the %s hold the truth in %.1f %%", s.name, name, 100*got)
			}
		}
	}
}

// One hour of the week keeps Garwood's limits where days are over-dispersed: exact
// limits of the few visits of such an hour have room for good and bad days up to some
// visits an hour, and less beyond. Of the sums over seven weekdays they hold less
// often, and Dispersion.OfCells, which allows for it, about as often as it should.
func TestLimitsOfSingleHours(t *testing.T) {
	const trials, weeks = 4000, 13
	for _, c := range []struct {
		mean, theta     float64 // visits in the hour; variance of a day's factor
		single, hourDay float64 // that the limits hold the truth at least
	}{
		{0.05, 0.3, 0.95, 0.945}, {0.2, 0.3, 0.95, 0.945}, {0.5, 0.3, 0.94, 0.945}, {1, 0.3, 0.94, 0.945},
		{0.05, 0.8, 0.95, 0.945}, {0.2, 0.8, 0.95, 0.945}, {0.5, 0.8, 0.925, 0.945},
	} {
		random := rand.New(rand.NewPCG(3, uint64(1000*c.mean+c.theta)))
		var single, plain, summed held
		for range trials {
			var cells []Cell
			var days []Day
			for w := range 7 {
				cell := Cell{Weekday: w + 1, Hour: 15, ExposureH: weeks}
				for k := range weeks {
					factor := drawGamma(random, 1, c.theta)
					n := drawPoisson(random, c.mean*factor)
					cell.Visits += int64(n)
					rest := drawPoisson(random, 12*c.mean*factor) // of the day's other hours
					days = append(days, Day{Date: Date(4 + 7*k + w), Visits: int32(n + rest), ExposureS: daySeconds})
				}
				cells = append(cells, cell)
			}
			single.see(Rate(cells[0].Visits, weeks, Confidence), c.mean, 0)
			sum := DispersionOf(days).OfCells(cells)
			plain.see(Rate(sum.Visits, 7*weeks, Confidence), c.mean, 0)
			summed.see(sum.Rate, c.mean, 0)
		}
		t.Logf("%.2f visits an hour, θ %.1f: one hour of the week, Garwood %.1f %%; of the day, Garwood %.1f %%, OfCells %.1f %%",
			c.mean, c.theta, 100*single.share(), 100*plain.share(), 100*summed.share())
		if single.share() < c.single || summed.share() < c.hourDay {
			t.Errorf("%.2f visits an hour, θ %.1f: limits hold the truth in %.1f %% of single hours and %.1f %% of hours of the day, want %.1f and %.1f",
				c.mean, c.theta, 100*single.share(), 100*summed.share(), 100*c.single, 100*c.hourDay)
		}
	}
}
