package main

import (
	"strings"
	"testing"

	"doorleaf/usage"
)

// holding is a hold of so many cases, of which some held and some were wider than
// allowed.
func holding(cases, held, wide int) *hold {
	h := &hold{cases: cases, held: held}
	for i := range cases {
		w := 1.0
		if i < wide {
			w = 1.5
		}
		h.widths = append(h.widths, w)
	}
	return h
}

// A row speaks against a target only when its cases do, and all rows together must lie
// within it as it stands.
func TestTargetsOfLimits(t *testing.T) {
	for _, c := range []struct {
		name      string
		rows      []*hold
		met, wide bool
		detail    string
	}{
		{"as asked", []*hold{holding(360, 342, 0), holding(360, 340, 100)}, true, true, "94.7 %"},
		{"one row by chance below and wide", []*hold{holding(200, 180, 101), holding(3000, 2850, 0)}, true, true, "94.7 %"},
		{"one row below", []*hold{holding(360, 310, 0), holding(3000, 2850, 0)}, false, true, "below: kind 0"},
		{"one row wide", []*hold{holding(360, 342, 240), holding(3000, 2850, 0)}, true, false, ""},
		{"all of them a little below", []*hold{holding(3000, 2780, 0)}, false, true, "92.7 %"},
		{"all of them a little wide", []*hold{holding(101, 95, 51)}, true, false, ""},
		{"above", []*hold{holding(3000, 2970, 0)}, false, true, "above: kind 0"},
	} {
		var l limits
		for i, h := range c.rows {
			l = append(l, &limitRow{kind: kind{name: "kind " + string(rune('0'+i))}, holds: map[string]*hold{figureRate: h}})
		}
		all := func(*limitRow) bool { return true }
		holds, widths := l.holds(figureRate, false, all), l.widths(figureRate, false, all)
		if holds.met != c.met || widths.met != c.wide || !strings.Contains(holds.detail, c.detail) {
			t.Errorf("%s: held %v (%s), width %v (%s), want %v, %v", c.name, holds.met, holds.detail, widths.met, widths.detail, c.met, c.wide)
		}
	}
}

func TestHoldSees(t *testing.T) {
	h := &hold{}
	for _, truth := range []float64{0.9, 1, 2, 3, 3.1} {
		h.see(&usage.Estimate{Value: 2, Low: 1, High: 3}, truth, 2, 0.95)
	}
	if h.cases != 5 || h.held != 3 || h.below != 1 || h.width() != 1 {
		t.Errorf("held %d of %d, %d below, width %.2f, want 3 of 5, 1 below, 1.00", h.held, h.cases, h.below, h.width())
	}
}
