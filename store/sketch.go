package store

import (
	"encoding/binary"
	"errors"
	"slices"

	"doorleaf/importer/cardfile"
)

// A sketch is a small sample of the row keys of a card: sorted, each once. Two
// cards that share a stretch of rows share keys of their sketches, so that
// overlaps are found without reading every card of the network. It holds the
// ends of the card, where overlaps of cards in rotation lie, and every key that
// is a multiple of sketchStep, which are the same rows in every card.
const (
	sketchEnds = 64 // rows at either end
	sketchStep = 16
)

// firstSaneReading is 2001-01-01 00:00:00 on the wall. Rows before it bear the
// default date that a clock chip begins with at power-on: every logger of the
// network has written those stamps.
const firstSaneReading = 978307200

// keys returns the keys of the rows of a card file that tell it from others, in
// file order. Where the date order is not known, the years still are, and
// those are all that is needed here.
func (e engine) keys(data []byte, file *cardfile.File) ([]uint64, error) {
	if file.Ambiguous {
		var err error
		if file, err = e.read(data, cardfile.Hint{DateOrder: "dmy"}); err != nil {
			return nil, err
		}
	}
	keys := make([]uint64, 0, len(file.Rows))
	for i := range file.Rows {
		if row := &file.Rows[i]; row.Timed && row.Reading >= firstSaneReading {
			keys = append(keys, row.Key)
		}
	}
	return keys, nil
}

// sketchOf samples keys.
func sketchOf(keys []uint64) []uint64 {
	var sketch []uint64
	for i, k := range keys {
		if i < sketchEnds || i >= len(keys)-sketchEnds || k%sketchStep == 0 {
			sketch = append(sketch, k)
		}
	}
	slices.Sort(sketch)
	return slices.Compact(sketch)
}

// encodeSketch writes the differences of successive keys as varints.
func encodeSketch(sketch []uint64) []byte {
	out := make([]byte, 0, 8*len(sketch))
	last := uint64(0)
	for _, k := range sketch {
		out = binary.AppendUvarint(out, k-last)
		last = k
	}
	return out
}

var errSketch = errors.New("sketch is damaged")

func decodeSketch(b []byte) ([]uint64, error) {
	sketch := make([]uint64, 0, len(b)/6)
	last := uint64(0)
	for len(b) > 0 {
		d, n := binary.Uvarint(b)
		if n <= 0 {
			return nil, errSketch
		}
		last += d
		sketch = append(sketch, last)
		b = b[n:]
	}
	return sketch, nil
}
