package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"doorleaf/usage"
)

// Session is somebody who signed in.
type Session struct {
	ID    int64
	Role  Role
	Who   string // the name that was given
	Begun int64  // Unix s
	Seen  int64  // Unix s, to some minutes
	Ends  int64  // Unix s at which it ends if it is not used again
}

// Actor is the session as the journal names it.
func (s Session) Actor() Actor { return Actor{Role: string(s.Role), Who: s.Who} }

// seenStep is how far Seen may lag, so that reading a page is seldom a write.
const seenStep = 5 * time.Minute

// seenWait is how long a page waits for the writer to note that a session was
// seen; a long import must not hold up readers. Then the next page notes it.
const seenWait = 20 * time.Millisecond

// SignIn begins a session for who gives a passphrase, and returns its token,
// which is kept nowhere but as a hash. A phrase that is no role's gives "", and
// no error. A name that is missing or too long is Invalid.
func (s *Store) SignIn(ctx context.Context, phrase, who string) (token string, begun Session, err error) {
	who = strings.TrimSpace(who)
	if who == "" || !fits(who, byRunes) {
		return "", Session{}, &usage.Fault{Kind: usage.Invalid, What: "there is no name to sign what you do with", Try: fmt.Sprintf("give a name of at most %d characters", byRunes)}
	}
	role, hash, err := s.matching(ctx, phrase)
	if err != nil || role == "" {
		return "", Session{}, err
	}
	token = rand.Text() + rand.Text() // 256 bits or more
	begun = Session{Role: role, Who: who}
	err = s.writeAside(ctx, func(tx *tx) error {
		// Set anew while the phrase was tried: then it may be an old one.
		var still bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM passphrase WHERE role = ? AND hash = ?)`, string(role), hash).Scan(&still); err != nil || !still {
			return cmpErr(err, &usage.Fault{Kind: usage.Conflict, What: "the passphrase was just changed", Try: "try again"})
		}
		if err := sweep(ctx, tx); err != nil {
			return err
		}
		res, err := tx.ExecContext(ctx, `
			INSERT INTO session (token, role, who, begun_at, seen_at)
			VALUES (?, ?, ?, ?, ?)`, tokenHash(token), string(role), who, tx.now, tx.now)
		if err != nil {
			return fmt.Errorf("begin session: %w", err)
		}
		if begun.ID, err = res.LastInsertId(); err != nil {
			return err
		}
		begun.Begun, begun.Seen = tx.now, tx.now
		return tx.journal(WithActor(ctx, begun.Actor()), Entry{Deed: DeedSignedIn, Says: "signed in for " + string(role)})
	})
	if err != nil {
		return "", Session{}, err
	}
	begun.Ends = endOf(begun)
	return token, begun, nil
}

func tokenHash(token string) []byte {
	sum := sha256.Sum256([]byte(token))
	return sum[:]
}

// endOf is when a session ends if it is not used again.
func endOf(s Session) int64 {
	l := lives[s.Role] // a role that there is not ends at once
	return min(s.Begun+int64(l.whole/time.Second), s.Seen+int64(l.idle/time.Second))
}

// sweep drops the sessions that have ended.
func sweep(ctx context.Context, tx *tx) error {
	all, err := collect(ctx, tx, scanSession, sessionQuery)
	if err != nil {
		return fmt.Errorf("list sessions: %w", err)
	}
	for _, one := range all {
		if one.Ends <= tx.now {
			if _, err := tx.ExecContext(ctx, `DELETE FROM session WHERE id = ?`, one.ID); err != nil {
				return fmt.Errorf("drop session: %w", err)
			}
		}
	}
	return nil
}

const sessionQuery = `
	SELECT id, role, who, begun_at, seen_at
	FROM session`

func scanSession(rows *sql.Rows) (one Session, err error) {
	err = rows.Scan(&one.ID, &one.Role, &one.Who, &one.Begun, &one.Seen)
	one.Ends = endOf(one)
	return one, err
}

// Session returns the session that a token belongs to, and notes that it was
// seen. ok is false where there is none, or none any more.
func (s *Store) Session(ctx context.Context, token string) (one Session, ok bool, err error) {
	found, err := collect(ctx, s.reader, scanSession, sessionQuery+`
		WHERE token = ?`, tokenHash(token))
	if err != nil {
		return one, false, fmt.Errorf("find session: %w", err)
	}
	now := s.now().Unix()
	// A session of the future: the machine's clock was put back. It cannot be told
	// how old it is, so it is over.
	if len(found) == 0 || found[0].Ends <= now || found[0].Begun > now+aheadS {
		return one, false, nil
	}
	one = found[0]
	if now-one.Seen >= int64(seenStep/time.Second) || one.Seen > now {
		s.noteSeen(ctx, one.ID)
	}
	return one, true, nil
}

// noteSeen is best effort: see seenWait.
func (s *Store) noteSeen(ctx context.Context, id int64) {
	ctx, cancel := context.WithTimeout(ctx, seenWait)
	defer cancel()
	_ = s.writeAside(ctx, func(tx *tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE session SET seen_at = ? WHERE id = ?`, tx.now, id)
		return err
	})
}

// Sessions returns the sessions that have not ended, the latest seen first.
func (s *Store) Sessions(ctx context.Context) ([]Session, error) {
	all, err := collect(ctx, s.reader, scanSession, sessionQuery+`
		ORDER BY seen_at DESC, id DESC`)
	if err != nil {
		return nil, fmt.Errorf("list sessions: %w", err)
	}
	now := s.now().Unix()
	var live []Session
	for _, one := range all {
		if one.Ends > now {
			live = append(live, one)
		}
	}
	return live, nil
}

// SignOut ends the session of a token. One that is not there is as good as ended.
func (s *Store) SignOut(ctx context.Context, token string) error {
	return s.writeAside(ctx, func(tx *tx) error {
		n, err := endSessions(ctx, tx, `token = ?`, tokenHash(token))
		if err != nil || n == 0 {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedSignedOut, Says: "signed out"})
	})
}

// EndSession ends one session by its ID, or returns NotFound.
func (s *Store) EndSession(ctx context.Context, id int64) error {
	return s.writeAside(ctx, func(tx *tx) error {
		found, err := collect(ctx, tx, scanSession, sessionQuery+`
			WHERE id = ?`, id)
		if err != nil {
			return fmt.Errorf("find session: %w", err)
		}
		if len(found) == 0 {
			return &usage.Fault{Kind: usage.NotFound, What: "there is no such session", Try: "look at the list again: it may have ended"}
		}
		if _, err := endSessions(ctx, tx, `id = ?`, id); err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedSessionEnded, Says: fmt.Sprintf("the session of %s (%s) was ended", found[0].Who, found[0].Role)})
	})
}

// EndSessions signs everyone out, and returns how many sessions ended.
func (s *Store) EndSessions(ctx context.Context) (n int64, err error) {
	err = s.writeAside(ctx, func(tx *tx) error {
		if n, err = endSessions(ctx, tx, `TRUE`); err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedSessionEnded, Says: fmt.Sprintf("everyone was signed out: %d in all", n)})
	})
	return n, err
}

// endSessions drops the sessions that a condition names.
func endSessions(ctx context.Context, tx *tx, which string, args ...any) (int64, error) {
	res, err := tx.ExecContext(ctx, `DELETE FROM session WHERE `+which, args...)
	if err != nil {
		return 0, fmt.Errorf("end sessions: %w", err)
	}
	return res.RowsAffected()
}
