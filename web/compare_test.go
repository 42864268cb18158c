package web

import (
	"math"
	"slices"
	"testing"

	"doorleaf/web/words"
)

func TestSideNames(t *testing.T) {
	for _, c := range []struct{ sites, seasons, want []string }{
		{[]string{"Mill", "Quay"}, []string{"spring 2026", "spring 2026"}, []string{"Mill", "Quay"}},
		{[]string{"Mill", "Mill"}, []string{"spring 2025", "spring 2026"}, []string{"Spring 2025", "Spring 2026"}},
		{[]string{"Mill", "Quay"}, []string{"spring 2025", "spring 2026"}, []string{"Mill, spring 2025", "Quay, spring 2026"}},
	} {
		if got := SideNames(c.sites, c.seasons); !slices.Equal(got, c.want) {
			t.Errorf("SideNames(%q, %q) = %q, want %q", c.sites, c.seasons, got, c.want)
		}
	}
}

func TestCompareLead(t *testing.T) {
	more, fewer, neither := ratioOf(1.5, 1.2, 1.8), ratioOf(0.5, 0.2, 0.8), ratioOf(1, 0.5, 1.5)
	first := CompareSide{Name: "A", First: true}
	for _, c := range []struct {
		name  string
		sides []CompareSide
		want  string
	}{
		{"none", nil, "Tick two boxes or more, or two seasons of one box, to set them side by side."},
		{"two", []CompareSide{first, {Says: "B is so."}}, "B is so."},
		{"more", []CompareSide{first, {Name: "B", Ratio: more}, {Name: "C", Ratio: more}}, "B and C clearly have more visits a day than A."},
		{"all kinds", []CompareSide{first, {Name: "B", Ratio: more}, {Name: "C", Ratio: fewer}, {Name: "D", Ratio: neither}, {Name: "E"}},
			"B clearly has more visits a day than A; C clearly has fewer visits a day than A; of 2 others it cannot be told."},
		{"nothing", []CompareSide{first, {Name: "B", Ratio: neither}, {Name: "C"}}, "None of the other 2 clearly has more or fewer visits a day than A."},
	} {
		if got := CompareLead(words.English, c.sides)[0]; got != c.want {
			t.Errorf("%s: CompareLead = %q, want %q", c.name, got, c.want)
		}
	}
}

func TestRatioSays(t *testing.T) {
	if got, want := RatioSays(words.English, "B", "A", nil, true), "B and A have nothing recorded to set against each other."; got != want {
		t.Errorf("RatioSays(words.English, nil) = %q, want %q", got, want)
	}
	for _, c := range []struct {
		value, low, high float64
		shared           bool
		want             string
	}{
		{1.5, 1.2, 1.8, true, "B has more visits a day than A: between 1.2 and 1.8 times as many, on the part of the season that both have."},
		{0.5, 0.2, 0.8, false, "B has fewer visits a day than A: between 0.2 and 0.8 times as many."},
		{1, 0.5, 1.5, false, "Whether B or A has more visits a day cannot be told: the former may have between 0.5 and 1.5 times as many."},
		{math.Inf(1), 2, math.Inf(1), false, "B has more visits a day than A: 2.00 or more times as many."},
		{math.NaN(), 0, math.Inf(1), false, "Neither B nor A had a visit to set against each other."},
	} {
		if got := RatioSays(words.English, "B", "A", ratioOf(c.value, c.low, c.high), c.shared); got != c.want {
			t.Errorf("RatioSays(words.English, %v, %v to %v) = %q, want %q", c.value, c.low, c.high, got, c.want)
		}
	}
}
