package forge

import (
	"io"
	"testing"
	"time"

	"doorleaf/usage"
)

// BenchmarkTenYears makes one site of ten years and 20 openings a day, all its
// files and its truth. It is held to less than 2 s.
func BenchmarkTenYears(b *testing.B) {
	sp := spec("A", tabs, Growing)
	sp.InstalledOn = usage.DateOf(2015, time.September, 1)
	sp.Character.PerDay = 20 / 1.4
	b.ReportAllocs()
	for b.Loop() {
		benchmarkSite(b, sp)
	}
}

// BenchmarkMillionRows makes one card of a million rows, and its truth. It is
// held to less than 10 s.
func BenchmarkMillionRows(b *testing.B) {
	sp := spec("A", tabs, Growing)
	sp.InstalledOn = usage.DateOf(2015, time.September, 1)
	sp.Character = commuter()
	sp.Character.PerDay, sp.Character.Again, sp.Character.Bounce = 290, 0, 0
	sp.Rounds.EveryDays = 4000 // once, at the end
	b.ReportAllocs()
	for b.Loop() {
		if n := benchmarkSite(b, sp); n < 1e6 {
			b.Fatalf("%d rows, want a million", n)
		}
	}
}

// benchmarkSite returns the number of rows of the last card.
func benchmarkSite(b *testing.B, sp SiteSpec) int {
	n, err := New("bench", []SiteSpec{sp}, endOfTests, 1)
	if err != nil {
		b.Fatal(err)
	}
	cards := n.Sites[0].Cards
	for _, c := range cards {
		if _, err := c.Bytes(); err != nil {
			b.Fatal(err)
		}
	}
	if err := n.WriteTruth(io.Discard); err != nil {
		b.Fatal(err)
	}
	return cards[len(cards)-1].Len()
}
