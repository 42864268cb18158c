package store

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"doorleaf/usage"
)

func TestKeep(t *testing.T) {
	s := openTest(t)
	rows := invent(1, 40, 20)
	removed := int64(testNow - 60)
	card := CardIn{Name: "LOG\xff.TXT", Bytes: []byte(strings.Join(rows, "") + "what\n"), RemovedAt: &removed, DateOrder: "dmy"}
	got := mustKeep(t, s, "MILL", card)[0]
	first, last := parse(t, rows[0]), parse(t, rows[len(rows)-1])
	want := Card{
		ID: cardID(card.Bytes), Site: "MILL", Name: "LOG\uFFFD.TXT", Size: int64(len(card.Bytes)), ImportedAt: testNow,
		RemovedAt: &removed, DateOrder: "dmy", Lines: len(rows) + 1, Rows: len(rows), Complaints: 1, First: &first, Last: &last,
	}
	if !equalCards(got.Card, want) || got.Already || got.New != int64(len(rows)) {
		t.Errorf("Keep = %+v, want %+v and %d new", got, want, len(rows))
	}
	data, err := s.CardBytes(t.Context(), want.ID)
	if err != nil || !bytes.Equal(data, card.Bytes) {
		t.Errorf("CardBytes = %d bytes, %v, want the %d that were kept", len(data), err, len(card.Bytes))
	}
	sites, err := s.Sites(t.Context())
	if err != nil || sites[0].Cards != 1 || sites[0].Totals.Openings != got.New || *sites[0].LastCardAt != last || sites[1].LastCardAt != nil {
		t.Errorf("Sites() = %+v, %v", sites, err)
	}
}

func parse(t *testing.T, row string) int64 {
	t.Helper()
	f, err := fakeRead([]byte(row), noHint)
	if err != nil || len(f.Rows) != 1 {
		t.Fatalf("row %q: %v", row, err)
	}
	return f.Rows[0].Reading
}

func equalCards(a, b Card) bool {
	same := func(x, y *int64) bool { return x == nil && y == nil || x != nil && y != nil && *x == *y }
	if !same(a.First, b.First) || !same(a.Last, b.Last) || !same(a.RemovedAt, b.RemovedAt) {
		return false
	}
	a.First, a.Last, a.RemovedAt, b.First, b.Last, b.RemovedAt = nil, nil, nil, nil, nil, nil
	return a == b
}

func TestKeepAgain(t *testing.T) {
	s := openTest(t)
	card := cardOf("A.TXT", invent(1, 40, 20))
	mustKeep(t, s, "MILL", card)
	before := dumpAll(t, s)
	writes := totalChanges(t, s)
	renamed := card
	renamed.Name = "B.TXT"
	got := mustKeep(t, s, "MILL", renamed, card)
	for i, r := range got {
		if !r.Already || r.New != 0 || r.Card.Name != "A.TXT" {
			t.Errorf("Keep again, receipt %d = %+v, want A.TXT already kept", i, r)
		}
	}
	if n := totalChanges(t, s) - writes; n != 0 || dumpAll(t, s) != before {
		t.Errorf("Keep again wrote %d rows, want 0", n)
	}
	twice := cardOf("C.TXT", invent(2, 3, 5))
	got = mustKeep(t, s, "MILL", twice, twice)
	if got[0].Already || !got[1].Already {
		t.Errorf("Keep of one card twice at once: already %v, %v, want false, true", got[0].Already, got[1].Already)
	}
}

func TestKeepElsewhere(t *testing.T) {
	s := openTest(t)
	card := cardOf("A.TXT", invent(1, 40, 20))
	mustKeep(t, s, "MILL", card)
	before := dumpAll(t, s)
	_, err := s.Keep(t.Context(), "QUAY", []CardIn{cardOf("NEW.TXT", invent(3, 2, 3)), card})
	wantKind(t, "Keep under another site", err, usage.Conflict)
	if err == nil || !strings.Contains(err.Error(), "MILL") {
		t.Errorf("Keep under another site: %v, want the name of the site", err)
	}
	if dumpAll(t, s) != before {
		t.Error("a refused card changed something")
	}
}

func TestKeepIsAtomic(t *testing.T) {
	s := openTest(t)
	mustKeep(t, s, "MILL", cardOf("A.TXT", invent(1, 40, 20)))
	before := dumpAll(t, s)
	good := cardOf("B.TXT", invent(2, 40, 20))
	for _, test := range []struct {
		name string
		code string
		bad  CardIn
		want usage.Kind
	}{
		{"derivation fails", "MILL", CardIn{Name: "BAD.TXT", Bytes: []byte("poison\n")}, 0},
		{"no such site", "NONE", good, usage.NotFound},
		{"date order", "MILL", CardIn{Name: "BAD.TXT", DateOrder: "dym"}, usage.Invalid},
	} {
		_, err := s.Keep(t.Context(), test.code, []CardIn{good, test.bad})
		if err == nil {
			t.Errorf("Keep, %s: no error", test.name)
		}
		wantKind(t, "Keep, "+test.name, err, test.want)
		if dumpAll(t, s) != before {
			t.Errorf("Keep, %s: something changed", test.name)
		}
	}
	// A derivation that contradicts itself is found while its rows are written.
	fake := s.engine.derive
	s.engine.derive = twiceTheSameDay(fake)
	if _, err := s.Keep(t.Context(), "MILL", []CardIn{good}); err == nil {
		t.Error("Keep with a day derived twice: no error")
	}
	s.engine.derive = fake
	if dumpAll(t, s) != before {
		t.Error("Keep that failed while it wrote changed something")
	}
	mustKeep(t, s, "MILL", good)
}

func TestEmptyCards(t *testing.T) {
	s := openTest(t)
	got := mustKeep(t, s, "MILL", CardIn{Name: "EMPTY.TXT"}, CardIn{Name: "HEAD.TXT", Bytes: []byte("time seconds\n")})
	if got[0].Card.Size != 0 || got[0].Card.First != nil || got[1].Card.Complaints != 1 || got[0].New != 0 {
		t.Errorf("Keep of cards without rows = %+v", got)
	}
	data, err := s.CardBytes(t.Context(), got[0].Card.ID)
	if err != nil || len(data) != 0 {
		t.Errorf("CardBytes of an empty card = %q, %v", data, err)
	}
}

// rotation returns cards as two in rotation and one that grows would bring them.
func rotation(seed uint64) []CardIn {
	rows := invent(seed, 120, 15)
	n := len(rows)
	return []CardIn{
		cardOf("A", rows[:n/3]),
		cardOf("B", rows[n/4:n/2]),
		cardOf("C", rows[:n/2]),
		cardOf("D", rows[n/2+40:3*n/4]),
		cardOf("E", append(slices.Clone(rows[2*n/3:]), "? 5\n", "? 6\n")),
		cardOf("F", []string{fmt.Sprintf("nothing on card %d\n", seed)}),
	}
}

func TestOrderFree(t *testing.T) {
	cards := rotation(7)
	whole := openTest(t)
	mustKeep(t, whole, "QUAY", cards...)
	want := dump(t, whole, derivedTables...)
	rapid.Check(t, func(r *rapid.T) {
		s := openTest(t)
		order := rapid.Permutation(cards).Draw(r, "order")
		for len(order) > 0 {
			n := rapid.IntRange(1, len(order)).Draw(r, "at once")
			mustKeep(t, s, "QUAY", order[:n]...)
			order = order[n:]
		}
		if dump(t, s, derivedTables...) != want {
			r.Error("another order of cards gave other derived rows")
		}
	})
}

func TestWithdraw(t *testing.T) {
	s := openTest(t)
	dumps := []string{dump(t, s, derivedTables...)}
	cards := rotation(9)
	for _, c := range cards {
		mustKeep(t, s, "MILL", c)
		dumps = append(dumps, dump(t, s, derivedTables...))
	}
	for i := len(cards) - 1; i >= 0; i-- {
		if err := s.Withdraw(t.Context(), cardID(cards[i].Bytes)); err != nil {
			t.Fatal(err)
		}
		if dump(t, s, derivedTables...) != dumps[i] {
			t.Errorf("withdrawing card %s did not bring back what was before it", cards[i].Name)
		}
	}
	wantKind(t, "Withdraw again", s.Withdraw(t.Context(), cardID(cards[0].Bytes)), usage.NotFound)
	_, err := s.CardBytes(t.Context(), cardID(cards[0].Bytes))
	wantKind(t, "CardBytes of a withdrawn card", err, usage.NotFound)
}

func TestRebuild(t *testing.T) {
	s := openTest(t)
	mustKeep(t, s, "MILL", rotation(3)...)
	mustKeep(t, s, "QUAY", rotation(4)...)
	want := dumpAll(t, s)
	writes := totalChanges(t, s)
	var done []string
	if err := s.Rebuild(t.Context(), "", func(code string) { done = append(done, code) }); err != nil {
		t.Fatal(err)
	}
	if n := totalChanges(t, s) - writes; n != 0 {
		t.Errorf("Rebuild of what is right wrote %d rows, want 0", n)
	}
	if !slices.Equal(done, []string{"MILL", "QUAY"}) {
		t.Errorf("Rebuild was done with %q, want MILL and QUAY", done)
	}
	spoil(t, s)
	if dumpAll(t, s) == want {
		t.Fatal("nothing was spoilt")
	}
	if err := s.Rebuild(t.Context(), "", nil); err != nil {
		t.Fatal(err)
	}
	if dumpAll(t, s) != want {
		t.Error("Rebuild did not mend what was spoilt")
	}
	wantKind(t, "Rebuild(NONE)", s.Rebuild(t.Context(), "NONE", nil), usage.NotFound)
}

// spoil damages a row of every derived table, and facts of cards.
func spoil(t *testing.T, s *Store) {
	t.Helper()
	for _, statement := range []string{
		`DELETE FROM block WHERE number = 0`,
		`UPDATE block SET digest = zeroblob(16) WHERE number = 1`,
		`INSERT INTO block (site, number, low, high, count, digest, body) VALUES (1, 99, 0, 0, 1, x'', x'')`,
		`UPDATE day SET openings = openings + 1`,
		`DELETE FROM month`,
		`INSERT INTO stretch (site, number, from_at, to_at, kind) VALUES (1, 7, 1, 2, 'away')`,
		`UPDATE run SET body = '{}'`,
		`DELETE FROM finding`,
		`DELETE FROM logbook_card`,
		`UPDATE totals SET visits = 77`,
		`UPDATE card SET rows = 1, sketch = x'', first_reading = NULL`,
	} {
		if _, err := s.writer.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

// One more week on a ten-year logbook writes under one in a hundred of its
// derived rows.
func TestGrowth(t *testing.T) {
	s := openTest(t)
	rows := invent(5, 3650, 20)
	week := len(rows) - 140
	mustKeep(t, s, "MILL", cardOf("A", rows[:week]))
	derived := countDerived(t, s)
	writes := totalChanges(t, s)
	got := mustKeep(t, s, "MILL", cardOf("B", rows))
	n := totalChanges(t, s) - writes - 1 // the card
	if got[0].New != 140 || n == 0 || n*100 >= derived {
		t.Errorf("a week of %d openings wrote %d of %d derived rows, want under 1 %%", got[0].New, n, derived)
	}
	t.Logf("%d of %d derived rows written", n, derived)
}

func TestCardsInOrder(t *testing.T) {
	s := openTest(t)
	rows := invent(6, 90, 10)
	n := len(rows)
	mustKeep(t, s, "MILL", cardOf("3", rows[2*n/3:]), cardOf("none", nil), cardOf("1", rows[:n/2]), cardOf("2", rows[n/3:2*n/3]))
	cards, err := s.Cards(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, c := range cards {
		names = append(names, c.Name)
	}
	if want := []string{"1", "2", "3", "none"}; !slices.Equal(names, want) {
		t.Errorf("Cards() = %q, want %q", names, want)
	}
}

func TestFindings(t *testing.T) {
	s := openTest(t)
	rows := invent(8, 60, 10)
	cut := len(rows) / 2
	late := parse(t, rows[cut-1]) + 30*86400
	second := []string{rowAt(late), rowAt(late + 100)}
	mustKeep(t, s, "MILL", cardOf("B", second), cardOf("A", rows[:cut]))
	found, err := s.Findings(t.Context(), "MILL")
	if err != nil || len(found) == 0 {
		t.Fatalf("Findings() = %v, %v, want a quiet stretch", found, err)
	}
	cards, err := s.Cards(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	last := found[len(found)-1]
	if name := cards[last.Evidence[0].Card].Name; name != "B" || last.Evidence[0].Line != 1 || last.To != late {
		t.Errorf("last finding %+v with evidence on card %s, want line 1 of B", last, name)
	}
}

// Readers and writers do not get in each other's way.
func TestReadersWhileKeeping(t *testing.T) {
	s := openTest(t)
	rows := invent(10, 200, 20)
	stop := make(chan struct{})
	var readers sync.WaitGroup
	var reads [8]int
	for i := range reads {
		readers.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if err := readAll(t, s); err != nil {
					t.Errorf("reading: %v", err)
					return
				}
				reads[i]++
				time.Sleep(time.Millisecond)
			}
		})
	}
	var writers sync.WaitGroup
	for w, code := range []string{"MILL", "QUAY"} {
		writers.Go(func() {
			for i := range 25 {
				// The site's number in each card keeps the two from sharing bytes.
				part := append([]string{rowAt(logStart - int64(w+1))}, rows[:(i+1)*len(rows)/25]...)
				if _, err := s.Keep(t.Context(), code, []CardIn{cardOf("LOG.TXT", part)}); err != nil {
					t.Errorf("Keep: %v", err)
				}
			}
		})
	}
	writers.Wait()
	close(stop)
	readers.Wait()
	if slices.Min(reads[:]) == 0 {
		t.Errorf("reads by reader: %v, want every reader to have read", reads)
	}
}

func readAll(t *testing.T, s *Store) error {
	site, err := s.Site(t.Context(), "MILL")
	if err != nil {
		return err
	}
	page, _, err := s.Openings(t.Context(), "MILL", Page{After: -1, Limit: 50})
	if err == nil && site.Totals.Openings > 0 && len(page) == 0 {
		t.Error("totals tell of openings, but there is none")
	}
	if err == nil {
		_, err = s.Cards(t.Context(), "QUAY")
	}
	return err
}

// Two programs may have the same network open and write to it.
func TestTwoPrograms(t *testing.T) {
	dir := t.TempDir()
	one, two := openEmpty(t, dir), openEmpty(t, dir)
	if err := one.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	var both sync.WaitGroup
	for i, s := range []*Store{one, two} {
		both.Go(func() {
			for j := range 10 {
				rows := invent(rand.Uint64(), 1+i+j, 5)
				if _, err := s.Keep(t.Context(), "MILL", []CardIn{cardOf("LOG.TXT", rows)}); err != nil {
					t.Errorf("Keep in program %d: %v", i, err)
				}
			}
		})
	}
	both.Wait()
	cards, err := two.Cards(t.Context(), "MILL")
	if err != nil || len(cards) != 20 {
		t.Errorf("%d cards, %v, want 20", len(cards), err)
	}
}
