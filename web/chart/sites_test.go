package chart

import (
	"context"
	"slices"
	"testing"
	"unicode/utf8"

	"doorleaf/usage"
)

func siteRate(name string, visits int64, weeks float64) SiteRate {
	return SiteRate{name, visits, weeks * week, usage.Rate(visits, weeks, usage.Confidence), "/visits?box=" + name}
}

// A box is called the busiest only when its limits part it from all others.
func TestSiteTitles(t *testing.T) {
	m := New(&recorder{})
	for _, c := range []struct {
		sites []SiteRate
		want  string
	}{
		{nil, string(nothing)},
		{[]SiteRate{{Name: "Mill"}}, string(nothing)},
		{[]SiteRate{siteRate("Mill", 80, 10)}, "Visits a week at the one box"},
		{[]SiteRate{siteRate("Mill", 0, 10), siteRate("Quay", 0, 10)}, "No visits at any box"},
		{[]SiteRate{siteRate("Mill", 80, 10), siteRate("Quay", 400, 10), {Name: "New"}}, "Quay is the busiest"},
		{[]SiteRate{siteRate("Mill", 80, 10), siteRate("Quay", 82, 10)}, "Busiest: Mill and Quay"},
		{[]SiteRate{siteRate("A", 80, 10), siteRate("B", 82, 10), siteRate("C", 81, 10), siteRate("D", 79, 10)}, "No box clearly stands out"},
	} {
		f, err := m.BySite(context.Background(), "sites", "spring 2026", c.sites)
		if err != nil {
			t.Fatal(err)
		}
		if f.Title != c.want {
			t.Errorf("BySite(%v) is titled %q, want %q", c.sites, f.Title, c.want)
		}
		if len(f.Table.Rows) != len(c.sites) || len(f.Table.Visits) != len(c.sites) {
			t.Errorf("BySite(%v) has %d rows and %d links", c.sites, len(f.Table.Rows), len(f.Table.Visits))
		}
	}
}

func TestCut(t *testing.T) {
	for _, name := range []string{"", "Mill", "exactly ten", "Zwölf Böxen am Markt"} {
		got := cut(name, 10)
		if n := utf8.RuneCountInString(got); n > 10 || n < min(10, utf8.RuneCountInString(name)) {
			t.Errorf("cut(%q, 10) = %q", name, got)
		}
	}
}

// Dispersion widens the limits of days and more by the root of φ, those of an hour of
// the day by less, those of one hour of the week not at all, and moves no rate.
func TestDispersedWidensDaysMoreThanHours(t *testing.T) {
	in := made(200, gappy, 2)
	plain := New(&recorder{})
	good := slices.Clone(in.days)
	for i := range good {
		good[i].Visits = []int32{20, 60}[i*7/3%2]
	}
	spread := usage.DispersionOfSeasons(good, usage.North)
	if spread.Phi < 4 {
		t.Fatalf("φ of the days = %.1f, want 4 or more", spread.Phi)
	}
	wide := plain.Dispersed(spread)
	months := func(m *Maker) []bar { return m.seasonBars(unbroken(in.months), usage.North) }
	for i, b := range months(wide) {
		was := months(plain)[i]
		if b.rate == nil {
			continue
		}
		if b.rate.Value != was.rate.Value || b.rate.High-b.rate.Low < 1.8*(was.rate.High-was.rate.Low) {
			t.Errorf("%s: limits %+v, without dispersion %+v", b.label, b.rate, was.rate)
		}
		if want := usage.Rate(was.visits, was.exposureH/was.unitH, usage.Confidence); *was.rate != *want {
			t.Errorf("%s: limits %+v without dispersion, want %+v", b.label, was.rate, want)
		}
	}
	widening := func(bars func(*Maker) []bar, i int) float64 {
		a, b := bars(plain)[i].rate, bars(wide)[i].rate
		return (b.High - b.Low) / (a.High - a.Low)
	}
	p := in.pattern()
	hours := widening(func(m *Maker) []bar { return m.hourBars(p) }, 9)
	weekdays := widening(func(m *Maker) []bar { return m.weekdayBars(p) }, 2)
	if cells := widening(func(m *Maker) []bar { return m.weekCells(p) }, 57); !(cells == 1 && 1.02 < hours && hours < 0.8*weekdays) {
		t.Errorf("dispersion widens limits of an hour of the week %.2f times, of the day %.2f, of a weekday %.2f, want 1, more, and more yet", cells, hours, weekdays)
	}
}
