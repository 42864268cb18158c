package forge

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

// spec is a site without trouble, in the given dialect and rounds.
func spec(code string, d Dialect, kind string) SiteSpec {
	c := quietLane()
	c.PerDay, c.WindPerDay, c.Bounce = 6, 0.3, 0.1
	return SiteSpec{
		Code: code, Name: "Test box", Zone: "Europe/Dublin", Latitude: 50.6, Longitude: -8.2,
		InstalledOn: usage.DateOf(2025, time.January, 10), Character: c, Dialect: d,
		Clock:  Clock{Keeping: usage.ClockFixed, DriftPPM: 20},
		Rounds: Rounds{Kind: kind, EveryDays: 20},
	}
}

var (
	tabs = Dialect{
		File: "LOG.TXT", Delimiter: "tab", Columns: []string{ColWeekday, ColDate, ColTime, ColSeconds},
		Language: "en", DateOrder: "mdy", DateSep: "/",
	}
	endOfTests = usage.DateOf(2025, time.September, 1)
)

func newSiteT(t *testing.T, s SiteSpec, seed uint64) *Site {
	t.Helper()
	site, err := NewSite(s, endOfTests, seed)
	if err != nil {
		t.Fatal(err)
	}
	return site
}

// digest is over all that a network is: every card's path and bytes, and the truth.
func digest(t *testing.T, n *Network) string {
	t.Helper()
	h := sha256.New()
	for _, s := range n.Sites {
		for _, c := range s.Cards {
			fmt.Fprintf(h, "%s %d %x\n", c.Path(), c.RemovedAt, sha256.Sum256(fileOf(t, c)))
		}
	}
	if err := n.WriteTruth(h); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

func fileOf(t *testing.T, c Card) []byte {
	t.Helper()
	b, err := c.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestSameSeedSameBytes(t *testing.T) {
	random := func(seed uint64) string {
		n, err := Random(120, 6, seed)
		if err != nil {
			t.Fatal(err)
		}
		return digest(t, n)
	}
	if a, b := random(5), random(5); a != b {
		t.Errorf("Random(120, 6, 5) gave %s, then %s", a, b)
	}
	if a, b := random(5), random(6); a == b {
		t.Error("seeds 5 and 6 gave the same network")
	}
	demo := func() string {
		n, err := Demo(time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC), 1)
		if err != nil {
			t.Fatal(err)
		}
		return digest(t, n)
	}
	if a, b := demo(), demo(); a != b {
		t.Errorf("Demo gave %s, then %s", a, b)
	}
}

func TestSeedsDrawTheirOwnSites(t *testing.T) {
	drawn := map[string]bool{}
	for seed := range uint64(5) {
		n, err := Random(30, 1, seed)
		if err != nil {
			t.Fatal(err)
		}
		drawn[fmt.Sprintf("%+v", n.Sites[0].Spec.Dialect)] = true
	}
	if len(drawn) < 5 {
		t.Errorf("5 seeds drew %d dialects, want 5", len(drawn))
	}
}

func TestSiteDoesNotDependOnItsNetwork(t *testing.T) {
	a, b := spec("A", tabs, Growing), spec("B", tabs, Cleared)
	both, err := New("both", []SiteSpec{a, b}, endOfTests, 3)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := New("alone", []SiteSpec{b}, endOfTests, 3)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(both.Sites[1].Openings, alone.Sites[0].Openings) {
		t.Error("site B has other openings beside site A than alone")
	}
}

// holders counts on how many card files each opening stands; a file that holds
// one twice fails.
func holders(t *testing.T, s *Site) []int {
	t.Helper()
	n := make([]int, len(s.Openings))
	for _, c := range s.Cards {
		last := int32(-1)
		for _, r := range c.Rows() {
			if r.Event == Close {
				continue
			}
			if r.Opening <= last {
				t.Fatalf("card %s: opening %d after opening %d", c.Path(), r.Opening, last)
			}
			last = r.Opening
			n[r.Opening]++
		}
	}
	return n
}

// TestNoOpeningIsLost: an opening stands on every file that its card brought
// home from then on: in growing rounds all later files, in cleared ones a
// single file, in rotation every other file.
func TestNoOpeningIsLost(t *testing.T) {
	pairs := tabs
	pairs.Columns = []string{ColDate, ColTime, ColEvent}
	bare := tabs
	bare.Columns = []string{ColDate, ColTime}
	for kind, step := range map[string]int{Growing: 1, Cleared: 1000, Rotation: 2} {
		for name, d := range map[string]Dialect{"seconds": tabs, "pairs": pairs, "stamps only": bare} {
			s := newSiteT(t, spec("A", d, kind), 11)
			if len(s.Cards) < 8 || len(s.Openings) < 1000 {
				t.Fatalf("%s, %s: %d cards, %d openings: too few to mean anything", kind, name, len(s.Cards), len(s.Openings))
			}
			got := holders(t, s)
			for i, o := range s.Openings {
				first, _ := slices.BinarySearchFunc(s.Cards, o.At, func(c Card, at int64) int { return int(c.RemovedAt - at) })
				if want := (len(s.Cards)-1-first)/step + 1; got[i] != want {
					t.Fatalf("%s, %s: opening %d of %d is on %d cards, want %d", kind, name, i, len(got), got[i], want)
				}
			}
		}
	}
}

// TestEveryOpeningIsLogged compares with the openings of the door itself.
func TestEveryOpeningIsLogged(t *testing.T) {
	sp := spec("A", tabs, Rotation)
	s := newSiteT(t, sp, 11)
	z := zone(t, sp.Zone)
	calls, err := sp.Rounds.calls(stream(11, "A", "rounds"), sp.InstalledOn, endOfTests, z, nil)
	if err != nil {
		t.Fatal(err)
	}
	from, to := unix(t, "2025-01-10T12:00:00Z"), unix(t, "2025-08-31T23:00:00Z")
	door := sp.openings(stream(11, "A", "visitors"), from, to, z, calls)
	if !reflect.DeepEqual(s.Openings, door[:len(s.Openings)]) {
		t.Error("the openings on the cards are not those of the door")
	}
	last := s.Cards[len(s.Cards)-1].RemovedAt
	if len(door) > len(s.Openings) && door[len(s.Openings)].At < last {
		t.Errorf("the opening at %d, before the last removal at %d, is on no card", door[len(s.Openings)].At, last)
	}
}

// TestGrowingFilesGrow: each file is the beginning of the next, in which the
// formerly last row goes on with its seconds.
func TestGrowingFilesGrow(t *testing.T) {
	s := newSiteT(t, spec("A", tabs, Growing), 2)
	for i := 1; i < len(s.Cards); i++ {
		before, after := fileOf(t, s.Cards[i-1]), fileOf(t, s.Cards[i])
		rest, ok := bytes.CutPrefix(after, before)
		if !ok {
			t.Fatalf("card %d is not the beginning of card %d", i-1, i)
		}
		swap := lastRow(s.Cards[i-1])
		want := fmt.Sprintf("%d\r\n", s.Openings[swap.Opening].OpenS)
		if swap.OpenS != usage.Unknown || !strings.HasPrefix(string(rest), want) {
			t.Errorf("card %d goes on with %.12q, want %q", i, rest, want)
		}
	}
}

func TestGrowingFilesGrowWhereSecondsComeFirst(t *testing.T) {
	d := tabs
	d.Columns, d.Delimiter = []string{ColSeconds, ColDate, ColTime}, "comma"
	s := newSiteT(t, spec("A", d, Growing), 2)
	for i := 1; i < len(s.Cards); i++ {
		before := strings.SplitAfter(string(fileOf(t, s.Cards[i-1])), "\r\n")
		after := strings.SplitAfter(string(fileOf(t, s.Cards[i])), "\r\n")
		n := len(before) - 2 // the last piece is empty
		if !slices.Equal(before[:n], after[:n]) {
			t.Fatalf("card %d does not begin as card %d", i, i-1)
		}
		if before[n][0] != ',' || !strings.HasSuffix(after[n], before[n]) || after[n][0] == ',' {
			t.Errorf("row %q became %q, want its seconds before it", before[n], after[n])
		}
	}
}

// TestSecondsOfASwap: a cleared card begins with the seconds of the opening in
// which it was put in; in rotation they complete the row that ended the card.
func TestSecondsOfASwap(t *testing.T) {
	cleared := newSiteT(t, spec("A", tabs, Cleared), 4)
	if got := cleared.Cards[0].LeadingS; got != usage.Unknown {
		t.Errorf("first card begins with %d s, want none", got)
	}
	for i := 1; i < len(cleared.Cards); i++ {
		swap := swapOf(cleared, i-1)
		if got := cleared.Cards[i].LeadingS; got != swap.OpenS {
			t.Errorf("card %d begins with %d s, want %d", i, got, swap.OpenS)
		}
		if got, want := string(fileOf(t, cleared.Cards[i])), fmt.Sprintf("%d\r\n", swap.OpenS); !strings.HasPrefix(got, want) {
			t.Errorf("card %d begins %.12q, want %q", i, got, want)
		}
	}
	rotation := newSiteT(t, spec("A", tabs, Rotation), 4)
	for i := 2; i < len(rotation.Cards); i++ {
		n := rotation.Cards[i-2].Len() - 1
		if got, want := rotation.Cards[i].Rows()[n].OpenS, swapOf(rotation, i-1).OpenS; got != want {
			t.Errorf("card %d: row %d has %d s, want %d", i, n, got, want)
		}
	}
}

// TestPairsOverASwap: the door shuts after the swap, so the new card begins
// with a CLOSE, below its header.
func TestPairsOverASwap(t *testing.T) {
	d := Dialect{File: "LOG.TXT", Delimiter: "comma", Columns: []string{ColEvent, ColStamp}, Language: "en", Case: "upper", Header: true}
	s := newSiteT(t, spec("A", d, Cleared), 4)
	for i := 1; i < len(s.Cards); i++ {
		shut := swapOf(s, i-1)
		reading := s.Written[lastRow(s.Cards[i-1]).Opening].Reading + int64(shut.OpenS)
		got := strings.SplitN(string(fileOf(t, s.Cards[i])), "\r\n", 3)
		if at := wall(t, strings.TrimPrefix(got[1], "CLOSE,")); got[0] != "Event,Timestamp" || at-reading < 0 || at-reading > 1 {
			t.Errorf("card %d begins %q, want a header and CLOSE at %d", i, got[:2], reading)
		}
	}
}

func lastRow(c Card) Row {
	rows := c.Rows()
	return rows[len(rows)-1]
}

// swapOf returns the opening in which card i was taken out.
func swapOf(s *Site, i int) Opening {
	return s.Openings[lastRow(s.Cards[i]).Opening]
}

func TestCardsAreTakenOutInTheirLastOpening(t *testing.T) {
	for _, kind := range []string{Growing, Cleared, Rotation} {
		s := newSiteT(t, spec("A", tabs, kind), 5)
		for i, c := range s.Cards {
			o := swapOf(s, i)
			if o.Class != usage.Service || c.RemovedAt <= o.At || c.RemovedAt > o.At+int64(o.OpenS) {
				t.Errorf("%s card %d: removed at %d, last opening %+v", kind, i, c.RemovedAt, o)
			}
			local := time.Unix(c.RemovedAt, 0).In(zone(t, s.Spec.Zone)).Format(time.DateOnly)
			if want := "A/" + local + "/LOG.TXT"; c.Path() != want {
				t.Errorf("%s card %d: path %s, want %s", kind, i, c.Path(), want)
			}
		}
	}
}

func TestAwayCard(t *testing.T) {
	sp := spec("A", tabs, Growing)
	sp.Troubles = []Trouble{{TroubleAway, unix(t, "2025-04-01T00:00:00Z"), 30}}
	s := newSiteT(t, sp, 6)
	i := slices.IndexFunc(s.Calls, func(c Call) bool { return !c.In })
	if i < 0 || !s.Calls[i+1].In || s.Calls[i+1].Out {
		t.Fatalf("calls %+v: none takes the card and one later brings it", s.Calls)
	}
	out, in := s.Calls[i], s.Calls[i+1]
	if days := float64(in.At-out.At) / 86400; days < 29 || days > 31 {
		t.Errorf("away for %.1f days, want 30 ± 1", days)
	}
	if in.Opening != usage.Unknown {
		t.Errorf("the opening that brings the card is opening %d, want on no card", in.Opening)
	}
	for _, o := range s.Openings {
		if o.At > out.At && o.At <= in.At {
			t.Fatalf("opening at %d reached a card that was away from %d to %d", o.At, out.At, in.At)
		}
	}
	for _, n := range holders(t, s) {
		if n == 0 {
			t.Fatal("an opening of the truth is on no card")
		}
	}
}

func TestNULsAndRubbish(t *testing.T) {
	sp := spec("A", tabs, Cleared)
	sp.Troubles = []Trouble{{TroubleFF, unix(t, "2025-03-01T00:00:00Z"), 5}, {TroubleNUL, unix(t, "2025-06-01T00:00:00Z"), 512}}
	s := newSiteT(t, sp, 8)
	rubbish, nuls := 0, 0
	for _, c := range s.Cards {
		b := fileOf(t, c)
		rubbish += strings.Count(string(b), "???\t165/165/2165\t165:165:85\t")
		if bytes.HasSuffix(b, make([]byte, 512)) {
			nuls++
		}
	}
	if rubbish != 5 || nuls != 1 {
		t.Errorf("%d rows of 0xFF and %d cards ending in NULs, want 5 and 1", rubbish, nuls)
	}
	for _, n := range holders(t, s) {
		if n != 1 {
			t.Fatalf("an opening is on %d cards, want 1", n)
		}
	}
}

func TestClockIsSetInACall(t *testing.T) {
	sp := spec("A", tabs, Cleared)
	sp.Clock.Events = []ClockEvent{
		{At: unix(t, "2025-03-01T05:00:00Z"), Kind: ClockReset},
		{At: unix(t, "2025-03-01T05:00:00Z"), Kind: ClockSet},
		{At: unix(t, "2030-01-01T05:00:00Z"), Kind: ClockSet},
	}
	s := newSiteT(t, sp, 8)
	if n := len(s.Spec.Clock.Events); n != 2 {
		t.Fatalf("%d clock events took place, want 2: nobody came in 2030", n)
	}
	set := s.Spec.Clock.Events[1].At
	for i, o := range s.Openings {
		y := time.Unix(s.Written[i].Reading, 0).UTC().Year()
		if want := map[bool]int{true: 2000, false: 2025}[o.At >= unix(t, "2025-03-01T05:00:00Z") && o.At < set]; y != want {
			t.Fatalf("opening at %d was written in year %d, want %d", o.At, y, want)
		}
	}
	if !slices.ContainsFunc(s.Calls, func(c Call) bool { return c.At+30 == set }) {
		t.Errorf("clock set at %d, which is in no call", set)
	}
}

func TestTruthReadsBack(t *testing.T) {
	n, err := Random(90, 4, 21)
	if err != nil {
		t.Fatal(err)
	}
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
		if !reflect.DeepEqual(got.SiteSpec, s.Spec) || !reflect.DeepEqual(got.Calls, s.Calls) {
			t.Errorf("site %s: spec or calls did not come back", s.Spec.Code)
		}
		if len(got.Openings) != len(s.Openings) || len(got.Cards) != len(s.Cards) {
			t.Fatalf("site %s: %d openings and %d cards, want %d and %d", s.Spec.Code, len(got.Openings), len(got.Cards), len(s.Openings), len(s.Cards))
		}
		for j, o := range s.Openings {
			checkOpeningTruth(t, got.Openings[j], o, s.Written[j])
		}
		for j, c := range s.Cards {
			openings := 0
			for _, sp := range got.Cards[j].Spans {
				openings += int(sp[1]-sp[0]) + 1
			}
			if got.Cards[j].Rows != c.Len() || !s.Spec.Dialect.Pairs() && openings != c.Len() {
				t.Errorf("card %s: %d rows, spans of %d, want %d", c.Path(), got.Cards[j].Rows, openings, c.Len())
			}
		}
	}
}

func checkOpeningTruth(t *testing.T, got OpeningTruth, o Opening, r Row) {
	t.Helper()
	same := func(p *int32, v int32) bool { return p == nil && v == usage.Unknown || p != nil && *p == v }
	if got.At != o.At || unix(t, got.Time) != o.At || got.OpenS != o.OpenS || got.Class != o.Class.String() ||
		!same(got.Visit, o.Visit) || !same(got.WrittenS, r.OpenS) || wall(t, *got.Written) != r.Reading {
		t.Fatalf("truth %+v, want of %+v, %+v", got, o, r)
	}
}

func TestWriteDir(t *testing.T) {
	n, err := Random(60, 3, 9)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "forged")
	if err := n.WriteDir(dir); err != nil {
		t.Fatal(err)
	}
	files := 0
	err = filepath.WalkDir(filepath.Join(dir, "cards"), func(_ string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			files++
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	cards := 0
	for _, s := range n.Sites {
		cards += len(s.Cards)
		for _, c := range s.Cards {
			got, err := os.ReadFile(filepath.Join(dir, "cards", filepath.FromSlash(c.Path())))
			if err != nil || !bytes.Equal(got, fileOf(t, c)) {
				t.Errorf("card %s was not written as it is: %v", c.Path(), err)
			}
		}
	}
	if files != cards {
		t.Errorf("%d files, want %d", files, cards)
	}
	var fault *usage.Fault
	if err := n.WriteDir(dir); !errors.As(err, &fault) || fault.Kind != usage.Conflict {
		t.Errorf("WriteDir into a forged folder = %v, want a conflict", err)
	}
}

func TestRandomRefuses(t *testing.T) {
	for _, a := range [][2]int{{0, 1}, {1, 1}, {10, 0}, {40000, 1}, {10, 1001}} {
		if _, err := Random(a[0], a[1], 1); err == nil {
			t.Errorf("Random(%d, %d) = nil error, want one", a[0], a[1])
		}
	}
}

func TestNewRefuses(t *testing.T) {
	good := spec("A", tabs, Growing)
	bad := map[string]func(*SiteSpec){
		"code":    func(s *SiteSpec) { s.Code = "mill" },
		"zone":    func(s *SiteSpec) { s.Zone = "Nowhere/Town" },
		"rounds":  func(s *SiteSpec) { s.Rounds.Kind = "never" },
		"days":    func(s *SiteSpec) { s.Rounds.EveryDays = 0 },
		"dialect": func(s *SiteSpec) { s.Dialect.Columns = nil },
	}
	for name, spoil := range bad {
		s := good
		if spoil(&s); true {
			if _, err := New("x", []SiteSpec{s}, endOfTests, 1); err == nil {
				t.Errorf("%s: New = nil error, want one", name)
			}
		}
	}
	if _, err := New("x", []SiteSpec{good, good}, endOfTests, 1); err == nil {
		t.Error("New with one code twice = nil error, want one")
	}
}
