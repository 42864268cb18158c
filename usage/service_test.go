package usage

import "testing"

func TestServiceTimes(t *testing.T) {
	// Reaches: 10 min and the error on both sides. The second call has no time.
	calls := []ServiceCall{{At: 10_000, ErrorS: 60}, {At: 0, ErrorS: 60}, {At: 100_000}, {At: 99_000}}
	for _, c := range []struct {
		name string
		in   Opening
		want bool
	}{
		{"at the call", timed(10_000, 20), true},
		{"at its earliest", timed(9340, 20), true},
		{"just before", timed(9339, 20), false},
		{"at its latest", timed(10_660, 20), true},
		{"just after", timed(10_661, 20), false},
		{"just after, but not so sure", Opening{At: 10_661, ErrorS: 1, Timed: true}, true},
		{"near the call without a time", timed(30, 20), false},
		{"between two calls that join", timed(99_500, 20), true},
		{"after all", timed(200_000, 20), false},
		{"untimed, wholly inside", Opening{Earliest: 9400, Latest: 10_600}, true},
		{"untimed, months around", Opening{Earliest: 0, Latest: Beyond}, false},
	} {
		if got := serviceTimesOf(calls).holds(&c.in); got != c.want {
			t.Errorf("%s: holds = %v, want %v", c.name, got, c.want)
		}
	}
}

// A volunteer's openings are of class service and no visit; the others stay.
func TestDeriveServiceCall(t *testing.T) {
	lb := Logbook{
		Openings: []Opening{timed(1_700_000_000, 20), timed(1_700_003_600, 30), timed(1_700_003_700, 1), timed(1_700_010_000, 20)},
		Calls:    []ServiceCall{{At: 1_700_003_500, Kinds: []CallKind{CallRestock}}},
	}
	got, err := Derive(millSite("UTC"), lb)
	if err != nil {
		t.Fatal(err)
	}
	if n := got.Totals; n.Service != 2 || n.Visitor != 2 || n.Rattle != 0 || n.Visits != 2 || n.OpenS != 40 {
		t.Errorf("totals = %+v, want 2 service, 2 visitor, 2 visits, 40 s", n)
	}
}
