package usage

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Visits of known light: noon, just after sunset, midnight; and one at sunset whose
// clock is off by up to ten minutes.
func TestDaylightShares(t *testing.T) {
	site := Site{Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}
	zone, err := LoadZone(site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	date := DateOf(2026, 3, 20)
	sun := NewSun(52, -8).On(zone, date)
	visits := []VisitTime{
		{sun.Noon - 90*daySeconds, 60}, // winter
		{sun.Noon, 60}, {sun.Day.Set + 300, 400}, {sun.Day.Set + 900, 60}, {sun.Civil.Set + 3600, 60},
		{sun.Noon + 10*3600, 3 * daySeconds}, // some time in three days
	}
	got, err := DaylightShares(site, visits)
	if err != nil || len(got) != 3 {
		t.Fatalf("DaylightShares = %d rows, %v, want winter, spring and all time", len(got), err)
	}
	spring, all := got[1], got[2]
	if spring.Visits != 5 || spring.Counts != [3]int64{1, 2, 2} || spring.EitherSide != 2 {
		t.Errorf("spring = %+v, want 5 visits, 1 2 2 by light, 2 on either side", spring)
	}
	if all.Season != nil || all.Visits != 6 || all.Counts != [3]int64{2, 2, 2} {
		t.Errorf("all time = %+v, want 6 visits, 2 of each", all)
	}
	low, high := WilsonLimits(2, 5, Confidence)
	if e := spring.Shares[Dark]; e.Low != low || e.High != high {
		t.Errorf("share after dark %+v, want Wilson's %v to %v", e, low, high)
	}
	if empty, err := DaylightShares(site, nil); err != nil || len(empty) != 1 || empty[0].Shares[Dark] != nil {
		t.Errorf("DaylightShares of nothing = %+v, %v, want all time without shares", empty, err)
	}
}

// A share of dispersed visits has the limits of a smaller sample, and those of Wilson
// where there is no dispersion.
func TestDispersedShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, 5000).Draw(t, "n")
		x := rapid.Int64Range(0, n).Draw(t, "x")
		phi := rapid.Float64Range(1, 9).Draw(t, "phi")
		plain, wide := Share(x, n, Confidence), DispersedShare(x, n, phi, Confidence)
		if wide.Low > plain.Low+1e-12 || wide.High < plain.High-1e-12 || wide.Value != plain.Value {
			t.Fatalf("DispersedShare(%d, %d, %v) = %+v, want it no narrower than %+v", x, n, phi, wide, plain)
		}
		if phi == 1 && *wide != *plain {
			t.Fatalf("DispersedShare with φ = 1 is %+v, want %+v", wide, plain)
		}
	})
	k := int64(4) // a sample four times as dispersed is as good as a quarter of it
	low, high := WilsonLimits(30, 100, Confidence)
	if e := DispersedShare(30*k, 100*k, float64(k), Confidence); math.Abs(e.Low-low) > 1e-12 || math.Abs(e.High-high) > 1e-12 {
		t.Errorf("DispersedShare(120, 400, 4) = %+v, want %v to %v", e, low, high)
	}
}

func TestShareDispersion(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 9))
	weeks := func(spread float64) map[Date]nightWeek {
		out := map[Date]nightWeek{}
		for i := range 400 {
			p := 0.2 + 0.2*float64(i)/400 + spread*(2*random.Float64()-1)
			w := nightWeek{visits: 100}
			for range 100 {
				if random.Float64() < p {
					w.dark++
				}
			}
			out[Date(7*i)] = w
		}
		return out
	}
	if phi := shareDispersion(weeks(0)); phi > 1.25 {
		t.Errorf("φ of a share that only drifts = %.2f, want about 1", phi)
	}
	if phi := shareDispersion(weeks(0.15)); phi < 1.8 || phi > 7 {
		t.Errorf("φ of a share that jumps by ± 0.15 = %.2f, want well above 1", phi) // 1 + 99·0.0075/0.21 = 4.5
	}
}

// The sun's passages on the dates on which the clock then shows them: polar day and
// night have none, sunset past midnight comes early on the next date, and south of the
// equator days are long in December.
func TestSunOver(t *testing.T) {
	hours := func(latitude, longitude float64, zone string, d Date) (n int, day float64) {
		y, err := SunOver(Site{Latitude: latitude, Longitude: longitude, Zone: zone}, d, d)
		if err != nil {
			t.Fatal(err)
		}
		if len(y.Rise) == 1 && len(y.Set) == 1 {
			day = y.Set[0].Hour - y.Rise[0].Hour
		}
		return len(y.Rise) + len(y.Set), day
	}
	if n, _ := hours(69.65, 18.96, "Europe/Oslo", DateOf(2026, 6, 20)); n != 0 {
		t.Errorf("polar day has %d passages, want none", n)
	}
	if n, _ := hours(69.65, 18.96, "Europe/Oslo", DateOf(2026, 12, 20)); n != 0 {
		t.Errorf("polar night has %d passages, want none", n)
	}
	if n, day := hours(64.15, -21.94, "Atlantic/Reykjavik", DateOf(2026, 6, 21)); n != 2 || day > -2 {
		t.Errorf("Reykjavik: %d passages, sunset %.1f h after sunrise, want it soon after midnight, before sunrise", n, day)
	}
	if n, day := hours(-36.85, 174.76, "Pacific/Auckland", DateOf(2026, 12, 21)); n != 2 || day < 14.4 || day > 15 {
		t.Errorf("Auckland in December: %d passages, %.1f h of day, want 14.7", n, day)
	}
}

func TestHoursLight(t *testing.T) {
	rows, err := HoursLight(Site{Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}, []Date{DateOf(2026, 3, 29), DateOf(2026, 12, 21)}, 24)
	if err != nil || len(rows) != 2 || len(rows[0]) != 24 {
		t.Fatalf("HoursLight = %d rows, %v", len(rows), err)
	}
	if rows[1][0] != Dark || rows[1][12] != Daylight || rows[1][16] == Daylight && rows[1][17] == Daylight {
		t.Errorf("21 December = %v, want night, day, night", rows[1])
	}
}
