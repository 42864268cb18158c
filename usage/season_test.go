package usage

import (
	"fmt"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// The table writes 2025/26 where a season's name here has 2025-26.
func TestSeasonReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "season.csv") {
		h := map[string]Hemisphere{"N": North, "S": South}[r.text("hemisphere")]
		label := r.text("label")
		if r.text("months") == "DJF" {
			year, _ := strconv.Atoi(label[:4])
			label = fmt.Sprintf("%d-%02d", year, (year+1)%100)
		}
		date, want := r.date("date"), label+"-"+r.text("season")
		s := SeasonOf(date, h)
		if s.String() != want || s.Word() != r.text("season") {
			t.Errorf("SeasonOf(%s, %d) = %s (%s), want %s", date, h, s, s.Word(), want)
		}
		if s.First() != r.date("start_date") || s.Last()+1 != r.date("end_date_exclusive") || s.Days() != int(r.int("days")) {
			t.Errorf("%s = %s to %s, %d days, want %s to before %s, %s days", s, s.First(), s.Last(), s.Days(),
				r.text("start_date"), r.text("end_date_exclusive"), r.text("days"))
		}
		if parsed, err := ParseSeason(want, h); err != nil || parsed != s {
			t.Errorf("ParseSeason(%q, %d) = %v, %v, want %v", want, h, parsed, err, s)
		}
		checked++
	}
	wantChecked(t, "season.csv", checked, 46)
}

func TestSeasonNeighbours(t *testing.T) {
	for _, c := range []struct {
		name, previous, next, lastYear string
		in                             Hemisphere
	}{
		{"2026-spring", "2025-26-winter", "2026-summer", "2025-spring", North},
		{"2025-26-winter", "2025-autumn", "2026-spring", "2024-25-winter", North},
		{"1999-00-winter", "1999-autumn", "2000-spring", "1998-99-winter", North},
		{"2025-26-summer", "2025-spring", "2026-autumn", "2024-25-summer", South},
		{"2026-winter", "2026-autumn", "2026-spring", "2025-winter", South},
	} {
		s, err := ParseSeason(c.name, c.in)
		if err != nil {
			t.Fatal(err)
		}
		if got := [3]string{s.Previous().String(), s.Next().String(), s.LastYear().String()}; got != [3]string{c.previous, c.next, c.lastYear} {
			t.Errorf("neighbours of %s = %v, want %s, %s, %s", s, got, c.previous, c.next, c.lastYear)
		}
	}
}

func TestParseSeasonRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		in   Hemisphere
	}{
		{"", North},
		{"spring", North},
		{"-spring", North},
		{"26-spring", North},
		{"2026-Spring", North},
		{"2026-winter", North},    // needs both years
		{"2025-27-winter", North}, // years that do not follow
		{"2025-2026-winter", North},
		{"2025-26-spring", North},
		{"+202-spring", North},
		{"2026-spring ", North},
		{"2025-26-winter", South}, // June to August has one year
		{"2026-summer", South},
	} {
		if s, err := ParseSeason(c.name, c.in); KindOf(err) != Invalid {
			t.Errorf("ParseSeason(%q, %d) = %v, %v, want an invalid fault", c.name, c.in, s, err)
		}
	}
}

func TestHemisphere(t *testing.T) {
	for latitude, want := range map[float64]Hemisphere{0: North, 0.01: North, -0.01: South, 90: North, -90: South} {
		if got := HemisphereOf(latitude); got != want {
			t.Errorf("HemisphereOf(%v) = %d, want %d", latitude, got, want)
		}
	}
}

// Seasons tile the calendar, and their names give them back.
func TestSeasonProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Date(rapid.Int32Range(-25000, 60000).Draw(t, "date"))
		h := Hemisphere(rapid.IntRange(0, 1).Draw(t, "hemisphere"))
		s := SeasonOf(d, h)
		if d < s.First() || d > s.Last() || !s.Holds(MonthOf(d)) {
			t.Fatalf("SeasonOf(%s) = %s, %s to %s", d, s, s.First(), s.Last())
		}
		if s.Next().First() != s.Last()+1 || s.Next().Previous() != s || SeasonOf(s.Last()+1, h) != s.Next() {
			t.Fatalf("season after %s = %s from %s", s, s.Next(), s.Next().First())
		}
		if got, err := ParseSeason(s.String(), h); err != nil || got != s {
			t.Fatalf("ParseSeason(%q) = %v, %v", s, got, err)
		}
		months := s.Months()
		if months[0].First() != s.First() || months[2] != MonthOf(s.Last()) {
			t.Fatalf("months of %s = %v", s, months)
		}
	})
}

// Weekdays by Python's datetime and R, and by two printed sample dates of
// Reingold & Dershowitz, Calendrical Calculations, Appendix C.
func TestWeekdayReference(t *testing.T) {
	checked := 0
	for _, r := range reference(t, "weekday.csv") {
		d := r.date("date")
		if got, want := d.Weekday(), int(r.int("iso_weekday")); got != want {
			t.Errorf("Weekday(%s) = %d, want %d", d, got, want)
		}
		// Rata die counts 0001-01-01 as 1, and 1970-01-01 as 719163.
		if got, want := int64(d)+719163, r.int("rata_die"); got != want {
			t.Errorf("%s + 719163 = %d, want rata die %d", d, got, want)
		}
		checked++
	}
	wantChecked(t, "weekday.csv", checked, 60)
}
