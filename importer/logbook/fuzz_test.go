package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"

	"doorleaf/importer/cardfile"
)

// FuzzStitch reads any bytes as some cards of one site, "\x1e" between them, and
// checks that no row is lost or doubled: every row stands once at most; of rows that
// look alike there are at least as many as on the card that has most of them (those that
// say that the door shut, and those like one that broke off and goes on in another card, aside), and
// not more than on all together; and the order in which the cards come does not matter.
func FuzzStitch(f *testing.F) {
	const a, b, c = "Thu,01/14/16,09:12:33,34\r\n", "Fri,01/15/16,21:05:06,7\r\n", "Sat,01/16/16,08:00:01,12\r\n"
	for _, cards := range [][]string{
		{a + b + "Sat,01/16/16,08:00:01,", a + b + c + "Sun,01/17/16,10:00:00,"},
		{a + b, c}, {b + c, a + b}, {a + a + a, a + a}, {"12\r\n" + b, a + "Fri,01/15/16,21:05:06,"},
		{"2016-01-14 09:12:33,OPEN\n2016-01-14 09:13:07,CLOSE\n", "2016-01-14 09:13:07,CLOSE\n2016-01-15 09:13:07,OPEN\n"},
		{"Thu,165/165/2165,165:165:85,3\n" + a, "Sat,01/01/2000,00:00:01,3\n" + a + "Sat,01/01/2000,00:00:01,3\n"},
		{a, ""}, {"", "\x00\x00\xff"},
	} {
		f.Add([]byte(strings.Join(cards, "\x1e")))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		cards := cardsOf(data)
		book := Stitch(cards)
		stamp := func(e Entry) uint64 { return cards[e.Card].File.Rows[e.Row].Key }
		got, most, all := map[uint64]int{}, map[uint64]int{}, map[uint64]int{}
		seen := map[[2]int32]bool{}
		for _, e := range book.Entries {
			if seen[[2]int32{e.Card, e.Row}] {
				t.Fatalf("row %d of card %d stands twice", e.Row, e.Card)
			}
			seen[[2]int32{e.Card, e.Row}] = true
			got[stamp(e)]++
		}
		var items []item
		for i := range cards {
			items = append(items, single(cards, int32(i), 0).items...)
		}
		stumps := map[uint64]bool{}
		for i := range items {
			if slices.ContainsFunc(items, func(o item) bool { return goesOn(&items[i], &o) }) {
				stumps[items[i].key] = true
			}
		}
		for i := range cards {
			own := map[uint64]int{}
			for _, it := range items {
				if int(it.card) != i {
					continue
				}
				all[it.key]++
				if !it.closes && !stumps[it.key] { // a lone close may be that of an opening on another card
					own[it.key]++
				}
			}
			for key, n := range own {
				most[key] = max(most[key], n)
			}
		}
		for key, n := range all {
			if got[key] < most[key] || got[key] > n {
				t.Fatalf("a row that stands on one card %d times, on all %d, stands in the logbook %d times", most[key], n, got[key])
			}
		}
		if len(got) > len(all) {
			t.Fatalf("the logbook has %d different rows, the cards %d", len(got), len(all))
		}
		turned := slices.Clone(cards)
		slices.Reverse(turned)
		if again := Stitch(turned); !slices.Equal(keysOf(turned, again), keysOf(cards, book)) {
			t.Fatal("the same cards in another order give another logbook")
		}
	})
}

// cardsOf reads cards that are divided by "\x1e", each bytes once: a card brought
// twice is one.
func cardsOf(data []byte) []Card {
	var cards []Card
	for part := range bytes.SplitSeq(data, []byte{0x1e}) {
		sum := sha256.Sum256(part)
		id := hex.EncodeToString(sum[:])
		file, err := cardfile.Read(part, cardfile.Hint{})
		if err != nil || len(cards) == 6 || slices.ContainsFunc(cards, func(c Card) bool { return c.ID == id }) {
			continue
		}
		cards = append(cards, Card{ID: id, File: file})
	}
	return cards
}

// keysOf returns the stamps of a logbook's rows in order.
func keysOf(cards []Card, b Book) []uint64 {
	var keys []uint64
	for _, e := range b.Entries {
		keys = append(keys, cards[e.Card].File.Rows[e.Row].Key)
	}
	return keys
}

// FuzzStitchGrowing lets one logger write rows, each a byte's minutes after the one
// before (equal stamps among them), and reads its card now and then as it grows. The
// logbook is what the logger wrote, row by row.
func FuzzStitchGrowing(f *testing.F) {
	f.Add([]byte{1, 2, 3, 0, 0, 5, 200, 1, 1}, []byte{3, 5})
	f.Add([]byte{0, 0, 0, 0, 0, 0, 1}, []byte{2, 4, 6})
	f.Add([]byte{9}, []byte{})
	f.Add([]byte{3, 9, 0, 0, 0, 4, 7, 255, 255}, []byte{1, 7, 2, 2})
	f.Fuzz(func(t *testing.T, gaps, reads []byte) {
		if len(gaps) == 0 || len(gaps) > 300 || len(reads) > 8 {
			return
		}
		var rows []string
		minute := 0
		for i, gap := range gaps {
			if minute += int(gap); minute > 25*1440 {
				break
			}
			rows = append(rows, fmt.Sprintf("2024-05-%02d,%02d:%02d:07,", 1+minute/1440, minute/60%24, minute%60), fmt.Sprint(fuzzSeconds(i)))
		}
		n := len(rows) / 2
		var cards []Card
		for _, upTo := range append(slices.Clone(reads), byte(n-1)) {
			text := strings.Builder{}
			end := int(upTo)%n + 1
			if len(cards) == len(reads) {
				end = n
			}
			for i := range end {
				text.WriteString(rows[2*i])
				if i < end-1 {
					text.WriteString(rows[2*i+1])
				}
				text.WriteString("\n")
			}
			file, err := cardfile.Read([]byte(text.String()), cardfile.Hint{DateOrder: "ymd"})
			if err != nil {
				t.Fatal(err)
			}
			cards = append(cards, Card{ID: fmt.Sprintf("%d %d", end, len(cards)), File: file})
		}
		book := Stitch(cards)
		if len(book.Entries) != n {
			t.Fatalf("%d openings, want the %d that were written; read after %v", len(book.Entries), n, reads)
		}
		for i, e := range book.Entries {
			row := cards[e.Card].File.Rows[e.Row]
			want := cards[len(cards)-1].File.Rows[i]
			if row.Reading != want.Reading || i < n-1 && e.OpenS != fuzzSeconds(i) {
				t.Fatalf("opening %d is at %d for %d s, want %d for %d s", i, row.Reading, e.OpenS, want.Reading, fuzzSeconds(i))
			}
		}
	})
}

// fuzzSeconds is how long a row was open: nothing that could be taken for a weekday or
// a running number.
func fuzzSeconds(i int) int32 { return int32(8 + i*17%50) }
