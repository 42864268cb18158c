package usage

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// What a trial counts is what Derive counts once the thresholds are kept.
func TestTrialIsWhatDeriveSays(t *testing.T) {
	zone, err := LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	thresholds := rapid.Custom(func(t *rapid.T) Thresholds {
		rattle := rapid.Int32Range(0, 5).Draw(t, "rattle")
		return Thresholds{RattleS: rattle, AjarS: rattle + rapid.Int32Range(1, 3000).Draw(t, "ajar"), JoinS: rapid.Int32Range(0, 900).Draw(t, "join")}
	})
	rapid.Check(t, func(t *rapid.T) {
		var lb Logbook
		at := int64(1_780_000_000)
		for range rapid.IntRange(0, 60).Draw(t, "openings") {
			at += rapid.Int64Range(-100, 40_000).Draw(t, "gap")
			o := Opening{At: at, Earliest: at, Latest: at, Timed: rapid.IntRange(0, 9).Draw(t, "timed") > 0, OpenS: rapid.Int32Range(-1, 2500).Draw(t, "open"), Visit: Unknown}
			o.Removal = rapid.IntRange(0, 9).Draw(t, "removal") == 0
			lb.Openings = append(lb.Openings, o)
		}
		site := Site{Code: "MILL", Latitude: 52, Zone: "Europe/Dublin", Thresholds: thresholds.Draw(t, "kept")}
		kept, err := Derive(site, lb)
		if err != nil {
			t.Fatal(err)
		}
		before := slices.Clone(kept.Openings)
		tried := thresholds.Draw(t, "tried")
		first := DateOf(2026, 5, 28) + Date(rapid.IntRange(0, 20).Draw(t, "first"))
		last := first + Date(rapid.IntRange(0, 20).Draw(t, "days"))
		got := TryThresholds(zone, slices.Values(kept.Openings), tried, first, last)
		if !slices.Equal(kept.Openings, before) {
			t.Error("a trial changed the openings")
		}
		site.Thresholds = tried
		then, err := Derive(site, lb)
		if err != nil {
			t.Fatal(err)
		}
		var want Trial
		for _, d := range then.Days {
			if d.Date >= first && d.Date <= last {
				want.Visits += int64(d.Visits)
			}
		}
		cursor := zone.Cursor()
		for i := range then.Openings {
			o := &then.Openings[i]
			date, _ := cursor.Civil(o.At)
			if !o.Timed || date < first || date > last {
				continue
			}
			switch o.Class {
			case Rattle:
				want.Rattles++
			case Ajar:
				want.Ajar++
			}
		}
		if got != want {
			t.Errorf("TryThresholds(%+v, %s to %s) = %+v, want %+v", tried, first, last, got, want)
		}
	})
}
