package usage

import (
	"math"
	"math/rand/v2"
	"regexp"
	"testing"
)

// coal returns the yearly counts of events_coal.csv, 1851 to 1962.
func coal(t *testing.T) (counts []float64) {
	counts = make([]float64, 112)
	for _, r := range reference(t, "events_coal.csv") {
		counts[int(r.float("date_decimal_year"))-1851]++
	}
	return counts
}

func coalExpected(t *testing.T) map[string]float64 {
	want := map[string]float64{}
	for _, r := range reference(t, "events_coal_expected.csv") {
		want[r.text("quantity")] = r.float("value")
	}
	return want
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

// Explosions in British coal mines, R. G. Jarrett, Biometrika 66, 1979, 191–193: one
// change about 1890, from R 4.2.2's rates before and from 1890 (poisson.test).
func TestFindChangeCoal(t *testing.T) {
	counts, want := coal(t), coalExpected(t)
	c, ok := FindChange(Periods{Count: counts, Exposure: ones(112)})
	if !ok || c.P != 1.0/500 || c.At < 1888-1851 || c.At > 1893-1851 || c.First > 1890-1851 || c.Last < 1890-1851 {
		t.Errorf("change = %+v, %v, want about 1890, sure", c, ok)
	}
	if c.Statistic < c.Trend+changeTrend {
		t.Errorf("statistic = %v, of a trend %v, want more", c.Statistic, c.Trend)
	}
	before, after := c.Rates(Confidence)
	if math.Abs(before.Value-want["before_1890_rate"]) > 0.2 || math.Abs(after.Value-want["from_1890_rate"]) > 0.1 {
		t.Errorf("rates = %v, %v, want about %v, %v", before.Value, after.Value, want["before_1890_rate"], want["from_1890_rate"])
	}
}

// The same series, rates and dispersion by formula.
func TestCoalReference(t *testing.T) {
	counts, want := coal(t), coalExpected(t)
	d := pearson(counts, ones(112), make([]int, 112))
	if d.DF != int(want["df"]) || !near(d.Phi, want["phi"], 1e-6) || !near(d.Chi2, want["pearson_chi2"], 1e-6) || !near(d.P, want["p_upper"], 1e-6) {
		t.Errorf("dispersion = %+v, want φ %v, p %v", d, want["phi"], want["p_upper"])
	}
	n1, n2 := sumOf(counts[:39]), sumOf(counts[39:])
	before, after := Rate(int64(n1), 39, 0.95), Rate(int64(n2), 73, 0.95)
	for name, got := range map[string]float64{
		"total": n1 + n2, "before_1890_n": n1, "from_1890_n": n2,
		"before_1890_rate": before.Value, "before_1890_rate_lo95": before.Low, "before_1890_rate_hi95": before.High,
		"from_1890_rate": after.Value, "from_1890_rate_lo95": after.Low, "from_1890_rate_hi95": after.High,
		"rate_ratio": RateRatio(n1, 39, n2, 73, 1, 0.95).Value, "rate_ratio_lo95": RateRatio(n1, 39, n2, 73, 1, 0.95).Low,
		"rate_ratio_hi95": RateRatio(n1, 39, n2, 73, 1, 0.95).High,
	} {
		if !near(got, want[name], 1e-8) {
			t.Errorf("%s = %.10g, want %.10g", name, got, want[name])
		}
	}
}

func TestFindChangeBorders(t *testing.T) {
	for name, p := range map[string]Periods{
		"none":  {},
		"short": {Count: ones(7), Exposure: ones(7)},
		"empty": {Count: make([]float64, 40), Exposure: ones(40)},
		"all parts seen once": {Count: []float64{9, 9, 9, 9, 9, 1, 1, 1, 1, 1, 1, 1}, Exposure: ones(12),
			Part: []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}},
	} {
		if c, ok := FindChange(p); ok {
			t.Errorf("%s: %+v, want none", name, c)
		}
	}
	half := Periods{Count: append(make([]float64, 30), 3, 4, 3, 3, 4, 5, 3, 3, 2, 4), Exposure: ones(40)}
	c, ok := FindChange(half)
	before, _ := c.Rates(0.95)
	if !ok || c.At != 30 || before.Value != 0 || !near(before.High, 3.688879454/30, 1e-6) || c.P > 0.01 {
		t.Errorf("from nought = %+v, before %+v, want a change at 30", c, before)
	}
}

// How often a change is told of made-up sites of fourteen months to four years: with none, with
// a trend instead, and with one; and how often its date lies between its limits.
func TestChangeRates(t *testing.T) {
	const rounds = 9
	random := rand.New(rand.NewPCG(12, 34))
	from := DateOf(2022, 1, 3)
	told := func(p process, long int) []Finding {
		days := []Day{}
		factor := 1.0
		for i, mean := range p.hourly(from, long) {
			if i%24 == 0 {
				factor = drawGamma(random, 1, p.theta)
				days = append(days, Day{Date: from + Date(i/24), ExposureS: daySeconds})
			}
			days[len(days)-1].Visits += int32(drawPoisson(random, mean*factor))
		}
		return changeFinding(loadZone(t, "UTC"), days, nil)
	}
	alarms, quietSites, found, changed, inside := 0, 0, 0, 0, 0
	for _, p := range processes() {
		if p.perDay > 20 {
			continue // as the others, only slower
		}
		plain, hits, trends := 0, 0, 0
		for round := range rounds {
			years := 2 + round%3
			p.level = steady
			plain += len(told(p, 365*years)) + len(told(p, 430)) // some months seen twice
			quietSites += 2
			p.level = func(y float64) float64 { return math.Pow(1.15, y) }
			trends += len(told(p, 365*years))
			p.level = func(y float64) float64 {
				if y > 0.55*float64(years) {
					return 0.5
				}
				return 1
			}
			at := instant(t, "2022-01-03T00:00:00Z") + int64(0.55*float64(years)*365.25*daySeconds)
			changed++
			for _, f := range told(p, 365*years) {
				hits++
				if f.From <= at && at < f.To {
					inside++
				}
			}
		}
		alarms, found = alarms+plain, found+hits
		t.Logf("%-24s of %d: told %2d of none, %2d of 15 %% a year, %2d of a half", p.name, rounds, plain, trends, hits)
	}
	t.Logf("told %d of %d without a change, %d of %d with; its date between the limits %d times", alarms, quietSites, found, changed, inside)
	if float64(alarms) > 0.05*float64(quietSites) {
		t.Errorf("%d of %d sites without a change are told, want 5 %% at most", alarms, quietSites)
	}
	if float64(found) < 0.9*float64(changed) || float64(inside) < 0.93*float64(found) {
		t.Errorf("%d of %d changes are told, %d with the date between limits, want 90 %%, and 95 %% of those", found, changed, inside)
	}
}

func TestChangeFinding(t *testing.T) {
	random, from := rand.New(rand.NewPCG(5, 5)), DateOf(2024, 1, 1)
	var days []Day
	for d := from; d < from+730; d++ {
		mean := 8.0
		if d >= DateOf(2025, 2, 15) {
			mean = 4
		}
		days = append(days, Day{Date: d, Visits: int32(drawPoisson(random, mean)), ExposureS: daySeconds})
	}
	got := changeFinding(loadZone(t, "Europe/Dublin"), days, nil)
	if len(got) != 1 || got[0].Kind != KindChange || got[0].Key != "change-2025-02" || len(got[0].Choices) != 1 {
		t.Fatalf("findings = %+v, want one of February 2025", got)
	}
	words := regexp.MustCompile(`^Visits changed about 2025-02-\d\d \(between 2025-0[12]-\d\d and 2025-0[23]-\d\d\): before, about 5\d a week \(5\d to 5\d\); after, about 2\d a week \(2\d to [23]\d\)\. The seasons are evened out\. Without a change, less than one site in 500 would look like this \(p = 0\.002\)\.$`)
	if !words.MatchString(got[0].Says) {
		t.Errorf("words = %q", got[0].Says)
	}
	if at := instant(t, "2025-02-15T00:00:00Z"); got[0].From > at || got[0].To < at || got[0].To-got[0].From > 60*daySeconds {
		t.Errorf("range = %s to %s, want about 2025-02-15", stamp(got[0].From), stamp(got[0].To))
	}
	// Weeks under a quiet stretch are left out: with half of the time unsettled there
	// is nothing to say.
	all := []Finding{{Kind: KindQuiet, From: 0, To: instant(t, "2025-01-01T00:00:00Z")}}
	if got := changeFinding(loadZone(t, "Europe/Dublin"), days, all); len(got) != 0 {
		t.Errorf("with a year unsettled: %v, want none", got)
	}
}

func BenchmarkChangeTenYears(b *testing.B) {
	random := rand.New(rand.NewPCG(5, 5))
	p := Periods{Exposure: ones(520)}
	for i := range 520 {
		mean := 60.0
		if i > 300 {
			mean = 40
		}
		p.Count = append(p.Count, float64(drawPoisson(random, mean)))
		p.Part = append(p.Part, i/4%12)
	}
	for b.Loop() {
		FindChange(p)
	}
}
