package main

import (
	"bytes"
	"strings"
	"testing"
)

// TestMainTargets takes sixteen networks of a fixed seed through the whole pipeline
// and holds them to the main targets, on whatever number of processors there is.
func TestMainTargets(t *testing.T) {
	opt := options{networks: 16, sites: 1, seed: 11}
	b, err := measureAll(t.Context(), opt)
	if err != nil {
		t.Fatal(err)
	}
	within := target{
		what: "truth within ± error_s for ≥ 95 % of all timed openings", cases: len(b.all.samples),
		met: float64(count(b.all.samples, within)) >= leastWithin*float64(len(b.all.samples)), detail: share(count(b.all.samples, within), len(b.all.samples)) + " %",
	}
	for _, x := range []target{b.whole(), b.counted(), b.bothEnds(), b.wrongHours(), within} {
		if x.cases < 16 || !x.met {
			t.Errorf("%s: %s (%d cases)", x.what, x.detail, x.cases)
		}
	}
}

// TestSwappedCardsAreHeldBack brings the cards of a network under wrong sites.
func TestSwappedCardsAreHeldBack(t *testing.T) {
	b, err := measureAll(t.Context(), options{networks: 2, sites: 6, seed: 11, only: "swapped card"})
	if err != nil {
		t.Fatal(err)
	}
	if x := b.swapped(); x.cases < 10 || !x.met {
		t.Errorf("%s: %s (%d cases)", x.what, x.detail, x.cases)
	}
	var out bytes.Buffer
	printTargets(&out, []target{b.swapped()})
	if !strings.HasPrefix(strings.TrimSpace(out.String()), "met") {
		t.Errorf("printTargets = %q, want a target that is met", out.String())
	}
}
