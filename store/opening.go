package store

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"

	"doorleaf/usage"
)

// Page asks for openings of a site, in logbook order.
type Page struct {
	From, To *usage.Date // civil dates of the site, both included; nil: open-ended
	After    int64       // position in the logbook after which to begin; -1 for the start
	Limit    int         // 0: 1,000; at most 10,000
}

// OpeningRow is one opening with its place in the logbook and its raw line.
// Card of the opening is the index of its card in what Cards returns.
type OpeningRow struct {
	usage.Opening
	Position int64
	CardID   string
	Raw      string // the line as text, not escaped
}

// How many openings a page holds when nobody says, and at most.
const (
	usualPage   = 1_000
	largestPage = 10_000
)

// Openings returns a page of openings and the After of the next page, or -1.
// An untimed opening is in the page when its whole bracket is in the period.
func (s *Store) Openings(ctx context.Context, code string, page Page) ([]OpeningRow, int64, error) {
	var found []OpeningRow
	next := int64(-1)
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		w, err := windowOf(site.Zone, page)
		if err != nil {
			return err
		}
		if found, next, err = openings(ctx, q, site.id, w); err != nil {
			return err
		}
		return s.addRaw(ctx, q, site.id, found)
	})
	if err != nil {
		return nil, -1, fmt.Errorf("openings of %s: %w", code, err)
	}
	return found, next, nil
}

// window is a page in instants: [from, to), Unix s.
type window struct {
	from, to int64
	first    int64 // position
	limit    int
}

func windowOf(zone string, p Page) (window, error) {
	w := window{from: math.MinInt64, to: math.MaxInt64, first: max(p.After+1, 0), limit: p.Limit}
	if w.limit <= 0 {
		w.limit = usualPage
	}
	w.limit = min(w.limit, largestPage)
	z, err := usage.LoadZone(zone)
	if err != nil {
		return w, err
	}
	if p.From != nil {
		w.from = z.StartOfDay(*p.From)
	}
	if p.To != nil {
		w.to = z.StartOfDay(*p.To + 1)
	}
	return w, nil
}

func (w window) holds(o *usage.Opening) bool {
	low, high := span(o)
	return low >= w.from && high < w.to
}

// openings walks the blocks that can hold openings of the window until the page
// is full and one more is seen, which tells that there is a next page.
func openings(ctx context.Context, q querier, site int64, w window) ([]OpeningRow, int64, error) {
	var found []OpeningRow
	next := int64(-1)
	err := walk(ctx, q, func(rows *sql.Rows) error {
		number, b, err := scanBlock(rows)
		if err != nil {
			return err
		}
		for i := range b.openings {
			o := &b.openings[i]
			position := number*blockSize + int64(i)
			if position < w.first || !w.holds(o) {
				continue
			}
			if len(found) == w.limit {
				next = found[len(found)-1].Position
				return errStop
			}
			found = append(found, OpeningRow{Opening: *o, Position: position, CardID: b.cards[o.Card]})
		}
		return nil
	}, `
		SELECT number, count, body
		FROM block
		WHERE site = ? AND number >= ? AND high >= ? AND low < ?
		ORDER BY number`, site, w.first/blockSize, w.from, w.to)
	return found, next, err
}

func scanBlock(rows *sql.Rows) (number int64, b block, err error) {
	var count int
	var packed sql.RawBytes
	if err := rows.Scan(&number, &count, &packed); err != nil {
		return 0, b, err
	}
	plain, err := decompress(packed, 0)
	if err == nil {
		b, err = decodeBlock(plain, count)
	}
	if err != nil {
		return number, b, fmt.Errorf("block %d: %w", number, err)
	}
	return number, b, nil
}

// addRaw fills in the raw lines of openings and the index of their cards.
func (s *Store) addRaw(ctx context.Context, q querier, site int64, found []OpeningRow) error {
	place, err := cardPlaces(ctx, q, site)
	if err != nil {
		return err
	}
	for i := range found {
		o := &found[i]
		o.Card = place[o.CardID]
	}
	return s.texts.fill(ctx, q, found)
}

// writeBlocks makes the blocks of a site those of its openings. Only blocks
// whose digest is new are compressed and written.
func writeBlocks(ctx context.Context, tx *tx, site int64, openings []usage.Opening, cards []usage.CardRef) error {
	e := newBlockEncoder(cards)
	var failed error
	t := blockTable
	t.bind = func(number int64, h blockHead) ([]any, error) {
		body, err := compress(e.plain) // e has just encoded this block
		return []any{number, h.low, h.high, h.count, h.digest[:], body}, err
	}
	err := t.replace(ctx, tx, site, e.blocks(openings, &failed))
	if failed != nil {
		return failed
	}
	return err
}

// blocks yields the heads of the blocks of openings, each while its encoded
// openings stand in e.plain. It ends early at an error, which it leaves in failed.
func (e *blockEncoder) blocks(openings []usage.Opening, failed *error) iter.Seq2[int64, blockHead] {
	return func(yield func(int64, blockHead) bool) {
		for number := int64(0); len(openings) > 0; number++ {
			n := min(blockSize, len(openings))
			head, err := e.encode(openings[:n])
			if err != nil {
				*failed = err
				return
			}
			if !yield(number, head) {
				return
			}
			openings = openings[n:]
		}
	}
}

var blockTable = table[int64, blockHead]{
	name: "block",
	query: `
		SELECT number, low, high, count, digest
		FROM block
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (number int64, h blockHead, err error) {
		var digest sql.RawBytes
		err = rows.Scan(&number, &h.low, &h.high, &h.count, &digest)
		copy(h.digest[:], digest)
		return number, h, err
	},
	upsert: `
		INSERT INTO block (site, number, low, high, count, digest, body)
		VALUES (?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET low = excluded.low, high = excluded.high, count = excluded.count, digest = excluded.digest, body = excluded.body`,
	remove: `DELETE FROM block WHERE site = ? AND number = ?`,
}

// countOpenings returns the number of openings in a site's logbook.
func countOpenings(ctx context.Context, q querier, site int64) (int64, error) {
	var n int64
	err := q.QueryRowContext(ctx, `
		SELECT coalesce(sum(count), 0)
		FROM block
		WHERE site = ?`, site).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count openings: %w", err)
	}
	return n, nil
}
