package clock

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"doorleaf/usage"
)

const stamp = "2006-01-02T15:04:05"

func unix(t testing.TB, s string) int64 {
	t.Helper()
	at, err := time.Parse(stamp, s)
	if err != nil {
		t.Fatal(err)
	}
	return at.Unix()
}

func site(t testing.TB, zone string, keeping usage.ClockKeeping, installed string) Site {
	t.Helper()
	z, err := usage.LoadZone(zone)
	if err != nil {
		t.Fatal(err)
	}
	return Site{Zone: z, Keeping: keeping, Installed: unix(t, installed+"T00:00:00"), Resolution: 1}
}

// rows reads stamps; "?" has no time, "?15:19:46" a good time of day only, and
// "0T00:23:59" is a date of month 0 and day 0.
func rows(t testing.TB, stamps ...string) []Row {
	t.Helper()
	var out []Row
	bad := Parts{-1, -1, -1, -1, -1, -1}
	for _, s := range stamps {
		r := Row{Clock: bad, OpenS: 5}
		part, isPart := strings.CutPrefix(s, "?")
		zero, isZero := strings.CutPrefix(s, "0T")
		switch {
		case isZero || isPart && part != "":
			if isZero {
				part, r.Clock.Year = zero, 2000
			}
			if _, err := fmt.Sscanf(part, "%d:%d:%d", &r.Clock.Hour, &r.Clock.Min, &r.Clock.Sec); err != nil {
				t.Fatal(err)
			}
		case !isPart:
			r.Timed, r.Reading = true, unix(t, s)
		}
		out = append(out, r)
	}
	return out
}

func one(rows []Row, removed *int64) []Stint {
	return []Stint{{First: 0, Last: len(rows) - 1, RemovedAt: removed}}
}

func describe(times []Time) string {
	var out []string
	for _, t := range times {
		f := func(s int64) string {
			if s == usage.Beyond {
				return "…"
			}
			return time.Unix(s, 0).UTC().Format(stamp)
		}
		if t.Timed {
			out = append(out, f(t.At))
		} else {
			out = append(out, f(t.Earliest)+".."+f(t.Latest))
		}
	}
	return strings.Join(out, "\n")
}

func kinds(notices []Notice) string {
	var out []string
	for _, n := range notices {
		out = append(out, n.Kind)
	}
	return strings.Join(out, ", ")
}

func at(t testing.TB, s string) *int64 {
	v := unix(t, s)
	return &v
}

// The situations are those of real clocks that public threads report; common
// practice, no source to cite.
func TestTimes(t *testing.T) {
	tests := []struct {
		name    string
		keeping usage.ClockKeeping
		stamps  []string
		removed string
		want    []string
		notices string
	}{
		{"as it reads, winter time all year", usage.ClockFixed,
			[]string{"2024-03-01T10:00:00", "2024-06-01T10:00:00"}, "",
			[]string{"2024-03-01T10:00:00", "2024-06-01T10:00:00"}, ""},
		{"summer time from its start", usage.ClockFixed,
			[]string{"2024-06-01T10:00:00", "2024-12-01T10:00:00"}, "",
			[]string{"2024-06-01T09:00:00", "2024-12-01T09:00:00"}, ""},
		{"civil", usage.ClockCivil,
			[]string{"2024-06-01T10:00:00", "2024-12-01T10:00:00"}, "",
			[]string{"2024-06-01T09:00:00", "2024-12-01T10:00:00"}, ""},
		{"civil, the hour that comes twice", usage.ClockCivil,
			[]string{"2024-10-27T00:30:00", "2024-10-27T01:30:00", "2024-10-27T01:10:00", "2024-10-27T02:00:00"}, "",
			[]string{"2024-10-26T23:30:00", "2024-10-27T00:30:00", "2024-10-27T01:10:00", "2024-10-27T02:00:00"}, ""},
		{"utc", usage.ClockUTC, []string{"2024-06-01T10:00:00"}, "", []string{"2024-06-01T10:00:00"}, ""},
		{"one anchor fixes an offset", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2024-03-06T10:00:00"}, "2024-03-06T05:40:20",
			[]string{"2024-03-05T05:40:20", "2024-03-06T05:40:20"}, ""},
		{"a year ahead in one row", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2025-03-05T11:00:00", "2024-03-05T12:00:00"}, "",
			[]string{"2024-03-05T10:00:00", "2024-03-05T10:00:00..2024-03-05T12:00:00", "2024-03-05T12:00:00"}, "bad rows"},
		{"no time between good rows", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "?", "2024-03-05T12:00:00"}, "",
			[]string{"2024-03-05T10:00:00", "2024-03-05T10:00:00..2024-03-05T12:00:00", "2024-03-05T12:00:00"}, ""},
		{"bracketed to the minute by the good fields", usage.ClockUTC,
			[]string{"2024-03-05T10:00:00", "?15:19:46", "2024-03-05T18:00:00"}, "",
			[]string{"2024-03-05T10:00:00", "2024-03-05T15:18:46..2024-03-05T15:20:46", "2024-03-05T18:00:00"}, ""},
		{"stands still from the first row", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00"}, "2024-04-01T12:00:00",
			[]string{"2024-03-01T00:00:00..2024-04-01T12:01:00", "2024-03-01T00:00:00..2024-04-01T12:01:00", "2024-03-01T00:00:00..2024-04-01T12:01:00"}, "clock stopped"},
		{"stands still after a good row", usage.ClockFixed,
			[]string{"2024-03-04T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00", "2024-03-07T10:00:00"}, "",
			[]string{"2024-03-04T10:00:00", "2024-03-05T10:00:00", "2024-03-05T10:00:00..2024-03-07T10:00:00", "2024-03-05T10:00:00..2024-03-07T10:00:00", "2024-03-07T10:00:00"}, "clock stopped"},
		{"reset, dated by the removal", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2000-01-01T00:00:05", "2000-01-03T00:00:05"}, "2024-03-20T12:00:20",
			[]string{"2024-03-05T10:00:00", "2024-03-18T12:00:20", "2024-03-20T12:00:20"}, "clock reset"},
		{"reset without an anchor, little room", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2000-01-01T00:00:00", "2000-01-01T02:00:00", "2024-03-05T12:20:00"}, "",
			[]string{"2024-03-05T10:00:00", "2024-03-05T10:10:00", "2024-03-05T12:10:00", "2024-03-05T12:20:00"}, "clock reset"},
		{"reset without an anchor, much room", usage.ClockFixed,
			[]string{"2024-03-05T10:00:00", "2000-01-01T00:00:00", "2000-01-01T02:00:00", "2024-03-15T10:00:00"}, "",
			[]string{"2024-03-05T10:00:00", "2024-03-05T09:58:20..2024-03-15T08:01:40", "2024-03-05T11:58:20..2024-03-15T10:01:40", "2024-03-15T10:00:00"}, "clock reset"},
		{"back to the same moment at each start", usage.ClockFixed,
			[]string{"2024-03-05T10:00:03", "2024-03-05T10:00:02", "2024-03-05T10:00:01", "2024-03-05T10:00:00", "2024-03-05T09:59:59"}, "2024-04-01T12:00:00",
			nil, "clock reset"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := Input{Site: site(t, "Europe/Dublin", tt.keeping, "2024-03-01"), Rows: rows(t, tt.stamps...)}
			var removed *int64
			if tt.removed != "" {
				removed = at(t, tt.removed)
			}
			in.Stints = one(in.Rows, removed)
			times, _, notices := Times(in)
			if got, want := describe(times), strings.Join(tt.want, "\n"); tt.want != nil && got != want {
				t.Errorf("times\n%s\nwant\n%s", got, want)
			}
			if got := kinds(notices); got != tt.notices {
				t.Errorf("notices = %q, want %q", got, tt.notices)
			}
			if tt.want == nil {
				for i, x := range times {
					if x.Timed && i < len(times)-1 {
						t.Errorf("row %d is timed: %s", i, describe(times))
					}
				}
			}
		})
	}
}

// TestTimesPattern is the sequence of a public data dump: good rows, then a
// month-0 stretch counting on from midnight, two rows of 0xFF, month 0 again,
// good again, and then the same good stamp 28 times.
func TestTimesPattern(t *testing.T) {
	stamps := []string{"2024-03-05T10:00:00", "2024-03-05T11:00:00", "0T00:00:10", "0T00:23:59", "0T01:10:00", "?", "?", "0T02:30:00",
		"2024-03-05T18:00:00", "2024-03-05T18:30:00"}
	for range 28 {
		stamps = append(stamps, "2024-03-05T19:00:00")
	}
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t, stamps...)}
	in.Stints = one(in.Rows, at(t, "2024-03-09T12:00:00"))
	times, _, _ := Times(in)
	if len(times) != len(stamps) {
		t.Fatalf("%d times, want %d", len(times), len(stamps))
	}
	for i, x := range times {
		good := i < 2 || i >= 8 && i <= 10
		if x.Timed != good {
			t.Errorf("row %d (%s): timed = %t, want %t", i, stamps[i], x.Timed, good)
		}
		if !x.Timed && (x.Earliest > x.Latest || x.Latest > unix(t, "2024-03-09T12:01:00")) {
			t.Errorf("row %d (%s): bracket %d..%d", i, stamps[i], x.Earliest, x.Latest)
		}
	}
	// The times between the rows of the month-0 stretch are good.
	if got := times[4].Earliest - times[2].Earliest; got != 4190 {
		t.Errorf("between rows 2 and 4: %d s, want 4190", got)
	}
	if times[7].Latest > times[8].At+2*minute {
		t.Errorf("the month-0 stretch may end at %d, after the good row at %d", times[7].Latest, times[8].At)
	}
}

// TestTimesLostRun has a run without a date that holds two removals, the first of
// them noted an hour wrongly: the set right after the second tells.
func TestTimesLostRun(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01"), Rows: rows(t,
		"2024-03-05T10:00:00", "2000-01-01T02:00:00", "2000-01-03T00:00:00", "2000-01-05T00:00:00", "2024-03-10T10:00:00")}
	in.Stints = []Stint{
		{First: 0, Last: 2, RemovedAt: at(t, "2024-03-07T11:00:20")},
		{First: 3, Last: 3, RemovedAt: at(t, "2024-03-09T12:00:20")},
		{First: 4, Last: 4},
	}
	in.Calls = []usage.ServiceCall{{At: unix(t, "2024-03-09T12:00:50"), ErrorS: 5, Kinds: []usage.CallKind{usage.CallClockSet}}}
	times, _, _ := Times(in)
	for i, want := range map[int]string{1: "2024-03-05T14:00:20", 2: "2024-03-07T12:00:20", 3: "2024-03-09T12:00:20"} {
		if x := times[i]; !x.Timed || abs(x.At-unix(t, want)) > 60 {
			t.Errorf("row %d: %s, want %s", i, describe(times[i:i+1]), want)
		}
	}
}

// TestTimesSlowClock reads an eleven-month card whose clock is 6 s a day slow,
// set right at its beginning and dated at its end.
func TestTimesSlowClock(t *testing.T) {
	start := unix(t, "2024-03-01T09:00:00")
	var in Input
	in.Site = site(t, "Europe/Dublin", usage.ClockFixed, "2024-03-01")
	var truth []int64
	for d := int64(0); d <= 335; d++ {
		at := start + d*day + d*d*37%50000
		truth = append(truth, at)
		slow := int64(math.Round(6 * float64(at-start) / day))
		in.Rows = append(in.Rows, Row{Timed: true, Reading: at - slow, OpenS: 9})
	}
	last := truth[len(truth)-1]
	in.Stints = one(in.Rows, &last)
	in.Calls = []usage.ServiceCall{{At: start, Kinds: []usage.CallKind{usage.CallClockSet}}}
	times, runs, _ := Times(in)
	if len(runs) != 1 || len(runs[0].Anchors) != 2 {
		t.Fatalf("runs = %+v, want one with two anchors", runs)
	}
	for i, x := range times {
		if d := x.At - truth[i]; !x.Timed || d > 30 || d < -30 {
			t.Errorf("row %d is off by %d s, want at most 30", i, d)
		}
	}
}

// TestTimesDaylightSaving has a clock that follows daylight saving although the
// setting says fixed, with its card read every month: no hour may be wrong.
func TestTimesDaylightSaving(t *testing.T) {
	for _, moves := range []string{"by itself", "by a volunteer at the call after the change"} {
		t.Run(moves, func(t *testing.T) {
			s := site(t, "Europe/Dublin", usage.ClockFixed, "2024-01-01")
			in := Input{Site: s}
			var truth []int64
			start := unix(t, "2024-01-10T09:00:00")
			offset := int64(0)
			for h := int64(0); h < 24*330; h += 3 {
				at := start + h*hour
				if moves == "by itself" {
					offset = int64(s.Zone.OffsetAt(at))
				}
				truth = append(truth, at)
				in.Rows = append(in.Rows, Row{Timed: true, Reading: at + offset, OpenS: 9})
				if h%720 == 717 || h+3 >= 24*330 {
					removed := at
					first := 0
					if n := len(in.Stints); n > 0 {
						first = in.Stints[n-1].Last + 1
					}
					in.Stints = append(in.Stints, Stint{First: first, Last: len(in.Rows) - 1, RemovedAt: &removed})
					offset = int64(s.Zone.OffsetAt(at))
				}
			}
			times, _, _ := Times(in)
			wrong := 0
			for i, x := range times {
				if d := abs(x.At - truth[i]); !x.Timed || d > 30 {
					wrong++
				}
			}
			if wrong > 0 {
				t.Errorf("%d of %d openings are off by more than 30 s", wrong, len(times))
			}
		})
	}
}

// TestTimesTyping has three cards, the middle one with a removal noted an hour
// or a day wrongly: it is left out, and a ruling can believe it.
func TestTimesTyping(t *testing.T) {
	for _, wrong := range []int64{hour, -hour, day, -day, 17 * minute} {
		in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-01-01")}
		start := unix(t, "2024-01-10T09:00:00")
		for d := int64(0); d < 90; d++ {
			in.Rows = append(in.Rows, Row{Timed: true, Reading: start + d*day, OpenS: 9})
		}
		for s := range 3 {
			removed := in.Rows[s*30+29].Reading
			if s == 1 {
				removed += wrong
			}
			in.Stints = append(in.Stints, Stint{First: s * 30, Last: s*30 + 29, RemovedAt: &removed})
		}
		times, _, notices := Times(in)
		if got := kinds(notices); got != "time given is impossible" {
			t.Errorf("off by %d s: notices = %q", wrong, got)
		}
		if d := times[59].At - in.Rows[59].Reading; abs(d) > 60 {
			t.Errorf("off by %d s: the opening is put %d s away", wrong, d)
		}
		in.Stints[1].Answer = usage.AnswerTyping
		if _, _, notices = Times(in); kinds(notices) != "" {
			t.Errorf("off by %d s, ruled a typing error: notices = %q", wrong, kinds(notices))
		}
	}
}

// TestTimesOffset reads a clock set to another zone: a multiple of a quarter of
// an hour, from one call to the next.
func TestTimesOffset(t *testing.T) {
	in := Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-01-01")}
	start := unix(t, "2024-01-10T09:00:00")
	off := int64(0)
	var truth []int64
	for s := range 4 {
		if s == 2 {
			off = 5*hour + 45*minute
		}
		for d := range int64(30) {
			at := start + (int64(s)*30+d)*day + d*977
			truth = append(truth, at)
			in.Rows = append(in.Rows, Row{Timed: true, Reading: at + off, OpenS: 9})
		}
		removed := truth[len(truth)-1]
		in.Stints = append(in.Stints, Stint{First: s * 30, Last: s*30 + 29, RemovedAt: &removed})
	}
	times, _, _ := Times(in)
	for i, x := range times {
		if abs(x.At-truth[i]) > 60 {
			t.Fatalf("opening %d is off by %d s", i, x.At-truth[i])
		}
	}
}

// TestTimesCivilTable reads every wall time of a table made with Python's
// zoneinfo (tzdata 2026f; testdata/reference/README.md) as the reading of a
// civil clock. Readings in a gap take the offset before the change; of those
// that come twice, the second is meant where a later row came before it.
func TestTimesCivilTable(t *testing.T) {
	f, err := os.Open("../../testdata/reference/civil_time.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, r := range table[1:] {
		zone, local, kind, first, second, before, agrees := r[0], r[1], r[2], r[3], r[4], r[5], r[7]
		if agrees != "1" {
			continue
		}
		want := first
		if kind == "gap" {
			want = before
		}
		s := site(t, zone, usage.ClockCivil, "2020-01-01")
		checkCivil(t, s, zone, []Row{{Timed: true, Reading: unix(t, local)}}, 0, want)
		checked++
		if kind == "overlap" {
			// A row some minutes before the second pass, read in the first.
			earlier := Row{Timed: true, Reading: unix(t, local) + 60}
			checkCivil(t, s, zone, []Row{earlier, {Timed: true, Reading: unix(t, local)}}, 1, second)
		}
	}
	if checked < 250 {
		t.Errorf("%d rows checked, want at least 250", checked)
	}
}

func checkCivil(t *testing.T, s Site, zone string, rows []Row, i int, want string) {
	t.Helper()
	times, _, _ := Times(Input{Site: s, Rows: rows, Stints: one(rows, nil)})
	if got := time.Unix(times[i].At, 0).UTC().Format("2006-01-02T15:04:05Z"); got != want {
		t.Errorf("%s, reading %s: %s, want %s", zone, time.Unix(rows[i].Reading, 0).UTC().Format(stamp), got, want)
	}
}

// station is a box whose card is read every so many days, for tests: off says by
// how much its clock is ahead at an instant, which of the reading of which visit.
type station struct {
	in    Input
	truth []int64
}

// visits makes openings every five hours and, every fifteen days, a removal that
// noted writes down; off is how far the clock is ahead after so many visits.
func visits(t testing.TB, from string, count int, off func(at int64, visits int) int64, noted func(at int64, visit int) *int64) *station {
	t.Helper()
	s := &station{in: Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2023-12-01")}}
	at := unix(t, from)
	for v := range count {
		first := len(s.in.Rows)
		for n := range int64(72) {
			at += 5 * hour
			s.truth = append(s.truth, at)
			s.in.Rows = append(s.in.Rows, Row{Timed: true, Reading: at + off(at, v), OpenS: 9})
			if n == 71 {
				s.in.Stints = append(s.in.Stints, Stint{First: first, Last: len(s.in.Rows) - 1, RemovedAt: noted(at, v)})
			}
		}
	}
	return s
}

// rightly notes when the card was out, some seconds after the door was opened.
func rightly(at int64, _ int) *int64 {
	at += 7
	return &at
}

// off counts the openings that are more than a minute wrong or have no time, and
// those of which the truth lies beyond their error, or outside their bracket.
func (s *station) off() (wrong, beyond int) {
	times, _, _ := Times(s.in)
	for i, x := range times {
		if !x.Timed || abs(x.At-s.truth[i]) > 60 {
			wrong++
		}
		if s.truth[i] < x.Earliest || s.truth[i] > x.Latest {
			beyond++
		}
	}
	return wrong, beyond
}

// setBack is a box whose clock is an hour ahead until its first removal.
func setBack(t testing.TB) *station {
	s := visits(t, "2024-01-01T09:00:00", 4, func(_ int64, v int) int64 {
		if v < 1 {
			return hour
		}
		return 0
	}, rightly)
	for i := 72; i < len(s.truth); i++ {
		s.truth[i] -= 4*hour + 30*minute
		s.in.Rows[i].Reading -= 4*hour + 30*minute
	}
	for i := range s.in.Stints[1:] {
		*s.in.Stints[i+1].RemovedAt -= 4*hour + 30*minute
	}
	return s
}

// died is a box that recorded nothing for a time before one of its cards came out.
func died(t testing.TB, visit int, dead int64) *station {
	s := visits(t, "2024-01-01T09:00:00", 9, func(int64, int) int64 { return 0 }, rightly)
	for i := 72 * (visit + 1); i < len(s.truth); i++ {
		s.truth[i] += dead
		s.in.Rows[i].Reading += dead
	}
	for i := range s.in.Stints[visit:] {
		*s.in.Stints[visit+i].RemovedAt += dead
	}
	return s
}

// stoodStill is a box whose clock shows one reading for ten openings of ten days,
// goes on from it until its third card came out, and is right from then on.
func stoodStill(t testing.TB) *station {
	s := visits(t, "2024-01-01T09:00:00", 6, func(int64, int) int64 { return 0 }, rightly)
	const from, to = 150, 160 // openings
	for i := from; i < len(s.truth); i++ {
		s.truth[i] += 8 * day
		s.in.Rows[i].Reading += 8 * day
		if i < 216 {
			s.in.Rows[i].Reading = s.truth[max(i, to)] - 10*day - (s.truth[to] - 10*day - s.truth[from-1])
		}
	}
	for i := range s.in.Stints[2:] {
		*s.in.Stints[2+i].RemovedAt += 8 * day
	}
	return s
}

// The causes of wrong times that made networks showed, one a row: how many
// openings may be more than a minute wrong, of 72 a visit. None may be beyond its
// error.
func TestTimesCauses(t *testing.T) {
	dublin := site(t, "Europe/Dublin", usage.ClockFixed, "2023-12-01").Zone
	civil := func(at int64, _ int) int64 { return int64(dublin.OffsetAt(at)) }
	set := func(at string) []usage.ServiceCall {
		return []usage.ServiceCall{{At: unix(t, at), ErrorS: 5, Kinds: []usage.CallKind{usage.CallClockSet}}}
	}
	tests := []struct {
		name  string
		s     *station
		calls []usage.ServiceCall
		wrong int
	}{
		{"a set that was wrong by less than any clock may drift", visits(t, "2024-01-01T09:00:00", 8, func(int64, int) int64 { return -200 }, rightly), set("2024-01-01T10:00:00"), 0},
		{"a jump that a poor clock could drift", visits(t, "2024-01-01T09:00:00", 16, func(_ int64, v int) int64 {
			if v >= 12 {
				return 2000
			}
			return 0
		}, func(at int64, v int) *int64 {
			if v > 4 && v < 15 && v != 12 {
				return nil // known times lie 120 days apart about the jump
			}
			return rightly(at, v)
		}), nil, 8 * 72},
		{"a removal long after the box had died", visits(t, "2024-01-01T09:00:00", 1, func(int64, int) int64 { return 0 }, func(at int64, v int) *int64 {
			at += 7*day + 5*hour
			return &at
		}), set("2024-01-01T10:00:00"), 0},
		{"follows daylight saving for two years, the removal after a change off by an hour", visits(t, "2024-01-01T09:00:00", 44, civil, func(at int64, v int) *int64 {
			if v == 5 {
				at += hour
			}
			return rightly(at, v)
		}), nil, 0},
		{"set back an hour at a removal, the next opening half an hour later", setBack(t), nil, 0},
		{"poor crystal, one removal off by a day", visits(t, "2024-01-01T09:00:00", 12, func(at int64, v int) int64 {
			return (at - unix(t, "2024-01-01T09:00:00")) / 400
		}, func(at int64, v int) *int64 {
			if v == 5 {
				at += day
			}
			return rightly(at, v)
		}), nil, 72},
		{"poor crystal, set back before the last visit", visits(t, "2024-01-01T09:00:00", 12, func(at int64, v int) int64 {
			from := unix(t, "2024-01-01T09:00:00")
			if v == 11 {
				from += 165 * day
			}
			return (at - from) / 400
		}, rightly), nil, 12 * 72},
		{"follows daylight saving, nothing noted all winter", visits(t, "2024-08-01T09:00:00", 20, civil, func(at int64, v int) *int64 {
			if civil(at, v) == 0 {
				return nil
			}
			return rightly(at, v)
		}), nil, 11 * 72},
		{"follows daylight saving, an opening in the hour that comes twice", visits(t, "2024-01-03T03:30:00", 24, civil, rightly), nil, 1},
		{"follows daylight saving, a removal in the hour that comes twice", visits(t, "2024-01-01T01:30:00", 24, civil, rightly), nil, 0},
		{"the first card came out of a dead box", died(t, 0, 69*hour), nil, 0},
		{"stood still for ten days, then went on behind, and set at the next card", stoodStill(t), nil, 12},
		{"a card came out of a dead box whose clock was then set", died(t, 5, 8*day+7*hour),
			[]usage.ServiceCall{{At: unix(t, "2024-04-08T16:01:00"), ErrorS: 5, Kinds: []usage.CallKind{usage.CallClockSet}, Reading: at(t, "2024-04-08T16:01:00")}}, 0},
		{"moved by people late, nothing noted after the second change", visits(t, "2024-01-01T09:00:00", 24, func(_ int64, v int) int64 {
			if v < 7 || v > 20 {
				return 0
			}
			return hour
		}, func(at int64, v int) *int64 {
			if v > 17 {
				return nil
			}
			return rightly(at, v)
		}), nil, 3 * 72},
		{"slow by the cold, nothing noted", visits(t, "2024-01-01T09:00:00", 20, func(at int64, _ int) int64 {
			return -(at - unix(t, "2024-01-01T09:00:00")) * 29 / 1_000_000
		}, func(int64, int) *int64 { return nil }), nil, 20 * 72},
		{"what the clock showed, noted to the minute", visits(t, "2024-01-01T09:00:59", 1, func(int64, int) int64 { return 0 }, func(int64, int) *int64 { return nil }),
			[]usage.ServiceCall{{At: unix(t, "2024-01-03T16:00:00"), ErrorS: 60, Kinds: []usage.CallKind{usage.CallTimeNoted}, Reading: at(t, "2024-01-03T16:00:59")}}, 0},
		{"follows daylight saving, nothing noted before the first change", visits(t, "2024-02-20T09:00:00", 20, civil, func(at int64, v int) *int64 {
			if v < 3 {
				return nil
			}
			return rightly(at, v)
		}), nil, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.s.in.Calls = tt.calls
			wrong, beyond := tt.s.off()
			if wrong > tt.wrong || beyond > 0 {
				t.Errorf("%d of %d openings wrong, want at most %d; %d beyond their error, want 0", wrong, len(tt.s.truth), tt.wrong, beyond)
			}
		})
	}
}

func TestTimesEmpty(t *testing.T) {
	times, runs, notices := Times(Input{Site: site(t, "Europe/Dublin", usage.ClockFixed, "2024-01-01")})
	if len(times)+len(runs)+len(notices) != 0 {
		t.Errorf("an empty logbook gives %v, %v, %v", times, runs, notices)
	}
}
