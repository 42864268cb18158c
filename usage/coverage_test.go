package usage

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestCutOutages(t *testing.T) {
	in := []Stretch{{0, 100, Recording}, {100, 200, Away}, {200, 300, Recording}}
	got := CutOutages(in, []Stretch{{20, 30, Outage}, {90, 210, Outage}, {300, 400, Outage}})
	want := []Stretch{
		{0, 20, Recording}, {20, 30, Outage}, {30, 90, Recording}, {90, 100, Outage}, {100, 200, Away},
		{200, 210, Outage}, {210, 300, Recording},
	}
	if !slices.Equal(got, want) {
		t.Errorf("CutOutages = %v, want %v", got, want)
	}
}

// Every second keeps its kind, but for recorded ones inside an outage.
func TestCutOutagesBySecond(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, kinds ...StretchKind) (out []Stretch) {
			at := int64(0)
			for range rapid.IntRange(0, 5).Draw(t, name) {
				at += rapid.Int64Range(0, 10).Draw(t, "hole")
				end := at + rapid.Int64Range(1, 10).Draw(t, "length")
				out = append(out, Stretch{at, end, rapid.SampledFrom(kinds).Draw(t, "kind")})
				at = end
			}
			return out
		}
		kindAt := func(in []Stretch, at int64) StretchKind {
			for _, s := range in {
				if s.From <= at && at < s.To {
					return s.Kind
				}
			}
			return ""
		}
		in, outages := draw("stretches", Recording, Away), draw("outages", Outage)
		got := CutOutages(in, outages)
		for at := int64(-1); at < 110; at++ {
			want := kindAt(in, at)
			if want == Recording && kindAt(outages, at) == Outage {
				want = Outage
			}
			if k := kindAt(got, at); k != want {
				t.Fatalf("second %d of %v without %v is %q in %v, want %q", at, in, outages, k, got, want)
			}
		}
		for i := 1; i < len(got); i++ {
			if got[i].From < got[i-1].To {
				t.Fatalf("%v is not ascending and disjoint", got)
			}
		}
	})
}
