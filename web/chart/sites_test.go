package chart

import (
	"context"
	"testing"
	"unicode/utf8"

	"doorleaf/usage"
)

func siteRate(name string, visits int64, weeks float64) SiteRate {
	return SiteRate{name, visits, weeks * week, usage.Rate(visits, weeks, usage.Confidence)}
}

// A box is called the busiest only when its limits part it from all others.
func TestSiteTitles(t *testing.T) {
	m := New(&recorder{})
	for _, c := range []struct {
		sites []SiteRate
		want  string
	}{
		{nil, nothing},
		{[]SiteRate{{Name: "Mill"}}, nothing},
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

// Dispersion widens the limits of days and more, and moves no rate; hours keep
// theirs.
func TestDispersedWidensDaysAndNotHours(t *testing.T) {
	in := made(200, gappy, 2)
	plain := New(&recorder{})
	wide := plain.Dispersed(4)
	months := func(m *Maker) []bar { return m.spread(m.seasonBars(unbroken(in.months), usage.North)) }
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
	if a, b := figures(t, plain, in)["hour"], figures(t, wide, in)["hour"]; a.Table.Rows[9][4] != b.Table.Rows[9][4] {
		t.Errorf("limits of an hour are %s with dispersion, %s without", b.Table.Rows[9][4], a.Table.Rows[9][4])
	}
	if a, b := figures(t, plain, in)["weekday"], figures(t, wide, in)["weekday"]; a.Table.Rows[2][4] == b.Table.Rows[2][4] {
		t.Errorf("limits of a weekday are %s with and without dispersion", b.Table.Rows[2][4])
	}
}
