package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"

	"doorleaf/usage"
)

// Copied says what a copy of a network holds.
type Copied struct {
	File   string
	Bytes  int64
	Sites  int
	Cards  int
	Digest string // of everything kept, see keptDigest
}

// Backup writes a copy of the whole network, passphrases included, to a file, while
// others read and write. It is one commit, whole or not there at all, and is checked
// before it takes the file's name: the database by its own rules, everything kept
// against what the network held, and the bytes of every card against their digest. A
// file that is there is replaced, unless it is the network itself.
//
// The copy is made by SQLite's online backup inside a read transaction. VACUUM INTO
// would make a smaller file, but cannot run in the transaction in which the digest is
// taken, so that what it copied could not be compared with anything.
func (s *Store) Backup(ctx context.Context, file string) (Copied, error) {
	done, err := backup(ctx, s.reader, file, s.now())
	if err != nil {
		return Copied{}, fmt.Errorf("backup: %w", busyFault(err))
	}
	return done, nil
}

// copyPrefix begins the name of a copy that is not finished.
const copyPrefix = ".doorleaf-copy-"

func backup(ctx context.Context, db *sql.DB, file string, now time.Time) (Copied, error) {
	done := Copied{File: file}
	if err := notItself(ctx, db, file); err != nil {
		return done, err
	}
	f, err := os.CreateTemp(filepath.Dir(file), copyPrefix+"*")
	if err != nil {
		return done, fileFault("the file for the copy", err)
	}
	temp := f.Name()
	defer removeDatabase(temp)
	if err := f.Close(); err != nil {
		return done, err
	}
	digest, err := copyPages(ctx, db, temp)
	if err == nil {
		err = seal(ctx, temp, digest, now)
	}
	if err == nil {
		done, err = checkCopy(ctx, temp, digest)
	}
	if err != nil {
		return done, err
	}
	done.File, done.Digest = file, digest
	return done, moveWhole(temp, file)
}

// notItself refuses to put a copy where a network lives.
func notItself(ctx context.Context, db *sql.DB, file string) error {
	var path string
	if err := db.QueryRowContext(ctx, `SELECT file FROM pragma_database_list WHERE name = 'main'`).Scan(&path); err != nil {
		return err
	}
	one, err := os.Stat(path)
	if err != nil {
		return err
	}
	other, err := os.Stat(file)
	if err == nil && (other.IsDir() || os.SameFile(one, other)) {
		return &usage.Fault{Kind: usage.Invalid, What: file + " is the network itself, or a folder", Try: "name another file for the copy"}
	}
	return nil
}

// backuper is what the driver's connections can do beside SQL.
type backuper interface {
	NewBackup(string) (*sqlite.Backup, error)
}

// copyPages copies the database as it is at one moment, and returns the digest of
// what was kept at that moment.
func copyPages(ctx context.Context, db *sql.DB, to string) (digest string, err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return "", err
	}
	defer conn.Close()
	t, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return "", err
	}
	defer t.Rollback()
	if digest, err = keptDigest(ctx, t); err != nil {
		return "", err
	}
	return digest, conn.Raw(func(c any) error {
		b, err := c.(backuper).NewBackup(dsn(to, nil, "mode=rwc"))
		if err != nil {
			return err
		}
		_, err = b.Step(-1)
		return errors.Join(err, b.Finish())
	})
}

// sealForm is the way in which keptDigest is worked out; another one is not compared.
const sealForm = 1

// seal makes a file of its own of a copy that has just been made: no log beside it, no
// uploads that wait for somebody's yes, and the digest of everything kept written down.
func seal(ctx context.Context, file, digest string, now time.Time) error {
	db, err := openPool(file, []string{"synchronous(FULL)", "foreign_keys(1)"}, "mode=rw&_journal_mode=DELETE", 1)
	if err != nil {
		return err
	}
	defer db.Close()
	for _, statement := range []string{
		`DELETE FROM tray`, // and with it its cards; in a copy of an old database there may be none
		`DROP TABLE IF EXISTS seal`,
		`CREATE TABLE seal (form INTEGER NOT NULL, made_at INTEGER NOT NULL, kept TEXT NOT NULL) STRICT`,
	} {
		if _, err := db.ExecContext(ctx, statement); err != nil && statement != `DELETE FROM tray` {
			return fmt.Errorf("seal copy: %w", err)
		}
	}
	if _, err := db.ExecContext(ctx, `INSERT INTO seal (form, made_at, kept) VALUES (?, ?, ?)`, sealForm, now.Unix(), digest); err != nil {
		return fmt.Errorf("seal copy: %w", err)
	}
	return nil
}

// readSeal returns the digest that a copy was sealed with, "" for none or one of
// another form.
func readSeal(ctx context.Context, q querier) (digest string) {
	var form int
	if err := q.QueryRowContext(ctx, `SELECT form, kept FROM seal`).Scan(&form, &digest); err != nil || form != sealForm {
		return ""
	}
	return digest
}

// checkCopy looks whether the file is a whole network that keeps what digest says; ""
// is for a copy without a seal.
func checkCopy(ctx context.Context, file, digest string) (Copied, error) {
	done := Copied{File: file}
	db, err := openPool(file, []string{"query_only(1)"}, "mode=ro&immutable=1", 1)
	if err != nil {
		return done, err
	}
	defer db.Close()
	problems, err := integrity(ctx, db, `integrity_check`)
	if err != nil {
		return done, err
	}
	if len(problems) > 0 {
		return done, damaged(": "+problems[0], nil)
	}
	if done.Digest, err = keptDigest(ctx, db); err != nil {
		return done, err
	}
	if digest != "" && done.Digest != digest {
		return done, damaged(": what is kept in the copy is not what the network kept", nil)
	}
	ids, err := collect(ctx, db, scanCode, `SELECT id FROM card ORDER BY id`)
	if err != nil {
		return done, err
	}
	for _, id := range ids {
		if _, err := cardBytes(ctx, db, id); err != nil {
			return done, err
		}
	}
	done.Cards = len(ids)
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM site`).Scan(&done.Sites); err != nil {
		return done, err
	}
	info, err := os.Stat(file)
	if err == nil {
		done.Bytes = info.Size()
	}
	return done, err
}

// moveWhole gives a finished file its name, so that a power cut leaves the old file or
// the new one.
func moveWhole(from, to string) error {
	f, err := os.OpenFile(from, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close(), os.Rename(from, to)); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(to))
}

// removeDatabase removes a database that is not needed and what SQLite may have put
// beside it.
func removeDatabase(path string) {
	for _, end := range []string{"", "-journal", "-wal", "-shm"} {
		os.Remove(path + end)
	}
}

// fileVersion returns the version of the tables of a database.
func fileVersion(ctx context.Context, q querier) int64 {
	var have sql.NullInt64
	if err := q.QueryRowContext(ctx, `SELECT max(version_id) FROM `+goose.DefaultTablename+` WHERE is_applied = 1`).Scan(&have); err != nil {
		return 0
	}
	return have.Int64
}
