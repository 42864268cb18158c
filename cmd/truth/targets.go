package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// target is something that must hold.
type target struct {
	what   string
	cases  int // how many were looked at
	met    bool
	detail string
	needed bool // without a case it is missed
	own    bool // not met, but as the method that the design asks for is by itself: told, and no failure
	above  bool // not met, but missed only by holding more often than asked: told, and no failure
}

// printTargets prints a line a target and says whether all are met.
func printTargets(w io.Writer, targets []target) bool {
	fmt.Fprintln(w)
	all := true
	for _, t := range targets {
		word := "met"
		switch {
		case t.cases == 0 && !t.needed:
			word = "no case"
		case t.cases > 0 && !t.met && t.own:
			word = "own"
		case t.cases > 0 && !t.met && t.above:
			word = "above"
		case t.cases == 0 || !t.met:
			word, all = "NOT met", false
		}
		fmt.Fprintf(w, "%-8s %s: %s (%d cases)\n", word, t.what, t.detail, t.cases)
	}
	return all
}

// targets judges the book. needed: all situations were made, so that a target
// without a case is missed.
func (b *book) targets(needed bool) []target {
	out := []target{
		b.whole(), b.counted(), b.bothEnds(), b.wrongHours(), b.held(), b.notInflated(), b.brackets(), b.changes(),
		b.outages(), b.alarms(), b.swapped(), b.monthPattern(), b.elevenMonths(),
	}
	for i := range out {
		out[i].needed = needed
	}
	return out
}

func (b *book) whole() target {
	return target{
		what: "no site makes the pipeline panic", cases: b.all.sites, met: b.all.crashed == 0,
		detail: fmt.Sprintf("%d of %d%s", b.all.crashed, b.all.sites, b.list(func(t *tally) string {
			if t.crashed > 0 {
				return fmt.Sprint(t.crashed)
			}
			return ""
		})),
	}
}

func (b *book) counted() target {
	t := &b.all
	return target{
		what: "no opening that reached a card is lost or counted twice", cases: t.reached,
		met: t.lost == 0 && t.twice == 0 && t.phantoms == 0,
		detail: fmt.Sprintf("%d lost, %d twice, %d nobody's; of %d on lines that were cut, %d counted%s", t.lost, t.twice, t.phantoms, t.torn, t.tornIn,
			b.list(func(t *tally) string {
				if n := t.lost + t.twice + t.phantoms; n > 0 {
					return fmt.Sprint(n)
				}
				return ""
			})),
	}
}

// Limits of the targets.
const (
	mostOffS      = 30 // 95 % of openings, both ends anchored
	mostWrongHour = 0.005
	leastWithin   = 0.95
	mostInflation = 4
	shiftS        = 1800 // an opening that is off by this much beside a change of civil time is misassigned
	leastRaised   = 0.95
	mostAlarms    = 0.1
	leastHeld     = 0.99
)

func (b *book) bothEnds() target {
	s := where(b.all.samples, bothEnds)
	v := spreadOf(offs(s))
	return target{
		what: "both ends anchored, within 100 ppm: 95 % of time errors ≤ 30 s", cases: len(s), met: v.most <= mostOffS,
		detail: fmt.Sprintf("median %d s, 95 %% %d s, max %d s%s", v.median, v.most, v.max, b.list(func(t *tally) string {
			if v := spreadOf(offs(where(t.samples, bothEnds))); v.most > mostOffS {
				return fmt.Sprint(v.most, " s")
			}
			return ""
		})),
	}
}

func (b *book) wrongHours() target {
	s := where(b.all.samples, bothEnds)
	n := count(s, wrongHour)
	return target{
		what: "both ends anchored, within 100 ppm: in a wrong clock hour ≤ 0.5 %", cases: len(s),
		met: float64(n) <= mostWrongHour*float64(len(s)), detail: share(n, len(s)) + " %",
	}
}

// list names the groups of which say says something, with what it says.
func (b *book) list(say func(*tally) string) string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(b.situations)) {
		if s := say(b.situations[name]); s != "" {
			out = append(out, name+" "+s)
		}
	}
	if out == nil {
		return ""
	}
	return "; over the limit: " + strings.Join(out, ", ")
}

func (b *book) held() target {
	worst := b.list(func(t *tally) string {
		if n := count(t.samples, within); float64(n) < leastWithin*float64(len(t.samples)) {
			return share(n, len(t.samples)) + " %"
		}
		return ""
	})
	return target{
		what: "truth within ± error_s for ≥ 95 % of timed openings, in every situation", cases: len(b.all.samples), met: worst == "",
		detail: share(count(b.all.samples, within), len(b.all.samples)) + " % in all" + worst,
	}
}

// notInflated compares medians. Below a second there is nothing to compare.
func (b *book) notInflated() target {
	ratio := func(t *tally) float64 {
		s := where(t.samples, anchored)
		return float64(spreadOf(errorsOf(s)).median) / float64(max(1, spreadOf(offs(s)).median))
	}
	return target{
		what: "where anchors exist, median error_s ≤ 4 × median true error", cases: count(b.all.samples, anchored), met: ratio(&b.all) <= mostInflation,
		detail: fmt.Sprintf("%.1f ×%s", ratio(&b.all), b.list(func(t *tally) string {
			if r := ratio(t); r > mostInflation {
				return fmt.Sprintf("%.1f ×", r)
			}
			return ""
		})),
	}
}

func (b *book) brackets() target {
	return target{
		what: "truth in [earliest, latest] for ≥ 95 % of untimed openings", cases: b.all.untimed,
		met:    float64(b.all.inside) >= leastWithin*float64(b.all.untimed),
		detail: share(b.all.inside, b.all.untimed) + " %",
	}
}

// changes counts as misassigned what is off by more than it says of itself: where
// nobody noted anything about the change, an error that covers the hour is honest.
func (b *book) changes() target {
	s := where(b.all.samples, func(s *sample) bool { return s.nearShift && s.anchored })
	off := func(s *sample) bool { return s.nearShift && s.anchored && s.off >= shiftS }
	wrong := func(s *sample) bool { return off(s) && s.off > s.errorS }
	n := count(s, wrong)
	return target{
		what:  "within a day of a change of civil time, no opening is misassigned by it (off by half an hour and by more than its error_s) where an anchor exists",
		cases: len(s), met: n == 0,
		detail: fmt.Sprintf("%d misassigned; %d off by half an hour or more, within their error_s or not%s", n, count(s, off), b.list(func(t *tally) string {
			if n := count(t.samples, wrong); n > 0 {
				return fmt.Sprint(n)
			}
			return ""
		})),
	}
}

func (b *book) outages() target {
	t := &b.all
	return target{
		what: "outages with 20 visits or more to be expected: ≥ 95 % raised", cases: t.raised + t.missed,
		met:    float64(t.raised) >= leastRaised*float64(t.raised+t.missed),
		detail: fmt.Sprintf("%d raised, %d missed; %d more are not held to be recorded", t.raised, t.missed, t.hidden),
	}
}

func (b *book) alarms() target {
	t := &b.all
	return target{
		what: "quiet stretches raised falsely ≤ 0.1 a site and year", cases: t.sites, met: float64(t.alarms) <= mostAlarms*t.years,
		detail: fmt.Sprintf("%d in %.0f years", t.alarms, t.years),
	}
}

func (b *book) swapped() target {
	s := &b.swaps
	return target{
		what: "a card under the wrong site is held back in ≥ 99 % of cases in which a logbook could tell", cases: s.telling,
		met:    float64(s.held) >= leastHeld*float64(s.telling),
		detail: fmt.Sprintf("%d held of %d; %d cards brought, %d held back under their own site", s.held, s.telling, s.brought, s.falsely),
	}
}

func (b *book) monthPattern() target {
	p := &b.pattern
	lost := 0
	if t := b.situations[patternName]; t != nil {
		lost = t.lost + t.twice
	}
	return target{
		what: "the month-0 pattern comes out right", cases: p.sites,
		met: lost == 0 && p.ff > 0 && p.ffTimed == 0 && p.stuck > 0 && p.timed == 0 && p.leads == p.sites && p.blank > 0 && p.outside == 0,
		detail: fmt.Sprintf("%d lost or twice; %d rows of 0xFF, %d timed; %d repeated stamps, %d timed; %d of %d first ones timed; %d rows of month 0; %d brackets without the truth",
			lost, p.ff, p.ffTimed, p.stuck, p.timed, p.leads, p.sites, p.blank, p.outside),
	}
}

func (b *book) elevenMonths() target {
	t := b.situations[monthsName]
	if t == nil {
		t = &tally{}
	}
	// A clock that shows civil time wrote the same digits an hour before: an opening in the
	// hour that comes twice must be no more than that wrong, and say so.
	told := where(t.samples, func(s *sample) bool { return !s.repeated || s.off <= mostOffS })
	v, doubtful := spreadOf(offs(told)), where(t.samples, func(s *sample) bool { return s.repeated && s.off > mostOffS })
	return target{
		what: "eleven months 6 s a day slow with two anchors: right to within 30 s", cases: t.reached,
		met: v.max <= mostOffS && t.untimed == 0 && t.lost == 0 && count(doubtful, within) == len(doubtful) && spreadOf(offs(doubtful)).max <= mostOffS+3600,
		detail: fmt.Sprintf("median %d s, 95 %% %d s, max %d s, %d untimed; %d in the hour that comes twice off by that hour, %d of them within their error",
			v.median, v.most, v.max, t.untimed, len(doubtful), count(doubtful, within)),
	}
}
