package main

import (
	"fmt"

	"doorleaf/usage"
)

// fewestVisits are those to be expected in an outage that must be raised.
const fewestVisits = 20

// quiet compares the quiet stretches found with the outages that there were.
func (g *gauge) quiet(worst int, into ...*tally) { g.quietOf(g.truth.Outages(), worst, into...) }

func (g *gauge) quietOf(outages [][2]int64, worst int, into ...*tally) {
	var found [][2]int64
	for _, f := range g.derived.Findings {
		if f.Kind == usage.KindQuiet {
			found = append(found, [2]int64{f.From, f.To})
		}
	}
	gaps := append(g.away(), outages...)
	for _, f := range found {
		if 2*shared(f, gaps) < f[1]-f[0] {
			for _, t := range into {
				t.alarms++
			}
			if len(into) > 1 && worst > 0 {
				g.tellAlarm(into[1], f)
			}
		}
	}
	for _, o := range outages {
		if len(into) > 1 && worst > 0 {
			g.tellOutage(into[1], o, found)
		}
		if g.truth.Expected(o[0], o[1]) < fewestVisits {
			continue
		}
		for _, t := range into {
			*g.verdict(t, o, found)++
		}
	}
}

// tellOutage notes an outage that was missed, and how many openings the logbook has
// in it.
func (g *gauge) tellOutage(t *tally, outage [2]int64, found [][2]int64) {
	expected := g.truth.Expected(outage[0], outage[1])
	if expected < fewestVisits {
		return
	}
	var verdict tally
	*g.verdict(&verdict, outage, found)++
	if verdict.missed == 0 {
		return
	}
	in, untimed := 0, 0
	for i := range g.book.Openings {
		switch o := &g.book.Openings[i]; {
		case o.Timed && o.At > outage[0] && o.At < outage[1]:
			in++
		case !o.Timed && o.Earliest < outage[1] && o.Latest > outage[0]:
			untimed++
		}
	}
	t.worst = append(t.worst, bad{1 << 42, fmt.Sprintf("%-16s network %d %s %-8s %s to %s, %.0f visits to be expected; the logbook has %d openings in it, and %d untimed ones that may be",
		"missed outage", g.ordinal, g.site.Code, g.truth.Spec.Rounds.Kind, utc(outage[0]), utc(outage[1]), expected, in, untimed)})
}

// tellAlarm notes a quiet stretch that was raised falsely.
func (g *gauge) tellAlarm(t *tally, f [2]int64) {
	in := 0
	for i := range g.truth.Openings {
		if at := g.truth.Openings[i].At; at > f[0] && at < f[1] {
			in++
		}
	}
	t.worst = append(t.worst, bad{1 << 42, fmt.Sprintf("%-20s network %d %s %-8s %s to %s, %.0f visits to be expected; there were %d openings",
		"false quiet", g.ordinal, g.site.Code, g.truth.Spec.Rounds.Kind, utc(f[0]), utc(f[1]), g.truth.Expected(f[0], f[1]), in)})
}

// verdict is what became of an outage: raised where findings cover half of it;
// hidden where less than half of it is held to be recorded; else missed.
func (g *gauge) verdict(t *tally, outage [2]int64, found [][2]int64) *int {
	var recorded [][2]int64
	for _, s := range g.derived.Coverage {
		if s.Kind == usage.Recording {
			recorded = append(recorded, [2]int64{s.From, s.To})
		}
	}
	half := (outage[1] - outage[0]) / 2
	switch {
	case shared(outage, found) >= half:
		return &t.raised
	case shared(outage, recorded) < half:
		return &t.hidden
	}
	return &t.missed
}

// away returns the times in which the logger had no card.
func (g *gauge) away() [][2]int64 {
	var out [][2]int64
	from := int64(-1)
	for _, c := range g.truth.Calls {
		if c.In && from >= 0 {
			out, from = append(out, [2]int64{from, c.At}), -1
		}
		if c.Out && !c.In {
			from = c.At
		}
	}
	return out
}

// shared returns how long an interval is shared with a list of disjoint ones.
func shared(a [2]int64, list [][2]int64) (sum int64) {
	for _, b := range list {
		sum += max(0, min(a[1], b[1])-max(a[0], b[0]))
	}
	return sum
}
