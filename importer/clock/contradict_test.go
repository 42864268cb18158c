package clock

import (
	"testing"

	"doorleaf/usage"
)

// TestTwoNotesOfOneRemoval has a removal told twice, an hour apart: with the card and by
// the service call. The clock agrees with one of them since the removal before.
func TestTwoNotesOfOneRemoval(t *testing.T) {
	for _, tt := range []struct {
		name          string
		given, called string
		answer        usage.Answer
		asked         bool
	}{
		{"the one with the card is mistyped", "2024-03-20T13:00:20", "2024-03-20T12:00:20", "", true},
		{"the one of the call is mistyped", "2024-03-20T12:00:20", "2024-03-20T13:00:20", "", false},
		{"both alike", "2024-03-20T12:00:20", "2024-03-20T12:00:00", "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"),
				Rows: rows(t, "2024-03-02T10:00:00", "2024-03-05T12:00:00", "2024-03-10T10:00:00", "2024-03-20T12:00:00")}
			in.Stints = []Stint{
				{First: 0, Last: 1, RemovedAt: at(t, "2024-03-05T12:00:20")},
				{First: 2, Last: 3, RemovedAt: at(t, tt.given), Answer: tt.answer},
			}
			in.Calls = []usage.ServiceCall{{At: unix(t, tt.called), ErrorS: 5, Kinds: []usage.CallKind{usage.CallCardOut}}}
			times, _, notices := Times(in)
			if x := times[2]; !x.Timed || abs(x.At-unix(t, "2024-03-10T10:00:20")) > minute {
				t.Errorf("row 2: %s, want 2024-03-10T10:00:20", describe(times[2:3]))
			}
			asked := false
			for _, n := range notices {
				asked = asked || n.Kind == "time given is impossible"
			}
			if asked != tt.asked {
				t.Errorf("asked about the time given: %t, want %t", asked, tt.asked)
			}
			if *in.Stints[1].RemovedAt != unix(t, tt.given) {
				t.Error("the caller's stint was changed")
			}
		})
	}
}

// TestSetToAnotherTime has a clock that lost an hour and was set 53 minutes wrong: rows
// written after the set, by the clock as it went before, show that it was not set to the
// true time, so that the times after it are as uncertain as that.
func TestSetToAnotherTime(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
		"2024-03-02T10:00:00", "2024-03-10T11:00:00", "2024-03-10T11:10:00", "2024-03-10T11:55:00", "2024-03-10T12:03:00", "2024-03-11T09:00:00")}
	in.Stints = []Stint{{First: 0, Last: 1, RemovedAt: at(t, "2024-03-10T12:00:20")}, {First: 2, Last: 5}}
	in.Calls = []usage.ServiceCall{{At: unix(t, "2024-03-10T12:02:00"), ErrorS: 5, Kinds: []usage.CallKind{usage.CallClockSet}}}
	times, _, _ := Times(in)
	last := times[5]
	want := unix(t, "2024-03-11T09:53:00") // true: the clock was set to 11:09 at 12:02
	if !last.Timed || abs(last.At-want) > int64(last.ErrorS) {
		t.Errorf("last row: %s ± %d s, want within its error of 2024-03-11T09:53:00", describe(times[5:]), last.ErrorS)
	}
}

// TestExactRemoval gives removals to the second: one at 00 seconds is taken as it is where
// it was given so, and as a time whose seconds were cut off where not.
func TestExactRemoval(t *testing.T) {
	const noon = 1709640000 // 2024-03-05T12:00:00Z
	for _, tt := range []struct {
		name   string
		at     int64
		exact  bool
		want   int64
		errorS int32
	}{
		{"with its seconds", noon, true, noon, errorSecond},
		{"without", noon, false, noon + lateMinute, errorMinute},
		{"seconds that were not cut off", noon + 7, false, noon + 7, errorSecond},
	} {
		if got, e := opened(tt.at, tt.exact), givenError(tt.at, tt.exact); got != tt.want || e != tt.errorS {
			t.Errorf("%s: opened at %d ± %d, want %d ± %d", tt.name, got, e, tt.want, tt.errorS)
		}
	}
	for exact, want := range map[bool]string{true: "2024-03-05T12:00:00", false: "2024-03-05T12:00:20"} {
		in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t, "2024-03-02T10:00:00", "2024-03-05T11:58:00")}
		in.Stints = []Stint{{First: 0, Last: 1, RemovedAt: at(t, "2024-03-05T12:00:00"), RemovedExact: exact}}
		times, _, _ := Times(in)
		if got := times[1].At; got != unix(t, want) {
			t.Errorf("exact %t: the last row is of %d, want %s", exact, got, want)
		}
	}
}
