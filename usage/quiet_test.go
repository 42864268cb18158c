package usage

import (
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// drawOutages draws outages of 20 to 300 expected visits, as many of 20 to 60 as
// of more, apart from each other and from the ends; and what each would have held.
func drawOutages(random *rand.Rand, from Date, hourly []float64, count int) (outages []reach, expected []float64) {
	for range 50 * count {
		if len(outages) == count {
			break
		}
		want := 20 * math.Exp(random.Float64()*math.Log(15))
		start := random.IntN(len(hourly))
		sum, i := 0.0, start
		for ; i < len(hourly)-10*24 && sum < want; i++ {
			sum += hourly[i]
		}
		o := reach{int64(from)*daySeconds + int64(start)*hourSeconds, int64(from)*daySeconds + int64(i)*hourSeconds}
		apart := start > 10*24 && sum >= want && i-start < 90*24
		for _, other := range outages {
			apart = apart && (o.to+6*daySeconds < other.from || other.to+6*daySeconds < o.from)
		}
		if apart {
			outages, expected = append(outages, o), append(expected, sum)
		}
	}
	return outages, expected
}

func quietOf(t testing.TB, lb Logbook) (quiet []Finding) {
	t.Helper()
	d, err := Derive(millSite("UTC"), lb)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range d.Findings {
		if f.Kind == KindQuiet {
			quiet = append(quiet, f)
		}
	}
	return quiet
}

// The rates at which outages are raised, and quiet stretches that are none, over
// made-up sites of one to three years.
func TestQuietRates(t *testing.T) {
	const rounds = 12
	random := rand.New(rand.NewPCG(20, 3))
	from := DateOf(2023, 1, 2)
	false1, years1 := 0, 0.0
	found, of, found60, of60, false2, years2 := 0, 0, 0, 0, 0, 0.0
	for _, p := range processes() {
		alarms, hits, all := 0, 0, 0
		for round := range rounds {
			years := 1 + round%3
			hourly := p.hourly(from, 365*years)
			alarms += len(quietOf(t, logbookOf(p.arrivals(random, from, hourly, nil))))
			years1 += float64(years)

			outages, expected := drawOutages(random, from, hourly, 3*years)
			lb := logbookOf(p.arrivals(random, from, hourly, outages))
			raised := quietOf(t, lb)
			years2 += float64(years)
			for _, f := range raised {
				real := false
				for _, o := range outages {
					real = real || f.From < o.to && o.from < f.To
				}
				if !real {
					false2++
				}
			}
			for i, o := range outages {
				hit := false
				for _, f := range raised {
					hit = hit || f.From <= o.from && o.to <= f.To
				}
				all++
				if expected[i] >= 60 {
					of60++
				}
				if hit {
					hits++
					if expected[i] >= 60 {
						found60++
					}
				}
			}
		}
		false1, found, of = false1+alarms, found+hits, of+all
		t.Logf("%-24s raised %3d of %3d outages; %d false without outages", p.name, hits, all, alarms)
	}
	t.Logf("raised %d of %d (%.1f %%; %d of %d of 60 visits and more), false %d in %.0f site years without outages, %d in %.0f with",
		found, of, 100*float64(found)/float64(of), found60, of60, false1, years1, false2, years2)
	if of < 400 || float64(found) < 0.95*float64(of) {
		t.Errorf("outages raised: %d of %d, want 95 %%", found, of)
	}
	if years1 < 200 || float64(false1) > 0.1*years1 || float64(false2) > 0.1*years2 {
		t.Errorf("falsely raised: %d in %.0f site years, %d in %.0f, want 0.1 a year", false1, years1, false2, years2)
	}
}

// brokenLogbook is a steady made-up site with no opening from 9 to 19 April 2023;
// it also returns the positions of the openings around that stretch.
func brokenLogbook() (lb Logbook, before, after int) {
	random := rand.New(rand.NewPCG(4, 19))
	from, p := DateOf(2023, 1, 2), processes()[3]
	out := reach{int64(DateOf(2023, 4, 9)) * daySeconds, int64(DateOf(2023, 4, 19)) * daySeconds}
	lb = logbookOf(p.arrivals(random, from, p.hourly(from, 300), []reach{out}))
	after = slices.IndexFunc(lb.Openings, func(o Opening) bool { return o.At >= out.to })
	return lb, after - 1, after
}

func TestQuietFinding(t *testing.T) {
	lb, before, after := brokenLogbook()
	quiet := quietOf(t, lb)
	if len(quiet) != 1 {
		t.Fatalf("%d quiet stretches, want 1", len(quiet))
	}
	f := quiet[0]
	if want := lb.Openings[before].At + 20; f.From != want || f.To != lb.Openings[after].At {
		t.Errorf("stretch = %s to %s, want %s to %s", stamp(f.From), stamp(f.To), stamp(want), stamp(lb.Openings[after].At))
	}
	if want := "quiet-0123456789ab-" + strconv.Itoa(before+1); f.Key != want {
		t.Errorf("key = %s, want %s", f.Key, want)
	}
	words := regexp.MustCompile(`^1[01] days without an opening, when about (\d+) visits were to be expected: was the box out of order\? By chance alone, such a stretch would come less than once in 1000000 such logbooks`)
	m := words.FindStringSubmatch(f.Says)
	if m == nil {
		t.Fatalf("words = %q", f.Says)
	}
	expected := 0.0
	p, from := processes()[3], DateOf(2023, 1, 2)
	for i, mean := range p.hourly(from, 300) {
		if at := int64(from)*daySeconds + int64(i)*hourSeconds; f.From <= at && at < f.To {
			expected += mean
		}
	}
	if got, _ := strconv.ParseFloat(m[1], 64); math.Abs(got-expected) > 0.2*expected {
		t.Errorf("expected visits told = %v, want about %.0f", got, expected)
	}
	if len(f.Evidence) != 2 || int(f.Evidence[0].Line) != before+1 || int(f.Evidence[1].Line) != after+1 {
		t.Errorf("evidence = %v, want lines %d and %d", f.Evidence, before+1, after+1)
	}
	var answers []Answer
	for _, c := range f.Choices {
		answers = append(answers, c.Answer)
	}
	if want := []Answer{AnswerOutage, AnswerQuiet, AnswerSeen}; !slices.Equal(answers, want) {
		t.Errorf("choices = %v, want %v", answers, want)
	}
}

// An outage that is ruled leaves the coverage, and nothing else changes: neither
// the visits, nor the findings. Withdrawn, all is as before.
func TestQuietRuled(t *testing.T) {
	lb, _, _ := brokenLogbook()
	site := millSite("UTC")
	plain, err := Derive(site, lb)
	if err != nil {
		t.Fatal(err)
	}
	f := plain.Findings[0]
	for _, answer := range []Answer{AnswerQuiet, AnswerOutage} {
		ruled := lb
		ruled.Rulings = []Ruling{{Key: f.Key, Answer: answer, By: "Wren"}}
		got, err := Derive(site, ruled)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Findings) != 1 || got.Findings[0].Ruling == nil || got.Findings[0].Ruling.Answer != answer || got.Findings[0].Says != f.Says {
			t.Fatalf("%s: findings = %+v, want the same with its ruling", answer, got.Findings)
		}
		want := plain.Totals
		if answer == AnswerOutage {
			want.ExposureS -= f.To - f.From
			s := lb.Stretches[0]
			stretches := []Stretch{{s.From, f.From, Recording}, {f.From, f.To, Outage}, {f.To, s.To, Recording}}
			if !slices.Equal(got.Coverage, stretches) {
				t.Errorf("coverage = %v, want %v", got.Coverage, stretches)
			}
		}
		if got.Totals != want {
			t.Errorf("%s: totals = %+v, want %+v", answer, got.Totals, want)
		}
	}
}

// What shows that the logger was at work in the middle of a stretch parts it, or
// takes it away.
func TestQuietEvidenceOfWork(t *testing.T) {
	lb, before, after := brokenLogbook()
	from, to := lb.Openings[before].At+20, lb.Openings[after].At
	insert := func(o Opening) Logbook {
		with := lb
		with.Openings = slices.Insert(slices.Clone(lb.Openings), after, o)
		return with
	}
	half := insert(timed(from+(to-from)/2, 1)) // a rattle
	if got := quietOf(t, half); len(got) != 2 || got[0].To != from+(to-from)/2 || got[1].From != got[0].To+1 {
		t.Errorf("with a rattle: %v, want both halves", got)
	}
	for _, tt := range []struct{ untimed, want int }{{1, 1}, {5, 1}, {200, 0}} {
		all := lb
		for range tt.untimed {
			lo := from - 20
			all.Openings = slices.Insert(slices.Clone(all.Openings), after, Opening{OpenS: 20, Earliest: lo, Latest: to})
		}
		got := quietOf(t, all)
		if len(got) != tt.want || tt.want > 0 && (got[0].From != from || got[0].To != to || !strings.Contains(got[0].Says, " but for ")) {
			t.Errorf("with %d untimed openings that may lie anywhere in it: %v, want %d", tt.untimed, got, tt.want)
		}
	}
	part := insert(Opening{OpenS: 20, Earliest: from, Latest: from + 86400})
	if got := quietOf(t, part); len(got) != 1 || got[0].From != from+86400 || got[0].To != to {
		t.Errorf("with an untimed opening on its first day: %v, want the rest", got)
	}
	ajar := insert(timed(from+600, int32(to-from-3600)))
	if got := quietOf(t, ajar); len(got) != 0 {
		t.Errorf("with the door ajar: %v, want none", got)
	}
	away := lb
	s := lb.Stretches[0]
	away.Stretches = []Stretch{{s.From, from + 3600, Recording}, {from + 3600, to - 3600, Away}, {to - 3600, s.To, Recording}}
	if got := quietOf(t, away); len(got) != 0 {
		t.Errorf("with the card away: %v, want none", got)
	}
}

// A finding's key and words stay when a later card brings more of the same.
func TestQuietKeyStays(t *testing.T) {
	lb, _, after := brokenLogbook()
	whole := quietOf(t, lb)
	short := lb
	short.Openings = lb.Openings[:after+300]
	short.Stretches = []Stretch{{lb.Stretches[0].From, short.Openings[after+299].At, Recording}}
	got := quietOf(t, short)
	if !slices.ContainsFunc(got, func(f Finding) bool { return f.Key == whole[0].Key && f.From == whole[0].From }) {
		t.Errorf("with fewer cards: %v, want key %s", got, whole[0].Key)
	}
}

func TestQuietNothingToSay(t *testing.T) {
	for name, at := range map[string][]int64{
		"none": nil, "one": {1e9}, "two": {1e9, 1e9 + 90*86400}, "same instant": {1e9, 1e9, 1e9},
	} {
		if got := quietOf(t, logbookOf(at)); len(got) != 0 {
			t.Errorf("%s: %v, want no finding", name, got)
		}
	}
}

func TestSeldom(t *testing.T) {
	for _, c := range []struct {
		expected float64
		want     string
	}{
		{3.2, "about 3 times in such a logbook"},
		{0.7, "less than once in such a logbook"},
		{0.0123, "less than once in 80 such logbooks (p = 0.01)"},
		{0.001, "less than once in 1000 such logbooks (p = 0.001)"},
		{1e-12, "less than once in 1000000 such logbooks (p = under 0.000001)"},
	} {
		if got := seldom(c.expected); got != c.want {
			t.Errorf("seldom(%v) = %q, want %q", c.expected, got, c.want)
		}
	}
}
