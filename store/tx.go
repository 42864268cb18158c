package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	sqlite3 "modernc.org/sqlite/lib"

	"doorleaf/usage"
)

// A querier is a transaction or a pool.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// tx is a write transaction. It has one now.
type tx struct {
	*sql.Tx
	now   int64               // Unix s
	sites map[string]struct{} // codes of the sites that it may change; nil: any
	fresh []*packedCard       // kept in it, and not written whole yet: see settleFresh
}

// bytesOf returns the bytes of a card that is kept in the transaction.
func (t *tx) bytesOf(id string) (data []byte, ok bool) {
	if t == nil {
		return nil, false
	}
	for _, c := range t.fresh {
		if c.id == id {
			return c.Bytes, true
		}
	}
	return nil, false
}

// touch says that the transaction changes nothing of any site but those that it is
// called for.
func (t *tx) touch(codes ...string) {
	if t.sites == nil {
		t.sites = map[string]struct{}{}
	}
	for _, code := range codes {
		t.sites[code] = struct{}{}
	}
}

// writeAside is write for what is no matter of a site: sessions, trays, notes.
func (s *Store) writeAside(ctx context.Context, do func(*tx) error) error {
	return s.write(ctx, func(tx *tx) error {
		tx.touch()
		return do(tx)
	})
}

// write runs do in a write transaction and commits it. After an error nothing
// has changed.
func (s *Store) write(ctx context.Context, do func(*tx) error) error {
	if s.writer == nil {
		return &usage.Fault{Kind: usage.Conflict, What: "the network is open for reading alone", Try: "use a command that changes it; nothing was changed"}
	}
	t, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return busyFault(fmt.Errorf("begin: %w", err))
	}
	defer t.Rollback() // after Commit it does nothing
	begun := &tx{Tx: t, now: s.now().Unix()}
	if err := do(begun); err != nil {
		return busyFault(err)
	}
	if err := t.Commit(); err != nil {
		s.stamps.changed(nil) // it may stand all the same
		return busyFault(fmt.Errorf("commit: %w", err))
	}
	if begun.sites == nil || len(begun.sites) > 0 {
		s.stamps.changed(begun.sites)
	}
	return nil
}

// read runs do in a read transaction: everything do asks is answered from the
// same commit.
func (s *Store) read(ctx context.Context, do func(querier) error) error {
	t, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return busyFault(fmt.Errorf("begin: %w", err))
	}
	defer t.Rollback() // there is nothing to commit
	return busyFault(do(t))
}

// busyFault makes a Fault of the errors of SQLite that people can do something about:
// another program that held the write lock for the whole busy timeout, a disk that is
// full, a folder that cannot be written to, a file that is damaged.
func busyFault(err error) error {
	if err == nil || usage.KindOf(err) != 0 {
		return err
	}
	switch code := sqliteCode(err); {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EFBIG), errors.Is(err, syscall.EDQUOT):
		return fullFault("the file could not be written: the disk or the file-size limit is full", err)
	case code == sqlite3.SQLITE_BUSY, code == sqlite3.SQLITE_LOCKED:
		return &usage.Fault{
			Kind: usage.Conflict,
			What: "another program was writing to the network for longer than ten seconds",
			Try:  "wait until it has finished, then do this again; nothing was changed",
			Err:  err,
		}
	case code == sqlite3.SQLITE_FULL, code == sqlite3.SQLITE_IOERR:
		return fullFault("the network could not be written: the disk or the file-size limit is full, or the disk fails", err)
	case code == sqlite3.SQLITE_READONLY, code == sqlite3.SQLITE_CANTOPEN, code == sqlite3.SQLITE_PERM:
		return &usage.Fault{
			Kind: usage.Conflict,
			What: "the data folder cannot be written to",
			Try:  "let the user who runs Doorleaf write to the folder and the files in it, or name another with --data; nothing was changed",
			Err:  err,
		}
	case code == sqlite3.SQLITE_CORRUPT, code == sqlite3.SQLITE_NOTADB:
		return damaged("", err)
	}
	return err
}

// InWords makes a Fault of an error about writing a file where people can do something
// about it.
func InWords(err error) error { return busyFault(err) }

func fullFault(what string, err error) error {
	return &usage.Fault{Kind: usage.Conflict, What: what, Try: "make room on the disk, or raise the limit, then do this again; nothing was changed", Err: err}
}

// damaged says that the database is damaged.
func damaged(what string, err error) *usage.Fault {
	return &usage.Fault{
		Kind: usage.Conflict,
		What: "the network's database is damaged" + what,
		Try:  "stop using it; doorleaf restore FILE --replace puts a copy in its place and keeps the damaged one aside (the newest copies are in the folder backups of the data folder)",
		Err:  err,
	}
}

// fileFault makes a Fault of an error about a file that was named by somebody.
func fileFault(what string, err error) error {
	f := &usage.Fault{Kind: usage.Invalid, What: what + " cannot be used", Err: err, Try: "look at the name, and at whether it may be read and written"}
	if errors.Is(err, fs.ErrNotExist) {
		f.Kind = usage.NotFound
	}
	return f
}

// collect runs a query and returns what scan makes of each row. It closes the
// rows and reports the error that ended them.
func collect[T any](ctx context.Context, q querier, scan func(*sql.Rows) (T, error), query string, args ...any) ([]T, error) {
	var all []T
	err := walk(ctx, q, func(rows *sql.Rows) error {
		one, err := scan(rows)
		all = append(all, one)
		return err
	}, query, args...)
	return all, err
}

// walk runs a query and calls visit for each row until visit returns an error
// or errStop, which ends the walk without being an error of it.
func walk(ctx context.Context, q querier, visit func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := visit(rows); err == errStop {
			return nil
		} else if err != nil {
			return err
		}
	}
	return rows.Err()
}

// errStop ends a walk early.
var errStop = errors.New("stop")
