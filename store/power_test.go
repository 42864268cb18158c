package store

import (
	"slices"
	"testing"

	"doorleaf/usage"
)

func TestPowerSettingIsKeptAndTakenBack(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	first, second := usage.NewPowerSetting(), usage.NewPowerSetting()
	second.Pack.CapacityMAh = 1900
	for _, setting := range []usage.PowerSetting{first, first, second} {
		if err := s.SetPower(ctx, "MILL", setting); err != nil {
			t.Fatalf("SetPower = %v, want none", err)
		}
	}
	history, err := s.PowerHistory(ctx, "MILL")
	if err != nil || len(history) != 2 || history[0].Setting != second || history[0].EndedAt != nil || history[1].EndedAt == nil {
		t.Fatalf("PowerHistory = %+v, %v, want the second, standing, and the first, ended", history, err)
	}
	o, err := s.Outlook(ctx, "MILL")
	if err != nil || o.Setting == nil || *o.Setting != second {
		t.Fatalf("Outlook has the setting %+v, %v, want the second", o.Setting, err)
	}
	if err := s.DropPower(ctx, "MILL"); err != nil {
		t.Fatalf("DropPower = %v, want none", err)
	}
	if o, err = s.Outlook(ctx, "MILL"); err != nil || o.Setting != nil || o.Power(0) != nil {
		t.Errorf("Outlook after DropPower has the setting %+v, %v, want none", o.Setting, err)
	}
	if history, err = s.PowerHistory(ctx, "MILL"); err != nil || len(history) != 2 {
		t.Errorf("PowerHistory after DropPower = %+v, %v, want both still on record", history, err)
	}
	if err := s.DropPower(ctx, "MILL"); usage.KindOf(err) != usage.NotFound {
		t.Errorf("second DropPower = %v, want NotFound", err)
	}
	second.Pack.Derating = 80
	if err := s.SetPower(ctx, "MILL", second); usage.KindOf(err) != usage.Invalid {
		t.Errorf("SetPower of 80 times the capacity = %v, want Invalid", err)
	}
	if err := s.SetPower(ctx, "NONE", first); usage.KindOf(err) != usage.NotFound {
		t.Errorf("SetPower of no site = %v, want NotFound", err)
	}
}

// What an outlook is made from must be what the pages of openings and visits tell.
func TestOutlookAgreesWithOpenings(t *testing.T) {
	s := forgedStore(t, 150, 3, 11)
	for _, code := range []string{"S001", "S002", "S003"} {
		o, err := s.Outlook(t.Context(), code)
		if err != nil {
			t.Fatal(err)
		}
		var times []usage.VisitTime
		for _, v := range slowVisits(t, s, code) {
			if v.Timed {
				times = append(times, usage.VisitTime{At: v.At, ErrorS: v.ErrorS})
			}
		}
		usage.SortVisitTimes(times)
		if !slices.Equal(o.Visits, times) || len(times) < 50 {
			t.Errorf("%s: Outlook has %d visits, want the %d of the openings", code, len(o.Visits), len(times))
		}
		var openings, open int64
		for page := (Page{After: -1, Limit: largestPage}); page.After >= -1; {
			rows, next, err := s.Openings(t.Context(), code, page)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range rows {
				if r.Timed {
					openings++
					open += int64(max(r.OpenS, 0))
				}
			}
			if page.After = next; next < 0 {
				break
			}
		}
		var gotN, gotS, exposure int64
		for _, d := range o.Doors {
			gotN, gotS, exposure = gotN+int64(d.Openings), gotS+d.OpenS, exposure+int64(d.ExposureS)
		}
		if gotN != openings || gotS != open || exposure == 0 {
			t.Errorf("%s: Outlook has %d openings of %d s, want %d of %d s", code, gotN, gotS, openings, open)
		}
	}
}
