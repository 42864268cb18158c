package usage_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// deathDays and aheadDays: forged boxes are watched so long, and the date range is
// given so long before their pack dies.
const (
	deathDays = 640
	aheadDays = 30
)

// forgedPack is a forged box with the pack that it empties.
type forgedPack struct {
	site     usage.Site
	openings []usage.Opening
	awayFrom int64 // a card is away [awayFrom, awayTo): openings draw, and reach no card
	awayTo   int64
	from     int64 // the pack is put in
	setting  usage.PowerSetting
	death    int64 // Unix s at which it is empty; 0: not while it was watched
	random   *rand.Rand
}

// forgePack makes a box of a random character and empties its pack, opening by
// opening, by the true draw and the true charge: those of the setting but for their
// tolerances.
func forgePack(t *testing.T, seed uint64, tolerances bool) forgedPack {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 77))
	characters := forge.Characters()
	c := characters[random.IntN(len(characters))]
	c.PerDay *= 0.5 + random.Float64()
	c.Trend += 0.2 * random.NormFloat64()
	spec := forge.SiteSpec{
		Code: fmt.Sprintf("S%03d", seed), Name: "Forged box", Zone: "Europe/Dublin", Latitude: 50.6, Longitude: -8.2,
		InstalledOn: usage.DateOf(2024, 1, 1) + usage.Date(random.IntN(365)), Character: c, Dialect: forge.RandomDialect(random),
		Rounds: forge.Rounds{Kind: forge.Growing, EveryDays: 30},
	}
	s, err := forge.NewSite(spec, spec.InstalledOn+deathDays, seed)
	if err != nil {
		t.Fatal(err)
	}
	f := forgedPack{site: spec.Site(), random: random, from: s.Installed()}
	for _, o := range s.Openings {
		f.openings = append(f.openings, usage.Opening{At: o.At, OpenS: o.OpenS, Class: o.Class, Timed: true})
	}
	f.awayFrom = f.from + int64(100+random.IntN(200))*86400
	f.awayTo = f.awayFrom + int64(random.IntN(30))*86400
	f.setting = usage.NewPowerSetting()
	f.setting.Draw = usage.Draw{ActiveMA: 12 + 30*random.Float64(), StartMAs: 100 * random.Float64(), StandbyUA: 60 * random.Float64() * random.Float64()}
	f.setting.Pack = usage.Pack{Derating: 0.8, SelfPct: 3}
	ratio, held := 1.0, 1.0
	if tolerances {
		f.setting.Draw.TolerancePct, f.setting.Pack.TolerancePct = 20, 25
		ratio = math.Exp(math.Log(1.20) / 1.96 * random.NormFloat64())
		held = math.Exp(math.Log(1.25) / 1.96 * random.NormFloat64())
	}
	// so large that it lasts some time between a quarter and seven quarters of a year
	f.setting.Pack.CapacityMAh = f.drawn(f.from+int64(90+random.IntN(deathDays-180))*86400) / 0.8
	f.death = f.empties(ratio, held*f.setting.Pack.CapacityMAh*0.8)
	return f
}

// drawn is what the logger draws by its profile up to an instant, mAh.
func (f *forgedPack) drawn(until int64) float64 {
	d, sum := f.setting.Draw, 0.0
	for _, o := range f.openings {
		if o.At < until {
			sum += (d.ActiveMA*float64(o.OpenS) + d.StartMAs) / 3600
		}
	}
	return sum + d.StandbyUA*24/1000*float64(until-f.from)/86400
}

// empties returns when a charge is used up, in steps of one opening; 0 for never.
func (f *forgedPack) empties(ratio, charge float64) int64 {
	k := -math.Log(1-f.setting.Pack.SelfPct/100) / 365.25 / 86400
	standby := ratio * f.setting.Draw.StandbyUA / 1000 / 3600 // mAh a second
	at := f.from
	for _, o := range f.openings {
		dt := float64(o.At - at)
		charge = (charge+standby/k)*math.Exp(-k*dt) - standby/k
		charge -= ratio * (f.setting.Draw.ActiveMA*float64(o.OpenS) + f.setting.Draw.StartMAs) / 3600
		at = o.At
		if charge <= 0 {
			return at
		}
	}
	return 0
}

// outlook is what the tool says at an instant, of what had then been recorded.
func (f *forgedPack) outlook(t *testing.T, now int64) *usage.PowerForecast {
	t.Helper()
	zone, err := usage.LoadZone(f.site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	coverage := []usage.Stretch{{From: f.from, To: now, Kind: usage.Recording}}
	if f.awayTo < now {
		coverage = []usage.Stretch{{From: f.from, To: f.awayFrom, Kind: usage.Recording}, {From: f.awayFrom, To: f.awayTo, Kind: usage.Away}, {From: f.awayTo, To: now, Kind: usage.Recording}}
	}
	tally := usage.NewDoorTally(zone)
	for i := range f.openings {
		o := &f.openings[i]
		if o.At < now && !(f.awayTo < now && o.At >= f.awayFrom && o.At < f.awayTo) {
			tally.Add(o)
		}
	}
	var days []usage.Day
	for _, d := range usage.ExposureOf(zone, coverage).Days {
		days = append(days, usage.Day{Date: d.Date, ExposureS: d.Seconds})
	}
	got, err := usage.PowerOutlook(usage.PowerIn{Site: f.site, Setting: f.setting, Doors: tally.Days(days), Coverage: coverage, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// A pack's death planted in forged networks must lie in the date range given a month
// before, in at least nine boxes of ten: where draw and charge are known exactly, so
// that only use is uncertain, and where both are known within their tolerances.
func TestRangeHoldsForgedDeath(t *testing.T) {
	const cases = 120
	for _, tt := range []struct {
		name       string
		tolerances bool
		widest     float64 // days, median width: a range that holds everything says nothing
	}{
		{"draw and charge known", false, 60},
		{"draw and charge within tolerances", true, 220},
	} {
		t.Run(tt.name, func(t *testing.T) {
			held, early, late := 0, 0, 0
			var widths []float64
			n := 0
			for seed := uint64(1); n < cases; seed++ {
				f := forgePack(t, seed, tt.tolerances)
				if f.death == 0 || f.death < f.from+75*86400 {
					continue
				}
				n++
				got := f.outlook(t, f.death-aheadDays*86400)
				zone, _ := usage.LoadZone(f.site.Zone)
				died, _ := zone.Civil(f.death)
				low, high := got.Empty.Low, got.Empty.High
				switch {
				case low != nil && died < *low:
					early++
				case high != nil && died > *high:
					late++
				default:
					held++
				}
				if low == nil || high == nil {
					t.Errorf("seed %d: Empty = %v to %v, want dates", seed, low, high)
					continue
				}
				widths = append(widths, float64(*high-*low))
			}
			slices.Sort(widths)
			width := widths[len(widths)/2]
			t.Logf("%d of %d held, %d died before, %d after; median width %.0f days", held, n, early, late, width)
			if held*10 < n*9 {
				t.Errorf("the range held %d deaths of %d, want at least 90 in 100", held, n)
			}
			if width > tt.widest {
				t.Errorf("the median range is %.0f days wide, want %.0f at most", width, tt.widest)
			}
		})
	}
}
