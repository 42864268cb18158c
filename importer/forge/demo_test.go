package forge

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"doorleaf/usage"
)

func TestDemoHasItsTroubles(t *testing.T) {
	end := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	n, err := Demo(end, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(n.Sites) != 8 {
		t.Fatalf("%d sites, want 8", len(n.Sites))
	}
	kinds, keeping := map[string]int{}, map[usage.ClockKeeping]int{}
	site := map[string]*Site{}
	for _, s := range n.Sites {
		site[s.Spec.Code] = s
		kinds[s.Spec.Rounds.Kind]++
		keeping[s.Spec.Clock.Keeping]++
		last := s.Cards[len(s.Cards)-1]
		if age := end.Unix() - last.RemovedAt; age < 0 || age > 9*86400 {
			t.Errorf("%s: last card came home %d s before the end, want within nine days", s.Spec.Code, age)
		}
	}
	if kinds[Growing]*kinds[Cleared]*kinds[Rotation] == 0 || keeping[usage.ClockCivil] == 0 || keeping[usage.ClockUTC] == 0 {
		t.Errorf("rounds %v, clocks %v: want every kind", kinds, keeping)
	}
	count := func(code string, is func(Opening, Row) bool) (n int) {
		for i, o := range site[code].Openings {
			if is(o, site[code].Written[i]) {
				n++
			}
		}
		return n
	}
	checks := []struct {
		what string
		got  int
		low  int
	}{
		{"rows of 0xFF at MILL", count("MILL", func(_ Opening, r Row) bool { return r.Fault == ReadFF }), 7},
		{"rows of 2000 at GATE", count("GATE", func(_ Opening, r Row) bool { return r.Reset }), 100},
		{"rows of one reading at QUAY", longestStand(site["QUAY"]), 200},
		{"doors ajar at CROSS", count("CROSS", func(o Opening, _ Row) bool { return o.Class == usage.Ajar }), 1},
	}
	for _, c := range checks {
		if c.got < c.low {
			t.Errorf("%d %s, want %d or more", c.got, c.what, c.low)
		}
	}
	nul := func(c Card) bool { b, err := c.Bytes(); return err == nil && bytes.HasSuffix(b, make([]byte, 512)) }
	if !slices.ContainsFunc(site["QUAY"].Cards, nul) {
		t.Error("no card of QUAY ends in NULs")
	}
	if first := site["GREEN"].Openings[0].At; first < site["MILL"].Openings[0].At+300*86400 {
		t.Errorf("GREEN begins at %d, want about a year after MILL", first)
	}
}

// longestStand is the greatest number of rows in a row with the same reading.
func longestStand(s *Site) (longest int) {
	n := 1
	for i := 1; i < len(s.Written); i++ {
		if n++; s.Written[i].Reading != s.Written[i-1].Reading {
			n = 1
		}
		longest = max(longest, n)
	}
	return longest
}
