package usage

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// battery_examples.csv: the formulas of DESIGN §9 in 40 decimal digits, SciPy
// solve_ivp as second opinion; invented inputs. clockchip_facts.csv: the DS1307 data
// sheet's own example, 48 mAh for more than 10 years. eeprom_endurance.csv: plain
// arithmetic. testdata/reference/README.md has their provenance.

func closeTo(got, want, tolerance float64) bool {
	return got == want || math.Abs(got-want) <= tolerance*math.Abs(want)
}

func TestBatteryExamples(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "battery_examples.csv") {
		pack := Pack{CapacityMAh: r.float("capacity_mAh"), Derating: r.float("derating"), SelfPct: r.float("self_discharge_pct_per_year")}
		draw := Draw{ActiveMA: r.float("active_mA"), StartMAs: r.float("start_charge_mAs_per_opening"), StandbyUA: r.float("standby_uA")}
		n := r.float("openings_per_day")
		load := draw.Load(n, n*r.float("seconds_per_opening"))
		for _, c := range []struct {
			column    string
			got, tol  float64
			tolerance string
		}{
			{"usable_mAh", pack.Usable(), 1e-9, "9 digits"},
			{"active_mAh_per_day", load.Active, 5e-7, "6 decimals printed"},
			{"start_mAh_per_day", load.Start, 5e-6, "6 decimals printed"},
			{"standby_mAh_per_day", load.Standby, 1e-9, "6 decimals printed"},
			{"load_mAh_per_day", load.Sum(), 5e-7, "6 decimals printed"},
			{"k_per_day", selfRate(pack.SelfPct), 1e-11, "12 digits"},
			{"life_days_no_self_discharge", Life(pack.Usable(), load.Sum(), 0), 1e-6, "4 decimals printed"},
			{"life_days", Life(pack.Usable(), load.Sum(), pack.SelfPct), 1e-6, "4 decimals printed"},
		} {
			if want := r.float(c.column); !closeTo(c.got, want, c.tol) {
				t.Errorf("%s: %s = %v, want %v (%s)", r.text("case"), c.column, c.got, want, c.tolerance)
			}
			checked++
		}
	}
	wantChecked(t, "battery_examples.csv", checked, 13*8)
}

// The drain by dates must agree with the closed form, and with the tables, where the
// load is the same every day.
func TestDrainReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "battery_examples.csv") {
		want := r.float("life_days")
		if math.IsInf(want, 1) || want > horizonDays {
			continue
		}
		q, load := r.float("usable_mAh"), r.float("load_mAh_per_day")
		u := &doorUse{openings: make([]float64, horizonDays), recorded: horizonDays}
		got := u.drain(0.25, r.float("k_per_day"), 0, func(int) (float64, float64) { return 0, load }).when(q, expected) - 0.25
		if math.Abs(got-want) > 0.003 { // within the last date the drain is taken as even
			t.Errorf("%s: drain lasts %.4f days, want %.4f", r.text("case"), got, want)
		}
		checked++
	}
	wantChecked(t, "battery_examples.csv", checked, 10)
}

func TestDrainProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := &doorUse{openings: make([]float64, 400), ajar: make([]float64, 400), ajarRate: 0.05, ajarS: 4000, recorded: rapid.IntRange(0, 400).Draw(t, "recorded"), weekSD: 0.4, levelSD: 0.1}
		loads := rapid.SliceOfN(rapid.Float64Range(0, 9), 400, 400).Draw(t, "loads")
		d := u.drain(rapid.Float64Range(0, 50).Draw(t, "from"), rapid.Float64Range(0, 0.001).Draw(t, "k"), 0.001,
			func(i int) (float64, float64) { return loads[i], 0.01 })
		charge, path := rapid.Float64Range(0.1, 500).Draw(t, "charge"), rapid.IntRange(expected, pathsAhead-1).Draw(t, "path")
		at := d.when(charge, path)
		if math.IsInf(at, 1) {
			if sum := d.at(400, path); sum >= charge {
				t.Fatalf("when(%v) = never, but the sum comes to %v", charge, sum)
			}
			return
		}
		if sum := d.at(at, path); !closeTo(sum, charge, 1e-6) {
			t.Fatalf("at(when(%v)) = %v", charge, sum)
		}
		if more := d.when(charge*1.1, path); more < at {
			t.Fatalf("when(%v) = %v, before when(%v) = %v", charge*1.1, more, charge, at)
		}
	})
}

func TestDatasheetCoinCell(t *testing.T) {
	site := Site{Zone: "Europe/Dublin", InstalledOn: DateOf(2020, 1, 1)}
	now := DateOf(2024, 1, 1)
	coin := CoinCell{CapacityMAh: 48, Derating: 1, TypicalNA: ClockTypical.Value, MostNA: ClockMost.Value}
	got, err := CoinOutlook(CoinIn{Site: site, Coin: coin, Now: int64(now) * daySeconds})
	if err != nil {
		t.Fatal(err)
	}
	// DS1307 data sheet, pin description of VBAT: "greater than 10 years"; 48 mAh at
	// 500 nA is 4000 days (rtc.battery_example_years in clockchip_facts.csv).
	if years := got.DaysMost / yearDays; !closeTo(years, 10.9514, 1e-5) || years <= 10 {
		t.Errorf("48 mAh at 500 nA lasts %.4f years, want 10.9514", years)
	}
	facts := map[string]float64{}
	for _, r := range reference(t, "clockchip_facts.csv") {
		switch r.text("id") {
		case "rtc.battery_example", "rtc.battery_example_years", "avr.eeprom_cycles", "avr.eeprom_hours_1hz", "aa.self_discharge_85_4y":
			facts[r.text("id")] = r.float("value")
		}
	}
	for _, c := range []struct {
		id  string
		got float64
	}{
		{"rtc.battery_example", coin.CapacityMAh},
		{"rtc.battery_example_years", got.DaysMost / yearDays},
		{"avr.eeprom_cycles", EEPROMWrites.Value},
		{"avr.eeprom_hours_1hz", Counter{CounterEEPROM, EEPROMWrites.Value, 1, 1}.OpenHours()},
		{"aa.self_discharge_85_4y", 100 * (1 - math.Exp(-yearDays*selfRate(100*(1-math.Pow(0.85, 0.25)))))},
	} {
		if want, ok := facts[c.id]; !ok || math.Abs(c.got-want) > 5e-3 {
			t.Errorf("%s = %v, want %v", c.id, c.got, want)
		}
	}
	if !got.Shelf || got.Changed || got.ActBy == nil || *got.ActBy != DateOf(2029, 12, 31) {
		t.Errorf("CoinOutlook = %+v (act by %v), want the shelf life of ten years from the installation", got, got.ActBy)
	}
	var fault *Fault
	if _, err := CoinOutlook(CoinIn{Site: site}); !errors.As(err, &fault) || fault.Kind != Invalid {
		t.Errorf("CoinOutlook without a cell = %v, want an Invalid fault", err)
	}
}

func TestEEPROMEndurance(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "eeprom_endurance.csv") {
		c := Counter{CounterEEPROM, r.float("cycles"), r.float("write_interval_s"), r.float("cells_rotated")}
		if got := c.OpenHours(); !closeTo(got, r.float("hours"), 2e-5) {
			t.Errorf("%+v.OpenHours() = %v, want %v", c, got, r.float("hours"))
		}
		if got := c.OpenHours() / 24; math.Abs(got-r.float("days")) > 5e-5 {
			t.Errorf("%+v bears %v days, want %v", c, got, r.float("days"))
		}
		checked++
	}
	wantChecked(t, "eeprom_endurance.csv", checked, 5)
	if got := (Counter{Memory: CounterRAM}).OpenHours(); !math.IsInf(got, 1) {
		t.Errorf("battery-backed RAM bears %v hours, want any number", got)
	}
}

// steadyUse is a site that is opened ten times a day for thirty seconds.
func steadyUse(days int) PowerIn {
	in := PowerIn{Site: Site{Code: "MILL", Zone: "UTC", InstalledOn: DateOf(2024, 1, 1)}, Setting: NewPowerSetting()}
	for i := range days {
		in.Doors = append(in.Doors, DoorDay{Date: in.Site.InstalledOn + Date(i), Openings: 10, OpenS: 300, ExposureS: daySeconds})
	}
	in.Now = int64(in.Site.InstalledOn+Date(days)) * daySeconds
	return in
}

func TestSteadyPack(t *testing.T) {
	in := steadyUse(400)
	in.Setting.Pack = Pack{CapacityMAh: 2400, Derating: 0.8, SelfPct: 2.5}
	in.Setting.Draw.TolerancePct = 0
	got, err := PowerOutlook(in)
	if err != nil {
		t.Fatal(err)
	}
	load := in.Setting.Draw.Load(10, 300)
	life := Life(1920, load.Sum(), 2.5)
	if want := in.Site.InstalledOn + Date(life); got.Empty.Likely == nil || math.Abs(float64(*got.Empty.Likely-want)) > 0.02*life {
		t.Errorf("Empty = %v, want about %v", got.Empty.Likely, want)
	}
	if !closeTo(got.Used.Value, 400*load.Sum(), 1e-6) {
		t.Errorf("Used = %v mAh, want %v", got.Used.Value, 400*load.Sum())
	}
	if *got.ActBy != *got.Empty.Low || *got.Empty.Low >= *got.Empty.Likely || *got.Empty.Likely >= *got.Empty.High {
		t.Errorf("Empty = %v %v %v, act by %v", got.Empty.Low, got.Empty.Likely, got.Empty.High, got.ActBy)
	}
	if got.Load != load {
		t.Errorf("Load = %+v, want %+v", got.Load, load)
	}
}

// A logger that draws half as much again as its profile says empties its packs early:
// two such packs must move the learned draw there and narrow the next range.
func TestPacksTeach(t *testing.T) {
	in := steadyUse(900)
	in.Setting.Pack = Pack{CapacityMAh: 1000, Derating: 0.8, SelfPct: 2.5, TolerancePct: 10}
	in.Setting.Draw.TolerancePct = 60
	before, err := PowerOutlook(in)
	if err != nil {
		t.Fatal(err)
	}
	life := int64(Life(800, 1.5*in.Setting.Draw.Load(10, 300).Sum(), 2.5) * daySeconds)
	at := int64(in.Site.InstalledOn) * daySeconds
	for range 2 {
		dead := at + life
		at = dead + 5*daySeconds
		in.Coverage = append(in.Coverage, Stretch{dead - life, dead, Recording}, Stretch{dead, at, Outage})
		in.Calls = append(in.Calls, ServiceCall{At: at, Kinds: []CallKind{CallBatteries}})
		for i := range in.Doors {
			if d := &in.Doors[i]; int64(d.Date)*daySeconds >= dead && int64(d.Date+1)*daySeconds <= at {
				d.Openings, d.OpenS, d.ExposureS = 0, 0, 0
			}
		}
	}
	in.Coverage = append(in.Coverage, Stretch{at, in.Now, Recording})
	got, err := PowerOutlook(in)
	if err != nil {
		t.Fatal(err)
	}
	r := got.Learned.Ratio
	if got.Learned.Packs != 2 || len(got.Past) != 2 || r.Low > 1.5 || r.High < 1.5 || r.Value < 1.4 {
		t.Errorf("Learned = %+v from %d packs, want about 1.5", got.Learned, len(got.Past))
	}
	if wide := before.Learned.Ratio; r.High-r.Low > 0.6*(wide.High-wide.Low) {
		t.Errorf("learned range %v to %v, want it narrower than %v to %v", r.Low, r.High, wide.Low, wide.High)
	}
	for _, p := range got.Past {
		if p.Empty == nil || p.Predicted.Likely == nil {
			t.Errorf("past pack %+v, want it empty and predicted", p)
		}
	}
	in.Setting.Since = &in.Doors[899].Date
	if got, err = PowerOutlook(in); err != nil || got.Learned.Packs != 0 {
		t.Errorf("packs before the setting taught: %+v, %v", got.Learned, err)
	}
}

func TestStoppedPack(t *testing.T) {
	in := steadyUse(100)
	in.Coverage = []Stretch{{in.Now - 90*daySeconds, in.Now - 10*daySeconds, Recording}, {in.Now - 10*daySeconds, in.Now, Outage}}
	got, err := PowerOutlook(in)
	if err != nil || got.Stopped == nil || !got.Due || got.LeftPct.High != 0 {
		t.Errorf("PowerOutlook in an outage = %+v, %v, want stopped, due, nothing left", got, err)
	}
}

func TestPowerWithoutRecords(t *testing.T) {
	in := PowerIn{Site: Site{Zone: "UTC", InstalledOn: 100}, Setting: NewPowerSetting(), Now: 200 * daySeconds}
	got, err := PowerOutlook(in)
	if err != nil || got.ActBy != nil || got.Used != nil || got.From != 100*daySeconds {
		t.Errorf("PowerOutlook without records = %+v, %v, want no dates", got, err)
	}
	in.Setting.Pack.CapacityMAh = 0
	if _, err := PowerOutlook(in); KindOf(err) != Invalid {
		t.Errorf("PowerOutlook of a pack of nought = %v, want Invalid", err)
	}
}

// Whatever was recorded, the range is in order, not before the last opening, and the
// charge left is between nothing and all.
func TestPowerOutlookProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := PowerIn{Site: Site{Code: "MILL", Zone: "Europe/Dublin", InstalledOn: DateOf(2024, 1, 1)}, Setting: NewPowerSetting()}
		n := rapid.IntRange(0, 120).Draw(t, "days")
		for i := range n {
			in.Doors = append(in.Doors, DoorDay{
				Date: in.Site.InstalledOn + Date(i), Openings: rapid.Int32Range(0, 400).Draw(t, "openings"),
				OpenS: rapid.Int64Range(0, 90_000).Draw(t, "seconds"), ExposureS: rapid.SampledFrom([]int32{0, 1, 40_000, daySeconds}).Draw(t, "exposure"),
			})
		}
		in.Setting.Pack.CapacityMAh = rapid.Float64Range(1, 20_000).Draw(t, "capacity")
		in.Setting.Pack.TolerancePct = rapid.Float64Range(0, 200).Draw(t, "tolerance")
		in.Setting.Pack.SelfPct = rapid.Float64Range(0, 90).Draw(t, "self")
		in.Setting.Draw.StandbyUA = rapid.Float64Range(0, 1000).Draw(t, "standby")
		in.Now = int64(in.Site.InstalledOn+Date(rapid.IntRange(-5, 200).Draw(t, "now"))) * daySeconds
		for range rapid.IntRange(0, 3).Draw(t, "changes") {
			at := int64(in.Site.InstalledOn)*daySeconds + rapid.Int64Range(-900_000, 20_000_000).Draw(t, "change")
			in.Calls = append(in.Calls, ServiceCall{At: at, Kinds: []CallKind{CallBatteries}})
		}
		got, err := PowerOutlook(in)
		if err != nil {
			t.Fatal(err)
		}
		e := got.Empty
		if e.Low == nil && (e.Likely != nil || e.High != nil) || e.Likely == nil && e.High != nil ||
			e.Likely != nil && *e.Likely < *e.Low || e.High != nil && *e.High < *e.Likely {
			t.Fatalf("Empty = %v %v %v, want them in order", e.Low, e.Likely, e.High)
		}
		if l := got.LeftPct; l != nil && !(l.Low >= 0 && l.Low <= l.Value && l.Value <= l.High && l.High <= 100) {
			t.Fatalf("LeftPct = %+v", l)
		}
		if u := got.Used; u != nil && !(u.Low >= 0 && u.Low <= u.Value && u.Value <= u.High) || !(got.Lost >= 0) {
			t.Fatalf("Used = %+v, Lost = %v", u, got.Lost)
		}
		if r := got.Learned.Ratio; !(r.Low > 0 && r.Low <= r.Value && r.Value <= r.High) {
			t.Fatalf("Learned = %+v", r)
		}
	})
}

func BenchmarkPowerOutlook(b *testing.B) {
	in := steadyUse(1000)
	for b.Loop() {
		if _, err := PowerOutlook(in); err != nil {
			b.Fatal(err)
		}
	}
}

func TestCounterWear(t *testing.T) {
	in := steadyUse(200)
	in.Setting.Counter = Counter{CounterEEPROM, 100_000, 1, 1}
	got, err := CounterWear(in)
	if err != nil {
		t.Fatal(err)
	}
	if !closeTo(got.OpenH, 200*300/3600.0, 1e-9) || !closeTo(got.UsedPct, 60, 1e-9) {
		t.Errorf("CounterWear = %v h, %v %%, want 16.7 h, 60 %%", got.OpenH, got.UsedPct)
	}
	want := in.Site.InstalledOn + 333
	if got.Through.Low == nil || *got.Through.Low > want || *got.Through.High < want {
		t.Errorf("worn out %v to %v, want %v within", got.Through.Low, got.Through.High, want)
	}
	in.Setting.Counter.Memory = CounterRAM
	if got, err = CounterWear(in); err != nil || got.Wears || got.ActBy != nil {
		t.Errorf("CounterWear of RAM = %+v, %v, want no wear", got, err)
	}
}
