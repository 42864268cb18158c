package main

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// sample is one timed opening that has a true one.
type sample struct {
	off       int32 // |derived − true|, s
	errorS    int32 // what the opening says of its own error, s
	hour      bool  // in the wrong civil hour
	anchored  bool  // somebody noted rightly how this stretch of the clock stood
	both      bool  // and the opening lies between two such times, its row whole and well read
	calm      bool  // the clock is within 100 ppm
	nearShift bool  // within a day of a change of civil time, its clock steady and its row well read
	repeated  bool  // in the hour that comes twice: civil time, which some clocks show, does not tell which
}

// tally is what one group of openings came to.
type tally struct {
	sites    int
	crashed  int // sites at which the pipeline panicked; nothing else of them is counted
	years    float64
	reached  int // openings that reached a card as whole rows
	once     int
	lost     int
	twice    int
	torn     int // on lines that were cut
	tornIn   int // counted all the same
	silent   int // neither counted nor complained about, torn or not
	phantoms int // openings of the logbook that nobody made
	samples  []sample
	untimed  int
	inside   int // of them, the truth in [Earliest, Latest]
	raised   int // outages with 20 visits or more to be expected
	hidden   int // not held to be recorded, so nothing is to be raised
	missed   int
	alarms   int // quiet stretches found that were no outage
	worst    []bad
}

// bad is an opening worth telling about.
type bad struct {
	weight int64
	says   string
}

// book is what is measured.
type book struct {
	networks   int
	all        tally
	situations map[string]*tally
	states     map[string]*tally
	pattern    pattern
	swaps      swaps
}

func newBook() *book {
	return &book{situations: map[string]*tally{}, states: map[string]*tally{}}
}

func group(m map[string]*tally, name string) *tally {
	if m[name] == nil {
		m[name] = &tally{}
	}
	return m[name]
}

func (b *book) add(o *book, worst int) {
	b.networks += o.networks
	b.all.add(&o.all, 0)
	for name, t := range o.situations {
		group(b.situations, name).add(t, worst)
	}
	for name, t := range o.states {
		group(b.states, name).add(t, worst)
	}
	b.pattern.add(o.pattern)
	b.swaps.add(o.swaps)
}

func (t *tally) add(o *tally, worst int) {
	t.sites, t.years = t.sites+o.sites, t.years+o.years
	for _, n := range []struct {
		to *int
		n  int
	}{
		{&t.crashed, o.crashed}, {&t.reached, o.reached}, {&t.once, o.once}, {&t.lost, o.lost}, {&t.twice, o.twice}, {&t.torn, o.torn}, {&t.tornIn, o.tornIn},
		{&t.silent, o.silent}, {&t.phantoms, o.phantoms}, {&t.untimed, o.untimed}, {&t.inside, o.inside},
		{&t.raised, o.raised}, {&t.hidden, o.hidden}, {&t.missed, o.missed}, {&t.alarms, o.alarms},
	} {
		*n.to += n.n
	}
	t.samples = append(t.samples, o.samples...)
	t.worst = append(t.worst, o.worst...)
	t.trim(worst)
}

// trim keeps the worst openings only.
func (t *tally) trim(worst int) {
	slices.SortStableFunc(t.worst, func(a, b bad) int { return int(min(1, max(-1, b.weight-a.weight))) })
	t.worst = t.worst[:min(worst, len(t.worst))]
}

// gauge measures one result.
type gauge struct {
	*result
	ordinal int // of its network
	anchors anchors
	changes []int64
	calm    bool
	unread  map[int]bool
	match   []int
	hits    []int
	beyond  map[int32][][2]int // by run: the openings that are off by more than their error, each with its true one
}

// measure adds what came of a site to a book.
func (r *result) measure(b *book, worst, ordinal int) error {
	shifts, err := changes(r.truth)
	if err != nil {
		return err
	}
	g := &gauge{
		result: r, ordinal: ordinal, anchors: anchorsOf(r.truth), changes: shifts, calm: calm(r.truth.Spec.Clock),
		unread: r.unread(), match: r.match(), hits: make([]int, len(r.truth.Openings)), beyond: map[int32][][2]int{},
	}
	situation := group(b.situations, r.truth.Spec.Situation)
	for _, t := range []*tally{&b.all, situation} {
		t.sites++
		t.years += float64(r.end()-r.truth.Installed()) / (365.25 * 86400)
	}
	for i, m := range g.match {
		if m == noTruth {
			b.all.phantoms++
			situation.phantoms++
			g.tell(situation, worst, 1<<40, "nobody made", i, noTruth)
			continue
		}
		g.hits[m]++
		g.time(i, m, worst, &b.all, situation, group(b.states, stateOf(&r.truth.Written[m])))
	}
	g.tellBeyond(situation, worst)
	for m := range g.hits {
		g.count(m, worst, &b.all, situation, group(b.states, stateOf(&r.truth.Written[m])))
	}
	g.quiet(worst, &b.all, situation)
	if r.truth.Spec.Situation == patternName {
		b.pattern.add(g.pattern())
	}
	return nil
}

// end is when the last card of the site came home.
func (r *result) end() int64 {
	if len(r.truth.Cards) == 0 {
		return r.truth.Installed()
	}
	return r.truth.Cards[len(r.truth.Cards)-1].RemovedAt
}

// calm says whether a clock drifts by no more than 100 ppm.
func calm(c forge.Clock) bool {
	low := 0.0
	if c.Crystal != nil {
		low = c.Crystal.PPM(c.Crystal.MeanC - c.Crystal.YearC - c.Crystal.DayC)
	}
	return c.DriftPPM <= 100 && c.DriftPPM+low >= -100
}

// stateOf names what the clock was at a row, and what happened to the row.
func stateOf(r *forge.Row) string {
	state := r.State
	if state == "" {
		state = "as installed"
	}
	if what := forge.FaultName(r.Fault); what != "" {
		state = what
	}
	if r.Reached() != "row" {
		state = "torn, glued"
	}
	return state
}

// count counts how often a true opening is among those of the logbook.
func (g *gauge) count(m, worst int, into ...*tally) {
	torn := g.truth.Written[m].Reached() != "row"
	for _, t := range into {
		switch {
		case torn && g.hits[m] > 0:
			t.torn++
			t.tornIn++
		case torn:
			t.torn++
		case g.hits[m] == 0:
			t.lost++
		case g.hits[m] == 1:
			t.once++
		}
		if !torn {
			t.reached++
		}
		if g.hits[m] > 1 {
			t.twice++
		}
		if g.hits[m] == 0 && !g.unread[m] {
			t.silent++
		}
	}
	switch {
	case g.hits[m] == 0 && (!torn || !g.unread[m]):
		g.tell(into[1], worst, 1<<41, "lost", noTruth, m)
	case g.hits[m] > 1:
		g.tell(into[1], worst, 1<<41, fmt.Sprintf("counted %d times", g.hits[m]), noTruth, m)
	}
}

// time compares the time of an opening of the logbook with that of its true one.
func (g *gauge) time(i, m, worst int, into ...*tally) {
	o, at := &g.book.Openings[i], g.truth.Openings[m].At
	if !o.Timed {
		in := o.Earliest <= at && at <= o.Latest
		for _, t := range into {
			t.untimed++
			if in {
				t.inside++
			}
		}
		if !in {
			g.tell(into[1], worst, 1<<39, "bracket misses", i, m)
		}
		return
	}
	s := g.sample(o, m)
	for _, t := range into {
		t.samples = append(t.samples, s)
	}
	switch {
	case s.off > s.errorS:
		g.beyond[o.Run] = append(g.beyond[o.Run], [2]int{i, m})
	case s.hour:
		g.tell(into[1], worst, int64(s.off), "wrong hour", i, m)
	}
}

// tellBeyond notes of each run how many of its openings are off by more than their
// error, and the first of them: what is wrong with one is wrong with all.
func (g *gauge) tellBeyond(t *tally, worst int) {
	for _, run := range slices.Sorted(maps.Keys(g.beyond)) {
		list := g.beyond[run]
		g.tell(t, worst, 1<<32+int64(len(list)), fmt.Sprintf("beyond, %d of run", len(list)), list[0][0], list[0][1])
	}
}

func (g *gauge) sample(o *usage.Opening, m int) sample {
	at := g.truth.Openings[m].At
	r := &g.truth.Written[m]
	s := sample{off: int32(min(1<<30, far(o.At, at))), errorS: o.ErrorS, calm: g.calm}
	s.anchored, s.both = g.anchors.hold(r.Beat, at)
	s.both = s.both && r.Fault == forge.ReadWell && r.Reached() == "row"
	d1, s1 := g.zone.Civil(o.At)
	d2, s2 := g.zone.Civil(at)
	s.hour = d1 != d2 || s1/3600 != s2/3600
	_, _, kind := g.zone.Resolve(at + int64(g.zone.OffsetAt(at)))
	s.repeated = kind == usage.Overlap
	for _, c := range g.changes {
		s.nearShift = s.nearShift || far(at, c) <= 86400 && g.steady(r)
	}
	return s
}

// steady says whether a row's clock ran on without a trouble other than in how
// it was set, so that nothing but daylight saving can make it wrong by an hour.
func (g *gauge) steady(r *forge.Row) bool {
	for _, e := range g.truth.Spec.Clock.Events {
		if e.Kind == forge.ClockJump {
			return false
		}
	}
	set := r.State == forge.StateGood || r.State == forge.StateSet || r.State == forge.StateWrong
	return set && g.calm && r.Fault == forge.ReadWell && r.Reached() == "row"
}

// tell notes an opening of the logbook, a true one, or both.
func (g *gauge) tell(t *tally, worst int, weight int64, what string, i, m int) {
	if worst == 0 {
		return
	}
	says := fmt.Sprintf("%-20s network %d %s %-8s", what, g.ordinal, g.site.Code, g.truth.Spec.Rounds.Kind)
	if m != noTruth {
		r := &g.truth.Written[m]
		says += fmt.Sprintf(" opening %d wrote %s (%s) true %s", m, r.Digits(), stateOf(r), utc(g.truth.Openings[m].At))
	}
	if i != noTruth {
		says += g.derivedAs(&g.book.Openings[i])
	}
	t.worst = append(t.worst, bad{weight, says})
	if len(t.worst) > 20*worst {
		t.trim(worst)
	}
}

func (g *gauge) derivedAs(o *usage.Opening) string {
	c := g.cards[g.book.Cards[o.Card].ID]
	says := fmt.Sprintf(" ← %s:%d", c.path, o.Line)
	if !o.Timed {
		return says + fmt.Sprintf(" untimed in [%s, %s] run %d", utc(o.Earliest), utc(o.Latest), o.Run)
	}
	says += fmt.Sprintf(" came out %s ± %d s, run %d", utc(o.At), o.ErrorS, o.Run)
	if o.Run < 0 || int(o.Run) >= len(g.book.Runs) {
		return says
	}
	run := &g.book.Runs[o.Run]
	var held []string
	next := sort.Search(len(run.Anchors), func(i int) bool { return run.Anchors[i].True > o.At })
	for _, a := range run.Anchors[max(0, next-2):min(len(run.Anchors), next+2)] { // those around
		held = append(held, fmt.Sprintf("%s %s off %+d ± %d", a.Kind, utc(a.True), a.Reading-a.True, a.ErrorS))
	}
	return says + fmt.Sprintf(" (%s, anchors: %s)", run.Why, strings.Join(held, "; "))
}

func utc(at int64) string {
	if at == usage.Beyond {
		return "beyond"
	}
	return time.Unix(at, 0).UTC().Format("2006-01-02T15:04:05Z")
}
