package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// CardIn is a card file to be kept.
type CardIn struct {
	Name      string
	Bytes     []byte
	RemovedAt *int64 // true instant at which the card came out, Unix s
	DateOrder string // "" to infer

	RemovedExact bool // RemovedAt is to the second

	// File is the card file as read with DateOrder as the only hint; nil: it is
	// read when needed.
	File *cardfile.File
}

// Card is what the store knows of a kept card, without its bytes.
type Card struct {
	ID         string // SHA-256 of its bytes, lower-case hex
	Site       string
	Name       string
	Size       int64
	ImportedAt int64 // Unix s
	RemovedAt  *int64
	Exact      bool   // RemovedAt is to the second
	DateOrder  string // as told by the coordinator; "" inferred
	Lines      int
	Rows       int
	Complaints int
	First      *int64 // wall seconds of the first and last row that have a reading
	Last       *int64
}

// Cards returns the kept cards of a site, oldest logbook stretch first. A card
// whose rows all stand in other cards goes by its first reading.
func (s *Store) Cards(ctx context.Context, code string) ([]Card, error) {
	var cards []Card
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		cards, err = collect(ctx, q, scanCard, cardQuery+`
			`+cardOrder, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("cards of %s: %w", code, err)
	}
	return cards, nil
}

// Card returns one kept card, or NotFound.
func (s *Store) Card(ctx context.Context, id string) (Card, error) {
	return findCard(ctx, s.reader, id)
}

// CardBytes returns a kept card's bytes, exactly as they came.
func (s *Store) CardBytes(ctx context.Context, id string) ([]byte, error) {
	return cardBytes(ctx, s.reader, id)
}

// cardBytes returns the bytes of a card: those that were kept under its ID, or an
// error. Bytes that have changed since are a Conflict.
func cardBytes(ctx context.Context, q querier, id string) ([]byte, error) {
	found, err := collect(ctx, q, scanBody, `
		SELECT size, body
		FROM card
		WHERE id = ?`, id)
	if err != nil {
		return nil, damagedCard(id, err)
	}
	if len(found) == 0 {
		return nil, noCard(id)
	}
	if cardID(found[0]) != id {
		return nil, damagedCard(id, nil)
	}
	return found[0], nil
}

// damagedCard says that the bytes of a card are not those that were kept, or cannot be
// read.
func damagedCard(id string, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &usage.Fault{
		Kind: usage.Conflict,
		What: fmt.Sprintf("the kept bytes of card %s are damaged", id),
		Try:  "doorleaf check shows all that is damaged; doorleaf restore puts a copy in its place",
		Err:  err,
	}
}

func scanBody(rows *sql.Rows) ([]byte, error) {
	var size int64
	var packed sql.RawBytes
	if err := rows.Scan(&size, &packed); err != nil {
		return nil, err
	}
	return decompress(packed, size)
}

const cardQuery = `
	SELECT card.id, site.code, card.name, size, imported_at, removed_at, removed_exact, date_order,
		lines, rows, complaints, first_reading, last_reading
	FROM card
	JOIN site ON site.id = card.site`

// cardOrder completes a query of the cards of a site.
const cardOrder = `
	LEFT JOIN logbook_card ON logbook_card.card = card.id
	WHERE card.site = ?
	ORDER BY coalesce(began_at, first_reading) NULLS LAST, card.id`

// cardPlaces returns the index of each card of a site in what Cards returns.
func cardPlaces(ctx context.Context, q querier, site int64) (map[string]int32, error) {
	place := map[string]int32{}
	err := walk(ctx, q, func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		place[id] = int32(len(place))
		return err
	}, `
		SELECT card.id
		FROM card`+cardOrder, site)
	return place, err
}

func scanCard(rows *sql.Rows) (Card, error) {
	var c Card
	err := rows.Scan(&c.ID, &c.Site, &c.Name, &c.Size, &c.ImportedAt, &c.RemovedAt, &c.Exact, &c.DateOrder,
		&c.Lines, &c.Rows, &c.Complaints, &c.First, &c.Last)
	return c, err
}

func findCard(ctx context.Context, q querier, id string) (Card, error) {
	found, err := collect(ctx, q, scanCard, cardQuery+`
		WHERE card.id = ?`, id)
	if err != nil {
		return Card{}, fmt.Errorf("find card %s: %w", id, err)
	}
	if len(found) == 0 {
		return Card{}, noCard(id)
	}
	return found[0], nil
}

func noCard(id string) error {
	return &usage.Fault{
		Kind: usage.NotFound,
		What: fmt.Sprintf("there is no card %q", shorten(id)),
		Try:  "look at the cards of the site; it may have been withdrawn",
	}
}

// cardID returns the id of a card file: the SHA-256 (FIPS 180-4) of its bytes.
func cardID(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// cleanName makes a file name from anywhere fit for a TEXT column.
func cleanName(name string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(name, "\uFFFD"), "\x00", "\uFFFD")
}

// facts are what a card file says, as read by the importer.
type facts struct {
	encoding                string
	order                   *string // date order that the file tells, or that it was told; nil unknown
	size                    int     // bytes
	lines, rows, complaints int
	first, last             *int64
	sketch                  []byte
}

// file returns a card file as read with the date order that it was told.
func (e engine) file(c CardIn) (*cardfile.File, error) {
	if c.File != nil {
		return c.File, nil
	}
	return e.read(c.Bytes, cardfile.Hint{DateOrder: c.DateOrder})
}

// readFacts reads a card file with the date order that it was told. Where that
// is "" and the file cannot tell, its rows are read with the site's.
func (e engine) readFacts(c CardIn, site string) (facts, error) {
	file, err := e.file(c)
	if err != nil {
		return facts{}, err
	}
	data := c.Bytes
	f := facts{encoding: file.Encoding, order: file.Dialect.DateOrder, size: len(data)}
	if file.Ambiguous && site != "" {
		if file, err = e.read(data, cardfile.Hint{DateOrder: site}); err != nil {
			return facts{}, err
		}
	}
	f.lines, f.rows, f.complaints = file.Lines, len(file.Rows), len(file.Complaints)
	f.first, f.last = ends(file.Rows)
	keys, err := e.keys(data, file)
	f.sketch = encodeSketch(sketchOf(keys))
	return f, err
}

// siteOrder returns the date order of cards that cannot tell their own, as the
// importer takes it in a derivation: the profile's, else that of the site's
// other cards where they agree, else "".
func siteOrder(ctx context.Context, q querier, site keptSite) (string, error) {
	if site.Profile.DateOrder != "" {
		return site.Profile.DateOrder, nil
	}
	orders, err := collect(ctx, q, func(rows *sql.Rows) (order string, err error) {
		err = rows.Scan(&order)
		return order, err
	}, `
		SELECT DISTINCT file_order
		FROM card
		WHERE site = ? AND file_order IS NOT NULL`, site.id)
	if err != nil {
		return "", fmt.Errorf("date order of %s: %w", site.Code, err)
	}
	if len(orders) != 1 {
		return "", nil
	}
	return orders[0], nil
}

// ends returns the readings of the first and last row that have one.
func ends(rows []cardfile.Row) (first, last *int64) {
	timed := func(r cardfile.Row) bool { return r.Timed }
	i := slices.IndexFunc(rows, timed)
	if i < 0 {
		return nil, nil
	}
	j := len(rows) - 1
	for !rows[j].Timed {
		j--
	}
	a, b := rows[i].Reading, rows[j].Reading // copies: pointers would keep all rows in memory
	return &a, &b
}

// Which cards of a site: all, or those with rows of which none has a time,
// since their date order is not known.
const (
	everyCard   = ``
	undatedCard = ` AND rows > 0 AND first_reading IS NULL`
)

// readFactsAgain reads cards of a site and corrects the facts that differ: after
// a change of the site's profile, its cards, or the importer.
func (s *Store) readFactsAgain(ctx context.Context, tx *tx, site keptSite, which string) error {
	order, err := siteOrder(ctx, tx, site)
	if err != nil {
		return err
	}
	cards, err := loadSome(ctx, tx, site.id, which)
	if err != nil {
		return err
	}
	for _, c := range cards {
		f, err := s.engine.readFacts(CardIn{Bytes: c.Bytes, DateOrder: c.Hint.DateOrder}, order)
		if err != nil {
			return fmt.Errorf("card %s: %w", c.Name, err)
		}
		_, err = tx.ExecContext(ctx, `
			UPDATE card
			SET encoding = ?2, file_order = ?3, lines = ?4, rows = ?5, complaints = ?6, first_reading = ?7, last_reading = ?8, sketch = ?9
			WHERE id = ?1
				AND (encoding, file_order, lines, rows, complaints, first_reading, last_reading, sketch)
					IS NOT (?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)`,
			c.ID, f.encoding, f.order, f.lines, f.rows, f.complaints, f.first, f.last, f.sketch)
		if err != nil {
			return fmt.Errorf("facts of card %s: %w", c.Name, err)
		}
	}
	return nil
}

// loadCards returns the kept cards of a site for the importer, by id.
func loadCards(ctx context.Context, q querier, site int64) ([]importer.Card, error) {
	return loadSome(ctx, q, site, everyCard)
}

func loadSome(ctx context.Context, q querier, site int64, which string) ([]importer.Card, error) {
	fresh, _ := q.(*tx)
	cards, err := collect(ctx, q, func(rows *sql.Rows) (importer.Card, error) { return scanLoaded(rows, fresh) }, `
		SELECT id, name, removed_at, removed_exact, date_order, size, body
		FROM card
		WHERE site = ?`+which+`
		ORDER BY id`, site)
	if err != nil {
		return nil, fmt.Errorf("load cards: %w", err)
	}
	return cards, nil
}

// scanLoaded reads a card; one that was kept in the same transaction has its bytes there.
func scanLoaded(rows *sql.Rows, fresh *tx) (importer.Card, error) {
	var c importer.Card
	var size int64
	var packed sql.RawBytes
	if err := rows.Scan(&c.ID, &c.Name, &c.RemovedAt, &c.RemovedExact, &c.Hint.DateOrder, &size, &packed); err != nil {
		return c, err
	}
	if data, ok := fresh.bytesOf(c.ID); ok {
		c.Bytes = data
		return c, nil
	}
	var err error
	if c.Bytes, err = decompress(packed, size); err != nil || cardID(c.Bytes) != c.ID {
		return c, damagedCard(c.ID, err)
	}
	return c, nil
}
