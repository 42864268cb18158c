package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"doorleaf/migrations"
	"doorleaf/usage"
)

// applicationID is "Dlf1" in the header of the database file; the same number
// stands in migrations/001_kept.sql.
const applicationID = 0x446c6631

// checkFile looks at an existing file before anything may write to it. A file
// that is absent or empty is a new network.
func checkFile(ctx context.Context, path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("open network: %w", err)
	}
	db, err := openPool(path, readerPragmas, "mode=ro"+unwritable(path), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := checkDatabase(ctx, db, path); err != nil {
		return err
	}
	return lookOver(ctx, db, path)
}

// undoHalf undoes a change that broke off before the network had a write-ahead log: going
// over to one, as the first thing with a restored copy, is such a change. SQLite does it by
// itself, but not where a database is opened for reading alone, which checkFile does next.
func undoHalf(ctx context.Context, path string) error {
	if info, err := os.Stat(path + "-journal"); err != nil || info.Size() == 0 {
		return nil
	}
	db, err := openPool(path, writerPragmas, "mode=rw", 1)
	if err != nil {
		return err
	}
	var tables int
	err = db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&tables)
	return errors.Join(err, db.Close())
}

// isHalf reports whether an error is that undoHalf has something to do.
func isHalf(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code() == sqlite3.SQLITE_READONLY_ROLLBACK
}

// copyIfOlder makes a copy of a network whose tables are older than this program's.
func copyIfOlder(ctx context.Context, path string, now time.Time) error {
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		return nil // a new network
	}
	newest, err := newestMigration()
	if err != nil {
		return err
	}
	db, err := openPool(path, readerPragmas, "mode=ro"+unwritable(path), 1)
	if err != nil {
		return err
	}
	have := fileVersion(ctx, db)
	if err := db.Close(); err != nil {
		return err
	}
	if have == 0 || have == newest {
		return nil
	}
	return copyBefore(ctx, path, have, now)
}

func checkDatabase(ctx context.Context, db *sql.DB, path string) error {
	var id, tables int64
	err := db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id)
	if err == nil {
		err = db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema WHERE name <> ? AND name NOT LIKE 'sqlite!_%' ESCAPE '!'`, goose.DefaultTablename).Scan(&tables)
	}
	if sqliteCode(err) == sqlite3.SQLITE_NOTADB {
		return &usage.Fault{
			Kind: usage.Invalid,
			What: path + " is no database",
			Try:  "choose another data folder, or move that file away; nothing in it was changed",
			Err:  err,
		}
	}
	if err != nil {
		return fmt.Errorf("open network %s: %w", path, err)
	}
	if id != applicationID && tables > 0 { // a first migration that was cut off has left no tables
		return &usage.Fault{
			Kind: usage.Invalid,
			What: path + " is a database of another program",
			Try:  "choose another data folder; nothing in that file was changed",
		}
	}
	return checkVersion(ctx, db, path)
}

func checkVersion(ctx context.Context, db *sql.DB, path string) error {
	newest, err := newestMigration()
	if err != nil {
		return err
	}
	var have sql.NullInt64
	err = db.QueryRowContext(ctx, `SELECT max(version_id) FROM `+goose.DefaultTablename+` WHERE is_applied = 1`).Scan(&have)
	if err != nil {
		return nil // no table of versions: a network that was never begun
	}
	if have.Int64 > newest {
		return &usage.Fault{
			Kind: usage.Conflict,
			What: fmt.Sprintf("%s was written by a newer Doorleaf (tables of version %d, this one knows %d)", path, have.Int64, newest),
			Try:  "use the newer Doorleaf; nothing was changed",
		}
	}
	return nil
}

// migrateTries is how often migrate looks again when another program brings
// the same tables up to date at the same moment.
const migrateTries = 5

// migrate brings the tables up to date. Each migration is one transaction.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	p, err := newProvider(db)
	if err != nil {
		return err
	}
	for try := 1; ; try++ {
		pending, err := p.HasPending(ctx)
		if err == nil && !pending {
			return nil
		}
		if err == nil {
			_, err = p.Up(ctx)
		}
		if err != nil && try == migrateTries {
			return fmt.Errorf("bring the tables of %s up to date: %w", path, err)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

func newProvider(db *sql.DB) (*goose.Provider, error) {
	p, err := goose.NewProvider(goose.DialectSQLite3, db, migrations.Files, goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		return nil, fmt.Errorf("read migrations: %w", err)
	}
	return p, nil
}

// newestMigration returns the version of the newest table layout that this
// program knows.
func newestMigration() (int64, error) {
	names, err := fs.Glob(migrations.Files, "*.sql")
	if err != nil {
		return 0, fmt.Errorf("list migrations: %w", err)
	}
	version, err := goose.NumericComponent(slices.Max(names))
	if err != nil {
		return 0, fmt.Errorf("list migrations: %w", err)
	}
	return version, nil
}

// sqliteCode returns SQLite's primary result code of err, or 0.
func sqliteCode(err error) int {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return e.Code() & 0xff
	}
	return 0
}

// isDuplicate reports whether err is a breach of a UNIQUE column.
func isDuplicate(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && (e.Code() == sqlite3.SQLITE_CONSTRAINT_UNIQUE || e.Code() == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY)
}

// isConstraint reports whether err is a breach of any rule of the tables.
func isConstraint(err error) bool { return sqliteCode(err) == sqlite3.SQLITE_CONSTRAINT }

// What SQLite says of a file that is damaged, or that is none of its own.
const (
	corrupt      = sqlite3.SQLITE_CORRUPT
	notADatabase = sqlite3.SQLITE_NOTADB
)
