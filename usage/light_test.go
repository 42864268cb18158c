package usage

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// litBox is a box at 52° N that is opened by chance at a mean rate an hour, in the
// hours given, on the days from first to last.
func litBox(t *testing.T, first, last Date, rate float64, hours []int, seed uint64) LightIn {
	t.Helper()
	site := Site{Code: "MILL", Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: first, Thresholds: DefaultThresholds}
	zone, err := LoadZone(site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(seed, 6))
	lb := Logbook{Stretches: []Stretch{{zone.StartOfDay(first), zone.StartOfDay(last + 1), Recording}}}
	for d := first; d <= last; d++ {
		for _, h := range hours {
			for x := random.ExpFloat64() / rate; x < 1; x += random.ExpFloat64() / rate {
				lb.Openings = append(lb.Openings, Opening{At: zone.StartOfDay(d) + int64(float64(h)*3600+x*3600), OpenS: 30, Timed: true})
			}
		}
	}
	slices.SortFunc(lb.Openings, func(a, b Opening) int { return int(a.At - b.At) })
	derived, err := Derive(site, lb)
	if err != nil {
		t.Fatal(err)
	}
	return LightIn{Site: site, Days: derived.Days, Months: derived.Months, Now: zone.StartOfDay(last + 1), Rule: DefaultLightRule, Lamp: Lamp{CurrentMA: 20}}
}

func TestWouldLightHelp(t *testing.T) {
	year := [2]Date{DateOf(2025, 1, 1), DateOf(2025, 12, 31)}
	summer := [2]Date{DateOf(2025, 5, 1), DateOf(2025, 8, 31)}
	for _, tt := range []struct {
		name       string
		days       [2]Date
		rate       float64
		hours      []int
		want       LightVerdict
		fromWinter bool
	}{
		{"evenings all year", year, 1, []int{18, 19}, LightYes, true},
		{"noon only", year, 1, []int{11, 12}, LightNo, true},
		{"evenings of a summer", summer, 2, []int{18, 19}, LightOpen, false},
		{"about the rule", year, 0.215, []int{18, 19}, LightOpen, true},
		{"a year later only one came", year, 0.002, []int{18, 19}, LightNo, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := litBox(t, tt.days[0], tt.days[1], tt.rate, tt.hours, 5)
			if tt.name == "evenings of a summer" {
				in.Rule.VisitsAWeek = 10 // half of what the summer's evenings come to
			}
			got, err := WouldLightHelp(in)
			if err != nil {
				t.Fatal(err)
			}
			if got.Verdict != tt.want || got.FromWinter != tt.fromWinter {
				t.Errorf("verdict = %s (from winter %v), want %s: %s", got.Verdict, got.FromWinter, tt.want, got.Says)
			}
			if !strings.HasPrefix(got.Says, map[LightVerdict]string{LightYes: "Yes", LightNo: "No", LightOpen: "Cannot tell yet"}[tt.want]) {
				t.Errorf("says %q", got.Says)
			}
		})
	}
}

// The limits of midwinter must hold the truth: all visits from 18:00 to 20:00, since at
// 52° N in Dublin's zone it is dark by 17:10 on 21 December. Those that come within
// three minutes of the one before are of the same visit.
func TestMidwinterHoldsTruth(t *testing.T) {
	const cases = 40
	held, truth := 0, 14*math.Exp(-3.5/60)
	for seed := range uint64(cases) {
		got, err := WouldLightHelp(litBox(t, DateOf(2025, 1, 1), DateOf(2025, 12, 31), 1, []int{18, 19}, seed))
		if err != nil {
			t.Fatal(err)
		}
		if m := got.Midwinter; m.Low <= truth && truth <= m.High {
			held++
		}
	}
	t.Logf("%d of %d held", held, cases)
	if held < cases*9/10 {
		t.Errorf("the limits of midwinter held the truth in %d of %d, want nine in ten", held, cases)
	}
}

func TestLightWithoutRecords(t *testing.T) {
	got, err := WouldLightHelp(LightIn{Site: Site{Zone: "UTC"}, Rule: DefaultLightRule})
	if err != nil || got.Verdict != LightOpen || got.Now != nil || got.Midwinter != nil {
		t.Errorf("WouldLightHelp without records = %+v, %v, want that it cannot be told", got, err)
	}
}

// The next midwinter follows the hemisphere.
func TestNextSolstice(t *testing.T) {
	for _, tt := range []struct {
		latitude    float64
		today, want Date
	}{
		{52, DateOf(2025, 12, 21), DateOf(2025, 12, 21)},
		{52, DateOf(2025, 12, 22), DateOf(2026, 12, 21)},
		{-36, DateOf(2025, 12, 22), DateOf(2026, 6, 21)},
		{-36, DateOf(2025, 3, 1), DateOf(2025, 6, 21)},
	} {
		l := lightBench{in: LightIn{Site: Site{Latitude: tt.latitude}}, today: tt.today}
		if got := l.nextSolstice(); got != tt.want {
			t.Errorf("nextSolstice(%v at %v°) = %v, want %v", tt.today, tt.latitude, got, tt.want)
		}
	}
}

// A lamp costs current × seconds × openings, and a brighter one empties a pack sooner.
func TestLightCost(t *testing.T) {
	in := litBox(t, DateOf(2025, 1, 1), DateOf(2025, 12, 31), 1, []int{18, 19}, 5)
	in.Lamp = Lamp{CurrentMA: 40, AfterS: 30, Always: true}
	setting := NewPowerSetting()
	setting.Pack.CapacityMAh = 500
	power := PowerIn{Site: in.Site, Setting: setting, Now: in.Now}
	for _, d := range in.Days {
		power.Doors = append(power.Doors, DoorDay{Date: d.Date, Openings: d.Openings, OpenS: d.OpenS, ExposureS: d.ExposureS})
	}
	in.Power = &power
	got, err := WouldLightHelp(in)
	if err != nil {
		t.Fatal(err)
	}
	openings, weeks := 0.0, 0.0
	for _, d := range in.Days[len(in.Days)-8*7:] {
		openings, weeks = openings+float64(d.Openings), weeks+1.0/7
	}
	if want := 40.0 * 60 / 3600 * openings / weeks; math.Abs(got.Cost.NowMAh.Value-want) > 0.05*want {
		t.Errorf("draws %v mAh a week, want about %v", got.Cost.NowMAh.Value, want)
	}
	if got.Cost.BurnS != 60 {
		t.Errorf("burns %v s an opening, want 60", got.Cost.BurnS)
	}
	// With twice the draw of the door, and 40 mA on top of 25 for twice as long, the pack
	// lasts a quarter as long, give or take start charge and self-discharge.
	if d := got.Cost.EarlierD; d == nil || *d <= 0 {
		t.Fatalf("EarlierD = %v, want days", d)
	}
	life := float64(*got.Cost.Life.Likely) - float64(in.Now)/daySeconds
	if ratio := 1 - *got.Cost.EarlierD/life; ratio < 0.2 || ratio > 0.4 {
		t.Errorf("with the lamp the pack lasts %.2f of its life, want about 0.3", ratio)
	}
	in.Lamp.Always = false
	dark, err := WouldLightHelp(in)
	if err != nil || *dark.Cost.EarlierD >= *got.Cost.EarlierD {
		t.Errorf("a lamp for the dark alone costs %v days, want less than %v (%v)", *dark.Cost.EarlierD, *got.Cost.EarlierD, err)
	}
}
