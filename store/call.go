package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"doorleaf/usage"
)

// callKinds are the kinds of service call in the order in which they are kept.
var callKinds = []usage.CallKind{
	usage.CallRestock, usage.CallCardOut, usage.CallCardIn, usage.CallBatteries, usage.CallCoinCell,
	usage.CallClockSet, usage.CallTimeNoted, usage.CallRepair, usage.CallNote,
}

// Limits of a service call. Common practice, no source: wide enough for any real
// box, narrow enough to catch a slip of the finger.
const (
	mostBooks  = 10_000
	mostErrorS = 7 * 86400
	aheadS     = 86400 // how far in the future a true time may lie: clocks of phones differ
)

// firstTrue is the earliest true time that anybody may give: 1990-01-01 UTC.
var firstTrue = time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC).Unix()

// Calls returns the service calls of a site that stand, by time.
func (s *Store) Calls(ctx context.Context, code string) ([]usage.ServiceCall, error) {
	var all []usage.ServiceCall
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		all, err = calls(ctx, q, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("service calls of %s: %w", code, err)
	}
	return all, nil
}

// AddCall keeps a service call, derives the site again with it and returns the
// call's ID. call.ID is not read. A call that makes no sense is Invalid.
func (s *Store) AddCall(ctx context.Context, code string, call usage.ServiceCall) (int64, error) {
	var id int64
	err := s.changeSite(ctx, code, func(tx *tx, site keptSite) (_ bool, err error) {
		if call, err = tidyCall(call, tx.now); err != nil {
			return false, err
		}
		if id, err = insertCall(ctx, tx, site.id, call, nil); err != nil {
			return false, err
		}
		return true, tx.journal(ctx, callEntry(DeedCallKept, site, id, call))
	})
	return id, err
}

// ChangeCall puts call in the place of the one with its ID and derives the site
// again. The old one stays on record as withdrawn; the new one has an ID of its
// own, which is returned. Where nothing differs it changes nothing. A call that
// there is not, or that was withdrawn, is NotFound.
func (s *Store) ChangeCall(ctx context.Context, code string, call usage.ServiceCall) (int64, error) {
	id := call.ID
	err := s.changeSite(ctx, code, func(tx *tx, site keptSite) (_ bool, err error) {
		if call, err = tidyCall(call, tx.now); err != nil {
			return false, err
		}
		old, err := findCall(ctx, tx, site, call.ID)
		if err != nil || sameCall(old, call) {
			return false, err
		}
		if err := withdrawCall(ctx, tx, site, call.ID); err != nil {
			return false, err
		}
		if id, err = insertCall(ctx, tx, site.id, call, &call.ID); err != nil {
			return false, err
		}
		return true, tx.journal(ctx, callEntry(DeedCallChanged, site, id, call))
	})
	return id, err
}

// DropCall withdraws a service call and derives the site as if it had never been
// told. It stays on record.
func (s *Store) DropCall(ctx context.Context, code string, id int64) error {
	return s.changeSite(ctx, code, func(tx *tx, site keptSite) (bool, error) {
		call, err := findCall(ctx, tx, site, id)
		if err != nil {
			return false, err
		}
		if err := withdrawCall(ctx, tx, site, id); err != nil {
			return false, err
		}
		return true, tx.journal(ctx, callEntry(DeedCallDropped, site, id, call))
	})
}

// callEntry is the journal's line of a service call.
func callEntry(deed Deed, site keptSite, id int64, c usage.ServiceCall) Entry {
	kinds := make([]string, len(c.Kinds))
	for i, k := range c.Kinds {
		kinds[i] = string(k)
	}
	e := Entry{Deed: deed, Site: site.Code, Subject: fmt.Sprint(id), Says: fmt.Sprintf("service call of %s: %s", instantWords(c.At), strings.Join(kinds, ", "))}
	if c.Note != "" {
		e.Says += ": " + c.Note
	}
	return e
}

// Removal sets the true instant at which a kept card came out of its logger, exact where
// it is to the second, or takes it away where at is nil, and derives the card's site again.
func (s *Store) Removal(ctx context.Context, id string, at *int64, exact bool) error {
	return s.write(ctx, func(tx *tx) error {
		card, err := findCard(ctx, tx, id)
		if err != nil || equal(card.RemovedAt, at) && (at == nil || card.Exact == exact) {
			return err
		}
		if at != nil && !sensibleTime(*at, tx.now) {
			return &usage.Fault{Kind: usage.Invalid, What: "the card cannot have come out then", Try: tryTime}
		}
		tx.touch(card.Site)
		if _, err := tx.ExecContext(ctx, `UPDATE card SET removed_at = ?, removed_exact = ? WHERE id = ?`, at, exact && at != nil, id); err != nil {
			return fmt.Errorf("removal of card %s: %w", id, err)
		}
		says := "card " + card.Name + ": its removal is not known any more"
		if at != nil {
			says = "card " + card.Name + ": out at " + instantWords(*at)
		}
		if err := tx.journal(ctx, Entry{Deed: DeedCardTold, Site: card.Site, Subject: id, Says: says}); err != nil {
			return err
		}
		site, err := findSite(ctx, tx, card.Site)
		if err != nil {
			return err
		}
		_, err = s.deriveSite(ctx, tx, site)
		return err
	})
}

const tryTime = "give a time between 1990 and now"

// sensibleTime reports whether somebody may have noted the true time at.
func sensibleTime(at, now int64) bool { return at >= firstTrue && at <= now+aheadS }

// tidyCall puts a call's kinds in order, each once, and returns Invalid for the
// first thing about it that makes no sense.
func tidyCall(c usage.ServiceCall, now int64) (usage.ServiceCall, error) {
	c.Note = strings.TrimSpace(c.Note)
	c.Kinds = slices.Clone(c.Kinds)
	if len(c.Kinds) == 0 && c.Note != "" {
		c.Kinds = []usage.CallKind{usage.CallNote}
	}
	rank := func(k usage.CallKind) int { return slices.Index(callKinds, k) }
	slices.SortFunc(c.Kinds, func(a, b usage.CallKind) int { return cmp.Compare(rank(a), rank(b)) })
	c.Kinds = slices.Compact(c.Kinds)
	for _, check := range []struct {
		good      bool
		what, try string
	}{
		{len(c.Kinds) > 0, "the service call does not say what was done", "tick what was done, or write a note"},
		{!slices.ContainsFunc(c.Kinds, func(k usage.CallKind) bool { return rank(k) < 0 }), "the service call did a thing that there is not", "tick one of the things in the list"},
		{sensibleTime(c.At, now), "the service call cannot have been then", tryTime},
		{c.ErrorS >= 0 && c.ErrorS <= mostErrorS, "the time of the service call is known too loosely", "give it to within a week"},
		{!c.Did(usage.CallTimeNoted) || c.Reading != nil, "the time was noted, but not what the logger's clock showed", "give the reading as well"},
		{sensibleBooks(c.BooksIn) && sensibleBooks(c.BooksNow), "the number of books makes no sense", fmt.Sprintf("give a number from 0 to %d, or none", mostBooks)},
		{fits(c.Note, noteRunes), "the note is too long or is no text", fmt.Sprintf("use at most %d characters", noteRunes)},
	} {
		if !check.good {
			return c, &usage.Fault{Kind: usage.Invalid, What: check.what, Try: check.try}
		}
	}
	return c, nil
}

func sensibleBooks(n *int32) bool { return n == nil || *n >= 0 && *n <= mostBooks }

// sameCall compares all but the IDs.
func sameCall(a, b usage.ServiceCall) bool {
	return a.At == b.At && a.ErrorS == b.ErrorS && slices.Equal(a.Kinds, b.Kinds) && a.Note == b.Note &&
		equal(a.Reading, b.Reading) && equal(a.BooksIn, b.BooksIn) && equal(a.BooksNow, b.BooksNow)
}

func equal[T comparable](a, b *T) bool { return a == b || a != nil && b != nil && *a == *b }

const callColumns = `id, at, error_s, kinds, reading, books_in, books_now, note`

func scanCall(rows *sql.Rows) (usage.ServiceCall, error) {
	var c usage.ServiceCall
	var kinds []byte
	if err := rows.Scan(&c.ID, &c.At, &c.ErrorS, &kinds, &c.Reading, &c.BooksIn, &c.BooksNow, &c.Note); err != nil {
		return c, err
	}
	if err := json.Unmarshal(kinds, &c.Kinds); err != nil {
		return c, fmt.Errorf("kinds of service call %d: %w", c.ID, err)
	}
	return c, nil
}

// calls returns the service calls that stand, by time.
func calls(ctx context.Context, q querier, site int64) ([]usage.ServiceCall, error) {
	all, err := collect(ctx, q, scanCall, `
		SELECT `+callColumns+`
		FROM service_call
		WHERE site = ? AND withdrawn_at IS NULL
		ORDER BY at, id`, site)
	if err != nil {
		return nil, fmt.Errorf("load service calls: %w", err)
	}
	return all, nil
}

// findCall returns a service call that stands, or NotFound.
func findCall(ctx context.Context, q querier, site keptSite, id int64) (usage.ServiceCall, error) {
	found, err := collect(ctx, q, scanCall, `
		SELECT `+callColumns+`
		FROM service_call
		WHERE site = ? AND id = ? AND withdrawn_at IS NULL`, site.id, id)
	if err != nil {
		return usage.ServiceCall{}, fmt.Errorf("find service call %d: %w", id, err)
	}
	if len(found) == 0 {
		return usage.ServiceCall{}, &usage.Fault{
			Kind: usage.NotFound,
			What: fmt.Sprintf("%s has no service call %d", site.Code, id),
			Try:  "look at the list again: it may have been changed or withdrawn",
		}
	}
	return found[0], nil
}

func insertCall(ctx context.Context, tx *tx, site int64, c usage.ServiceCall, instead *int64) (int64, error) {
	kinds, err := json.Marshal(c.Kinds)
	if err != nil {
		return 0, fmt.Errorf("kinds of service call: %w", err)
	}
	res, err := tx.ExecContext(ctx, `
		INSERT INTO service_call (site, at, error_s, kinds, reading, books_in, books_now, note, made_at, instead_of)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		site, c.At, c.ErrorS, string(kinds), c.Reading, c.BooksIn, c.BooksNow, c.Note, tx.now, instead)
	if err != nil {
		return 0, fmt.Errorf("keep service call: %w", err)
	}
	return res.LastInsertId()
}

func withdrawCall(ctx context.Context, tx *tx, site keptSite, id int64) error {
	_, err := tx.ExecContext(ctx, `
		UPDATE service_call
		SET withdrawn_at = ?
		WHERE site = ? AND id = ?`, tx.now, site.id, id)
	if err != nil {
		return fmt.Errorf("withdraw service call %d: %w", id, err)
	}
	return nil
}
