package store

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// openReal opens an empty network that derives with the importer and usage.
func openReal(tb testing.TB) *Store {
	tb.Helper()
	s := openEmpty(tb, tb.TempDir())
	s.engine = realEngine
	return s
}

// forged returns the sites of a made-up network with their cards.
func forged(tb testing.TB, days, sites int, seed uint64) ([]*forge.Site, [][]CardIn) {
	tb.Helper()
	n, err := forge.Random(days, sites, seed)
	if err != nil {
		tb.Fatal(err)
	}
	cards := make([][]CardIn, len(n.Sites))
	for i, site := range n.Sites {
		for _, c := range site.Cards {
			data, err := c.Bytes()
			if err != nil {
				tb.Fatal(err)
			}
			removed := c.RemovedAt
			cards[i] = append(cards[i], CardIn{Name: c.Name, Bytes: data, RemovedAt: &removed})
		}
	}
	return n.Sites, cards
}

func addForged(t *testing.T, s *Store, sites []*forge.Site) {
	t.Helper()
	for _, site := range sites {
		if err := s.AddSite(t.Context(), site.Spec.Site()); err != nil {
			t.Fatal(err)
		}
	}
}

// Forged cards, kept all at once or one by one in any order with some withdrawn
// and brought again, give the same derived rows.
func TestForgedOrderFree(t *testing.T) {
	for seed := range uint64(3) {
		sites, cards := forged(t, 250, 2, seed)
		whole, single := openReal(t), openReal(t)
		addForged(t, whole, sites)
		addForged(t, single, sites)
		r := rand.New(rand.NewPCG(seed, 5))
		for i, site := range sites {
			code := site.Spec.Code
			mustKeep(t, whole, code, cards[i]...)
			shuffled := slices.Clone(cards[i])
			r.Shuffle(len(shuffled), func(a, b int) { shuffled[a], shuffled[b] = shuffled[b], shuffled[a] })
			for j, c := range shuffled {
				id := mustKeep(t, single, code, c)[0].Card.ID
				if j%3 != 0 {
					continue
				}
				if err := single.Withdraw(t.Context(), id); err != nil {
					t.Fatal(err)
				}
				mustKeep(t, single, code, c)
			}
		}
		if dump(t, whole, derivedTables...) != dump(t, single, derivedTables...) {
			t.Errorf("seed %d: another order of cards gave other derived rows", seed)
		}
		checkForged(t, whole, sites)
	}
}

// checkForged compares a network with its truth: as many openings, and raw
// lines that are lines of the cards.
func checkForged(t *testing.T, s *Store, sites []*forge.Site) {
	t.Helper()
	for _, site := range sites {
		got, err := s.Site(t.Context(), site.Spec.Code)
		if err != nil || got.Totals.Openings != int64(len(site.Openings)) {
			t.Errorf("site %s has %d openings, %v, want %d", site.Spec.Code, got.Totals.Openings, err, len(site.Openings))
		}
		rows, _, err := s.Openings(t.Context(), site.Spec.Code, Page{After: -1, Limit: 10_000})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range rows {
			t2, ok := s.texts.get(o.CardID)
			if !ok || o.Raw == "" || !strings.Contains(rawText(t2.bytes, t2.encoding), o.Raw) {
				t.Fatalf("site %s, opening %d: raw line %q is not on its card", site.Spec.Code, o.Position, o.Raw)
			}
		}
	}
}

// A card is recognised as its own site's and no other's.
func TestForgedElsewhere(t *testing.T) {
	sites, cards := forged(t, 300, 4, 11)
	s := openReal(t)
	addForged(t, s, sites)
	for i, site := range sites {
		mustKeep(t, s, site.Spec.Code, cards[i]...)
	}
	for i, site := range sites {
		for j, c := range cards[i] {
			got, err := s.Elsewhere(t.Context(), c)
			if err != nil || len(got) != 1 || got[0].Site != site.Spec.Code {
				t.Errorf("Elsewhere(card %d of %s) = %v, %v, want %s alone", j, site.Spec.Code, got, err, site.Spec.Code)
			}
		}
	}
}

// One more week on a ten-year logbook writes under one in a hundred of its
// derived rows, whether the card stays in its logger or starts anew.
func TestRealGrowth(t *testing.T) {
	rows := isoRows(10*365*20, 24*3600/20)
	week := len(rows) - 140
	for _, test := range []struct {
		name string
		next []string
	}{
		{"growing card", rows},
		{"new card", rows[week:]},
	} {
		s := openReal(t)
		if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
			t.Fatal(err)
		}
		mustKeep(t, s, "MILL", cardOf("LOG.TXT", rows[:week]))
		derived := countDerived(t, s)
		writes := totalChanges(t, s)
		got := mustKeep(t, s, "MILL", cardOf("LOG.TXT", test.next))
		n := totalChanges(t, s) - writes - 1 // the card
		t.Logf("%s: %d of %d derived rows written", test.name, n, derived)
		if got[0].New != 140 || n == 0 || n*100 >= derived {
			t.Errorf("%s: %d new openings wrote %d of %d derived rows, want 140 and under 1 %%", test.name, got[0].New, n, derived)
		}
	}
}

func countDerived(t *testing.T, s *Store) int64 {
	t.Helper()
	var all int64
	for _, table := range derivedTables {
		var n int64
		if err := s.reader.QueryRow(`SELECT count(*) FROM ` + table).Scan(&n); err != nil {
			t.Fatal(err)
		}
		all += n
	}
	return all
}

// isoRows returns n rows, on average every so many seconds.
func isoRows(n, every int) []string {
	r := rand.New(rand.NewPCG(3, 3))
	rows := make([]string, n)
	at := int64(logStart)
	for i := range rows {
		at += 1 + r.Int64N(2*int64(every))
		rows[i] = fmt.Sprintf("%s,%d\r\n", time.Unix(at, 0).UTC().Format("2006-01-02 15:04:05"), 2+r.IntN(60))
	}
	return rows
}

// BenchmarkKeepMillion keeps a card of a million rows: read, stitched, derived,
// committed.
func BenchmarkKeepMillion(b *testing.B) {
	card := cardOf("LOG.TXT", isoRows(1_000_000, 300))
	b.SetBytes(int64(len(card.Bytes)))
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		s := openReal(b)
		if err := s.AddSite(b.Context(), testSite("MILL")); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		mustKeep(b, s, "MILL", card)
	}
}

// A card that cannot tell its date order by itself is dated as soon as its site
// has a card that can, or a profile that says.
func TestFactsOfAmbiguousCard(t *testing.T) {
	vague := CardIn{Name: "VAGUE", Bytes: []byte("03/04/2024 10:00:00,5\n03/05/2024 11:00:00,6\n")}
	clear := CardIn{Name: "CLEAR", Bytes: []byte("29/05/2024 10:00:00,5\n30/05/2024 11:00:00,6\n")}
	third := time.Date(2024, 4, 3, 10, 0, 0, 0, time.UTC).Unix() // day first
	first := time.Date(2024, 3, 4, 10, 0, 0, 0, time.UTC).Unix() // month first
	s := openReal(t)
	if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	want := func(when string, at *int64) {
		t.Helper()
		got, err := s.Card(t.Context(), cardID(vague.Bytes))
		if err != nil || got.Rows != 2 || (got.First == nil) != (at == nil) || at != nil && *got.First != *at {
			t.Errorf("%s: card %+v, %v, want first reading %v", when, got, err, at)
		}
	}
	mustKeep(t, s, "MILL", vague)
	want("alone", nil)
	mustKeep(t, s, "MILL", clear)
	want("beside a card that tells", &third)
	err := s.ChangeSite(t.Context(), "MILL", func(site *usage.Site) error {
		site.Profile.DateOrder = "mdy"
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	want("with a profile", &first)
	before := dumpAll(t, s)
	if err := s.Rebuild(t.Context(), "MILL", nil); err != nil || dumpAll(t, s) != before {
		t.Errorf("Rebuild changed something (%v)", err)
	}
}
