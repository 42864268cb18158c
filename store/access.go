package store

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"doorleaf/usage"
)

// Role is what somebody who gave a passphrase may do. Each may do what those
// before it may.
type Role string

// The roles, the least first.
const (
	RoleReading      Role = "reading"      // look at pages and charts
	RoleReports      Role = "reports"      // and take reports, exports and card files away
	RoleCoordinating Role = "coordinating" // and change things
)

// Roles returns the roles, the least first.
func Roles() []Role { return []Role{RoleReading, RoleReports, RoleCoordinating} }

// Access is who has a passphrase, and what is open without one.
type Access struct {
	SetAt       map[Role]int64 // Unix s at which a role's passphrase was set; no entry: it has none
	ReadingOpen bool           // everybody who reaches the server may read
}

// Has reports whether a role has a passphrase.
func (a Access) Has(role Role) bool {
	_, ok := a.SetAt[role]
	return ok
}

// Access returns who has a passphrase.
func (s *Store) Access(ctx context.Context) (Access, error) {
	a := Access{SetAt: map[Role]int64{}}
	err := walk(ctx, s.reader, func(rows *sql.Rows) error {
		var role sql.Null[Role]
		var at sql.NullInt64
		err := rows.Scan(&a.ReadingOpen, &role, &at)
		if role.Valid {
			a.SetAt[role.V] = at.Int64
		}
		return err
	}, `
		SELECT reading_open, role, set_at
		FROM access_setting
		LEFT JOIN passphrase ON TRUE`)
	if err != nil {
		return a, fmt.Errorf("read who may do what: %w", err)
	}
	return a, nil
}

// Bounds of a passphrase. Twelve characters are four short words; NIST SP 800-63B
// (2017), section 5.1.1.2, asks for eight at least and 64 at least to be allowed,
// and for no rules of composition.
const (
	phraseRunes    = 12
	phraseMost     = 256
	phraseVariety  = 5 // different characters
	sameRoleAsking = "choose another: it is already the one of a different role, and nobody could tell them apart"
)

// tidyPhrase makes one form of all the ways to type a phrase (NFKC, as the same
// standard asks), without the blank that a phone leaves at its end.
func tidyPhrase(phrase string) string {
	return strings.TrimSpace(norm.NFKC.String(phrase))
}

// CheckPhrase returns Invalid for a phrase that is too easy to guess.
func CheckPhrase(phrase string) error {
	phrase = tidyPhrase(phrase)
	different := map[rune]bool{}
	for _, r := range phrase {
		different[r] = true
	}
	switch n := utf8.RuneCountInString(phrase); {
	case !utf8.ValidString(phrase) || strings.ContainsAny(phrase, "\x00\r\n"):
		return &usage.Fault{Kind: usage.Invalid, What: "the passphrase is no line of text", Try: "use words"}
	case n < phraseRunes:
		return &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("the passphrase has %d characters, and needs %d", n, phraseRunes),
			Try: "take four or five words that have nothing to do with each other"}
	case n > phraseMost:
		return &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("the passphrase has more than %d characters", phraseMost), Try: "take four or five words"}
	case len(different) < phraseVariety:
		return &usage.Fault{Kind: usage.Invalid, What: "the passphrase says the same few characters again and again",
			Try: "take four or five words that have nothing to do with each other"}
	}
	return nil
}

// SetPassphrase gives a role a passphrase in place of any it had, and signs all
// who had that role out. A phrase that is too easy, or that another role has, is
// a Fault. The phrase that the role has already changes nothing.
func (s *Store) SetPassphrase(ctx context.Context, role Role, phrase string) error {
	if !slices.Contains(Roles(), role) {
		return noRole(role)
	}
	if err := CheckPhrase(phrase); err != nil {
		return err
	}
	has, _, err := s.matching(ctx, phrase)
	switch {
	case err != nil:
		return err
	case has == role:
		return nil
	case has != "":
		return &usage.Fault{Kind: usage.Conflict, What: "the passphrase is in use", Try: sameRoleAsking}
	}
	s.hashes <- struct{}{}
	hash := hashPassphrase(tidyPhrase(phrase), usualHashing)
	<-s.hashes
	return s.writeAside(ctx, func(tx *tx) error {
		_, err := tx.ExecContext(ctx, `
			INSERT INTO passphrase (role, hash, set_at)
			VALUES (?, ?, ?)
			ON CONFLICT (role) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at`, string(role), hash, tx.now)
		if err != nil {
			return fmt.Errorf("set passphrase: %w", err)
		}
		if _, err := endSessions(ctx, tx, `role = ?`, string(role)); err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedPassphrase, Subject: string(role), Says: "a new passphrase for " + string(role) + "; who had the old one was signed out"})
	})
}

// RemovePassphrase takes a role's passphrase away and signs all who had that role
// out. It returns NotFound where there was none.
func (s *Store) RemovePassphrase(ctx context.Context, role Role) error {
	if !slices.Contains(Roles(), role) {
		return noRole(role)
	}
	return s.writeAside(ctx, func(tx *tx) error {
		res, err := tx.ExecContext(ctx, `DELETE FROM passphrase WHERE role = ?`, string(role))
		if err != nil {
			return fmt.Errorf("remove passphrase: %w", err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return cmpErr(err, &usage.Fault{Kind: usage.NotFound, What: "there is no passphrase for " + string(role)})
		}
		if _, err := endSessions(ctx, tx, `role = ?`, string(role)); err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedPassphrase, Subject: string(role), Says: "the passphrase for " + string(role) + " was taken away; who had it was signed out"})
	})
}

func cmpErr(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

func noRole(role Role) error {
	return &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("there is no role %q", shorten(string(role))), Try: "use reading, reports or coordinating"}
}

// OpenReading lets everybody who reaches the server read, or ends that.
func (s *Store) OpenReading(ctx context.Context, open bool) error {
	return s.writeAside(ctx, func(tx *tx) error {
		res, err := tx.ExecContext(ctx, `
			UPDATE access_setting
			SET reading_open = ?1
			WHERE reading_open <> ?1`, open)
		if err != nil {
			return fmt.Errorf("open reading: %w", err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return err
		}
		says := "reading takes a passphrase"
		if open {
			says = "everybody who reaches the server may read"
		}
		return tx.journal(ctx, Entry{Deed: DeedReading, Says: says})
	})
}

// matching returns the role whose passphrase a phrase is, and its hash, or "". It tries all of
// them whatever it finds, one after another, so that neither time nor memory
// tells which there are and which was nearly it. One phrase is tried at a time.
func (s *Store) matching(ctx context.Context, phrase string) (found Role, hash string, err error) {
	type kept struct {
		role Role
		hash string
	}
	all, err := collect(ctx, s.reader, func(rows *sql.Rows) (k kept, err error) {
		err = rows.Scan(&k.role, &k.hash)
		return k, err
	}, `
		SELECT role, hash
		FROM passphrase
		ORDER BY role`)
	if err != nil {
		return "", "", fmt.Errorf("read passphrases: %w", err)
	}
	if utf8.RuneCountInString(phrase) > 4*phraseMost {
		return "", "", nil
	}
	select {
	case s.hashes <- struct{}{}:
		defer func() { <-s.hashes }()
	case <-ctx.Done():
		return "", "", ctx.Err()
	}
	phrase = tidyPhrase(phrase)
	for _, k := range all {
		ok, err := checkPassphrase(phrase, k.hash)
		if err != nil {
			return "", "", err
		}
		if ok {
			found, hash = k.role, k.hash
		}
	}
	return found, hash, nil
}

// closeToOthers takes from other users of the machine the right to read the
// database and what SQLite keeps beside it: hashes of passphrases stand there. A
// system that has no such rights keeps what it has.
func closeToOthers(path string) {
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		if info, err := os.Stat(name); err == nil && info.Mode().Perm()&0o007 != 0 {
			_ = os.Chmod(name, info.Mode().Perm()&^0o007)
		}
	}
}

// Lives of a session: how long it lasts unused, and in all. Common practice, no
// source: a volunteer's phone is not asked each week, a coordinator's desk is.
type life struct{ idle, whole time.Duration }

var lives = map[Role]life{
	RoleReading:      {30 * 24 * time.Hour, 180 * 24 * time.Hour},
	RoleReports:      {14 * 24 * time.Hour, 90 * 24 * time.Hour},
	RoleCoordinating: {24 * time.Hour, 7 * 24 * time.Hour},
}
