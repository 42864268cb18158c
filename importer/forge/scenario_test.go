package forge

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

func scenario(t *testing.T, name string, sites int, seed uint64) *Network {
	t.Helper()
	for _, sc := range Scenarios() {
		if sc.Name == name {
			n, err := sc.Network(sites, seed)
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatalf("no scenario %q", name)
	return nil
}

func TestScenariosSameSeedSameBytes(t *testing.T) {
	names := map[string]bool{}
	for _, sc := range Scenarios() {
		if names[sc.Name] || sc.About == "" {
			t.Errorf("scenario %q comes twice or says nothing of itself", sc.Name)
		}
		names[sc.Name] = true
		if a, b := digest(t, scenario(t, sc.Name, 1, 5)), digest(t, scenario(t, sc.Name, 1, 5)); a != b {
			t.Errorf("%s with seed 5 gave %s, then %s", sc.Name, a, b)
		}
	}
	if a, b := digest(t, scenario(t, "clean", 1, 5)), digest(t, scenario(t, "clean", 1, 6)); a == b {
		t.Error("seeds 5 and 6 gave the same network")
	}
}

// TestScenariosHaveTheirTroubles makes three sites of each scenario and counts
// what is to be found in them.
func TestScenariosHaveTheirTroubles(t *testing.T) {
	state := func(s string) func(*Site, int) bool {
		return func(site *Site, i int) bool { return site.Written[i].State == s }
	}
	fault := func(f ReadFault) func(*Site, int) bool {
		return func(site *Site, i int) bool { return site.Written[i].Fault == f }
	}
	reached := func(how string) func(*Site, int) bool {
		return func(site *Site, i int) bool { return site.Written[i].Reached() == how }
	}
	off := func(least, most int64) func(*Site, int) bool { // of the reading from UTC, by more than any offset
		return func(site *Site, i int) bool {
			d := site.Written[i].Reading - site.Openings[i].At - int64(site.Spec.Clock.OffsetS)
			return max(d, -d) >= least && max(d, -d) <= most
		}
	}
	tests := []struct {
		scenario string
		least    int // rows that have it
		has      func(*Site, int) bool
	}{
		{"reset, anchored", 100, state(StateReset)},
		{"reset, no anchors", 100, state(StateReset)},
		{"resets in a row", 100, state(StateReset)},
		{"build time", 20, state(StateBuilt)},
		{"halt", 100, state(StateHalt)},
		{"halt from the first row", 100, state(StateHalt)},
		{"dead cell", 100, state(StateDead)},
		{"month 0", 10, state(StateBlank)},
		{"the month-0 pattern", 10, state(StateBlank)},
		{"the month-0 pattern", 6, fault(ReadFF)},
		{"the month-0 pattern", 3 * 27, fault(ReadStuck)},
		{"wrong set", 100, state(StateWrong)},
		{"zone set", 100, off(880, 9*3600+20)},
		{"DST by mistake", 100, off(1780, 3620)},
		{"jump", 100, state(StateJump)},
		{"poor crystal", 100, off(3600, 1<<40)},
		{"0xFF rows", 60, fault(ReadFF)},
		{"0xFF rows", 3, fault(ReadFFDate)},
		{"0xFF rows", 3, fault(ReadFFHour)},
		{"0xFF rows", 3, fault(ReadCentury)},
		{"0xFF rows", 3, fault(ReadTwelve)},
		{"year bit", 20, fault(ReadYear)},
		{"stuck", 12, fault(ReadStuck)},
		{"truncated", 30, reached("torn")},
	}
	for _, tt := range tests {
		n, got := scenario(t, tt.scenario, 3, 4), 0
		for _, s := range n.Sites {
			for i := range s.Openings {
				if tt.has(s, i) {
					got++
				}
			}
		}
		if got < tt.least {
			t.Errorf("%s: %d rows have their trouble, want %d or more", tt.scenario, got, tt.least)
		}
	}
}

// TestMissedOpenings: what the door did and no card holds is missed, for the
// reason that it has.
func TestMissedOpenings(t *testing.T) {
	for _, tt := range []struct{ scenario, why string }{{"outage", TroubleOutage}, {"away", TroubleAway}} {
		s := scenario(t, tt.scenario, 1, 3).Sites[0]
		if len(s.Missed) < 20 {
			t.Fatalf("%s: %d openings missed: too few to mean anything", tt.scenario, len(s.Missed))
		}
		for _, m := range s.Missed {
			if m.Why != tt.why {
				t.Fatalf("%s: opening at %d was missed by %s", tt.scenario, m.At, m.Why)
			}
		}
		all := slices.Clone(s.Openings)
		for _, m := range s.Missed {
			all = append(all, m.Opening)
		}
		slices.SortFunc(all, func(a, b Opening) int { return int(a.At - b.At) })
		z := zone(t, s.Spec.Zone)
		y, mo, d := lastDate.YMD()
		calls := slices.Clone(s.Calls)
		door := s.Spec.openings(stream(3, s.Spec.Code, "visitors"), s.Installed(), time.Date(y, mo, d+1, 0, 0, 0, 0, z).Unix(), z, calls)
		if len(all) > len(door) || !sameInstants(all, door[:len(all)]) {
			t.Errorf("%s: %d openings on cards and %d missed are not those of the door", tt.scenario, len(s.Openings), len(s.Missed))
		}
	}
}

func sameInstants(a, b []Opening) bool {
	return slices.EqualFunc(a, b, func(x, y Opening) bool { return x.Class == y.Class && (x.At == y.At || x.Class == usage.Service) })
}

func TestOutageRecordsNothing(t *testing.T) {
	s := scenario(t, "outage", 1, 3).Sites[0]
	if len(s.Outages()) == 0 {
		t.Fatal("no outage")
	}
	for _, out := range s.Outages() {
		for _, o := range s.Openings {
			if o.At >= out[0] && o.At < out[1] {
				t.Fatalf("opening at %d was recorded in the outage from %d to %d", o.At, out[0], out[1])
			}
		}
		if e := s.Expected(out[0], out[1]); e <= 0 {
			t.Errorf("%g visits expected in the outage from %d to %d", e, out[0], out[1])
		}
	}
}

// TestPlaces finds each row in the bytes of its card where Places has it.
func TestPlaces(t *testing.T) {
	for _, name := range []string{"clean", "truncated", "everything", "0xFF rows"} {
		for seed := range uint64(4) {
			for _, s := range scenario(t, name, 2, seed).Sites {
				for _, c := range s.Cards {
					checkPlaces(t, s, c)
				}
			}
		}
	}
}

func checkPlaces(t *testing.T, s *Site, c Card) {
	t.Helper()
	file, p := fileOf(t, c), newPen(s.Spec.Dialect)
	head, err := s.Spec.Dialect.encode(nil)
	if err != nil {
		t.Fatal(err)
	}
	rows, last := c.Rows(), Place{Offset: -1}
	for i, place := range c.Places() {
		if want := rows[i]; place.Row != want {
			t.Fatalf("%s: place %d is of row %+v, want %+v", c.Path(), i, place.Row, want)
		}
		if place.Row.Glued {
			if place.Offset != last.Offset {
				t.Fatalf("%s: row %d is glued and not on the line before", c.Path(), i)
			}
			continue
		}
		want, err := s.Spec.Dialect.encode(p.row(nil, place.Row))
		if err != nil {
			t.Fatal(err)
		}
		if place.Offset <= last.Offset || !bytes.HasPrefix(file[place.Offset:], want[len(head):]) {
			t.Fatalf("%s: at byte %d stands %.40q, want %.40q", c.Path(), place.Offset, file[place.Offset:], want[len(head):])
		}
		last = place
	}
}

func TestDigits(t *testing.T) {
	good := wall(t, "2026-05-06T15:04:05")
	for _, tt := range []struct {
		r    Row
		want string
	}{
		{Row{Reading: good}, "2026-05-06T15:04:05"},
		{Row{Reading: good, Fault: ReadFF}, "2165-165-165T165:165:85"},
		{Row{Reading: good, Fault: ReadFFHour}, "2165-165-165T45:165:85"},
		{Row{Reading: good, Fault: ReadFFDate}, "2165-165-165T15:04:05"},
		{Row{Reading: good, Fault: ReadCentury}, "2026-85-06T15:04:05"},
		{Row{Reading: good, Fault: ReadTwelve}, "1926-05-06T63:04:05"},
		{Row{Reading: good - 12*3600, Fault: ReadTwelve}, "1926-05-06T43:04:05"},
		{Row{Reading: good, Fault: ReadYear, Opening: 1}, "2027-05-06T15:04:05"},
		{Row{Reading: good, Fault: ReadYear, Opening: 2}, "2024-05-06T15:04:05"},
		{Row{Reading: 23*60 + 59, Blank: true}, "2000-00-00T00:23:59"},
		{Row{Reading: 2*86400 + 60, Blank: true}, "2000-00-02T00:01:00"},
		{Row{Reading: 32 * 86400, Blank: true}, "2000-01-01T00:00:00"},
	} {
		if got := tt.r.Digits(); got != tt.want {
			t.Errorf("Digits(%+v) = %s, want %s", tt.r, got, tt.want)
		}
	}
}

// TestWeekdayOfBlankClock: the register counts the days from 1, as it does where
// the date restarts too.
func TestWeekdayOfBlankClock(t *testing.T) {
	p := newPen(Dialect{Delimiter: "comma", Columns: []string{ColWeekday, ColDate, ColTime}, Language: "en", Weekday: "number", FirstDay: 3})
	for day, want := range map[int64]string{0: "1,2000-00-00,", 1: "2,2000-00-01,", 7: "1,2000-00-07,", 33: "6,2000-01-02,"} {
		if got := string(p.row(nil, Row{Reading: day * 86400, Blank: true, Reset: true})); !strings.HasPrefix(got, want) {
			t.Errorf("day %d is written %q, want %q…", day, got, want)
		}
	}
}

func TestTornRowsGoOn(t *testing.T) {
	sp := spec("A", tabs, Growing)
	sp.Troubles = []Trouble{{TroubleTorn, unix(t, "2025-03-01T00:00:00Z"), 3}}
	s := newSiteT(t, sp, 8)
	lines := strings.Split(string(fileOf(t, s.Cards[len(s.Cards)-1])), "\r\n")
	torn := 0
	for i, r := range s.Written {
		if r.Cut == 0 {
			continue
		}
		torn++
		whole := string(newPen(tabs).whole(nil, Row{Reading: r.Reading, OpenS: usage.Unknown}))
		if want := whole[:r.Cut] + fmt.Sprint(r.OpenS); !slices.Contains(lines, want) {
			t.Errorf("opening %d: no line %q, want one", i, want)
		}
	}
	if torn != 3 {
		t.Errorf("%d rows are torn, want 3", torn)
	}
}

func TestNotes(t *testing.T) {
	sp := spec("A", tabs, Cleared)
	sp.Clock.Events = []ClockEvent{{At: unix(t, "2025-04-01T00:00:00Z"), Kind: ClockSet, Civil: true, ErrorS: 3}}
	sp.Notes = Notes{Removals: 1, Minutes: 0.5, Calls: 1, Sets: 1, Readings: 1}
	s := newSiteT(t, sp, 8)
	minutes := 0
	for _, c := range s.Cards {
		off := c.RemovedAt - *c.NotedAt
		if *c.NotedAt%60 == 0 {
			minutes++
		}
		if off < -noteSecondS || off >= 60 || off > noteSecondS && *c.NotedAt%60 != 0 {
			t.Errorf("removal at %d is noted as %d", c.RemovedAt, *c.NotedAt)
		}
	}
	if minutes == 0 || minutes == len(s.Cards) {
		t.Errorf("%d of %d removals are noted to the minute, want some", minutes, len(s.Cards))
	}
	kinds := map[usage.CallKind]int{}
	for _, c := range s.Noted {
		for _, k := range c.Kinds {
			kinds[k]++
		}
		if !c.Did(usage.CallTimeNoted) {
			continue
		}
		d := *c.Reading - c.At // UTC, from April on summer time, fast by 20 ppm: 400 s in 230 days
		if d -= d / 3000 * 3600; d < -70 || d > 470 {
			t.Errorf("at %d the clock is noted to have shown %d", c.At, *c.Reading)
		}
	}
	if kinds[usage.CallClockSet] != 2 || kinds[usage.CallCardOut] != len(s.Cards) || kinds[usage.CallTimeNoted] != len(s.Cards) {
		t.Errorf("%v noted of %d cards, want 2 sets, each removal and each reading", kinds, len(s.Cards))
	}
	sp.Notes = Notes{}
	if s := newSiteT(t, sp, 8); len(s.Noted) != 0 || s.Cards[0].NotedAt != nil {
		t.Errorf("nobody notes anything, yet %v and %v were noted", s.Noted, s.Cards[0].NotedAt)
	}
}

func TestSwaps(t *testing.T) {
	n := scenario(t, SwappedName, 4, 2)
	if len(n.Swaps) == 0 {
		t.Fatal("no card is brought under the wrong site")
	}
	for _, s := range n.Swaps {
		if s.To == s.Site || s.Card >= len(n.Sites[s.Site].Cards) {
			t.Errorf("swap %+v is none", s)
		}
	}
	var b bytes.Buffer
	if err := n.WriteTruth(&b); err != nil {
		t.Fatal(err)
	}
	truth, err := ReadTruth(&b)
	if err != nil || !reflect.DeepEqual(truth.Swaps, n.Swaps) {
		t.Errorf("swaps read back as %v, %v, want %v", truth.Swaps, err, n.Swaps)
	}
}

// TestTruthOfTroubles reads the truth of a troubled network back.
func TestTruthOfTroubles(t *testing.T) {
	n := scenario(t, "everything", 2, 7)
	var b bytes.Buffer
	if err := n.WriteTruth(&b); err != nil {
		t.Fatal(err)
	}
	truth, err := ReadTruth(&b)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range n.Sites {
		got := truth.Sites[i]
		if !reflect.DeepEqual(got.SiteSpec, s.Spec) || !reflect.DeepEqual(got.Beats, s.Beats) || !reflect.DeepEqual(got.Noted, s.Noted) {
			t.Errorf("site %s: spec, beats or notes did not come back", s.Spec.Code)
		}
		if len(got.Missed) != len(s.Missed) || len(s.Missed) == 0 {
			t.Errorf("site %s: %d missed openings came back, want %d and some", s.Spec.Code, len(got.Missed), len(s.Missed))
		}
		for j, o := range got.Openings {
			r := s.Written[j]
			if o.State != r.State || o.Fault != FaultName(r.Fault) || o.Reached != r.Reached() || o.Beat != r.Beat || o.Written != nil && *o.Written != r.Digits() {
				t.Fatalf("site %s: truth %+v, want of %+v", s.Spec.Code, o, r)
			}
		}
	}
}
