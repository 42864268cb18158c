package store

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"doorleaf/importer"
	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// forgedStore keeps a made-up network whole.
func forgedStore(t *testing.T, days, sites int, seed uint64) *Store {
	t.Helper()
	made, cards := forged(t, days, sites, seed)
	s := openReal(t)
	addForged(t, s, made)
	for i, site := range made {
		mustKeep(t, s, site.Spec.Code, cards[i]...)
	}
	return s
}

// slowVisits groups all openings of a site by visit, the obvious way.
func slowVisits(t *testing.T, s *Store, code string) []VisitRow {
	t.Helper()
	site, err := s.Site(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	sun := usage.NewSun(site.Latitude, site.Longitude)
	var all []VisitRow
	place := map[int32]int{}
	for page := (Page{After: -1, Limit: largestPage}); ; {
		rows, next, err := s.Openings(t.Context(), code, page)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range rows {
			if o.Visit == usage.Unknown {
				continue
			}
			at, ok := place[o.Visit]
			if !ok {
				at = len(all)
				place[o.Visit] = at
				v := VisitRow{Visit: o.Visit, Position: o.Position, Earliest: o.Earliest, Latest: o.Latest, ErrorS: o.ErrorS, Timed: o.Timed}
				if o.Timed {
					v.At, v.Light = o.At, sun.Light(o.At)
				}
				all = append(all, v)
			}
			all[at].Openings++
			all[at].OpenS += usage.EngagedS(o.Opening, site.Thresholds)
			if o.OpenS == usage.Unknown {
				all[at].Unknown++
			}
		}
		if next < 0 {
			return all
		}
		page.After = next
	}
}

// keep returns the visits that a page asks for, of all pages together.
func keep(t *testing.T, site usage.Site, all []VisitRow, p VisitPage) []VisitRow {
	t.Helper()
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	var kept []VisitRow
	for _, v := range all {
		first, last := v.Earliest, v.Latest
		if v.Timed {
			first, last = v.At, v.At
		}
		if p.From != nil && first < zone.StartOfDay(*p.From) || p.To != nil && last >= zone.StartOfDay(*p.To+1) {
			continue
		}
		date, second := zone.Civil(v.At)
		picky := p.Weekday != 0 || p.Hour != nil || p.Light != nil
		if picky && !v.Timed ||
			p.Weekday != 0 && date.Weekday() != p.Weekday ||
			p.Hour != nil && int(second)/3600 != *p.Hour ||
			p.Light != nil && v.Light != *p.Light {
			continue
		}
		kept = append(kept, v)
	}
	return kept
}

func randomVisitPage(r *rand.Rand, first, last usage.Date) VisitPage {
	var p VisitPage
	if r.IntN(2) == 0 {
		from := first + usage.Date(r.IntN(int(last-first)+1))
		p.From = &from
	}
	if r.IntN(2) == 0 {
		to := first + usage.Date(r.IntN(int(last-first)+1))
		p.To = &to
	}
	if r.IntN(3) == 0 {
		p.Weekday = 1 + r.IntN(7)
	}
	if r.IntN(3) == 0 {
		hour := r.IntN(24)
		p.Hour = &hour
	}
	if r.IntN(4) == 0 {
		light := usage.Light(r.IntN(3))
		p.Light = &light
	}
	return p
}

// Every question finds the visits that a walk over all openings finds, whatever
// the size of its pages.
func TestVisitsAgainstAllOpenings(t *testing.T) {
	for seed := range uint64(2) {
		s := forgedStore(t, 300, 2, seed+20)
		sites, err := s.Sites(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(seed, 7))
		for _, site := range sites {
			all := slowVisits(t, s, site.Code)
			days, err := s.Days(t.Context(), site.Code, usage.DateOf(1900, 1, 1), usage.DateOf(2200, 1, 1))
			if err != nil || len(days) == 0 {
				t.Fatalf("days of %s: %d, %v", site.Code, len(days), err)
			}
			for range 40 {
				p := randomVisitPage(r, days[0].Date-3, days[len(days)-1].Date+3)
				want := keep(t, site.Site, all, p)
				p.Limit = []int{1 + len(want)/2, 5000}[r.IntN(2)]
				got, count := everyVisit(t, s, site.Code, p)
				if !slices.Equal(got, want) {
					t.Fatalf("seed %d, %s: Visits(%s) finds %d visits, want %d", seed, site.Code, asked(p), len(got), len(want))
				}
				if count.Timed+count.Untimed != int64(len(want)) {
					t.Errorf("seed %d, %s: Visits(%s) counts %+v, want %d", seed, site.Code, asked(p), count, len(want))
				}
			}
		}
	}
}

func asked(p VisitPage) string {
	says := fmt.Sprintf("weekday %d", p.Weekday)
	if p.From != nil {
		says += " from " + p.From.String()
	}
	if p.To != nil {
		says += " to " + p.To.String()
	}
	if p.Hour != nil {
		says += fmt.Sprintf(" hour %d", *p.Hour)
	}
	if p.Light != nil {
		says += " " + p.Light.String()
	}
	return says
}

// everyVisit follows the pages to the end. Each must count the same.
func everyVisit(t *testing.T, s *Store, code string, p VisitPage) ([]VisitRow, VisitCount) {
	t.Helper()
	var all []VisitRow
	var whole VisitCount
	for {
		rows, next, count, err := s.Visits(t.Context(), code, p)
		if err != nil {
			t.Fatal(err)
		}
		if len(all) > 0 && count != whole {
			t.Errorf("Visits(%s) after %d counts %+v, want %+v", asked(p), p.After, count, whole)
		}
		all, whole = append(all, rows...), count
		if next < 0 {
			return all, whole
		}
		p.After = next
	}
}

// The lists behind the tallies hold as many visits as the tallies say: of each
// day, and of each hour of the week of each month.
func TestVisitsBehindTallies(t *testing.T) {
	s := forgedStore(t, 120, 1, 31)
	sites, err := s.Sites(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	code := sites[0].Code
	data, err := s.SeasonData(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range data.Days {
		_, _, count, err := s.Visits(t.Context(), code, VisitPage{From: &d.Date, To: &d.Date})
		if err != nil || count.Timed != int64(d.Visits) {
			t.Errorf("%s: %+v visits listed, want %d (%v)", d.Date, count, d.Visits, err)
		}
		dark := usage.Dark
		_, _, count, err = s.Visits(t.Context(), code, VisitPage{From: &d.Date, To: &d.Date, Light: &dark})
		if err != nil || count.Timed != int64(d.Dark) {
			t.Errorf("%s: %+v dark visits listed, want %d (%v)", d.Date, count, d.Dark, err)
		}
	}
	months, err := s.Months(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range months {
		from, to := m.Month.First(), (m.Month+1).First()-1
		for c := i; c < usage.HoursOfWeek; c += 13 {
			hour := c % 24
			_, _, count, err := s.Visits(t.Context(), code, VisitPage{From: &from, To: &to, Weekday: c/24 + 1, Hour: &hour})
			if err != nil || count.Timed != int64(m.Visits[c]) {
				t.Errorf("%s, cell %d: %+v visits listed, want %d (%v)", m.Month, c, count, m.Visits[c], err)
			}
		}
	}
}

// A visit opens to its openings.
func TestVisitOpenings(t *testing.T) {
	s := forgedStore(t, 200, 1, 23)
	sites, err := s.Sites(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	code := sites[0].Code
	for i, v := range slowVisits(t, s, code) {
		if i%17 > 0 && v.Openings < 3 {
			continue
		}
		rows, err := s.VisitOpenings(t.Context(), code, v.Visit)
		if err != nil || len(rows) != v.Openings || rows[0].Position != v.Position {
			t.Errorf("VisitOpenings(%d) = %d openings, %v, want %d", v.Visit, len(rows), err, v.Openings)
			continue
		}
		for _, o := range rows {
			if o.Visit != v.Visit || o.Raw == "" {
				t.Errorf("VisitOpenings(%d) holds %+v", v.Visit, o)
			}
		}
	}
	for _, none := range []int32{-1, 0, 1 << 30} {
		_, err := s.VisitOpenings(t.Context(), code, none)
		wantKind(t, "visit that is none", err, usage.NotFound)
	}
	_, _, _, err = s.Visits(t.Context(), "NOPE", VisitPage{})
	wantKind(t, "visits of no site", err, usage.NotFound)
}

// What usage derives for the seasons comes back as it was, and goes with its card, in
// a situation that leaves openings without a time.
func TestSeasonData(t *testing.T) {
	for _, scenario := range forge.Scenarios() {
		if scenario.Name != "halt" {
			continue
		}
		network, err := scenario.Network(1, 5)
		if err != nil {
			t.Fatal(err)
		}
		if seasonDataOf(t, network) > 0 {
			return
		}
	}
	t.Error("no opening is without a time")
}

// seasonDataOf keeps a network of one site, checks its season data with its cards and
// without, and returns how many brackets there are.
func seasonDataOf(t *testing.T, network *forge.Network) int {
	t.Helper()
	s := openReal(t)
	addForged(t, s, network.Sites)
	var derived usage.Derived
	s.engine.derive = func(site usage.Site, kept importer.Kept) (usage.Logbook, usage.Derived, error) {
		lb, d, err := deriveAll(site, kept)
		derived = d
		return lb, d, err
	}
	site := network.Sites[0]
	for _, c := range site.Cards {
		data, err := c.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		mustKeep(t, s, site.Spec.Code, CardIn{Name: c.Name, Bytes: data})
	}
	brackets := len(derived.Untimed)
	sameSeasonData(t, s, site.Spec.Code, derived)
	kept, err := s.Cards(t.Context(), site.Spec.Code)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range kept {
		if err := s.Withdraw(t.Context(), c.ID); err != nil {
			t.Fatal(err)
		}
	}
	sameSeasonData(t, s, site.Spec.Code, usage.Derived{})
	return brackets
}

func sameSeasonData(t *testing.T, s *Store, code string, want usage.Derived) {
	t.Helper()
	data, err := s.SeasonData(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(data.Days, want.Days) || !slices.Equal(data.Opens, want.Opens) || !slices.Equal(data.Untimed, want.Untimed) {
		t.Errorf("SeasonData(%s) has %d, %d and %d rows, unlike the %d, %d and %d derived",
			code, len(data.Days), len(data.Opens), len(data.Untimed), len(want.Days), len(want.Opens), len(want.Untimed))
	}
}

func TestBinsComeBack(t *testing.T) {
	full := usage.MonthOpen{Unknown: 3}
	for i := range full.Visits {
		full.Visits[i] = int32(i * i)
	}
	for _, m := range []usage.MonthOpen{{}, {Unknown: 1 << 30}, {Visits: [usage.OpenBins]int32{0, 0, 7}}, full} {
		if got, err := decodeBins(encodeBins(m)); err != nil || got != m {
			t.Errorf("decodeBins(encodeBins(%v)) = %v, %v", m, got, err)
		}
	}
	for _, bad := range [][]byte{nil, {0x80}, append(encodeBins(full), 1)} {
		if _, err := decodeBins(bad); err == nil {
			t.Errorf("decodeBins(%v) makes no complaint", bad)
		}
	}
}
