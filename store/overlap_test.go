package store

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"doorleaf/importer/cardfile"
)

func TestElsewhere(t *testing.T) {
	s := openTest(t)
	mill, quay := invent(20, 300, 20), invent(21, 300, 20)
	n := len(mill)
	// QUAY's card has single stamps of MILL's, which are chance.
	for i := 0; i < 200; i++ {
		quay[10+20*i] = mill[10+20*i]
	}
	mustKeep(t, s, "MILL", cardOf("A", mill[:n/2]), cardOf("B", mill[:n-100]))
	mustKeep(t, s, "QUAY", cardOf("A", quay[:len(quay)-100]))
	both := append(slices.Clone(mill[100:400]), quay[600:800]...)
	for _, test := range []struct {
		name string
		rows []string
		want []Overlap
	}{
		{"grown card", mill, []Overlap{{"MILL", n - 100}}},
		{"first rows", mill[:30], []Overlap{{"MILL", 30}}},
		{"end of one, beginning of the next", mill[n-140:], []Overlap{{"MILL", 40}}},
		{"middle", mill[1000:1400], []Overlap{{"MILL", 400}}},
		{"two rows", mill[:2], []Overlap{{"MILL", 2}}},
		{"two rows apart", []string{mill[0], mill[5]}, nil},
		{"one row", mill[:1], nil},
		{"no rows", nil, nil},
		{"new rows", mill[n-100:], nil},
		{"two sites", both, []Overlap{{"MILL", 300}, {"QUAY", 200}}},
		{"strangers", invent(22, 300, 20), nil},
	} {
		got, err := s.Elsewhere(t.Context(), cardOf("LOG.TXT", test.rows))
		if diff := cmp.Diff(test.want, got); err != nil || diff != "" {
			t.Errorf("Elsewhere(%s): %v (-want +got)\n%s", test.name, err, diff)
		}
	}
}

// A clock that begins at its power-on date writes the same stamps in every box.
func TestElsewherePowerOn(t *testing.T) {
	s := openTest(t)
	const powerOn = 946684800 // 2000-01-01 00:00:00
	var rows []string
	for i := range int64(50) {
		rows = append(rows, rowAt(powerOn+60*i))
	}
	mustKeep(t, s, "MILL", cardOf("A", append(slices.Clone(rows), rowAt(logStart))))
	got, err := s.Elsewhere(t.Context(), cardOf("B", append(slices.Clone(rows), rowAt(logStart+5))))
	if err != nil || len(got) != 0 {
		t.Errorf("Elsewhere(power-on dates) = %v, %v, want nothing", got, err)
	}
}

// A halted clock repeats one stamp for thousands of rows.
func TestElsewhereHalted(t *testing.T) {
	s := openTest(t)
	rows := slices.Repeat([]string{rowAt(logStart)}, 50_000)
	rows = append(rows, rowAt(logStart+7))
	mustKeep(t, s, "MILL", cardOf("A", rows))
	got, err := s.Elsewhere(t.Context(), cardOf("B", rows[1:]))
	if diff := cmp.Diff([]Overlap{{"MILL", 50_000}}, got); err != nil || diff != "" {
		t.Errorf("Elsewhere(halted clock): %v (-want +got)\n%s", err, diff)
	}
}

// cover marks what the slow obvious model marks: every row of the probe that is
// in a common block of at least so many rows.
func TestCoverModel(t *testing.T) {
	keys := rapid.SliceOfN(rapid.Uint64Range(1, 4), 0, 30)
	rapid.Check(t, func(r *rapid.T) {
		a, b := keys.Draw(r, "a"), keys.Draw(r, "b")
		if len(a) == 0 {
			return
		}
		p := newProbeOf(a, min(3, len(a)))
		c := p.cover()
		c.add(b)
		want := make([]bool, len(a))
		for i := range a {
			for j := range b {
				k := 0
				for i+k < len(a) && j+k < len(b) && a[i+k] == b[j+k] {
					k++
				}
				for m := range k {
					want[i+m] = want[i+m] || k >= p.stretch
				}
			}
		}
		if !slices.Equal(c.rows, want) {
			r.Errorf("cover(%v in %v) = %v, want %v", a, b, c.rows, want)
		}
	})
}

func TestSketch(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		keys := rapid.SliceOfN(rapid.Uint64(), 0, 300).Draw(r, "keys")
		sketch := sketchOf(keys)
		back, err := decodeSketch(encodeSketch(sketch))
		if err != nil || !slices.Equal(back, sketch) {
			r.Fatalf("decodeSketch(encodeSketch(%v)) = %v, %v", sketch, back, err)
		}
		for i, k := range keys {
			_, in := slices.BinarySearch(sketch, k)
			if want := i < 64 || i >= len(keys)-64 || k%16 == 0; want && !in {
				r.Errorf("key %d of %d, %d, is not in the sketch", i, len(keys), k)
			}
		}
	})
	if _, err := decodeSketch([]byte{0x80}); err == nil {
		t.Error("a sketch that was cut off was read")
	}
}

// Rows of a file whose date order is not known still tell it from others.
func TestKeysOfAmbiguousFile(t *testing.T) {
	e := fakeEngine
	e.read = func(data []byte, hint cardfile.Hint) (*cardfile.File, error) {
		f, err := fakeRead(data, hint)
		f.Ambiguous = hint.DateOrder == ""
		for i := range f.Rows {
			f.Rows[i].Timed = f.Rows[i].Timed && !f.Ambiguous
		}
		return f, err
	}
	data := cardOf("A", invent(1, 2, 10)).Bytes
	file, err := e.read(data, noHint)
	if err != nil {
		t.Fatal(err)
	}
	keys, err := e.keys(data, file)
	if err != nil || len(keys) != len(file.Rows) {
		t.Errorf("%d keys, %v, want %d", len(keys), err, len(file.Rows))
	}
}

// BenchmarkElsewhere asks for a ten-year card in a network that holds 120
// monthly readings of it.
func BenchmarkElsewhere(b *testing.B) {
	s := openTest(b)
	rows := invent(5, 3650, 20)
	var cards []CardIn
	for i := 1; i <= 120; i++ {
		cards = append(cards, cardOf("LOG.TXT", rows[:i*len(rows)/121]))
	}
	mustKeep(b, s, "MILL", cards...)
	card := cardOf("LOG.TXT", rows)
	for b.Loop() {
		got, err := s.Elsewhere(b.Context(), card)
		if err != nil || len(got) != 1 {
			b.Fatal(got, err)
		}
	}
}
