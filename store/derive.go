package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// engine is what turns kept bytes into derived things. It has no state.
type engine struct {
	read   func(data []byte, hint cardfile.Hint) (*cardfile.File, error)
	derive func(site usage.Site, kept importer.Kept) (usage.Logbook, usage.Derived, error)
}

var realEngine = engine{read: cardfile.Read, derive: deriveAll}

func deriveAll(site usage.Site, kept importer.Kept) (usage.Logbook, usage.Derived, error) {
	logbook, err := importer.Derive(site, kept)
	if err != nil {
		return logbook, usage.Derived{}, err
	}
	derived, err := usage.Derive(site, logbook)
	return logbook, derived, err
}

// deriveSite derives a site from all that is kept of it and makes its derived
// rows so.
// It returns the number of openings in the logbook. Cards that were read just
// now need not be read again.
func (s *Store) deriveSite(ctx context.Context, tx *tx, site keptSite, fresh ...packedCard) (int64, error) {
	kept, err := loadKept(ctx, tx, site.id)
	if err != nil {
		return 0, err
	}
	lend(kept.Cards, fresh)
	logbook, derived, err := s.engine.derive(site.Site, kept)
	if err == nil {
		err = writeDerived(ctx, tx, site.id, logbook, derived)
	}
	if err != nil {
		return 0, fmt.Errorf("derive site %s: %w", site.Code, err)
	}
	return int64(len(derived.Openings)), nil
}

// loadKept returns all that is kept of a site: its cards, and the service calls
// and rulings that stand.
func loadKept(ctx context.Context, q querier, site int64) (kept importer.Kept, err error) {
	if kept.Cards, err = loadCards(ctx, q, site); err != nil {
		return kept, err
	}
	if kept.Calls, err = calls(ctx, q, site); err != nil {
		return kept, err
	}
	orderCalls(kept.Calls)
	kept.Rulings, err = rulings(ctx, q, site)
	return kept, err
}

// orderCalls puts service calls in an order that hangs on what they say alone, and
// numbers them by it: their numbers in the database hang on who merged whom.
func orderCalls(all []usage.ServiceCall) {
	for i := range all {
		all[i].ID = 0
	}
	slices.SortStableFunc(all, func(a, b usage.ServiceCall) int {
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(callWords(a), callWords(b)))
	})
	for i := range all {
		all[i].ID = int64(i + 1)
	}
}

// callWords writes all that a service call says.
func callWords(c usage.ServiceCall) string {
	data, err := json.Marshal(c)
	if err != nil { // it was read from JSON and integers
		panic(err)
	}
	return string(data)
}

// lend gives cards the files that were read of them, if with the same hint.
func lend(cards []importer.Card, fresh []packedCard) {
	read := map[string]*packedCard{}
	for i := range fresh {
		read[fresh[i].id] = &fresh[i]
	}
	for i := range cards {
		if p := read[cards[i].ID]; p != nil && p.DateOrder == cards[i].Hint.DateOrder {
			cards[i].File = p.File
		}
	}
}

// writeDerived makes the derived rows of a site those of d, writing only rows
// that differ.
func writeDerived(ctx context.Context, tx *tx, site int64, lb usage.Logbook, d usage.Derived) error {
	if len(d.Openings) != len(lb.Openings) {
		return fmt.Errorf("%d openings were derived from %d", len(d.Openings), len(lb.Openings))
	}
	findings, err := keptFindings(d.Findings, lb.Cards)
	if err != nil {
		return err
	}
	runs, err := keptRuns(lb.Runs)
	if err != nil {
		return err
	}
	days, months := keptDays(d.Days), keptMonths(d.Months)
	for _, write := range []func() error{
		func() error { return writeBlocks(ctx, tx, site, d.Openings, lb.Cards) },
		func() error { return dayTable.replace(ctx, tx, site, days) },
		func() error { return monthTable.replace(ctx, tx, site, months) },
		func() error { return monthOpenTable.replace(ctx, tx, site, keptOpens(d.Opens)) },
		func() error { return bracketTable.replace(ctx, tx, site, seq2(d.Untimed)) },
		func() error { return stretchTable.replace(ctx, tx, site, seq2(d.Coverage)) },
		func() error { return runTable.replace(ctx, tx, site, seq2(runs)) },
		func() error { return findingTable.replace(ctx, tx, site, maps.All(findings)) },
		func() error {
			return logbookCardTable.replace(ctx, tx, site, maps.All(cardBegins(d.Openings, lb.Cards)))
		},
		func() error { return writeTotals(ctx, tx, site, d.Totals, lastCardAt(d.Openings)) },
	} {
		if err := write(); err != nil {
			return err
		}
	}
	return nil
}

// lastCardAt returns the last timed opening in logbook order: where the latest
// card ends. nil without one.
func lastCardAt(openings []usage.Opening) *int64 {
	for i := len(openings) - 1; i >= 0; i-- {
		if openings[i].Timed {
			return &openings[i].At
		}
	}
	return nil
}

// cardBegins returns, by id, where in time the stretch of the logbook begins
// that is told by each card. A card none of whose rows is told is not in it.
func cardBegins(openings []usage.Opening, cards []usage.CardRef) map[string]int64 {
	begins := make(map[string]int64, len(cards))
	seen := make([]bool, len(cards))
	for i := range openings {
		o := &openings[i]
		if seen[o.Card] {
			continue
		}
		seen[o.Card] = true
		begins[cards[o.Card].ID], _ = span(o)
	}
	return begins
}

var logbookCardTable = table[string, int64]{
	name: "logbook_card",
	query: `
		SELECT card, began_at
		FROM logbook_card
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (id string, at int64, err error) {
		err = rows.Scan(&id, &at)
		return id, at, err
	},
	upsert: `
		INSERT INTO logbook_card (site, card, began_at)
		VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE
		SET began_at = excluded.began_at`,
	bind:   func(id string, at int64) ([]any, error) { return []any{id, at}, nil },
	remove: `DELETE FROM logbook_card WHERE site = ? AND card = ?`,
}

var stretchTable = table[int64, usage.Stretch]{
	name: "stretch",
	query: `
		SELECT number, from_at, to_at, kind
		FROM stretch
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (number int64, s usage.Stretch, err error) {
		err = rows.Scan(&number, &s.From, &s.To, &s.Kind)
		return number, s, err
	},
	upsert: `
		INSERT INTO stretch (site, number, from_at, to_at, kind)
		VALUES (?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET from_at = excluded.from_at, to_at = excluded.to_at, kind = excluded.kind`,
	bind: func(number int64, s usage.Stretch) ([]any, error) {
		return []any{number, s.From, s.To, string(s.Kind)}, nil
	},
	remove: `DELETE FROM stretch WHERE site = ? AND number = ?`,
}

func stretches(ctx context.Context, q querier, site int64) ([]usage.Stretch, error) {
	return collect(ctx, q, func(rows *sql.Rows) (usage.Stretch, error) {
		_, s, err := stretchTable.scan(rows)
		return s, err
	}, stretchTable.query+`
		ORDER BY number`, site)
}

var runTable = table[int64, string]{
	name: "run",
	query: `
		SELECT number, body
		FROM run
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (number int64, body string, err error) {
		err = rows.Scan(&number, &body)
		return number, body, err
	},
	upsert: `
		INSERT INTO run (site, number, body)
		VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE
		SET body = excluded.body`,
	bind:   func(number int64, body string) ([]any, error) { return []any{number, body}, nil },
	remove: `DELETE FROM run WHERE site = ? AND number = ?`,
}

func keptRuns(runs []usage.Run) ([]string, error) {
	kept := make([]string, len(runs))
	for i, r := range runs {
		body, err := json.Marshal(r)
		if err != nil {
			return nil, fmt.Errorf("run %d: %w", i, err)
		}
		kept[i] = string(body)
	}
	return kept, nil
}

func runs(ctx context.Context, q querier, site int64) ([]usage.Run, error) {
	return collect(ctx, q, func(rows *sql.Rows) (usage.Run, error) {
		var r usage.Run
		number, body, err := runTable.scan(rows)
		if err != nil {
			return r, err
		}
		if err := json.Unmarshal([]byte(body), &r); err != nil {
			return r, fmt.Errorf("run %d: %w", number, err)
		}
		return r, nil
	}, runTable.query+`
		ORDER BY number`, site)
}

const totalsColumns = `totals.openings, totals.untimed, totals.visits, totals.visitor, totals.service, totals.rattle,
	totals.ajar, totals.open_s, totals.unknown_s, totals.exposure_s, totals.first_at, totals.last_at`

// totalsFields returns where Scan puts totalsColumns.
func totalsFields(t *usage.Totals) []any {
	return []any{
		&t.Openings, &t.Untimed, &t.Visits, &t.Visitor, &t.Service, &t.Rattle,
		&t.Ajar, &t.OpenS, &t.UnknownS, &t.ExposureS, &t.FirstAt, &t.LastAt,
	}
}

func writeTotals(ctx context.Context, tx *tx, site int64, t usage.Totals, last *int64) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO totals (site, openings, untimed, visits, visitor, service, rattle,
			ajar, open_s, unknown_s, exposure_s, first_at, last_at, last_card_at)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET openings = excluded.openings, untimed = excluded.untimed, visits = excluded.visits, visitor = excluded.visitor,
			service = excluded.service, rattle = excluded.rattle, ajar = excluded.ajar, open_s = excluded.open_s,
			unknown_s = excluded.unknown_s, exposure_s = excluded.exposure_s, first_at = excluded.first_at,
			last_at = excluded.last_at, last_card_at = excluded.last_card_at
		WHERE (openings, untimed, visits, visitor, service, rattle, ajar, open_s, unknown_s, exposure_s, first_at, last_at, last_card_at)
			IS NOT (excluded.openings, excluded.untimed, excluded.visits, excluded.visitor, excluded.service, excluded.rattle, excluded.ajar,
				excluded.open_s, excluded.unknown_s, excluded.exposure_s, excluded.first_at, excluded.last_at, excluded.last_card_at)`,
		site, t.Openings, t.Untimed, t.Visits, t.Visitor, t.Service, t.Rattle,
		t.Ajar, t.OpenS, t.UnknownS, t.ExposureS, t.FirstAt, t.LastAt, last)
	if err != nil {
		return fmt.Errorf("write totals: %w", err)
	}
	return nil
}
