package store

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

func sayNetwork(t *testing.T, s *Store) usage.Network {
	t.Helper()
	n, err := s.Network(t.Context())
	if err != nil {
		t.Fatalf("Network: %v", err)
	}
	return n
}

func TestNetworkIsKept(t *testing.T) {
	s := openTest(t)
	usual := usage.Network{Region: usage.DefaultRegion}
	if got := sayNetwork(t, s); got != usual {
		t.Errorf("a new network says %+v, want %+v", got, usual)
	}
	german := usage.Network{Name: "Bücher", Region: usage.Region{Language: "de", Dates: "dmy", Decimal: ",", FirstDay: 1, Clock: 24}}
	spaced := german
	spaced.Name = "  Bücher\t"
	for _, n := range []usage.Network{usual, spaced, german} { // the last changes nothing
		if err := s.SetNetwork(t.Context(), n); err != nil {
			t.Fatalf("SetNetwork(%+v) = %v, want none", n, err)
		}
	}
	if got := sayNetwork(t, s); got != german {
		t.Errorf("Network = %+v, want %+v", got, german)
	}
	entries, _, err := s.Journal(t.Context(), 0, 10)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, e := range entries {
		if e.Deed == DeedNetworkChanged {
			said = append(said, e.Says)
		}
	}
	if len(said) != 2 || said[0] != "name: none → Bücher; language: en → de; decimal mark: . → ," || said[1] != "the usual ways of writing were confirmed" {
		t.Errorf("the journal says %q", said)
	}
	for name, spoil := range map[string]func(*usage.Network){
		"long name":   func(n *usage.Network) { n.Name = strings.Repeat("ü", usage.NetworkNameMost+1) },
		"no text":     func(n *usage.Network) { n.Name = "\xff" },
		"control":     func(n *usage.Network) { n.Name = "a\x00b" },
		"language":    func(n *usage.Network) { n.Region.Language = "" },
		"dates":       func(n *usage.Network) { n.Region.Dates = "dym" },
		"decimal":     func(n *usage.Network) { n.Region.Decimal = "·" },
		"day":         func(n *usage.Network) { n.Region.FirstDay = 0 },
		"clock":       func(n *usage.Network) { n.Region.Clock = 25 },
		"zero region": func(n *usage.Network) { n.Region = usage.Region{} },
	} {
		n := german
		spoil(&n)
		if err := s.SetNetwork(t.Context(), n); usage.KindOf(err) != usage.Invalid {
			t.Errorf("%s: SetNetwork(%+v) = %v, want Invalid", name, n, err)
		}
	}
	if got := sayNetwork(t, s); got != german {
		t.Errorf("what was refused left %+v, want %+v", got, german)
	}
}

// A change is taken back by what stood before it.
func TestNetworkBefore(t *testing.T) {
	s := openTest(t)
	at := int64(testNow)
	s.now = func() time.Time { return time.Unix(at, 0) }
	usual := usage.Network{Region: usage.DefaultRegion}
	a, b, c := usual, usual, usual
	a.Name, b.Name, c.Name = "A", "B", "C"
	for _, step := range []struct {
		says   usage.Network
		after  int64
		before usage.Network
	}{{a, 0, usual}, {b, 60, a}, {c, 0, b}} {
		at += step.after
		if err := s.SetNetwork(t.Context(), step.says); err != nil {
			t.Fatal(err)
		}
		if got, err := s.NetworkBefore(t.Context(), at); err != nil || got != step.before {
			t.Errorf("before %s stood %+v, %v, want %+v", step.says.Name, got, err, step.before)
		}
		entries, _, err := s.Journal(t.Context(), 0, 1)
		if err != nil || len(entries) != 1 || !entries[0].Standing {
			t.Errorf("the journal says of %s: %+v, %v, want it standing", step.says.Name, entries, err)
		}
	}
	if _, err := s.NetworkBefore(t.Context(), at+1); usage.KindOf(err) != usage.NotFound {
		t.Errorf("NetworkBefore of no change = %v, want NotFound", err)
	}
	entries, _, err := s.Journal(t.Context(), 0, 10)
	if err != nil || entries[len(entries)-1].Standing {
		t.Errorf("the first change, which was changed again, stands: %+v, %v", entries, err)
	}
}

// A bundle that is restored brings the name and the ways of writing with it; merged
// into a network that is in use, whether it has said anything or not, it brings
// neither, and a site's bundle has neither.
func TestNetworkTravels(t *testing.T) {
	s := openTest(t)
	ours := usage.Network{Name: "Aldermouth", Region: usage.Region{Language: "de", Dates: "ymd", Decimal: ",", FirstDay: 7, Clock: 12}}
	theirs := usage.Network{Name: "Brightwater", Region: usage.DefaultRegion}
	for _, n := range []usage.Network{theirs, ours} {
		if err := s.SetNetwork(t.Context(), n); err != nil {
			t.Fatal(err)
		}
	}
	b := mustBundle(t, s, "")
	again := copyOf(t, s)
	if got := sayNetwork(t, again); got != ours {
		t.Errorf("restored, the network says %+v, want %+v", got, ours)
	}
	if a, b := keptContent(t, s), keptContent(t, again); a != b {
		t.Errorf("restored, the network keeps\n%s\nwant\n%s", b, a)
	}
	once := bundleBytes(t, again, "")
	if merge(t, again, b, MergeAnswers{}); !bytes.Equal(bundleBytes(t, again, ""), once) {
		t.Error("merging twice changed something")
	}
	other := openEmpty(t, t.TempDir())
	if err := other.SetNetwork(t.Context(), theirs); err != nil {
		t.Fatal(err)
	}
	merge(t, other, b, MergeAnswers{Keep: Theirs})
	if got := sayNetwork(t, other); got != theirs {
		t.Errorf("merged, the network says %+v, want its own %+v", got, theirs)
	}
	silent := openTest(t)
	merge(t, silent, b, MergeAnswers{Keep: Theirs})
	if got := sayNetwork(t, silent); got.Name != "" {
		t.Errorf("merged, a network without a name is called %q, want none", got.Name)
	}
	part := openEmpty(t, t.TempDir())
	merge(t, part, mustBundle(t, s, "MILL"), MergeAnswers{})
	if got := sayNetwork(t, part); got.Name != "" {
		t.Errorf("a site's bundle named the network %q, want none", got.Name)
	}
}

// A bundle whose network says what none can is refused whole.
func TestNetworkOfABundleIsChecked(t *testing.T) {
	s := openTest(t)
	if _, err := s.writer.Exec(`INSERT INTO network (body, said_at) VALUES ('{"name":"x","region":{"language":"tlh"}}', 7)`); err != nil {
		t.Fatal(err)
	}
	into := openEmpty(t, t.TempDir())
	_, err := into.Merge(t.Context(), mustBundle(t, s, ""), MergeAnswers{})
	if usage.KindOf(err) != usage.Invalid {
		t.Errorf("Merge = %v, want Invalid", err)
	}
	if sites, err := into.Sites(t.Context()); err != nil || len(sites) != 0 {
		t.Errorf("the refused bundle left %d sites, %v", len(sites), err)
	}
}
