package store

import (
	"testing"

	"doorleaf/importer/forge"
)

// TestGrownCardWritesLittle brings ten years of one growing card in, then the same card a
// week later: what is written must go with the week and not with the ten years. It counts
// every row that SQLite inserted, changed or deleted, those of kept things included.
func TestGrownCardWritesLittle(t *testing.T) {
	const openingsADay, years = 20, 10
	rows := isoRows((years*365+7)*openingsADay, 86400/openingsADay)
	s := openReal(t)
	if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", rows[:years*365*openingsADay]))
	derived := derivedCount(t, s)
	before := totalChanges(t, s)
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", rows))
	written := totalChanges(t, s) - before
	if written < 7 || written*100 >= derived {
		t.Errorf("a week more wrote %d rows of %d derived, want 7 days at least and less than 1 %%", written, derived)
	}
	before = totalChanges(t, s)
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", rows))
	if written := totalChanges(t, s) - before; written != 0 {
		t.Errorf("the same card again wrote %d rows, want none", written)
	}
}

func derivedCount(t *testing.T, s *Store) (n int64) {
	t.Helper()
	for _, table := range derivedNames {
		var rows int64
		if err := s.reader.QueryRowContext(t.Context(), `SELECT count(*) FROM `+table).Scan(&rows); err != nil {
			t.Fatal(err)
		}
		n += rows
	}
	return n
}

// TestKeptCardsAreSmall packs cards of a year as loggers of many makes write them: all
// together take a fifth of their bytes or less. One whose openings and seconds are drawn
// by lot alone, which no box sees, has less to leave out.
func TestKeptCardsAreSmall(t *testing.T) {
	const wanted, byLot = 5, 3.5
	size, packed := 0, 0
	pack := func(card []byte) {
		body, err := compress(card)
		if err != nil {
			t.Fatal(err)
		}
		size, packed = size+len(card), packed+len(body)
	}
	for seed := range uint64(3) {
		n, err := forge.Random(365, 3, seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, site := range n.Sites {
			for _, card := range site.Cards {
				data, err := card.Bytes()
				if err != nil {
					t.Fatal(err)
				}
				pack(data)
			}
		}
	}
	if ratio := float64(size) / float64(packed); ratio < wanted {
		t.Errorf("forged cards take 1/%.1f of their %d bytes, want 1/%d or less", ratio, size, wanted)
	}
	size, packed = 0, 0
	pack(cardOf("LOG.TXT", isoRows(365*20, 4320)).Bytes)
	if ratio := float64(size) / float64(packed); ratio < byLot {
		t.Errorf("a card without any pattern takes 1/%.1f of its %d bytes, want 1/%.1f or less", ratio, size, byLot)
	}
}
