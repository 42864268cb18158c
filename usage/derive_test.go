package usage

import (
	"cmp"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// millSite is a made-up site.
func millSite(zone string) Site {
	return Site{Code: "MILL", Name: "Mill Lane", Latitude: 52.1, Longitude: -8.2, Zone: zone, Thresholds: DefaultThresholds}
}

// A made-up evening in Dublin, on which clocks go back at 01:00 UTC: the hour from
// 1 to 2 comes twice. Sunset was at 17:10 UTC, civil dusk at 17:44 (by the sun of
// this package; their correctness is the matter of sun_test.go).
func TestDeriveExample(t *testing.T) {
	at := func(s string) int64 { return instant(t, s) }
	removal := timed(at("2025-10-26T20:00:00Z"), Unknown)
	removal.Removal = true
	lb := Logbook{
		Openings: []Opening{
			timed(at("2025-10-26T00:30:00Z"), 40),      // 01:30 summer time, dark: visit 1
			timed(at("2025-10-26T01:30:00Z"), 50),      // 01:30 again, dark: visit 2
			timed(at("2025-10-26T12:00:00Z"), Unknown), // noon: visit 3
			timed(at("2025-10-26T12:02:00Z"), 10),      // still visit 3
			timed(at("2025-10-26T12:30:00Z"), 1),       // rattle
			{OpenS: 25},                                // untimed: visit 4
			timed(at("2025-10-26T17:20:00Z"), 2400),    // ajar at twilight: visit 5
			removal,
		},
		Stretches: []Stretch{
			{at("2025-10-25T22:30:00Z"), at("2025-10-26T20:00:00Z"), Recording},
			{at("2025-10-26T20:00:00Z"), at("2025-10-27T20:00:00Z"), Away},
		},
		Findings: []Finding{{Key: "k", Kind: "made up", Evidence: []RowRef{{Line: 3}}}},
	}
	got, err := Derive(millSite("Europe/Dublin"), lb)
	if err != nil {
		t.Fatal(err)
	}
	wantDays := []Day{
		{Date: DateOf(2025, 10, 25), ExposureS: 1800},
		{Date: DateOf(2025, 10, 26), Openings: 7, Visits: 4, OpenS: 40 + 50 + 10 + 1800, UnknownS: 1,
			Dark: 2, Twilight: 1, ExposureS: 21 * 3600},
	}
	if diff := gocmp.Diff(wantDays, got.Days); diff != "" {
		t.Errorf("days (-want +got):\n%s", diff)
	}
	wantTotals := Totals{Openings: 8, Untimed: 1, Visits: 5, Visitor: 5, Service: 1, Rattle: 1, Ajar: 1,
		OpenS: 40 + 50 + 10 + 25 + 1800, UnknownS: 1, ExposureS: 1800 + 21*3600,
		FirstAt: at("2025-10-26T00:30:00Z"), LastAt: at("2025-10-26T20:00:00Z")}
	if diff := gocmp.Diff(wantTotals, got.Totals); diff != "" {
		t.Errorf("totals (-want +got):\n%s", diff)
	}
	var visits []int32
	for _, o := range got.Openings {
		visits = append(visits, o.Visit)
	}
	if want := []int32{1, 2, 3, 3, Unknown, 4, 5, Unknown}; !slices.Equal(visits, want) {
		t.Errorf("visits = %v, want %v", visits, want)
	}
	if len(got.Months) != 1 || got.Months[0].Month.String() != "2025-10" {
		t.Fatalf("months = %v, want 2025-10", got.Months)
	}
	m, sunday1 := got.Months[0], hourOfWeek(DateOf(2025, 10, 26), 1)
	if m.Visits[sunday1] != 2 || m.ExposureS[sunday1] != 7200 {
		t.Errorf("Sunday 1 h = %d visits in %d s, want 2 in 7200 (the hour comes twice)", m.Visits[sunday1], m.ExposureS[sunday1])
	}
	if diff := gocmp.Diff(lb.Findings, got.Findings); diff != "" {
		t.Errorf("findings (-want +got):\n%s", diff)
	}
	if diff := gocmp.Diff(lb.Stretches, got.Coverage); diff != "" {
		t.Errorf("coverage (-want +got):\n%s", diff)
	}
}

func TestDeriveEmpty(t *testing.T) {
	got, err := Derive(millSite("UTC"), Logbook{})
	if err != nil || len(got.Days) != 0 || len(got.Months) != 0 || got.Totals != (Totals{}) {
		t.Errorf("Derive(empty) = %+v, %v, want nothing", got, err)
	}
}

func TestDeriveUnknownZone(t *testing.T) {
	_, err := Derive(millSite("Mill/Lane"), Logbook{})
	var fault *Fault
	if !errors.As(err, &fault) || fault.Kind != Invalid || fault.Try == "" {
		t.Errorf("Derive(unknown zone) = %v, want an invalid fault that says what to try", err)
	}
}

// slowDerive counts days, months and totals by looking through everything once a
// figure, with the time package's clock. Classes and visit numbers are taken from
// the rules as visits_test.go writes them down.
func slowDerive(t *rapid.T, site Site, lb Logbook) (days []Day, months []MonthTally, totals Totals) {
	loc, err := time.LoadLocation(site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	dayOf, monthOf := map[Date]*Day{}, map[Month]*MonthTally{}
	// day returns the day and month of an instant, the month not yet entered.
	day := func(at int64) (*Day, *MonthTally, int) {
		civil := time.Unix(at, 0).In(loc)
		d := DateOf(civil.Date())
		if dayOf[d] == nil {
			dayOf[d] = &Day{Date: d}
		}
		m := monthOf[MonthOf(d)]
		if m == nil {
			m = &MonthTally{Month: MonthOf(d)}
		}
		return dayOf[d], m, (int(civil.Weekday())+6)%7*24 + civil.Hour()
	}
	for _, s := range lb.Stretches {
		for at := s.From; s.Kind == Recording && at < s.To; at++ {
			d, m, cell := day(at)
			monthOf[m.Month] = m
			d.ExposureS++
			m.ExposureS[cell]++
			totals.ExposureS++
		}
	}
	seen := map[int32]bool{}
	visits := slowVisits(lb.Openings, site.Thresholds)
	for i, o := range lb.Openings {
		class, begins := Classify(o, site.Thresholds), visits[i] != Unknown && !seen[visits[i]]
		seen[visits[i]] = true
		seconds := int64(0)
		if o.OpenS > 0 && class == Visitor {
			seconds = int64(o.OpenS)
		}
		if class == Ajar {
			seconds = int64(site.Thresholds.AjarS)
		}
		totals.Openings++
		totals.OpenS += seconds
		switch class {
		case Visitor:
			totals.Visitor++
			if o.OpenS == Unknown {
				totals.UnknownS++
			}
		case Service:
			totals.Service++
		case Rattle:
			totals.Rattle++
		case Ajar:
			totals.Ajar++
		}
		if begins {
			totals.Visits++
		}
		if !o.Timed {
			totals.Untimed++
			continue
		}
		if totals.Openings-totals.Untimed == 1 || o.At < totals.FirstAt {
			totals.FirstAt = o.At
		}
		if totals.Openings-totals.Untimed == 1 || o.At > totals.LastAt {
			totals.LastAt = o.At
		}
		d, m, cell := day(o.At)
		d.Openings++
		d.OpenS += seconds
		if class == Visitor && o.OpenS == Unknown {
			d.UnknownS++
		}
		if begins {
			monthOf[m.Month] = m
			m.Visits[cell]++
			d.Visits++
			switch high := NewSun(site.Latitude, site.Longitude).Elevation(o.At); {
			case high < -6:
				d.Dark++
			case high < -0.833:
				d.Twilight++
			}
		}
	}
	for _, d := range dayOf {
		days = append(days, *d)
	}
	for _, m := range monthOf {
		months = append(months, *m)
	}
	slices.SortFunc(days, func(a, b Day) int { return cmp.Compare(a.Date, b.Date) })
	slices.SortFunc(months, func(a, b MonthTally) int { return cmp.Compare(a.Month, b.Month) })
	return days, months, totals
}

func TestDeriveAgainstSlowModel(tt *testing.T) {
	rapid.Check(tt, func(t *rapid.T) {
		site := millSite(rapid.SampledFrom([]string{"Australia/Lord_Howe", "Europe/Dublin", "America/St_Johns", "Asia/Kathmandu"}).Draw(t, "zone"))
		site.Latitude = rapid.Float64Range(-70, 70).Draw(t, "latitude")
		site.Thresholds = drawThresholds(t)
		change := rapid.SampledFrom(loadZone(tt, site.Zone).spans).Draw(t, "span").to
		from := min(change, 4e9) - rapid.Int64Range(0, 4000).Draw(t, "from")
		lb := Logbook{Openings: drawOpenings(t, from)}
		at := from
		for range rapid.IntRange(0, 2).Draw(t, "stretches") {
			end := at + rapid.Int64Range(0, 5000).Draw(t, "length")
			lb.Stretches = append(lb.Stretches, Stretch{at, end, rapid.SampledFrom([]StretchKind{Recording, Away}).Draw(t, "kind")})
			at = end
		}
		before := slices.Clone(lb.Openings)
		got, err := Derive(site, lb)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(before, lb.Openings) {
			t.Fatal("Derive changed its logbook")
		}
		days, months, totals := slowDerive(t, site, lb)
		if !slices.Equal(got.Days, days) {
			t.Fatalf("days (-want +got):\n%s", gocmp.Diff(days, got.Days))
		}
		if !slices.Equal(got.Months, months) {
			t.Fatalf("months (-want +got):\n%s", gocmp.Diff(months, got.Months))
		}
		if got.Totals != totals {
			t.Fatalf("totals (-want +got):\n%s", gocmp.Diff(totals, got.Totals))
		}
	})
}

// millionOpenings is ten years of a very busy made-up site.
func millionOpenings() Logbook {
	random := rand.New(rand.NewPCG(1, 2))
	lb := Logbook{Openings: make([]Opening, 1_000_000)}
	at := int64(1.45e9)
	for i := range lb.Openings {
		at += 1 + int64(random.ExpFloat64()*315)
		lb.Openings[i] = timed(at, int32(random.ExpFloat64()*40))
	}
	lb.Stretches = []Stretch{{1.45e9, at + 1, Recording}}
	return lb
}

func BenchmarkDeriveMillion(b *testing.B) {
	lb, site := millionOpenings(), millSite("Europe/Dublin")
	b.ReportAllocs()
	for b.Loop() {
		if d, err := Derive(site, lb); err != nil || d.Totals.Openings != 1_000_000 {
			b.Fatal(d.Totals, err)
		}
	}
}
