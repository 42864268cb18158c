package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

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
	now int64 // Unix s
}

// write runs do in a write transaction and commits it. After an error nothing
// has changed.
func (s *Store) write(ctx context.Context, do func(*tx) error) error {
	t, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return busyFault(fmt.Errorf("begin: %w", err))
	}
	defer t.Rollback() // after Commit it does nothing
	if err := do(&tx{Tx: t, now: s.now().Unix()}); err != nil {
		return busyFault(err)
	}
	if err := t.Commit(); err != nil {
		return busyFault(fmt.Errorf("commit: %w", err))
	}
	return nil
}

// read runs do in a read transaction: everything do asks is answered from the
// same commit.
func (s *Store) read(ctx context.Context, do func(querier) error) error {
	t, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	defer t.Rollback() // there is nothing to commit
	return do(t)
}

// busyFault makes a Fault of the error that SQLite gives when another program
// held the write lock for the whole busy timeout.
func busyFault(err error) error {
	if sqliteCode(err) != sqlite3.SQLITE_BUSY {
		return err
	}
	return &usage.Fault{
		Kind: usage.Conflict,
		What: "another program was writing to the network for longer than ten seconds",
		Try:  "wait until it has finished, then do this again; nothing was changed",
		Err:  err,
	}
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
