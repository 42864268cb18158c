package usage

import (
	"testing"

	"pgregory.net/rapid"
)

func seasonAt(s Season, days []Day) Side {
	site := Site{Code: "MILL", Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: DateOf(2024, 1, 1)}
	return Side{site, s, SeasonData{Days: days}}
}

// With every day covered alike, the ratio is that of the counts themselves, by
// RateRatio.
func TestRatioBetweenWholeSeasons(t *testing.T) {
	days := fullDays(t, DateOf(2025, 9, 1), DateOf(2025, 11, 30), 4)
	more := fullDays(t, DateOf(2025, 9, 1), DateOf(2025, 11, 30), 6)
	got, shared, err := RatioBetween(seasonAt(autumn2025, more), seasonAt(autumn2025, days))
	if err != nil || !shared {
		t.Fatalf("RatioBetween = shared %v, %v, want shared", shared, err)
	}
	want := RateRatio(6*91, 91, 4*91, 91, 1, Confidence)
	if !near(got.Value, 1.5, 1e-9) || !near(got.Low, want.Low, 1e-6) || !near(got.High, want.High, 1e-6) {
		t.Errorf("RatioBetween = %+v, want %+v", *got, *want)
	}
}

// Last year's season gives what the season's figures call their ratio to it.
func TestRatioBetweenIsThatOfTheFigures(t *testing.T) {
	days := fullDays(t, DateOf(2024, 5, 1), DateOf(2025, 10, 12), 3)
	for i := range days {
		days[i].Visits += int32(i % 4)
	}
	f := figures(t, SeasonData{Days: days})
	got, _, err := RatioBetween(seasonAt(autumn2025, days), seasonAt(autumn2025.LastYear(), days))
	if err != nil || got == nil || *got != *f.RatioToLast {
		t.Errorf("RatioBetween = %+v, %v, want %+v", got, err, f.RatioToLast)
	}
}

// Of a half that only one side has, nothing is compared.
func TestRatioBetweenSharesDates(t *testing.T) {
	first, last := autumn2025.First(), autumn2025.Last()
	whole := append(fullDays(t, first, first+29, 2), fullDays(t, first+30, last, 50)...)
	part := fullDays(t, first, first+29, 2)
	got, shared, err := RatioBetween(seasonAt(autumn2025, whole), seasonAt(autumn2025, part))
	if err != nil || !shared || !near(got.Value, 1, 1e-9) {
		t.Errorf("RatioBetween = %+v, %v, %v, want 1 on the thirty days of both", got, shared, err)
	}
	spring := Season{Start: Month(12*2025 + 2), In: North}
	if _, shared, _ := RatioBetween(seasonAt(autumn2025, whole), seasonAt(spring, fullDays(t, spring.First(), spring.Last(), 2))); shared {
		t.Error("an autumn and a spring are compared on dates that both have")
	}
	if got, _, err := RatioBetween(seasonAt(autumn2025, whole), seasonAt(spring, whole)); got != nil || err != nil {
		t.Errorf("RatioBetween without coverage = %+v, %v, want nothing", got, err)
	}
}

// Turned round, a ratio and its limits are one over themselves.
func TestRatioBetweenTurnsRound(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		made := func(name string) []Day {
			first := autumn2025.First() + Date(rapid.IntRange(0, 20).Draw(rt, name+" first"))
			days := fullDays(t, first, first+Date(rapid.IntRange(20, 60).Draw(rt, name+" days")), 0)
			for i := range days {
				days[i].Visits = int32(rapid.IntRange(0, 9).Draw(rt, name+" visits"))
			}
			days[0].Visits = 1
			days[15].Visits++
			return days
		}
		a, b := seasonAt(autumn2025, made("a")), seasonAt(autumn2025, made("b"))
		there, _, _ := RatioBetween(a, b)
		back, _, _ := RatioBetween(b, a)
		if there == nil || back == nil || !(there.Low > 0 && back.Low > 0) {
			return // the days shared have no visits on one side
		}
		if !near(there.Low*back.High, 1, 1e-6) || !near(there.Value*back.Value, 1, 1e-6) || DirectionOf(there) != -DirectionOf(back) {
			rt.Fatalf("there %+v, back %+v, want each one over the other", *there, *back)
		}
	})
}
