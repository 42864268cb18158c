package usage

import (
	"strings"
	"testing"
)

// seasonOf makes openings of one summer, an hour apart, that stay open for the
// seconds given.
func seasonOf(openS ...int32) Logbook {
	at := DateOf(2024, 6, 3)
	lb := Logbook{Cards: []CardRef{{ID: "c"}}}
	for i, s := range openS {
		t := int64(at)*86400 + int64(i)*3600
		lb.Openings = append(lb.Openings, Opening{At: t, Earliest: t, Latest: t, Timed: true, OpenS: s, Line: int32(i + 1)})
	}
	last := lb.Openings[len(lb.Openings)-1].At
	lb.Stretches = []Stretch{{From: lb.Openings[0].At, To: last, Kind: Recording}}
	return lb
}

func repeat(n int, s int32) []int32 {
	out := make([]int32, n)
	for i := range out {
		out[i] = s
	}
	return out
}

func TestDoorFindings(t *testing.T) {
	tests := []struct {
		name  string
		openS []int32
		kind  string
		says  string
		line  int32
	}{
		{"nothing odd", repeat(50, 20), "", "", 0},
		{"one door ajar for a while", append(repeat(50, 20), 3000), "", "", 0},
		{"one door ajar for long", append(repeat(5, 20), 5*3600), "ajar door", "ajar once in summer 2024, for 5 hours", 6},
		{"three doors ajar", append(repeat(5, 20), 3000, 4000, 3500), "ajar door", "ajar 3 times in summer 2024, the longest for 66 minutes", 7},
		{"rattles", append(repeat(60, 20), repeat(30, 1)...), "rattle", "30 of 90 openings in summer 2024 lasted less than 2 seconds", 61},
		{"a few rattles", append(repeat(60, 20), repeat(10, 1)...), "", "", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, err := Derive(millSite("UTC"), seasonOf(tt.openS...))
			if err != nil {
				t.Fatal(err)
			}
			var found []Finding
			for _, f := range d.Findings {
				if f.Kind == "ajar door" || f.Kind == "rattle" {
					found = append(found, f)
				}
			}
			if tt.kind == "" {
				if len(found) > 0 {
					t.Errorf("findings = %+v, want none", found)
				}
				return
			}
			if len(found) != 1 || found[0].Kind != tt.kind || !strings.Contains(found[0].Says, tt.says) || found[0].Evidence[0].Line != tt.line {
				t.Errorf("findings = %+v, want one %q at line %d that says %q", found, tt.kind, tt.line, tt.says)
			}
		})
	}
}
