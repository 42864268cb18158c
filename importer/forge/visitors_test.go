package forge

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"doorleaf/usage"
)

// TestArrivalsKeepTheirRates compares ten years of arrivals by hour of week and
// by month with what the character's table and the calendar give, counted the
// slow way, second by second through civil hours.
func TestArrivalsKeepTheirRates(t *testing.T) {
	z := zone(t, "Europe/Dublin")
	from, to := unix(t, "2016-01-01T00:00:00Z"), unix(t, "2026-01-01T00:00:00Z")
	for _, c := range Characters() {
		c.Dispersion, c.Trend = 0, 0 // a plain Poisson process, whose limits are known
		got := c.arrivals(rand.New(rand.NewPCG(7, 9)), from, to, z, false)
		want := c.Expected(from, to, z, false)
		within(t, c.Name+": all", float64(len(got)), want, 4.5)
		if d := want/(c.PerDay*float64(to-from)/86400) - 1; math.Abs(d) > 0.01 {
			t.Errorf("%s: Expected is %.3f of PerDay, want 1 ± 0.01", c.Name, 1+d)
		}
		var hours [usage.HoursOfWeek]float64
		var months [12]float64
		for _, at := range got {
			local := time.Unix(at, 0).In(z)
			hours[hourOfWeek(local)]++
			months[local.Month()-1]++
		}
		wantHours, wantMonths := slowExpected(c, from, to, z)
		for i := range hours {
			within(t, c.Name+": hour of week", hours[i], wantHours[i], 5)
		}
		for i := range months {
			within(t, c.Name+": month", months[i], wantMonths[i], 5)
		}
	}
}

// within checks a Poisson count against its mean, in standard deviations.
func within(t *testing.T, what string, got, mean, sigmas float64) {
	t.Helper()
	if math.Abs(got-mean) > sigmas*math.Sqrt(mean)+2 {
		t.Errorf("%s: %.0f, want %.1f ± %.1f σ", what, got, mean, sigmas)
	}
}

func slowExpected(c Character, from, to int64, z *time.Location) (hours [usage.HoursOfWeek]float64, months [12]float64) {
	week, season := 0.0, 0.0
	for _, w := range c.Week {
		week += w
	}
	for _, s := range c.Season {
		season += s
	}
	for t := from; t < to; t += 1800 {
		local := time.Unix(t, 0).In(z)
		wd := (int(local.Weekday()) + 6) % 7
		rate := c.PerDay * 7 * c.Week[wd*24+local.Hour()] / week * c.Season[local.Month()-1] * 12 / season
		hours[wd*24+local.Hour()] += rate / 2
		months[local.Month()-1] += rate / 2
	}
	return hours, months
}

func TestSouthernSeasonsAreTurned(t *testing.T) {
	c := riverside()
	from, to := unix(t, "2025-01-01T00:00:00Z"), unix(t, "2025-02-01T00:00:00Z")
	north, south := c.Expected(from, to, time.UTC, false), c.Expected(from, to, time.UTC, true)
	if want := c.Season[6] / c.Season[0]; math.Abs(south/north-want) > 0.01*want {
		t.Errorf("January south over north = %.3f, want July over January %.3f", south/north, want)
	}
}

// TestDaysAreAsDispersedAsAsked: the counts of a day with mean m and gamma
// factor of variance v have variance m + v·m², so Pearson's φ is 1 + v·m.
func TestDaysAreAsDispersedAsAsked(t *testing.T) {
	from, to := unix(t, "2016-01-04T00:00:00Z"), unix(t, "2025-12-29T00:00:00Z")
	for _, v := range []float64{0, 0.1, 0.5, 2} {
		c := plain("even", 12)
		c.Season, c.Dispersion = evenSeason, v
		c.Week = week(func(int, float64) float64 { return 1 })
		counts := make([]float64, (to-from)/86400)
		for _, at := range c.arrivals(rand.New(rand.NewPCG(5, 6)), from, to, time.UTC, false) {
			counts[(at-from)/86400]++
		}
		phi := 0.0
		for _, n := range counts {
			phi += (n - 12) * (n - 12) / 12 / float64(len(counts))
		}
		if want := 1 + 12*v; math.Abs(phi-want) > 0.15*want {
			t.Errorf("dispersion %.1f: φ = %.2f, want %.2f ± 15 %%", v, phi, want)
		}
	}
}

func TestTrendGrows(t *testing.T) {
	c := allDay()
	c.Trend = 0.5
	from, mid, to := unix(t, "2023-01-01T00:00:00Z"), unix(t, "2024-01-01T00:00:00Z"), unix(t, "2025-01-01T00:00:00Z")
	first, both := c.Expected(from, mid, time.UTC, false), c.Expected(from, to, time.UTC, false)
	if got := (both - first) / first; math.Abs(got-1.5) > 0.02 {
		t.Errorf("second year over first = %.3f, want 1.5", got)
	}
	c.Dispersion = 0
	visits := c.arrivals(rand.New(rand.NewPCG(2, 2)), from, to, time.UTC, false)
	within(t, "visits in two years of growth", float64(len(visits)), both, 4.5)
}

// TestOpeningsAreSound holds the made-up doors to the words of the trade.
func TestOpeningsAreSound(t *testing.T) {
	z := zone(t, "Europe/Dublin")
	limits := usage.DefaultThresholds
	from, to := unix(t, "2024-01-01T12:00:00Z"), unix(t, "2026-01-01T00:00:00Z")
	for _, c := range Characters() {
		c.Ajar, c.WindPerDay = 0.01, 1
		calls := []Call{{At: from + 86400*100}, {At: from + 86400*200}}
		out := SiteSpec{Character: c}.openings(rand.New(rand.NewPCG(1, 1)), from, to, z, calls)
		seen := map[usage.Class]int{}
		for i, o := range out {
			seen[o.Class]++
			if i > 0 && o.At <= out[i-1].At+int64(out[i-1].OpenS) {
				t.Fatalf("%s: opening %d at %d begins before the one before it is shut", c.Name, i, o.At)
			}
			if good := map[usage.Class]bool{
				usage.Rattle:  o.OpenS < limits.RattleS && o.Visit == usage.Unknown,
				usage.Visitor: o.OpenS >= limits.RattleS && o.OpenS <= limits.AjarS && o.Visit > 0,
				usage.Ajar:    o.OpenS > limits.AjarS && o.Visit > 0,
				usage.Service: o.Call != usage.Unknown && o.OpenS >= 60,
			}[o.Class]; !good {
				t.Fatalf("%s: %v opening %+v breaks its class", c.Name, o.Class, o)
			}
			checkVisit(t, out, i, limits)
		}
		if seen[usage.Service] != 2 || seen[usage.Rattle] == 0 || seen[usage.Ajar] == 0 {
			t.Errorf("%s: classes %v, want 2 service calls, some rattles and doors ajar", c.Name, seen)
		}
	}
}

// TestWhoComesWhileAjarOpensNothing: of visitors every two minutes, those who
// find the door ajar leave no opening, and a service call shuts it.
func TestWhoComesWhileAjarOpensNothing(t *testing.T) {
	c := plain("steady", 1)
	c.Again, c.Bounce, c.Ajar, c.OpenSigma = 0, 0, 0, 0
	var visitors []arrival
	for at := int64(0); at < 4*86400; at += 120 {
		visitors = append(visitors, arrival{at, usage.Visitor, usage.Unknown})
	}
	d := &door{c: c, rng: rand.New(rand.NewPCG(1, 1)), forced: []int64{86400, 3 * 86400}}
	out := d.openings(merge(visitors, []arrival{{3*86400 + 1900, usage.Service, 0}}))
	ajar := 0
	for i, o := range out {
		if o.Class != usage.Ajar {
			continue
		}
		ajar++
		next := out[i+1]
		if wait := next.At - o.At - int64(o.OpenS); wait < 0 || wait > 120 {
			t.Errorf("after a door ajar at %d for %d s, the next opening is at %d, want the first visitor's from then on", o.At, o.OpenS, next.At)
		}
		if next.Class == usage.Visitor && next.At%120 != 0 {
			t.Errorf("after a door ajar the next visitor, who came on a full two minutes, opens at %d", next.At)
		}
		if o.At == 3*86400 && (next.Class != usage.Service || o.OpenS >= 1900) {
			t.Errorf("door ajar at %d for %d s is followed by %+v, want the service call", o.At, o.OpenS, next)
		}
	}
	if ajar != 2 {
		t.Errorf("%d doors ajar, want 2", ajar)
	}
}

// checkVisit: openings of one visit begin within the join limit of its last close.
func checkVisit(t *testing.T, out []Opening, i int, limits usage.Thresholds) {
	t.Helper()
	for j := i - 1; j >= 0 && out[i].Visit != usage.Unknown; j-- {
		if out[j].Visit == usage.Unknown {
			continue
		}
		if out[j].Visit > out[i].Visit {
			t.Fatalf("visit %d comes after visit %d", out[i].Visit, out[j].Visit)
		}
		if gap := out[i].At - out[j].At - int64(out[j].OpenS); out[j].Visit == out[i].Visit && gap > int64(limits.JoinS) {
			t.Fatalf("visit %d pauses for %d s", out[i].Visit, gap)
		}
		return
	}
}
