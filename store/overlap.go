package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"sync"

	"doorleaf/importer/cardfile"
)

// Overlap says how many rows of a card stand in a site's logbook already.
type Overlap struct {
	Site string
	Rows int
}

// sharedSketchKeys is how many keys a card must share with the sketches of a
// site before the site's cards are read. Two busy boxes share a stamp now and
// then by chance.
const sharedSketchKeys = 2

// Rows shared by chance come one at a time; a stretch of this many in the same
// order does not. Stamps without seconds coincide far more often, so that more
// of them are asked for. With a chance p of an opening in any minute, a row has
// its fellow in another box with p and each next one with p/(2−p): at p = 0.1 a
// stretch of three comes once in 3,600 rows, one of six in 25 million.
const (
	stretchRows       = 3
	stretchRowsMinute = 6
)

// Elsewhere returns the codes of sites whose logbook shares a stretch of rows
// with the card, with the number of rows shared, most first. It looks at all
// sites, the one that the card is meant for included.
func (s *Store) Elsewhere(ctx context.Context, card CardIn) ([]Overlap, error) {
	probe, err := s.newProbe(card)
	if err != nil || len(probe.keys) < sharedSketchKeys {
		return nil, err
	}
	var found []Overlap
	err = s.read(ctx, func(q querier) error {
		sites, err := probe.ask(ctx, q)
		if err != nil {
			return err
		}
		for code, cards := range sites {
			n, err := s.sharedRows(ctx, q, probe, cards)
			if err != nil {
				return err
			}
			if n > 0 {
				found = append(found, Overlap{code, n})
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("overlaps of %s: %w", card.Name, err)
	}
	slices.SortFunc(found, func(a, b Overlap) int {
		return cmp.Or(cmp.Compare(b.Rows, a.Rows), cmp.Compare(a.Site, b.Site))
	})
	return found, nil
}

// Stamps are what two cards that are not kept yet are held against each other by. They
// take a thirtieth of what a card file takes that is read.
type Stamps struct {
	keys    []uint32 // half of each key, in file order: what counts are stretches of them
	stretch int      // rows in a row that are no chance
}

func (s Stamps) whole() []uint64 {
	keys := make([]uint64, len(s.keys))
	for i, key := range s.keys {
		keys[i] = uint64(key)
	}
	return keys
}

// StampsOf returns the stamps of a card's rows; those without a time, or with one of a
// clock that was never set, are left out.
func StampsOf(f *cardfile.File) Stamps {
	s := Stamps{keys: make([]uint32, 0, len(f.Rows)), stretch: stretchOf(f)}
	for i := range f.Rows {
		if row := &f.Rows[i]; row.Timed && row.Reading >= firstSaneReading {
			s.keys = append(s.keys, uint32(row.Key))
		}
	}
	return s
}

// SharedRows returns how many rows of a card stand in another one in stretches that
// are no chance.
func SharedRows(card, other Stamps) int {
	c := newProbeOf(card.whole(), min(max(card.stretch, other.stretch), len(card.keys))).cover()
	if c.stretch > 1 { // one row by itself is no stretch
		c.add(other.whole())
	}
	return c.count()
}

// stretchOf is how many rows of a card in a row are no chance.
func stretchOf(f *cardfile.File) int {
	if f.Resolution >= 60 {
		return stretchRowsMinute
	}
	return stretchRows
}

// probe is a card that is looked for in the logbooks of the network.
type probe struct {
	keys    []uint64 // of its rows, in file order
	stretch int      // rows in a row that are no chance

	// Both are worked out when there is something to compare with, which mostly there is not.
	sorted func() []uint64 // the keys, each once
	grams  func() []gram   // ascending
}

// gram stands for the stretch of just so many rows of a probe that begins at row.
type gram struct {
	hash uint64
	row  int32
}

func (s *Store) newProbe(card CardIn) (*probe, error) {
	file, err := s.engine.file(card)
	if err != nil {
		return nil, fmt.Errorf("card %s: %w", card.Name, err)
	}
	keys, err := s.engine.keys(card.Bytes, file)
	if err != nil {
		return nil, fmt.Errorf("card %s: %w", card.Name, err)
	}
	return newProbeOf(keys, min(stretchOf(file), len(keys))), nil
}

func newProbeOf(keys []uint64, stretch int) *probe {
	return &probe{
		keys: keys, stretch: stretch,
		sorted: sync.OnceValue(func() []uint64 { return slices.Compact(slices.Sorted(slices.Values(keys))) }),
		grams:  sync.OnceValue(func() []gram { return gramsOf(keys, stretch) }),
	}
}

func gramsOf(keys []uint64, stretch int) []gram {
	if stretch == 0 || len(keys) < stretch {
		return nil
	}
	grams := make([]gram, 0, len(keys)-stretch+1)
	for i := range len(keys) - stretch + 1 {
		grams = append(grams, gram{hashKeys(keys[i : i+stretch]), int32(i)})
	}
	slices.SortFunc(grams, func(a, b gram) int {
		return cmp.Or(cmp.Compare(a.hash, b.hash), cmp.Compare(a.row, b.row))
	})
	return grams
}

// sketchHit is a kept card and the keys that its sketch shares with the probe.
type sketchHit struct {
	card   string
	shared []uint64
}

// ask returns, by site code, the cards whose sketches share keys with the
// probe, of sites that share enough of them.
func (p *probe) ask(ctx context.Context, q querier) (map[string][]sketchHit, error) {
	hits := map[string][]sketchHit{}
	distinct := map[string]map[uint64]struct{}{}
	err := walk(ctx, q, func(rows *sql.Rows) error {
		var hit sketchHit
		var code string
		var packed sql.RawBytes
		if err := rows.Scan(&code, &hit.card, &packed); err != nil {
			return err
		}
		sketch, err := decodeSketch(packed)
		if err != nil {
			return fmt.Errorf("card %s: %w", hit.card, err)
		}
		if hit.shared = intersect(p.sorted(), sketch); len(hit.shared) == 0 {
			return nil
		}
		hits[code] = append(hits[code], hit)
		if distinct[code] == nil {
			distinct[code] = map[uint64]struct{}{}
		}
		for _, k := range hit.shared {
			distinct[code][k] = struct{}{}
		}
		return nil
	}, `
		SELECT site.code, card.id, sketch
		FROM card
		JOIN site ON site.id = card.site`)
	for code, keys := range distinct {
		if len(keys) < sharedSketchKeys {
			delete(hits, code)
		}
	}
	return hits, err
}

// intersect returns what two ascending slices have in common.
func intersect(a, b []uint64) []uint64 {
	var both []uint64
	for len(a) > 0 && len(b) > 0 {
		switch {
		case a[0] < b[0]:
			a = a[1:]
		case a[0] > b[0]:
			b = b[1:]
		default:
			both = append(both, a[0])
			a, b = a[1:], b[1:]
		}
	}
	return both
}

// sharedRows reads cards of a site and counts the rows of the probe that stand
// in one of them in a stretch. A card that grew in its logger stands in the
// network once for each time that it was read: a card is only read here for a
// key that none of the cards before it held.
func (s *Store) sharedRows(ctx context.Context, q querier, p *probe, hits []sketchHit) (int, error) {
	slices.SortFunc(hits, func(a, b sketchHit) int {
		return cmp.Or(cmp.Compare(len(b.shared), len(a.shared)), cmp.Compare(a.card, b.card))
	})
	c := p.cover()
	seen := map[uint64]struct{}{}
	for _, hit := range hits {
		if allIn(hit.shared, seen) {
			continue
		}
		keys, err := s.cardKeys(ctx, q, hit.card)
		if err != nil {
			return 0, err
		}
		c.add(keys)
		for _, k := range intersect(p.sorted(), slices.Compact(slices.Sorted(slices.Values(keys)))) {
			seen[k] = struct{}{}
		}
	}
	return c.count(), nil
}

func allIn(keys []uint64, set map[uint64]struct{}) bool {
	for _, k := range keys {
		if _, in := set[k]; !in {
			return false
		}
	}
	return true
}

// cardKeys returns the keys of a kept card, in file order.
func (s *Store) cardKeys(ctx context.Context, q querier, id string) ([]uint64, error) {
	t, err := s.texts.load(ctx, q, id)
	if err != nil {
		return nil, err
	}
	file, err := s.engine.read(t.bytes, cardfile.Hint{})
	if err != nil {
		return nil, fmt.Errorf("read card %s: %w", id, err)
	}
	return s.engine.keys(t.bytes, file)
}

// cover is which rows of a probe a site's cards hold.
type cover struct {
	*probe
	rows []bool
	done map[uint64]struct{} // hashes of grams found already: a halted clock repeats them without end
}

func (p *probe) cover() *cover {
	return &cover{probe: p, rows: make([]bool, len(p.keys)), done: map[uint64]struct{}{}}
}

// add marks the rows of the probe that stand among keys in stretches of at
// least c.stretch rows in the same order. Any longer stretch is a row of
// overlapping stretches of just that length.
func (c *cover) add(keys []uint64) {
	grams := c.grams()
	for j := 0; j+c.stretch <= len(keys); j++ {
		there := keys[j : j+c.stretch]
		hash := hashKeys(there)
		at, found := slices.BinarySearchFunc(grams, hash, func(g gram, h uint64) int { return cmp.Compare(g.hash, h) })
		if !found {
			continue
		}
		if _, before := c.done[hash]; before {
			continue
		}
		for _, g := range grams[at:] {
			if g.hash != hash {
				break
			}
			c.mark(int(g.row), there)
		}
		c.done[hash] = struct{}{}
	}
}

// mark marks the rows from row on if they are indeed there.
func (c *cover) mark(row int, there []uint64) {
	if !slices.Equal(c.keys[row:row+c.stretch], there) {
		return
	}
	for i := range c.stretch {
		c.rows[row+i] = true
	}
}

func (c *cover) count() int {
	n := 0
	for _, covered := range c.rows {
		if covered {
			n++
		}
	}
	return n
}

// hashKeys hashes a few keys in order (FNV-1a over words, with the offset and the
// prime of the 64-bit form).
func hashKeys(keys []uint64) uint64 {
	h := uint64(14695981039346656037)
	for _, k := range keys {
		h = (h ^ k) * 1099511628211
	}
	return h
}
