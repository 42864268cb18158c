package server

import (
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestMoveProposal(t *testing.T) {
	mean := usage.SeasonFigures{PerDay: &usage.Estimate{Value: 12, Low: 11, High: 13}}
	box := func(low, high, days float64) siteFigures {
		return siteFigures{figures: usage.SeasonFigures{CoveredDays: days, PerDay: &usage.Estimate{Value: (low + high) / 2, Low: low, High: high}}}
	}
	three := []siteFigures{{}, {}, {}}
	for _, c := range []struct {
		name  string
		site  siteFigures
		sites []siteFigures
		want  bool
	}{
		{"few come", box(1, 2, 80), three, true},
		{"perhaps more come", box(1, 3, 80), three, false},
		{"too short a time", box(1, 2, 20), three, false},
		{"two boxes have no mean", box(1, 2, 80), three[:2], false},
		{"nothing recorded", siteFigures{}, three, false},
	} {
		got := moveProposal(words.English, c.site, networkSeason{figures: mean, sites: c.sites})
		if (got != "") != c.want {
			t.Errorf("%s: moveProposal = %q, want one: %t", c.name, got, c.want)
		}
	}
}

// A box whose batteries are due is in the report of the season that just ended, and
// not in that of a season long past.
func TestProposalsOfASeason(t *testing.T) {
	b := newBox(t, importer.Limits{})
	var rows strings.Builder
	for day := time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC); day.Before(time.Date(2026, 6, 5, 0, 0, 0, 0, time.UTC)); day = day.Add(6 * time.Hour) {
		rows.WriteString(day.Format("2006-01-02 15:04:05") + ",40\n")
	}
	b.keep(t, newSite("MILL", "Mill Lane"), []byte(rows.String()))
	setting := usage.NewPowerSetting()
	setting.Pack.CapacityMAh = 300
	if err := b.store.SetPower(t.Context(), "MILL", setting); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		season string
		now    time.Time
		want   bool
	}{
		{"2026-spring", time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC), true},
		{"2026-spring", time.Date(2027, 6, 10, 0, 0, 0, 0, time.UTC), false},
	} {
		season, err := SeasonReport(t.Context(), b.store, func() time.Time { return c.now }, c.season, "")
		if err != nil {
			t.Fatal(err)
		}
		batteries := false
		for _, p := range season.Proposals {
			batteries = batteries || p.Site == "MILL" && strings.Contains(p.Says, "atter")
		}
		if batteries != c.want {
			t.Errorf("report of %s on %s proposes batteries: %t, want %t; all: %+v", c.season, c.now.Format("2 January 2006"), batteries, c.want, season.Proposals)
		}
	}
}
