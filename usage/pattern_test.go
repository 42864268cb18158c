package usage

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drawMonths makes up tallies of ascending months.
func drawMonths(t *rapid.T) []MonthTally {
	var months []MonthTally
	month := Month(12 * 2020)
	for range rapid.IntRange(0, 8).Draw(t, "months") {
		month += Month(rapid.IntRange(1, 4).Draw(t, "step"))
		m := MonthTally{Month: month}
		seed := rapid.Uint32().Draw(t, "seed")
		for c := range HoursOfWeek {
			seed = seed*1664525 + 1013904223
			m.Visits[c], m.ExposureS[c] = int32(seed>>28), int32(seed>>12&0x3fff)
			if seed>>24&3 == 0 {
				m.Visits[c], m.ExposureS[c] = 0, 0
			}
		}
		months = append(months, m)
	}
	return months
}

func TestPatternOf(t *testing.T) {
	march, april := MonthTally{Month: Month(12*2026 + 2)}, MonthTally{Month: Month(12*2026 + 3)}
	december := MonthTally{Month: Month(12*2026 + 11)}
	tuesday13 := 24 + 13
	march.Visits[tuesday13], march.ExposureS[tuesday13] = 4, 3*3600
	april.Visits[tuesday13], april.ExposureS[tuesday13] = 6, 3600
	december.Visits[tuesday13], december.ExposureS[tuesday13] = 90, 1800
	december.Visits[0], december.ExposureS[0] = 0, 7200
	months := []MonthTally{march, april, december}
	spring := SeasonOf(DateOf(2026, 4, 1), North)

	p := PatternOf("MILL", &spring, months)
	if *p.Season != "2026-spring" || p.Site != "MILL" || p.Visits != 10 || p.ExposureH != 4 || len(p.Cells) != HoursOfWeek {
		t.Errorf("PatternOf(spring) = %s, %s, %d visits, %v h, %d cells, want 2026-spring, MILL, 10, 4, 168",
			*p.Season, p.Site, p.Visits, p.ExposureH, len(p.Cells))
	}
	c := p.Cells[tuesday13]
	if c.Weekday != 2 || c.Hour != 13 || c.Visits != 10 || c.ExposureH != 4 {
		t.Errorf("cell = %+v, want Tuesday 13 h, 10 visits in 4 h", c)
	}
	// Garwood's limits for 10: 4.795 to 18.39 (reference table, R), over 4 h.
	if c.Rate == nil || c.Rate.Value != 2.5 || !near(c.Rate.Low, 4.795388696/4, 1e-9) || !near(c.Rate.High, 18.39035604/4, 1e-9) {
		t.Errorf("rate = %+v, want 2.5 (1.199 to 4.598)", c.Rate)
	}
	if p.Cells[0].Rate != nil {
		t.Errorf("rate of a cell without exposure = %+v, want nil", *p.Cells[0].Rate)
	}

	p = PatternOf("MILL", nil, months)
	if p.Season != nil || p.Visits != 100 || p.ExposureH != 6.5 {
		t.Errorf("PatternOf(all time) = %v, %d visits, %v h, want no season, 100, 6.5", p.Season, p.Visits, p.ExposureH)
	}
	if r := p.Cells[0].Rate; r == nil || r.Value != 0 || r.Low != 0 || !near(r.High, 3.688879454/2, 1e-9) {
		t.Errorf("rate of a cell without visits = %+v, want 0 (0 to 1.844)", r)
	}
}

// Every way of summing the same months adds up to the same whole, and each rate is
// what its unit says.
func TestSumsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		months := drawMonths(t)
		var visits, exposure int64
		for _, m := range months {
			for c := range HoursOfWeek {
				visits += int64(m.Visits[c])
				exposure += int64(m.ExposureS[c])
			}
		}
		check := func(name string, unit float64, sums []Sum) {
			var v, e int64
			for _, s := range sums {
				v, e = v+s.Visits, e+s.ExposureS
				if (s.Rate == nil) != (s.ExposureS == 0) {
					t.Fatalf("%s: %d s with rate %v", name, s.ExposureS, s.Rate)
				}
				if s.Rate != nil && math.Abs(s.Rate.Value*float64(s.ExposureS)-unit*float64(s.Visits)) > 1e-6*unit*float64(s.Visits) {
					t.Fatalf("%s: rate of %d in %d s = %v a %v s", name, s.Visits, s.ExposureS, s.Rate.Value, unit)
				}
			}
			if v != visits || e != exposure {
				t.Fatalf("%s = %d visits in %d s, want %d in %d", name, v, e, visits, exposure)
			}
		}
		hours, weekdays := ByHour(months), ByWeekday(months)
		check("ByHour", 3600, hours[:])
		check("ByWeekday", 86400, weekdays[:])
		check("Whole", 86400, []Sum{Whole(months)})
		check("Weekly", 7*86400, []Sum{Weekly(months)})
		var each, seasons []Sum
		for _, m := range ByMonth(months) {
			each = append(each, m.Sum)
		}
		check("ByMonth", 86400, each)
		for i, s := range BySeason(months, South) {
			seasons = append(seasons, s.Sum)
			if of := Whole(InSeason(months, s.Season)); of.Visits != s.Visits || of.ExposureS != s.ExposureS {
				t.Fatalf("BySeason %s = %+v, its months %+v", s.Season, s.Sum, of)
			}
			if i > 0 && BySeason(months, South)[i-1].Season.Start >= s.Season.Start {
				t.Fatalf("BySeason is not ascending at %s", s.Season)
			}
		}
		check("BySeason", 86400, seasons)
	})
}

func TestByHourAndWeekdayCells(t *testing.T) {
	var m MonthTally
	m.Visits[6*24+23], m.ExposureS[6*24+23] = 5, 3600 // Sunday 23 h
	hours, weekdays := ByHour([]MonthTally{m}), ByWeekday([]MonthTally{m})
	if hours[23].Visits != 5 || hours[23].Rate.Value != 5 {
		t.Errorf("ByHour[23] = %+v, want 5 visits at 5 an hour", hours[23])
	}
	if weekdays[6].Visits != 5 || weekdays[6].Rate.Value != 120 {
		t.Errorf("ByWeekday[Sunday] = %+v, want 5 visits at 120 a day", weekdays[6])
	}
}

func TestByWeek(t *testing.T) {
	days := []Day{ // 2026-03-01 was a Sunday
		{Date: DateOf(2026, 3, 1), Visits: 3, ExposureS: 86400},
		{Date: DateOf(2026, 3, 2), Visits: 4, ExposureS: 43200},
		{Date: DateOf(2026, 3, 8), Visits: 5, ExposureS: 43200},
		{Date: DateOf(2026, 3, 16), Visits: 0, ExposureS: 0},
	}
	got := ByWeek(days)
	want := []struct {
		monday string
		visits int64
		rate   float64 // −1: none
	}{{"2026-02-23", 3, 21}, {"2026-03-02", 9, 63}, {"2026-03-16", 0, -1}}
	if len(got) != len(want) {
		t.Fatalf("ByWeek = %v, want %d weeks", got, len(want))
	}
	for i, w := range want {
		rate := -1.0
		if got[i].Rate != nil {
			rate = got[i].Rate.Value
		}
		if got[i].Monday.String() != w.monday || got[i].Visits != w.visits || math.Abs(rate-w.rate) > 1e-9 {
			t.Errorf("week %d = %s, %d visits, %v a week, want %s, %d, %v", i, got[i].Monday, got[i].Visits, rate, w.monday, w.visits, w.rate)
		}
	}
}

func BenchmarkPatternOf(b *testing.B) {
	months := make([]MonthTally, 120)
	for i := range months {
		months[i].Month = Month(12*2016 + i)
		for c := range HoursOfWeek {
			months[i].Visits[c], months[i].ExposureS[c] = 3, 14400
		}
	}
	for b.Loop() {
		PatternOf("MILL", nil, months)
	}
}
