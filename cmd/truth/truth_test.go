package main

import (
	"bytes"
	"io"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

func network(t *testing.T, name string, sites int, seed uint64) *forge.Network {
	t.Helper()
	for _, sc := range forge.Scenarios() {
		if sc.Name == name {
			n, err := sc.Network(sites, seed)
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatalf("no scenario %q", name)
	return nil
}

func derived(t *testing.T, name string, seed uint64) *result {
	t.Helper()
	r, err := derive(network(t, name, 1, seed).Sites[0])
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func measured(t *testing.T, r *result) *tally {
	t.Helper()
	b := newBook()
	if err := r.measure(b, 5, 0); err != nil {
		t.Fatal(err)
	}
	return &b.all
}

// TestEveryOpeningIsCounted: over networks of twelve situations, each opening of
// the truth and each of the logbook is counted in exactly one place.
func TestEveryOpeningIsCounted(t *testing.T) {
	all := forge.Scenarios()
	for i := range 12 {
		sc := all[i*len(all)/12]
		n, err := sc.Network(1, uint64(100+i))
		if err != nil {
			t.Fatal(err)
		}
		s := n.Sites[0]
		r, err := derive(s)
		if err != nil {
			t.Errorf("%s: %v", sc.Name, err)
			continue
		}
		m := measured(t, r)
		if len(s.Openings) < 500 {
			t.Errorf("%s: %d openings: too few to mean anything", sc.Name, len(s.Openings))
		}
		if m.reached+m.torn != len(s.Openings) {
			t.Errorf("%s: %d whole and %d torn rows, want %d together", sc.Name, m.reached, m.torn, len(s.Openings))
		}
		if m.once+m.lost > m.reached || m.once+m.lost+m.twice < m.reached {
			t.Errorf("%s: %d once, %d lost, %d twice, want %d together", sc.Name, m.once, m.lost, m.twice, m.reached)
		}
		if got, want := len(m.samples)+m.untimed+m.phantoms, len(r.book.Openings); got != want {
			t.Errorf("%s: %d openings of the logbook are measured, want %d", sc.Name, got, want)
		}
	}
}

// TestDamageIsNoticed damages what came of a site whose logbook is right, and
// looks for the damage in the counts.
func TestDamageIsNoticed(t *testing.T) {
	whole := measured(t, derived(t, "clean", 1))
	if whole.lost+whole.twice+whole.phantoms+whole.untimed > 0 {
		t.Fatalf("the clean site is not: %d lost, %d twice, %d nobody's, %d untimed", whole.lost, whole.twice, whole.phantoms, whole.untimed)
	}
	hours := func(t *tally) int { return count(t.samples, wrongHour) }
	outside := func(t *tally) int { return len(t.samples) - count(t.samples, within) }
	tests := []struct {
		name   string
		damage func(r *result)
		grew   func(t *tally) int
		by     int
	}{
		{"an opening left out", func(r *result) { r.book.Openings = slices.Delete(r.book.Openings, 300, 301) }, func(t *tally) int { return t.lost }, 1},
		{"an opening left out, silently", func(r *result) { r.book.Openings = slices.Delete(r.book.Openings, 300, 301) }, func(t *tally) int { return t.silent }, 1},
		{"two openings twice", func(r *result) { r.book.Openings = append(r.book.Openings, r.book.Openings[300:302]...) }, func(t *tally) int { return t.twice }, 2},
		{"an opening of no line", func(r *result) { r.book.Openings[300].Offset++ }, func(t *tally) int { return t.phantoms }, 1},
		{"an opening of no line is lost", func(r *result) { r.book.Openings[300].Offset++ }, func(t *tally) int { return t.lost }, 1},
		{"two hours wrong", func(r *result) { r.book.Openings[300].At += 7200 }, hours, 1},
		{"a day wrong", func(r *result) { r.book.Openings[300].At -= 86400 }, hours, 1},
		{"two hours beyond its error", func(r *result) { r.book.Openings[300].At += 7200 }, outside, 1},
		{"an error too small", func(r *result) {
			o := &r.book.Openings[300]
			o.At, o.ErrorS = o.At+20000, 5
		}, outside, 1},
		{"untimed, bracketed", func(r *result) {
			o := &r.book.Openings[300]
			o.Timed, o.Earliest, o.Latest = false, o.At-3600, o.At+3600
		}, func(t *tally) int { return t.inside }, 1},
		{"untimed, bracket elsewhere", func(r *result) {
			o := &r.book.Openings[300]
			o.Timed, o.Earliest, o.Latest = false, o.At+86400, o.At+2*86400
		}, func(t *tally) int { return t.untimed - t.inside }, 1},
		{"a quiet stretch that is none", func(r *result) {
			from := r.book.Openings[300].At
			r.derived.Findings = append(r.derived.Findings, usage.Finding{Kind: usage.KindQuiet, From: from, To: from + 86400})
		}, func(t *tally) int { return t.alarms }, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := derived(t, "clean", 1)
			tt.damage(r)
			if got, want := tt.grew(measured(t, r)), tt.grew(whole)+tt.by; got != want {
				t.Errorf("counted %d, want %d", got, want)
			}
		})
	}
}

// TestOutagesAreJudged lays findings of every kind over an outage.
func TestOutagesAreJudged(t *testing.T) {
	r := derived(t, "outage", 1)
	var outage [2]int64
	for _, o := range r.truth.Outages() {
		if r.truth.Expected(o[0], o[1]) >= fewestVisits {
			outage = o
		}
	}
	if outage[1] == 0 {
		t.Fatal("no outage in which 20 visits are to be expected")
	}
	length := outage[1] - outage[0]
	all := []usage.Stretch{{From: r.truth.Installed(), To: r.end(), Kind: usage.Recording}}
	finding := func(from, to int64) []usage.Finding {
		return []usage.Finding{{Kind: usage.KindQuiet, From: from, To: to}}
	}
	tests := []struct {
		name                         string
		found                        []usage.Finding
		coverage                     []usage.Stretch
		raised, hidden, missed, fake int
	}{
		{"found whole", finding(outage[0]-3600, outage[1]+3600), all, 1, 0, 0, 0},
		{"most of it found", finding(outage[0]+length/3, outage[1]), all, 1, 0, 0, 0},
		{"a little of it found", finding(outage[1]-length/4, outage[1]), all, 0, 0, 1, 0},
		{"nothing found", nil, all, 0, 0, 1, 0},
		{"not recorded", nil, all[:0], 0, 1, 0, 0},
		{"another kind", []usage.Finding{{Kind: "drift", From: outage[0], To: outage[1]}}, all, 0, 0, 1, 0},
		{"far too long a stretch", finding(outage[0]-10*length, outage[1]), all, 1, 0, 0, 1},
	}
	for _, tt := range tests {
		g := &gauge{result: &result{truth: r.truth, derived: usage.Derived{Findings: tt.found, Coverage: tt.coverage}}}
		var got tally
		g.quietOf([][2]int64{outage}, 0, &got)
		if got.raised != tt.raised || got.hidden != tt.hidden || got.missed != tt.missed || got.alarms != tt.fake {
			t.Errorf("%s: %d raised, %d hidden, %d missed, %d false, want %d, %d, %d, %d", tt.name,
				got.raised, got.hidden, got.missed, got.alarms, tt.raised, tt.hidden, tt.missed, tt.fake)
		}
	}
}

// TestLines counts line ends before the offset of each opening: by a route of
// its own the line number that the importer gives it.
func TestLines(t *testing.T) {
	checked := 0
	for seed := range uint64(6) {
		r := derived(t, "0xFF rows", seed)
		lines := map[string][]byte{}
		for _, c := range r.truth.Cards {
			data, err := c.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			lines[c.Path()] = data
		}
		if strings.HasPrefix(r.truth.Spec.Dialect.Encoding, "utf-16") {
			continue
		}
		for i, o := range r.book.Openings {
			if i%50 > 0 {
				continue
			}
			checked++
			before := string(lines[r.cards[r.book.Cards[o.Card].ID].path][:o.Offset])
			ends := strings.Count(strings.ReplaceAll(before, "\r\n", "\n"), "\n") + strings.Count(strings.ReplaceAll(before, "\r\n", "\n"), "\r")
			if int(o.Line) != ends+1 {
				t.Fatalf("seed %d: opening %d is on line %d, want %d", seed, i, o.Line, ends+1)
			}
		}
	}
	if checked < 100 {
		t.Errorf("%d openings checked: too few to mean anything", checked)
	}
}

func TestAnchorsAreThoseNotedRightly(t *testing.T) {
	quietly := func(s *forge.Site) {
		for i := range s.Cards {
			s.Cards[i].NotedAt = nil
		}
		s.Noted = nil
	}
	s := network(t, "reset, anchored", 1, 2).Sites[0]
	a := anchorsOf(s)
	any, both := 0, 0
	for i, o := range s.Openings {
		x, y := a.hold(s.Written[i].Beat, o.At)
		any, both = any+one(x), both+one(y)
	}
	if any != len(s.Openings) || both < len(s.Openings)/2 || both == len(s.Openings) {
		t.Errorf("all is noted: %d of %d openings have an anchor and %d two, want all and most", any, len(s.Openings), both)
	}
	last := len(s.Cards) - 1
	late := s.Cards[last].RemovedAt + 3600
	before := len(a[s.Written[s.Cards[last].Opening].Beat])
	s.Cards[last].NotedAt, s.Noted = &late, nil
	if after := anchorsOf(s)[s.Written[s.Cards[last].Opening].Beat]; len(after) >= before {
		t.Errorf("%d anchors where a removal is off by an hour, want fewer than %d", len(after), before)
	}
	if quietly(s); len(anchorsOf(s)) != 0 {
		t.Error("nothing is noted, yet there are anchors")
	}
}

func TestTargets(t *testing.T) {
	good := func() *book {
		b := newBook()
		b.add(&book{networks: 1, all: tally{sites: 1, years: 1}, situations: map[string]*tally{}, states: map[string]*tally{}}, 0)
		for _, name := range []string{"clean", patternName, monthsName} {
			s := &tally{sites: 1, years: 100, reached: 1000, once: 1000, raised: 30, untimed: 10, inside: 10}
			if name == monthsName {
				s.untimed, s.inside = 0, 0
			}
			for i := range 1000 {
				s.samples = append(s.samples, sample{off: int32(i % 20), errorS: 20, anchored: true, both: true, calm: true, nearShift: i == 7})
			}
			b.situations[name] = s
			b.all.add(s, 0)
		}
		b.pattern = pattern{sites: 1, ff: 2, stuck: 27, leads: 1, blank: 9}
		b.swaps = swaps{brought: 200, telling: 200, held: 199}
		return b
	}
	everyone := func(b *book, do func(s *sample)) {
		for i := range b.all.samples {
			do(&b.all.samples[i])
		}
		for _, t := range b.situations {
			for i := range t.samples {
				do(&t.samples[i])
			}
		}
	}
	if !printTargets(io.Discard, good().targets(true)) {
		var out bytes.Buffer
		printTargets(&out, good().targets(true))
		t.Fatalf("a good book misses a target:\n%s", out.String())
	}
	if printTargets(io.Discard, newBook().targets(true)) {
		t.Error("a book without a case meets every target")
	}
	if !printTargets(io.Discard, newBook().targets(false)) {
		t.Error("a book without a case misses a target that was not asked for")
	}
	tests := []struct {
		name  string
		what  string // begins the target that is missed
		spoil func(b *book)
	}{
		{"a crash", "no site makes", func(b *book) { b.all.crashed = 1 }},
		{"one lost", "no opening that", func(b *book) { b.all.lost = 1 }},
		{"one twice", "no opening that", func(b *book) { b.all.twice = 1 }},
		{"one of nobody", "no opening that", func(b *book) { b.all.phantoms = 1 }},
		{"one in ten off by a minute", "both ends anchored, within 100 ppm: 95", func(b *book) {
			everyone(b, func(s *sample) { s.off += 60 * one32(s.off < 2); s.errorS = 60 })
		}},
		{"one in twenty in a wrong hour", "both ends anchored, within 100 ppm: in a wrong", func(b *book) { everyone(b, func(s *sample) { s.hour = s.off == 3 }) }},
		{"errors too small in one situation", "truth within", func(b *book) {
			for i := range b.situations["clean"].samples {
				b.situations["clean"].samples[i].errorS = 5
			}
		}},
		{"errors inflated", "where anchors exist", func(b *book) { everyone(b, func(s *sample) { s.errorS = 100 }) }},
		{"brackets elsewhere", "truth in [", func(b *book) { b.all.inside = 1 }},
		{"a change of civil time taken wrong", "within a day", func(b *book) { everyone(b, func(s *sample) { s.off += 3600 * one32(s.nearShift) }) }},
		{"outages missed", "outages with", func(b *book) { b.all.missed = 20 }},
		{"false alarms", "quiet stretches", func(b *book) { b.all.alarms = 31 }},
		{"cards passed", "a card under", func(b *book) { b.swaps.held = 190 }},
		{"0xFF timed", "the month-0", func(b *book) { b.pattern.ffTimed = 1 }},
		{"repeated stamps timed", "the month-0", func(b *book) { b.pattern.timed = 1 }},
		{"the first of them untimed", "the month-0", func(b *book) { b.pattern.leads = 0 }},
		{"half a minute after eleven months", "eleven months", func(b *book) { b.situations[monthsName].samples[5].off = 31 }},
		{"untimed after eleven months", "eleven months", func(b *book) { b.situations[monthsName].untimed = 1 }},
	}
	for _, tt := range tests {
		b := good()
		tt.spoil(b)
		missed := 0
		for _, x := range b.targets(true) {
			if !x.met && strings.HasPrefix(x.what, tt.what) {
				missed++
			}
		}
		if missed != 1 {
			t.Errorf("%s: target %q… is met", tt.name, tt.what)
		}
	}
}

func one32(b bool) int32 { return int32(one(b)) }

func TestSpreadOf(t *testing.T) {
	hundred := make([]int32, 100)
	for i := range hundred {
		hundred[i] = int32(100 - i)
	}
	for _, tt := range []struct {
		in   []int32
		want spread
	}{
		{nil, spread{}}, {[]int32{7}, spread{7, 7, 7}}, {[]int32{3, 1, 2}, spread{2, 3, 3}}, {hundred, spread{50, 95, 100}},
	} {
		if got := spreadOf(tt.in); got != tt.want {
			t.Errorf("spreadOf(%d values) = %v, want %v", len(tt.in), got, tt.want)
		}
	}
}

func TestShare(t *testing.T) {
	for _, tt := range []struct {
		n, all int
		want   string
	}{{0, 0, "–"}, {0, 9, "0.00"}, {1, 2, "50.00"}, {9, 9, "100.00"}, {1, 1000000, "<0.01"}, {999999, 1000000, ">99.99"}} {
		if got := share(tt.n, tt.all); got != tt.want {
			t.Errorf("share(%d, %d) = %s, want %s", tt.n, tt.all, got, tt.want)
		}
	}
}

// TestSwapsAreBrought: a card of a growing site tells whose it is by the cards
// before it, one of a cleared site does not.
func TestSwapsAreBrought(t *testing.T) {
	n := network(t, forge.SwappedName, 5, 3)
	b := newBook()
	if err := b.bringSwaps(t.Context(), n); err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, s := range n.Swaps {
		want += one(n.Sites[s.Site].Spec.Rounds.Kind != forge.Cleared)
	}
	if b.swaps.brought != len(n.Swaps) || b.swaps.telling != want || want == 0 || want == len(n.Swaps) {
		t.Errorf("%d cards brought, of which %d tell, want %d and %d", b.swaps.brought, b.swaps.telling, len(n.Swaps), want)
	}
	if b.swaps.held+len(b.swaps.says) != b.swaps.telling {
		t.Errorf("%d held and %d passed, want %d together", b.swaps.held, len(b.swaps.says), b.swaps.telling)
	}
}

// TestSameOnAnyNumberOfProcessors measures the same networks on one and on all.
func TestSameOnAnyNumberOfProcessors(t *testing.T) {
	opt := options{networks: 4, sites: 1, seed: 9, only: "reset, anchored"}
	all, err := measureAll(t.Context(), opt)
	if err != nil {
		t.Fatal(err)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	alone, err := measureAll(t.Context(), opt)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(all, alone) {
		t.Error("another number of processors gave another book")
	}
}

func TestRun(t *testing.T) {
	var out, notes bytes.Buffer
	_, err := run(t.Context(), []string{"-networks", "1", "-sites", "1", "-only", "drift", "-v"}, &out, &notes)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"By situation", "drift", "as installed", "Worst of drift", "both ends anchored", "no case"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	for _, args := range [][]string{{"-only", "melting"}, {"-networks", "0"}, {"-melt"}} {
		if _, err := run(t.Context(), args, &out, &notes); err == nil {
			t.Errorf("run(%v) = nil error, want one", args)
		}
	}
	if _, err := run(t.Context(), []string{"-only", "melting"}, &out, &notes); err == nil || !strings.Contains(err.Error(), "dead cell") {
		t.Errorf("run of an unknown situation = %v, want the list of those known", err)
	}
}
