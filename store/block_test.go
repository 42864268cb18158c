package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"doorleaf/usage"
)

func testCards(n int) []usage.CardRef {
	cards := make([]usage.CardRef, n)
	for i := range cards {
		sum := sha256.Sum256([]byte{byte(i)})
		cards[i].ID = hex.EncodeToString(sum[:])
	}
	return cards
}

func anyOpening(r *rapid.T) usage.Opening {
	i64 := func(name string) int64 { return rapid.Int64().Draw(r, name) }
	i32 := func(name string) int32 { return rapid.Int32().Draw(r, name) }
	o := usage.Opening{
		At: i64("at"), Earliest: i64("earliest"), Latest: i64("latest"), ErrorS: i32("error"), OpenS: i32("open"),
		Visit: i32("visit"), Run: i32("run"), Card: rapid.Int32Range(0, 3).Draw(r, "card"),
		Line: i32("line"), Offset: i64("offset"), Length: i32("length"),
		Timed: rapid.Bool().Draw(r, "timed"), Removal: rapid.Bool().Draw(r, "removal"), Class: usage.Class(rapid.IntRange(0, 3).Draw(r, "class")),
	}
	if rapid.Bool().Draw(r, "usual") {
		o.Earliest, o.Latest, o.Visit = o.At-int64(o.ErrorS), o.At+int64(o.ErrorS), usage.Unknown
	}
	if !o.Timed {
		o.At = 0
	}
	return o
}

// Whatever openings there are, a block gives them back.
func TestBlockRoundTrip(t *testing.T) {
	cards := testCards(4)
	rapid.Check(t, func(r *rapid.T) {
		want := rapid.SliceOfN(rapid.Custom(anyOpening), 1, 40).Draw(r, "openings")
		e := newBlockEncoder(cards)
		head, err := e.encode(want)
		if err != nil {
			r.Fatal(err)
		}
		got, err := decodeBlock(e.plain, len(want))
		if err != nil {
			r.Fatal(err)
		}
		low, high := int64(math.MaxInt64), int64(math.MinInt64)
		for i := range got.openings {
			if got.cards[got.openings[i].Card] != cards[want[i].Card].ID {
				r.Errorf("opening %d is on card %s", i, got.cards[got.openings[i].Card])
			}
			got.openings[i].Card = want[i].Card
			a, b := span(&want[i])
			low, high = min(low, a), max(high, b)
		}
		if diff := cmp.Diff(want, got.openings); diff != "" {
			r.Errorf("decode(encode(openings)) (-want +got)\n%s", diff)
		}
		if head.low != low || head.high != high {
			r.Errorf("range [%d, %d], want [%d, %d]", head.low, head.high, low, high)
		}
	})
}

// The numbers that cards have in the logbook do not show in a block.
func TestBlockCardNumbers(t *testing.T) {
	openings := inventOpenings(100, 1)
	cards := testCards(2)
	e := newBlockEncoder(cards)
	one, err := e.encode(openings)
	if err != nil {
		t.Fatal(err)
	}
	for i := range openings {
		openings[i].Card = 1
	}
	e = newBlockEncoder([]usage.CardRef{cards[1], cards[0]})
	two, err := e.encode(openings)
	if err != nil || one != two {
		t.Errorf("the same openings with cards numbered otherwise gave %v, %v, want %v", two, err, one)
	}
	openings[7].Card = 2
	if _, err := e.encode(openings); err == nil {
		t.Error("a card that is not in the logbook was encoded")
	}
}

// FuzzDecodeBlock: damaged blocks are errors, never panics, and what is read of
// any bytes has as many openings as were asked for, on cards that are there.
func FuzzDecodeBlock(f *testing.F) {
	e := newBlockEncoder(testCards(1))
	if _, err := e.encode(inventOpenings(20, 2)); err != nil {
		f.Fatal(err)
	}
	f.Add(e.plain, 20)
	f.Add(e.plain[:50], 20)
	f.Add([]byte{blockVersion}, 1)
	f.Fuzz(func(t *testing.T, plain []byte, count int) {
		b, err := decodeBlock(plain, count)
		if err != nil {
			return
		}
		if len(b.openings) != count {
			t.Errorf("decodeBlock(…, %d) gave %d openings", count, len(b.openings))
		}
		for _, o := range b.openings {
			if o.Card < 0 || int(o.Card) >= len(b.cards) {
				t.Errorf("opening on card %d of %d", o.Card, len(b.cards))
			}
		}
	})
}

// inventOpenings returns n openings as a real box has them: hours apart, errors
// that grow with the clock's drift, mostly one to three to a visit.
func inventOpenings(n int, seed uint64) []usage.Opening {
	r := rand.New(rand.NewPCG(seed, 2))
	all := make([]usage.Opening, n)
	at, offset, visit := int64(logStart), int64(30), int32(0)
	for i := range all {
		if r.IntN(3) > 0 {
			visit++
			at += 180 + int64(r.ExpFloat64()*5000)
		} else {
			at += 10 + int64(r.IntN(120))
		}
		o := usage.Opening{
			At: at, ErrorS: int32((at - logStart) * 23 / 1e6), OpenS: int32(2 + r.ExpFloat64()*25),
			Visit: visit, Line: int32(i + 2), Offset: offset, Timed: true,
		}
		o.Length = int32(len(fmt.Sprintf("Mon,2016-01-01,00:00:00,%d", o.OpenS)))
		offset += int64(o.Length) + 2
		o.Earliest, o.Latest = o.At-int64(o.ErrorS), o.At+int64(o.ErrorS)
		if o.OpenS < 4 {
			o.Class, o.Visit = usage.Rattle, usage.Unknown
		}
		all[i] = o
	}
	return all
}

// bigDerived is a logbook of n openings on the first card of testCards.
func bigDerived(n int) (usage.Logbook, usage.Derived) {
	lb := usage.Logbook{Openings: inventOpenings(n, 3), Cards: testCards(1)}
	d := fakeUsage(usage.Site{}, lb)
	for i := range d.Openings {
		d.Openings[i].Visit = lb.Openings[i].Visit
		d.Openings[i].Class = lb.Openings[i].Class
	}
	return lb, d
}

// All derived rows together take at most 20 bytes an opening on disk.
func TestBytesPerOpening(t *testing.T) {
	const n = 75_000 // ten years at twenty a day
	dir := t.TempDir()
	s := openEmpty(t, dir)
	if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	insertBareCard(t, s, testCards(1)[0].ID)
	before := fileSize(t, s, dir)
	lb, d := bigDerived(n)
	if err := s.write(t.Context(), func(tx *tx) error { return writeDerived(t.Context(), tx, 1, lb, d) }); err != nil {
		t.Fatal(err)
	}
	perOpening := float64(fileSize(t, s, dir)-before) / n
	t.Logf("%.1f bytes an opening", perOpening)
	if perOpening > 20 {
		t.Errorf("%.1f bytes an opening on disk, want at most 20", perOpening)
	}
}

func insertBareCard(tb testing.TB, s *Store, id string) {
	tb.Helper()
	_, err := s.writer.Exec(`
		INSERT INTO card (id, site, name, size, imported_at, date_order, encoding, lines, rows, complaints, sketch, body)
		VALUES (?, 1, 'LOG.TXT', 0, 0, '', 'utf-8', 0, 0, 0, x'', x'')`, id)
	if err != nil {
		tb.Fatal(err)
	}
}

// fileSize is the size of the database with its write-ahead log worked in.
func fileSize(tb testing.TB, s *Store, dir string) int64 {
	tb.Helper()
	if _, err := s.writer.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		tb.Fatal(err)
	}
	info, err := os.Stat(databaseFile(dir))
	if err != nil {
		tb.Fatal(err)
	}
	return info.Size()
}

// BenchmarkWriteMillion writes the derived rows of a million openings anew.
func BenchmarkWriteMillion(b *testing.B) {
	lb, d := bigDerived(1_000_000)
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		s := openEmpty(b, b.TempDir())
		if err := s.AddSite(b.Context(), testSite("MILL")); err != nil {
			b.Fatal(err)
		}
		insertBareCard(b, s, testCards(1)[0].ID)
		b.StartTimer()
		if err := s.write(b.Context(), func(tx *tx) error { return writeDerived(b.Context(), tx, 1, lb, d) }); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkWriteMillionSame compares a million openings with what stands there.
func BenchmarkWriteMillionSame(b *testing.B) {
	lb, d := bigDerived(1_000_000)
	s := openEmpty(b, b.TempDir())
	if err := s.AddSite(b.Context(), testSite("MILL")); err != nil {
		b.Fatal(err)
	}
	insertBareCard(b, s, testCards(1)[0].ID)
	b.ReportAllocs()
	for b.Loop() {
		if err := s.write(b.Context(), func(tx *tx) error { return writeDerived(b.Context(), tx, 1, lb, d) }); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkEncode encodes a million openings without writing them.
func BenchmarkEncode(b *testing.B) {
	openings := inventOpenings(1_000_000, 3)
	e := newBlockEncoder(testCards(1))
	for _, packed := range []bool{false, true} {
		b.Run(fmt.Sprintf("packed=%v", packed), func(b *testing.B) {
			size := 0
			for b.Loop() {
				size = 0
				var failed error
				for range e.blocks(openings, &failed) {
					body := e.plain
					if packed {
						body, failed = compress(e.plain)
					}
					size += len(body)
				}
				if failed != nil {
					b.Fatal(failed)
				}
			}
			b.ReportMetric(float64(size)/1e6, "B/opening")
		})
	}
}

// BenchmarkLoadCards decompresses ten years of monthly readings of a growing card.
func BenchmarkLoadCards(b *testing.B) {
	s := openTest(b)
	rows := invent(5, 3650, 20)
	var cards []CardIn
	size := 0
	for i := 1; i <= 120; i++ {
		cards = append(cards, cardOf("LOG.TXT", rows[:i*len(rows)/120]))
		size += len(cards[i-1].Bytes)
	}
	mustKeep(b, s, "MILL", cards...)
	b.SetBytes(int64(size))
	for b.Loop() {
		if _, err := loadCards(b.Context(), s.reader, 1); err != nil {
			b.Fatal(err)
		}
	}
}
