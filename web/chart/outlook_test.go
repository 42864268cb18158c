package chart

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
	"doorleaf/web/draw"
)

// visitsAt makes n visits at chance hours of a year from 1 March 2025.
func visitsAt(n int) []usage.VisitTime {
	r := rand.New(rand.NewPCG(3, 4))
	start := int64(usage.DateOf(2025, time.March, 1)) * 86400
	out := make([]usage.VisitTime, n)
	for i := range out {
		out[i].At = start + int64(r.Float64()*365*86400)
	}
	usage.SortVisitTimes(out)
	return out
}

func coveredDays(n int) (days []usage.Day) {
	for i := range n {
		if i < 40 || i > 60 {
			days = append(days, usage.Day{Date: usage.DateOf(2025, time.March, 1) + usage.Date(i), ExposureS: 86400})
		}
	}
	return days
}

// The chart of visit times draws everywhere on earth, and stays small however many
// visits there are.
func TestDaylightDraws(t *testing.T) {
	m := newMaker(t, draw.Options{})
	from, to := usage.DateOf(2025, time.March, 1), usage.DateOf(2026, time.February, 28)
	for _, tt := range []struct {
		name   string
		site   usage.Site
		visits int
		polar  bool
	}{
		{"mid north", usage.Site{Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}, 400, false},
		{"mid south", usage.Site{Latitude: -37, Longitude: 175, Zone: "Pacific/Auckland"}, 50_000, false},
		{"polar", usage.Site{Latitude: 69.6, Longitude: 19, Zone: "Europe/Oslo"}, 3000, true},
		{"nobody", usage.Site{Latitude: 0, Longitude: 0, Zone: "UTC"}, 0, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, err := m.Daylight(context.Background(), "sun", DaylightIn{Site: tt.site, Visits: visitsAt(tt.visits), Days: coveredDays(365), From: from, To: to})
			if err != nil {
				t.Fatal(err)
			}
			checkWords(t, f)
			checkTable(t, f.Table)
			for _, svg := range []string{string(f.Wide), string(f.Narrow)} {
				checkSafe(t, svg)
				for _, fault := range illegible(t, svg) {
					t.Error(fault)
				}
				if !strings.Contains(svg, "<svg") || len(svg) > 400_000 {
					t.Errorf("drawing of %d bytes, want one under 400,000", len(svg))
				}
			}
			if got := strings.Contains(f.Says, "where a line is missing"); got != tt.polar {
				t.Errorf("Says = %q, want polar days told: %v", f.Says, tt.polar)
			}
			if n := len(f.Table.Rows); n != 12 || len(f.Table.Visits) != n || len(f.Table.Rows[0]) != len(f.Table.Head) {
				t.Errorf("table has %d rows, want 12, each with its visits", n)
			}
			if tt.polar && f.Table.Rows[3][5] != "none" {
				t.Errorf("sunrise in June = %s, want none", f.Table.Rows[3][5])
			}
		})
	}
}

// Every visit of the dates drawn is in one cell, and in one month of the table.
func TestDayGridCounts(t *testing.T) {
	visits := visitsAt(5000)
	g, err := New(nil).newDayGrid(DaylightIn{
		Site: usage.Site{Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}, Visits: visits,
		From: usage.DateOf(2025, time.June, 1), To: usage.DateOf(2025, time.August, 31),
	})
	if err != nil {
		t.Fatal(err)
	}
	zone, err := usage.LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	want := int64(0)
	for _, v := range visits {
		if d, _ := zone.Civil(v.At); d >= g.From && d <= g.To {
			want++
		}
	}
	var cells, months int64
	for _, n := range g.cells {
		cells += int64(n)
	}
	for _, l := range g.month {
		months += l.count[0] + l.count[1] + l.count[2]
	}
	if want == 0 || cells != want || months != want || g.visits() != want {
		t.Errorf("cells hold %d, months %d, the chart %d visits, want %d", cells, months, g.visits(), want)
	}
}

func TestChargeDraws(t *testing.T) {
	m := newMaker(t, draw.Options{})
	start := usage.DateOf(2025, time.March, 1)
	var points []usage.ChargePoint
	for i := range 40 {
		v := 100 * math.Max(0, 1-float64(i)/30)
		points = append(points, usage.ChargePoint{Date: start + usage.Date(10*i), Low: 0.8 * v, Value: v, High: math.Min(100, 1.2*v)})
	}
	f, err := m.Charge(context.Background(), "charge", points, start+155)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(f.Wide), "<svg") || !strings.Contains(string(f.Narrow), "<svg") || len(f.Table.Rows) != 40 {
		t.Errorf("Charge drew %d and %d bytes with %d rows", len(f.Wide), len(f.Narrow), len(f.Table.Rows))
	}
	checkWords(t, f)
	checkTable(t, f.Table)
	for _, svg := range []string{string(f.Wide), string(f.Narrow)} {
		checkSafe(t, svg)
		for _, fault := range illegible(t, svg) {
			t.Error(fault)
		}
	}
	if want := "About 48 % of the pack is left"; f.Title != want { // half way from 50 to 46.7
		t.Errorf("Title = %q, want %q", f.Title, want)
	}
	if f, err = m.Charge(context.Background(), "none", nil, start); err != nil || f.Title != string(nothing) {
		t.Errorf("Charge of nothing = %q, %v", f.Title, err)
	}
}
