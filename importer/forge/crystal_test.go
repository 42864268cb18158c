package forge

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"
)

// TestCrystalPPM compares with the reference table's drift by temperature:
// ppm = k·(T − 25)² and the seconds a day that it makes.
func TestCrystalPPM(t *testing.T) {
	f, err := os.Open("../../testdata/reference/crystal_drift.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	checked := 0
	for _, r := range rows {
		if r[0] != "drift" {
			continue
		}
		checked++
		celsius := number(r[1])
		c := Crystal{K: number(r[2]), TurnoverC: number(r[3]), MeanC: celsius}
		if got, want := c.PPM(celsius), number(r[4]); math.Abs(got-want) > 5e-5 {
			t.Errorf("PPM(%g °C) with k = %g is %g, want %g", celsius, c.K, got, want)
		}
		for column, days := range map[int]int64{5: 1, 6: 30} {
			if got, want := c.Gained(1e9, 1e9+days*86400), number(r[column]); math.Abs(got-want) > 5e-4 {
				t.Errorf("Gained in %d days at %g °C with k = %g is %g s, want %g s", days, celsius, c.K, got, want)
			}
		}
	}
	if checked < 10 {
		t.Fatalf("%d rows checked: too few to mean anything", checked)
	}
}

// TestCrystalGained compares the closed form with a sum over steps of a minute.
func TestCrystalGained(t *testing.T) {
	c := Crystal{K: -0.0345, TurnoverC: 24, MeanC: 11, YearC: 9, DayC: 6, HottestAt: unix(t, "2025-07-20T14:00:00Z")}
	from := unix(t, "2025-02-03T04:05:06Z")
	for _, d := range []time.Duration{time.Hour, 25 * time.Hour, 100 * 24 * time.Hour, 400 * 24 * time.Hour} {
		to, sum := from+int64(d/time.Second), 0.0
		for at := from; at < to; at += 60 {
			sum += 60e-6 * c.PPM(c.Celsius(at+30))
		}
		if got := c.Gained(from, to); math.Abs(got-sum) > 1e-3*math.Abs(sum)+1e-4 {
			t.Errorf("Gained in %v = %g s, want %g s", d, got, sum)
		}
	}
}

func TestWeatherFollowsTheHemisphere(t *testing.T) {
	for _, south := range []bool{false, true} {
		p := &plot{SiteSpec: &SiteSpec{Latitude: 50, Longitude: -8}, rng: stream(1, "A", "weather")}
		if south {
			p.Latitude = -37
		}
		p.weather()
		july, january := p.Clock.Crystal.Celsius(unix(t, "2025-07-20T15:00:00Z")), p.Clock.Crystal.Celsius(unix(t, "2026-01-18T15:00:00Z"))
		if (july > january) == south {
			t.Errorf("south = %t: %.1f °C in July, %.1f °C in January", south, july, january)
		}
	}
}
