package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"doorleaf/importer"
)

// Checked says what a check looked at and what it found wrong.
type Checked struct {
	Sites, Cards int
	CardBytes    int64 // of the card files together, not compressed
	Rows         int   // derived rows that were compared
	Digest       string
	Problems     []Problem
}

// Problem is something that is not as it should be.
type Problem struct {
	Site    string // "" for the whole network
	Says    string
	Derived bool // it is in what is derived: deriving the site again mends it
}

// Check looks whether the network is whole: the database by its own rules, the bytes
// of every card by their digest, and every derived row against a derivation from what
// is kept, site by site; of one site only where code is not "". It writes nothing and
// sees one commit a site. step, which may be nil, is called before each site. The
// error is of the check, not of the network.
func (s *Store) Check(ctx context.Context, code string, step func(code string)) (Checked, error) {
	var done Checked
	problems, err := integrity(ctx, s.reader, `integrity_check`)
	if err != nil {
		return done, fmt.Errorf("check: %w", busyFault(err))
	}
	for _, p := range problems {
		done.Problems = append(done.Problems, Problem{Says: p})
	}
	codes := []string{code}
	if code == "" {
		if codes, err = siteCodes(ctx, s.reader); err != nil {
			return done, busyFault(err)
		}
	}
	for _, code := range codes {
		if step != nil {
			step(code)
		}
		if err := s.checkSite(ctx, code, &done); err != nil {
			if ctx.Err() != nil || len(codes) == 1 {
				return done, fmt.Errorf("check %s: %w", code, busyFault(err))
			}
			done.Problems = append(done.Problems, Problem{Site: code, Says: "it cannot be read: " + err.Error()})
		}
	}
	if done.Digest, err = keptDigest(ctx, s.reader); err != nil {
		done.Problems = append(done.Problems, Problem{Says: "what is kept cannot be read: " + err.Error()})
	}
	return done, ctx.Err()
}

// integrity returns what SQLite finds wrong with a database, how being
// integrity_check or quick_check; at most some lines of it.
func integrity(ctx context.Context, q querier, how string) ([]string, error) {
	lines, err := collect(ctx, q, func(rows *sql.Rows) (line string, err error) {
		err = rows.Scan(&line)
		return line, err
	}, `PRAGMA `+how+`(10)`)
	if err != nil {
		if code := sqliteCode(err); code == corrupt || code == notADatabase {
			return append(lines, err.Error()), nil
		}
		return nil, err
	}
	lines = slices.DeleteFunc(lines, func(l string) bool { return l == "ok" })
	err = walk(ctx, q, func(rows *sql.Rows) error {
		var table, parent string
		var row sql.NullInt64
		var fk int
		if err := rows.Scan(&table, &row, &parent, &fk); err != nil {
			return err
		}
		lines = append(lines, fmt.Sprintf("a row of %s names a row of %s that is not there", table, parent))
		return nil
	}, `PRAGMA foreign_key_check`)
	if code := sqliteCode(err); code == corrupt || code == notADatabase {
		return append(lines, err.Error()), nil
	}
	return lines, err
}

// checkSite adds to done what is wrong with a site.
func (s *Store) checkSite(ctx context.Context, code string, done *Checked) error {
	return s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		done.Sites++
		c := siteCheck{ctx: ctx, store: s, q: q, site: site, done: done}
		whole, err := c.cards()
		if err != nil || !whole {
			return err
		}
		return c.derived()
	})
}

// siteCheck is the check of one site.
type siteCheck struct {
	ctx   context.Context
	store *Store
	q     querier
	site  keptSite
	done  *Checked
}

func (c *siteCheck) problem(derived bool, format string, args ...any) {
	c.done.Problems = append(c.done.Problems, Problem{c.site.Code, fmt.Sprintf(format, args...), derived})
}

// cards reads every card and compares its bytes with its digest, and what is noted of
// it with what it says. whole is false where bytes are damaged.
func (c *siteCheck) cards() (whole bool, err error) {
	order, err := siteOrder(c.ctx, c.q, c.site)
	if err != nil {
		return false, err
	}
	ids, err := collect(c.ctx, c.q, scanCode, `
		SELECT id
		FROM card
		WHERE site = ?
		ORDER BY id`, c.site.id)
	if err != nil {
		return false, err
	}
	whole = true
	for _, id := range ids {
		c.done.Cards++
		data, err := cardBytes(c.ctx, c.q, id)
		if err != nil {
			if c.ctx.Err() != nil {
				return false, err
			}
			whole = false
			c.problem(false, "%v", err)
			continue
		}
		c.done.CardBytes += int64(len(data))
		if err := c.facts(id, data, order); err != nil {
			return false, err
		}
	}
	return whole, nil
}

// facts compares what is noted of a card with what its bytes say.
func (c *siteCheck) facts(id string, data []byte, order string) error {
	var name, told, encoding string
	var fileOrder *string
	var size, lines, rows, complaints int
	var first, last *int64
	var sketch []byte
	err := c.q.QueryRowContext(c.ctx, `
		SELECT name, date_order, encoding, file_order, size, lines, rows, complaints, first_reading, last_reading, sketch
		FROM card
		WHERE id = ?`, id).Scan(&name, &told, &encoding, &fileOrder, &size, &lines, &rows, &complaints, &first, &last, &sketch)
	if err != nil {
		return err
	}
	f, err := c.store.engine.readFacts(CardIn{Bytes: data, DateOrder: told}, order)
	if err != nil {
		c.problem(false, "card %s (%.12s) cannot be read: %v", name, id, err)
		return nil
	}
	if size != f.size || encoding != f.encoding || !equal(fileOrder, f.order) || lines != f.lines || rows != f.rows ||
		complaints != f.complaints || !equal(first, f.first) || !equal(last, f.last) || !bytes.Equal(sketch, f.sketch) {
		c.problem(true, "what is noted of card %s (%.12s) differs from what it says", name, id)
	}
	return nil
}

// derived derives the site beside the network and compares every row.
func (c *siteCheck) derived() error {
	kept, err := loadKept(c.ctx, c.q, c.site.id)
	if err != nil {
		return err
	}
	beside, err := newScratch(c.ctx)
	if err != nil {
		return err
	}
	defer beside.Close()
	err = c.fill(beside, kept)
	if err != nil {
		return err
	}
	for _, table := range derivedNames {
		if err := c.compare(beside, table); err != nil {
			return fmt.Errorf("compare %s: %w", table, err)
		}
	}
	return nil
}

// newScratch opens an empty network in memory, in which derived rows may stand without
// their site and cards.
func newScratch(ctx context.Context) (*sql.DB, error) {
	db, err := sql.Open("sqlite", "file::memory:?_pragma=foreign_keys(0)")
	if err != nil {
		return nil, fmt.Errorf("open a network in memory: %w", err)
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	p, err := newProvider(db)
	if err == nil {
		_, err = p.Up(ctx)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("make a network in memory: %w", err), db.Close())
	}
	return db, nil
}

// fill derives the site into the network beside.
func (c *siteCheck) fill(beside *sql.DB, kept importer.Kept) error {
	t, err := beside.BeginTx(c.ctx, nil)
	if err != nil {
		return err
	}
	defer t.Rollback()
	write := &tx{Tx: t, now: time.Now().Unix()}
	logbook, derived, err := c.store.engine.derive(c.site.Site, kept)
	if err == nil {
		err = writeDerived(c.ctx, write, c.site.id, logbook, derived)
	}
	if err != nil {
		return fmt.Errorf("derive again: %w", err)
	}
	return t.Commit()
}

// compare reports how many rows of a derived table differ.
func (c *siteCheck) compare(beside *sql.DB, table string) error {
	is, err := derivedRows(c.ctx, c.q, table, c.site.id)
	if err != nil {
		return err
	}
	should, err := derivedRows(c.ctx, beside, table, c.site.id)
	if err != nil {
		return err
	}
	c.done.Rows += len(should)
	missing, surplus := 0, 0
	for row := range should {
		if !is[row] {
			missing++
		}
	}
	for row := range is {
		if !should[row] {
			surplus++
		}
	}
	if missing > 0 || surplus > 0 {
		c.problem(true, "%s: %d of %d rows are not what this Doorleaf derives from the cards, %d are missing", tableWords(table), surplus, len(is), max(missing-surplus, 0))
	}
	return nil
}

func tableWords(table string) string {
	words := map[string]string{
		"block": "openings", "day": "days", "month": "hours of the week", "stretch": "coverage", "run": "runs of the clock",
		"finding": "questions", "month_open": "open seconds", "bracket": "untimed openings", "logbook_card": "order of the cards", "totals": "totals",
	}
	if w := words[table]; w != "" {
		return w
	}
	return table
}

// derivedRows returns the rows of a site in a derived table, each as text. The bodies
// of blocks are unpacked, and must have the digest that stands beside them.
func derivedRows(ctx context.Context, q querier, table string, site int64) (map[string]bool, error) {
	all := map[string]bool{}
	err := walk(ctx, q, func(rows *sql.Rows) error {
		names, err := rows.Columns()
		if err != nil {
			return err
		}
		held := make([]any, len(names))
		fields := make([]any, len(names))
		for i := range held {
			fields[i] = &held[i]
		}
		if err := rows.Scan(fields...); err != nil {
			return err
		}
		if table == "block" {
			unpackBody(names, held)
		}
		var b strings.Builder
		for i := range held {
			fmt.Fprintf(&b, "%T %v|", held[i], held[i])
		}
		all[b.String()] = true
		return nil
	}, `SELECT * FROM `+table+` WHERE site = ?`, site)
	return all, err
}

// unpackBody puts the digest of the openings of a block in the place of its bytes,
// which another version of the compressor may write otherwise.
func unpackBody(names []string, held []any) {
	i := slices.Index(names, "body")
	if i < 0 {
		return
	}
	packed, _ := held[i].([]byte)
	plain, err := decompress(packed, 0)
	if err != nil {
		held[i] = "damaged"
		return
	}
	held[i] = cardID(plain)
}
