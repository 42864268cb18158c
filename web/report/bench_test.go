package report

import (
	"io"
	"testing"

	"doorleaf/web/assets"
)

// BenchmarkPDF writes the season report of sixty sites, its charts drawn before.
func BenchmarkPDF(b *testing.B) {
	if !assets.Built() {
		b.Fatal(assets.ErrNotBuilt)
	}
	s, charts := seasonsForPaper()["sixty sites"], Drawing{Charts: maker()}
	write := func() {
		if err := WritePDF(b.Context(), io.Discard, s, A4, charts); err != nil {
			b.Fatal(err)
		}
	}
	write()
	b.ReportAllocs()
	for b.Loop() {
		write()
	}
}
