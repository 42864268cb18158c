package usage

import (
	"slices"
	"testing"
)

func TestBrackets(t *testing.T) {
	openings := []Opening{
		timed(500, 20),
		{Earliest: 1000, Latest: 2000, OpenS: 20, Visit: 2},
		{Earliest: 1000, Latest: 2000, OpenS: 0, Visit: Unknown},
		{Earliest: 1500, Latest: Beyond, OpenS: 20, Visit: 3},
	}
	got := bracketsOf(openings)
	want := []Bracket{{1000, 2000, 2, 1}, {1500, Beyond, 1, 1}}
	if !slices.Equal(got, want) {
		t.Fatalf("bracketsOf = %v, want %v", got, want)
	}
	for _, c := range []struct {
		name                    string
		from, to                int64
		within, visits          int64
		about, visitsPerhapsOut int64
	}{
		{"all of the first", 1000, 2001, 2, 1, 1, 1},
		{"its end left out", 1000, 2000, 0, 0, 3, 2},
		{"its beginning left out", 1001, 3000, 0, 0, 3, 2},
		{"before", 0, 1000, 0, 0, 0, 0},
		{"after the first", 2001, 3000, 0, 0, 1, 1},
		{"everything", 0, Beyond + 1, 3, 2, 0, 0},
	} {
		openings, visits := UntimedWithin(got, c.from, c.to)
		if openings != c.within || visits != c.visits {
			t.Errorf("%s: within = %d, %d, want %d, %d", c.name, openings, visits, c.within, c.visits)
		}
		openings, visits = UntimedAbout(got, c.from, c.to)
		if openings != c.about || visits != c.visitsPerhapsOut {
			t.Errorf("%s: about = %d, %d, want %d, %d", c.name, openings, visits, c.about, c.visitsPerhapsOut)
		}
	}
}
