// Package importer turns bytes into openings: it gathers card files
// (Collector), reads them (cardfile), stitches them into a site's logbook
// (logbook) and turns clock readings into true instants (clock). Derive is the
// one entry that does all of it for a site.
package importer

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"doorleaf/importer/cardfile"
	"doorleaf/importer/clock"
	"doorleaf/importer/logbook"
	"doorleaf/usage"
)

// Card is a kept card file of a site.
type Card struct {
	ID        string // SHA-256 of Bytes, lower-case hex
	Name      string // file name as it came
	Bytes     []byte
	RemovedAt *int64 // true instant at which the card came out, Unix s; nil unknown

	// RemovedExact says that RemovedAt is to the second: whoever gave it wrote seconds.
	RemovedExact bool
	Hint         cardfile.Hint
	File         *cardfile.File // Bytes as read with Hint; nil: Derive reads them
}

// Kept is all that is kept of a site beside the site itself.
type Kept struct {
	Cards   []Card
	Calls   []usage.ServiceCall // in any order
	Rulings []usage.Ruling      // oldest first
}

// Derive reads, stitches and times all cards of a site. The result does not
// depend on the order of cards. Errors: the site's zone is not known, or a
// card's bytes are no text, which Keep never lets in.
func Derive(site usage.Site, kept Kept) (usage.Logbook, error) {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return usage.Logbook{}, err
	}
	cards := slices.Clone(kept.Cards)
	calls := slices.Clone(kept.Calls)
	slices.SortStableFunc(calls, func(a, b usage.ServiceCall) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.ID, b.ID)) })
	slices.SortFunc(cards, func(a, b Card) int { return cmp.Compare(a.ID, b.ID) })
	read, err := readAll(site, cards)
	if err != nil {
		return usage.Logbook{}, err
	}
	stitched := make([]logbook.Card, len(cards))
	for i, f := range read {
		stitched[i] = logbook.Card{ID: cards[i].ID, File: f, RemovedAt: cards[i].RemovedAt, RemovedExact: cards[i].RemovedExact}
	}
	d := deriver{site: site, zone: zone, cards: cards, files: read, book: logbook.Stitch(stitched)}
	d.lb.Calls, d.lb.Rulings = calls, kept.Rulings
	d.withoutTwins(stitched)
	return d.logbook(), nil
}

// readAll reads all cards, on all processors. A card whose date order it cannot
// tell by itself is read again with the order of the site's profile or, without
// one, of the site's other cards where these agree.
func readAll(site usage.Site, cards []Card) ([]*cardfile.File, error) {
	files := make([]*cardfile.File, len(cards))
	errs := make([]error, len(cards))
	read := func(i int, hint cardfile.Hint) { files[i], errs[i] = cardfile.Read(cards[i].Bytes, hint) }
	each(len(cards), func(i int) {
		if files[i] = cards[i].File; files[i] == nil {
			read(i, cards[i].Hint)
		}
	})
	order := DateOrder(site, files)
	each(len(cards), func(i int) {
		if errs[i] == nil && files[i].Ambiguous && order != "" {
			read(i, cardfile.Hint{DateOrder: order})
		}
	})
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("card %s (%.12s): %w", cards[i].Name, cards[i].ID, err)
		}
	}
	return files, nil
}

// DateOrder returns the date order to read a site's card with when the card
// cannot tell by itself: the profile's, else that of the site's other cards
// where they agree, else "".
func DateOrder(site usage.Site, files []*cardfile.File) string {
	if site.Profile.DateOrder != "" {
		return site.Profile.DateOrder
	}
	order := ""
	for _, f := range files {
		if f == nil || f.Dialect.DateOrder == nil {
			continue
		}
		if order != "" && order != *f.Dialect.DateOrder {
			return ""
		}
		order = *f.Dialect.DateOrder
	}
	return order
}

// each calls do for 0 to n-1, on as many goroutines as there are processors.
func each(n int, do func(int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// deriver makes a logbook of cards that are read and stitched.
type deriver struct {
	site  usage.Site
	zone  *usage.Zone
	cards []Card
	files []*cardfile.File
	book  logbook.Book
	twins []twins
	times []clock.Time
	saw   []clock.Notice
	lb    usage.Logbook
	place []int32 // by card: its index in lb.Cards
}

func (d *deriver) logbook() usage.Logbook {
	d.orderCards()
	d.times, d.lb.Runs, d.saw = clock.Times(clock.Input{Site: d.clockSite(), Rows: d.rows(), Stints: d.stints(), Calls: d.lb.Calls})
	d.openings()
	d.lb.Stretches = d.stretches()
	d.lb.Findings = d.findings()
	return d.lb
}

// orderCards lists the cards in the order in which the logbook first comes to
// them, so that a new card at its end renumbers none; those whose rows other
// cards hold as well come last.
func (d *deriver) orderCards() {
	d.place = make([]int32, len(d.cards))
	for i := range d.place {
		d.place[i] = -1
	}
	add := func(c int32) {
		if d.place[c] < 0 {
			d.place[c] = int32(len(d.lb.Cards))
			d.lb.Cards = append(d.lb.Cards, usage.CardRef{ID: d.cards[c].ID, Name: d.cards[c].Name})
		}
	}
	for i := range d.book.Entries {
		add(d.book.Entries[i].Card)
	}
	for c := range d.cards {
		add(int32(c))
	}
}

func (d *deriver) row(e *logbook.Entry) *cardfile.Row { return &d.files[e.Card].Rows[e.Row] }

func (d *deriver) rows() []clock.Row {
	rows := make([]clock.Row, len(d.book.Entries))
	for i := range rows {
		r := d.row(&d.book.Entries[i])
		rows[i] = clock.Row{Reading: r.Reading, Timed: r.Timed, Suspect: r.Suspect, OpenS: r.OpenS}
		if !r.Timed {
			rows[i].Clock = clock.Parts(r.Part)
		}
		if r.ZoneMin != cardfile.NoZone {
			rows[i].UTC = true
			rows[i].Reading -= int64(r.ZoneMin) * 60
		}
	}
	return rows
}

// stints are the cards' stays in the logger, with what was ruled on the times
// of their removal.
func (d *deriver) stints() []clock.Stint {
	out := make([]clock.Stint, len(d.book.Stints))
	for i, st := range d.book.Stints {
		out[i] = clock.Stint{First: st.First, Last: st.Last, RemovedAt: st.RemovedAt, RemovedExact: st.RemovedExact, Loose: st.Loose}
		e := d.book.Entries[st.Last]
		for _, kind := range []string{"time given is impossible", "drift"} {
			if r := usage.RulingFor(d.lb.Rulings, d.key(kind, e.Card, e.Row)); r != nil {
				out[i].Answer = r.Answer
			}
		}
	}
	return out
}

func (d *deriver) clockSite() clock.Site {
	s := clock.Site{
		Zone: d.zone, Keeping: d.site.Clock,
		Installed: int64(d.site.InstalledOn) * 86400, Resolution: 3600,
	}
	if s.Keeping == "" {
		s.Keeping = usage.ClockFixed
	}
	shown := false
	for _, f := range d.files {
		if slices.ContainsFunc(f.Rows, func(r cardfile.Row) bool { return r.Timed }) { // else it shows no step at all
			s.Resolution, shown = min(s.Resolution, int64(f.Resolution)), true
		}
	}
	if !shown {
		s.Resolution = 1
	}
	return s
}

func (d *deriver) openings() {
	d.lb.Openings = make([]usage.Opening, len(d.book.Entries))
	for i := range d.lb.Openings {
		e, t := &d.book.Entries[i], &d.times[i]
		r := d.row(e)
		d.lb.Openings[i] = usage.Opening{
			At: t.At, Earliest: t.Earliest, Latest: t.Latest, ErrorS: t.ErrorS, Timed: t.Timed, Run: t.Run,
			OpenS: e.OpenS, Visit: usage.Unknown, Removal: e.Removal,
			Card: d.place[e.Card], Line: r.Line, Offset: r.Offset, Length: r.Length,
		}
	}
}

// stretches returns the coverage: each card's stay in the logger from its first
// timed row, or from the logged "card in" before it, to its last timed row, or to
// its removal where its last rows are untimed and the removal's time is known.
// Between them the card was away.
func (d *deriver) stretches() []usage.Stretch {
	var out []usage.Stretch
	for _, st := range d.book.Stints {
		from, to, ok := d.bounds(st)
		if ok {
			out = append(out, usage.Stretch{From: from, To: to, Kind: usage.Recording})
		}
	}
	return withAway(merged(d.sinceCardIn(merged(out))))
}

func (d *deriver) bounds(st logbook.Stint) (from, to int64, ok bool) {
	for i := st.First; i <= st.Last; i++ {
		t := &d.times[i]
		if !t.Timed {
			continue
		}
		if !ok {
			from, to, ok = t.At, t.At, true
		}
		from, to = min(from, t.At), max(to, t.At)
	}
	if ok && st.RemovedAt != nil && !d.times[st.Last].Timed {
		to = max(to, *st.RemovedAt)
	}
	return from, to, ok
}

// merged sorts stretches and joins those that overlap or touch.
func merged(in []usage.Stretch) []usage.Stretch {
	slices.SortFunc(in, func(a, b usage.Stretch) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	var out []usage.Stretch
	for _, s := range in {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

func withAway(recording []usage.Stretch) []usage.Stretch {
	var out []usage.Stretch
	for i, s := range recording {
		if i > 0 {
			out = append(out, usage.Stretch{From: recording[i-1].To, To: s.From, Kind: usage.Away})
		}
		out = append(out, s)
	}
	return out
}
