package logbook

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"doorleaf/importer/cardfile"
)

// BenchmarkStitch stitches ten years of monthly readings of one card that grows, and the
// same rows on cards that were emptied each time.
func BenchmarkStitch(b *testing.B) {
	const months, perMonth = 120, 600
	var lines [][]byte
	at := time.Date(2016, 1, 14, 9, 0, 0, 0, time.UTC)
	for i := range months * perMonth {
		at = at.Add(time.Duration(60+i*7919%8500) * time.Second)
		lines = append(lines, fmt.Appendf(nil, "%s,%d\n", at.Format("Mon,2006-01-02,15:04:05"), 2+i*31%97))
	}
	for _, growing := range []bool{true, false} {
		var cards []Card
		for m := 1; m <= months; m++ {
			first := (m - 1) * perMonth
			if growing {
				first = 0
			}
			f, err := cardfile.Read(bytes.Join(lines[first:m*perMonth], nil), cardfile.Hint{})
			if err != nil {
				b.Fatal(err)
			}
			cards = append(cards, Card{ID: fmt.Sprintf("%064x", m), File: f})
		}
		b.Run(fmt.Sprintf("growing=%v", growing), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if got := len(Stitch(cards).Entries); got != months*perMonth {
					b.Fatalf("%d entries, want %d", got, months*perMonth)
				}
			}
		})
	}
}
