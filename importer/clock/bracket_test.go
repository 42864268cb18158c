package clock

import (
	"testing"

	"doorleaf/usage"
)

// TestTimesLoose has a card without a date that nobody dated: it may have been in
// the logger at any time, though it lies between two others in the logbook.
func TestTimesLoose(t *testing.T) {
	for _, loose := range []bool{false, true} {
		in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
			"2024-03-05T10:00:00", "2024-03-06T10:00:00", "2000-01-01T02:00:00", "2000-01-03T00:00:00", "2024-04-10T10:00:00", "2024-04-11T10:00:00")}
		in.Stints = []Stint{{First: 0, Last: 1}, {First: 2, Last: 3, Loose: loose}, {First: 4, Last: 5}}
		times, _, _ := Times(in)
		for i := 2; i <= 3; i++ {
			x := times[i]
			if x.Timed {
				t.Fatalf("loose %v: row %d is timed: %s", loose, i, describe(times[i:i+1]))
			}
			if got := x.Latest == usage.Beyond; got != loose {
				t.Errorf("loose %v: row %d lies in %s", loose, i, describe(times[i:i+1]))
			}
			if x.Earliest < in.Site.Installed || (x.Earliest < unix(t, "2024-03-05T00:00:00")) != loose {
				t.Errorf("loose %v: row %d lies in %s", loose, i, describe(times[i:i+1]))
			}
		}
	}
}

// TestTimesContradiction has a row without a time between two runs of which known
// times put the second before the first, as a card that lies in the wrong place is:
// neither bounds the row.
func TestTimesContradiction(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
		"2024-05-01T10:00:00", "2024-05-09T10:00:00", "?", "2024-03-04T10:00:00", "2024-03-05T10:00:00", "2024-03-06T10:00:00")}
	in.Stints = []Stint{{First: 0, Last: 2}, {First: 3, Last: 5}}
	for _, i := range []int{5, 1} {
		reading := in.Rows[i].Reading
		in.Calls = append(in.Calls, usage.ServiceCall{At: reading, Reading: &reading, ErrorS: 5, Kinds: []usage.CallKind{usage.CallTimeNoted}})
	}
	times, _, _ := Times(in)
	if !times[1].Timed || !times[5].Timed || times[5].At > times[1].At {
		t.Fatalf("the runs do not contradict each other:\n%s", describe(times))
	}
	x := times[2]
	if truth := unix(t, "2024-05-12T10:00:00"); x.Timed || x.Earliest > truth || x.Latest < truth {
		t.Errorf("row 2 lies in %s, want room for a time after row 1", describe(times[2:3]))
	}
}

// TestTimesSetWhileCardChanged: a clock set, a card out and a card in at one visit.
func TestTimesSetWhileCardChanged(t *testing.T) {
	for _, kinds := range [][]usage.CallKind{
		{usage.CallClockSet, usage.CallCardOut, usage.CallCardIn},
		{usage.CallClockSet, usage.CallCardOut, usage.CallCardIn, usage.CallTimeNoted},
	} {
		in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-01-01"), Rows: rows(t,
			"2024-01-02T10:00:00", "2024-01-20T11:00:00", "2024-01-20T10:05:00", "2024-02-03T10:00:00", "2024-02-10T12:00:00")}
		in.Stints = []Stint{{First: 0, Last: 1, RemovedAt: at(t, "2024-01-20T10:00:20")}, {First: 2, Last: 4, RemovedAt: at(t, "2024-02-10T12:00:20")}}
		in.Calls = []usage.ServiceCall{{At: unix(t, "2024-01-20T10:00:40"), ErrorS: 5, Kinds: kinds}}
		times, _, _ := Times(in)
		for i, want := range map[int]string{1: "2024-01-20T10:00:20", 2: "2024-01-20T10:05:00", 3: "2024-02-03T10:00:00", 4: "2024-02-10T12:00:20"} {
			if x := times[i]; !x.Timed || abs(x.At-unix(t, want)) > 60 {
				t.Errorf("%v: row %d: %s, want %s", kinds, i, describe(times[i:i+1]), want)
			}
		}
	}
}
