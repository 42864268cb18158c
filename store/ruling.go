package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"doorleaf/usage"
)

// What people may write beside an answer or a service call, in characters.
const (
	byRunes   = 80
	whyRunes  = 500
	noteRunes = 1000
)

// Rule keeps the answer to a finding of a site and derives the site again with
// it, in one transaction. An answer that stands is undone first, in the name of
// who gives the new one; the same answer again changes nothing. ruling.At is not
// read: the store's clock says it.
//
// A finding that there is not is NotFound; an answer that is none of its choices,
// nor usage.AnswerSeen, which every finding takes, is Invalid.
func (s *Store) Rule(ctx context.Context, code string, ruling usage.Ruling) error {
	ruling.By, ruling.Why = strings.TrimSpace(ruling.By), strings.TrimSpace(ruling.Why)
	if err := checkRuling(ruling); err != nil {
		return err
	}
	return s.changeSite(ctx, code, func(tx *tx, site keptSite) (bool, error) {
		if err := checkAnswer(ctx, tx, site, ruling); err != nil {
			return false, err
		}
		return rule(ctx, tx, site, ruling)
	})
}

// Unrule takes back the answer to a finding, whether or not the finding is still
// there, and derives the site as if it had never been given. It stays on record
// with who gave it and who took it back. Without an answer it is NotFound.
func (s *Store) Unrule(ctx context.Context, code, key, by string) error {
	by = strings.TrimSpace(by)
	if err := checkRuling(usage.Ruling{Key: key, By: by}); err != nil {
		return err
	}
	return s.changeSite(ctx, code, func(tx *tx, site keptSite) (bool, error) {
		undone, err := undo(ctx, tx, site, key, by)
		if err == nil && undone {
			err = tx.journal(ctx, Entry{Deed: DeedUnruled, Site: site.Code, Subject: key, Says: "took back the answer to " + key + signed(by)})
		}
		if err != nil || undone {
			return undone, err
		}
		return false, &usage.Fault{
			Kind: usage.NotFound,
			What: fmt.Sprintf("no answer stands to the question %q of %s", shorten(key), site.Code),
			Try:  "look at the questions of the site again: somebody may have undone it already",
		}
	})
}

// Rulings returns the answers of a site that stand, oldest first, those to
// findings that are no longer there included.
func (s *Store) Rulings(ctx context.Context, code string) ([]usage.Ruling, error) {
	var all []usage.Ruling
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		all, err = rulings(ctx, q, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("rulings of %s: %w", code, err)
	}
	return all, nil
}

// changeSite runs change and, where it says that it changed what is kept of the
// site, derives the site again, all in one transaction.
func (s *Store) changeSite(ctx context.Context, code string, change func(*tx, keptSite) (bool, error)) error {
	return s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		changed, err := change(tx, site)
		if err != nil || !changed {
			return err
		}
		_, err = s.deriveSite(ctx, tx, site)
		return err
	})
}

// checkRuling looks at the words of an answer.
func checkRuling(r usage.Ruling) error {
	switch {
	case !fits(r.By, byRunes):
		return &usage.Fault{Kind: usage.Invalid, What: "the name is too long or is no text", Try: fmt.Sprintf("use at most %d characters", byRunes)}
	case !fits(r.Why, whyRunes):
		return &usage.Fault{Kind: usage.Invalid, What: "the reason is too long or is no text", Try: fmt.Sprintf("use at most %d characters", whyRunes)}
	}
	return nil
}

// fits reports whether s is text of at most so many characters.
func fits(s string, runes int) bool {
	return utf8.ValidString(s) && !strings.ContainsRune(s, 0) && utf8.RuneCountInString(s) <= runes
}

// checkAnswer sees to it that the finding is there and takes the answer.
func checkAnswer(ctx context.Context, q querier, site keptSite, r usage.Ruling) error {
	found, err := collect(ctx, q, func(rows *sql.Rows) (string, error) {
		_, f, err := findingTable.scan(rows)
		return f.choices, err
	}, findingTable.query+`
		AND key = ?`, site.id, r.Key)
	if err != nil {
		return fmt.Errorf("find question %s: %w", r.Key, err)
	}
	if len(found) == 0 {
		return &usage.Fault{
			Kind: usage.NotFound,
			What: fmt.Sprintf("%s has no question %q", site.Code, shorten(r.Key)),
			Try:  "look at the questions of the site again: a new card may have settled it",
		}
	}
	choices, err := decodeChoices(found[0])
	if err != nil {
		return err
	}
	if r.Answer == usage.AnswerSeen || slices.ContainsFunc(choices, func(c usage.Choice) bool { return c.Answer == r.Answer }) {
		return nil
	}
	return &usage.Fault{
		Kind: usage.Invalid,
		What: fmt.Sprintf("the question does not take the answer %q", shorten(string(r.Answer))),
		Try:  "choose one of the answers that stand below it",
	}
}

// rule writes an answer unless the very same stands.
func rule(ctx context.Context, tx *tx, site keptSite, r usage.Ruling) (changed bool, err error) {
	standing, err := rulings(ctx, tx, site.id)
	if err != nil {
		return false, err
	}
	if old := usage.RulingFor(standing, r.Key); old != nil {
		if old.Answer == r.Answer && old.By == r.By && old.Why == r.Why {
			return false, nil
		}
		if _, err := undo(ctx, tx, site, r.Key, r.By); err != nil {
			return false, err
		}
	}
	_, err = tx.ExecContext(ctx, `
		INSERT INTO ruling (site, finding, answer, said_by, said_at, why)
		VALUES (?, ?, ?, ?, ?, ?)`,
		site.id, r.Key, string(r.Answer), r.By, tx.now, r.Why)
	if err != nil {
		return false, fmt.Errorf("keep ruling on %s: %w", r.Key, err)
	}
	says := fmt.Sprintf("answered %s to %s", r.Answer, r.Key)
	if r.Why != "" {
		says += ": " + r.Why
	}
	return true, tx.journal(ctx, Entry{Deed: DeedRuled, Site: site.Code, Subject: r.Key, Says: says + signed(r.By)})
}

// signed says who signed an answer.
func signed(by string) string {
	if by == "" {
		return ""
	}
	return " (signed " + by + ")"
}

// undo marks the answer that stands as taken back.
func undo(ctx context.Context, tx *tx, site keptSite, key, by string) (undone bool, err error) {
	res, err := tx.ExecContext(ctx, `
		UPDATE ruling
		SET undone_by = ?, undone_at = ?
		WHERE site = ? AND finding = ? AND undone_at IS NULL`, by, tx.now, site.id, key)
	if err != nil {
		return false, fmt.Errorf("undo ruling on %s: %w", key, err)
	}
	n, err := res.RowsAffected()
	return n > 0, err
}

// rulings returns the answers that stand, oldest first.
func rulings(ctx context.Context, q querier, site int64) ([]usage.Ruling, error) {
	all, err := collect(ctx, q, func(rows *sql.Rows) (r usage.Ruling, err error) {
		err = rows.Scan(&r.Key, &r.Answer, &r.By, &r.At, &r.Why)
		return r, err
	}, `
		SELECT finding, answer, said_by, said_at, why
		FROM ruling
		WHERE site = ? AND undone_at IS NULL
		ORDER BY said_at, id`, site)
	if err != nil {
		return nil, fmt.Errorf("load rulings: %w", err)
	}
	return all, nil
}
