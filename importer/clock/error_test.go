package clock

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"doorleaf/usage"
)

// TestBridge walks a drift at random and looks how far the clock strays from the line
// between both ends.
func TestBridge(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	const steps, walks, step = 120, 4000, 6 * hour
	sum := [steps + 1]float64{}
	for range walks {
		var off [steps + 1]float64
		drift := random.NormFloat64() * 20e-6
		for i := 1; i <= steps; i++ {
			next := drift + math.Sqrt(wander*step)*random.NormFloat64()
			off[i] = off[i-1] + step*(drift+next)/2
			drift = next
		}
		for i := range off {
			stray := off[i] - off[steps]*float64(i)/steps
			sum[i] += stray * stray
		}
	}
	for _, i := range []int{0, 10, 30, 60, 100, 120} {
		got, want := bridge(float64(i*step), float64((steps-i)*step)), math.Sqrt(sum[i]/walks)
		if math.Abs(got-want) > 0.06*want+1e-9 {
			t.Errorf("bridge(%d, %d steps) = %.3f s, want %.3f s", i, steps-i, got, want)
		}
	}
}

// medianError returns the median error of the timed openings.
func (s *station) medianError() int32 {
	times, _, _ := Times(s.in)
	var all []int32
	for _, x := range times {
		if x.Timed {
			all = append(all, x.ErrorS)
		}
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// The error says what the known times can support: no more, and not much less.
func TestErrors(t *testing.T) {
	from := unix(t, "2024-01-01T09:00:00")
	steady := func(at int64, _ int) int64 { return (at - from) / 400 }
	tests := []struct {
		name         string
		s            *station
		least, most  int32 // of the median error
		beyond, slow int   // openings beyond their error; more than a minute wrong
	}{
		{"good clock, many known times", visits(t, "2024-01-01T09:00:00", 12, func(int64, int) int64 { return 0 }, rightly), 10, 24, 0, 0},
		{"poor crystal, always alike", visits(t, "2024-01-01T09:00:00", 12, steady, rightly), 15, 90, 0, 0},
		{"poor crystal, half as fast again from the middle on", visits(t, "2024-01-01T09:00:00", 12, func(at int64, _ int) int64 {
			middle := from + 90*day
			return (at-from)/400 + max(0, at-middle)/800
		}, rightly), 100, 3000, 0, 12 * 72},
		{"the people of a box take twenty seconds", visits(t, "2024-01-01T09:00:00", 12, func(int64, int) int64 { return 0 }, func(at int64, _ int) *int64 {
			at += 20
			return &at
		}), 10, 24, 0, 0},
		{"two times near each other, then none", visits(t, "2024-01-01T09:00:00", 8, func(int64, int) int64 { return 0 }, func(at int64, v int) *int64 {
			at += []int64{0, 40, 0, 0, 0, 0, 0, 0}[v]
			at -= at % minute // the clock is right, the times noted are not
			if v > 1 {
				return nil
			}
			return &at
		}), 20, 300, 0, 72 * 8},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			median := tt.s.medianError()
			wrong, beyond := tt.s.off()
			if median < tt.least || median > tt.most || beyond > tt.beyond || wrong > tt.slow {
				t.Errorf("median error %d s, %d beyond their error, %d wrong; want %d to %d s, %d, %d at most", median, beyond, wrong, tt.least, tt.most, tt.beyond, tt.slow)
			}
		})
	}
}

// TestTimesSetOrTyped has a clock that was set and one removal an hour away from it:
// either may be what is wrong, and the error says so. A second removal settles it.
func TestTimesSetOrTyped(t *testing.T) {
	for _, again := range []bool{false, true} {
		s := visits(t, "2024-01-10T09:00:00", 2, func(int64, int) int64 { return 0 }, func(at int64, v int) *int64 {
			if v > 0 && !again {
				return nil
			}
			at += hour
			return &at
		})
		s.in.Calls = []usage.ServiceCall{{At: unix(t, "2024-01-10T09:00:00"), ErrorS: 5, Kinds: []usage.CallKind{usage.CallClockSet}}}
		times, _, _ := Times(s.in)
		if x := times[20]; !x.Timed || (x.ErrorS > hour-minute) != !again {
			t.Errorf("removals agree %v: %s, want an error of an hour: %v", again, describe(times[20:21]), !again)
		}
	}
}

// TestTimesReadingThatStands has a call that noted what a clock showed which had stood
// still for days: that dates nothing.
func TestTimesReadingThatStands(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
		"2024-03-04T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00")}
	in.Stints = one(in.Rows, nil)
	in.Calls = []usage.ServiceCall{{At: unix(t, "2024-04-05T12:00:00"), ErrorS: 5, Kinds: []usage.CallKind{usage.CallTimeNoted}, Reading: at(t, "2024-03-05T10:00:00")}}
	times, _, _ := Times(in)
	for i, want := range map[int]string{0: "2024-03-04T10:00:00", 1: "2024-03-05T10:00:00"} {
		if x := times[i]; !x.Timed || x.At != unix(t, want) {
			t.Errorf("row %d: %s, want %s", i, describe(times[i:i+1]), want)
		}
	}
	if x := times[3]; x.Timed || x.Earliest > unix(t, "2024-03-06T10:00:00") || x.Latest < unix(t, "2024-04-01T10:00:00") {
		t.Errorf("row 3: %s, want a bracket that holds all of March", describe(times[3:4]))
	}
}

// TestTimesLostAndMisread has a run without a date in which one row's year was misread
// besides: it would lie after its card came out.
func TestTimesLostAndMisread(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
		"2000-01-02T10:00:00", "2000-01-03T10:00:00", "2000-01-05T10:00:00", "2002-01-06T10:00:00", "2002-01-07T10:00:00")}
	in.Stints = []Stint{{First: 0, Last: 2, RemovedAt: at(t, "2024-03-20T10:00:04")}, {First: 3, Last: 4, RemovedAt: at(t, "2024-04-20T10:00:04")}}
	times, _, _ := Times(in)
	for i, x := range times {
		if end := unix(t, "2024-04-20T10:01:00"); x.Timed && x.At > end {
			t.Errorf("row %d: %s, after the last card came out", i, describe(times[i:i+1]))
		}
	}
}

// TestGoesOn: two times near each other say less of a crystal than two far apart, and
// less than what is known of it.
func TestGoesOn(t *testing.T) {
	const ppm = 1e-6
	for _, tt := range []struct {
		name        string
		days, gain  int64
		known       bool
		least, most float64 // of the drift, in ppm
	}{
		{"a week apart", 7, 60, false, 20, 80},
		{"a year apart", 365, 60 * 52, false, 98, 100},
		{"a week apart, of a clock that is known", 7, 60, true, -5, 20},
		{"a year apart, of a clock that is known", 365, 60 * 52, true, 95, 100},
	} {
		k := &keeper{own: own{known: tt.known}}
		end := tt.days * day
		slope, _ := k.goesOn(anchor{errorS: errorMinute}, anchor{true: end, base: end + tt.gain, errorS: errorMinute}, false)
		if slope < tt.least*ppm || slope > tt.most*ppm {
			t.Errorf("%s: goesOn = %.1f ppm, want %g to %g", tt.name, slope/ppm, tt.least, tt.most)
		}
	}
}
