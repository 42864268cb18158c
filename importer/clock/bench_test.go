package clock

import (
	"testing"

	"doorleaf/usage"
)

// BenchmarkTimesMillion times a million rows of ten years on a hundred cards, each with a
// known removal, of a clock that gains two seconds a day.
func BenchmarkTimesMillion(b *testing.B) {
	const n, cards, every, begin = 1_000_000, 100, 315, 1_460_000_000
	in := Input{Site: site(b, "Europe/Dublin", usage.ClockFixed, "2016-01-01")}
	for i := range n {
		right := int64(begin + i*every + i*i%200)
		in.Rows = append(in.Rows, Row{Reading: right + (right-begin)/43200, Timed: true, OpenS: 5})
		if (i+1)%(n/cards) == 0 {
			in.Stints = append(in.Stints, Stint{First: i + 1 - n/cards, Last: i, RemovedAt: &right})
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if times, _, _ := Times(in); len(times) != n {
			b.Fatalf("%d times, want %d", len(times), n)
		}
	}
}
