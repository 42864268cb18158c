// Package store keeps a network in one SQLite file: what is kept (card files,
// sites, removals, service calls, rulings) and what is derived from it, and the transaction that ties
// the two. SQL is found nowhere else.
//
// All instants in the database are Unix seconds (UTC), all dates days since
// 1970-01-01 in the civil calendar of the site, both integers.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the database/sql driver "sqlite"
)

// FileName is the name of the database in a data folder.
const FileName = "doorleaf.db"

// Options say how to open a store.
type Options struct {
	Now func() time.Time // the clock; time.Now where nil

	// Alone names the command that wants to be the only one to change the network as
	// long as it is open; see Lock. "" asks for no lock.
	Alone string
}

// Store is an open network. Its methods may be called from many goroutines:
// reads run side by side and see the last commit, writes queue.
type Store struct {
	path   string  // of the database
	lock   *Lock   // nil without Options.Alone
	writer *sql.DB // one connection; nil: the network is open for reading alone
	reader *sql.DB
	now    func() time.Time
	engine engine
	texts  *textCache
	stamps *versions
	hashes chan struct{} // holds a token while a passphrase is tried, so that memory stays bounded
}

// Open opens the network in the folder dir, making both where they do not
// exist, brings its tables up to date and derives again the sites that this made
// stale. Before tables are changed it makes a copy in the folder backups. A file that
// is no network of Doorleaf, one that is damaged, or one written by a newer Doorleaf, is
// a usage.Fault and stays as it was.
func Open(ctx context.Context, dir string, opt Options) (*Store, error) {
	if opt.Alone == "" {
		return open(ctx, dir, opt, true)
	}
	now := opt.Now
	if now == nil {
		now = time.Now
	}
	lock, err := TakeLock(dir, opt.Alone, now())
	if err != nil {
		return nil, err
	}
	s, err := open(ctx, dir, opt, true)
	if err != nil {
		return nil, errors.Join(err, lock.Release())
	}
	s.lock = lock
	return s, nil
}

// Serving notes for whoever finds the network locked where it is served.
func (s *Store) Serving(address string) error {
	if s.lock == nil {
		return nil
	}
	return s.lock.Serving(address)
}

// open is Open; copies says whether to make a copy before tables are changed.
func open(ctx context.Context, dir string, opt Options, copies bool) (*Store, error) {
	path, err := dataFile(dir)
	if err != nil {
		return nil, err
	}
	s := newStore(path, opt)
	if err := undoHalf(ctx, path); err != nil {
		return nil, busyFault(err)
	}
	if err := checkFile(ctx, path); err != nil {
		return nil, busyFault(err)
	}
	if copies {
		if err := copyIfOlder(ctx, path, s.now()); err != nil {
			return nil, err
		}
	}
	if s.writer, err = openPool(path, writerPragmas, "mode=rwc&_txlock=immediate&_journal_mode=WAL", 1); err != nil {
		return nil, err
	}
	if err := migrate(ctx, s.writer, path); err != nil {
		return nil, errors.Join(busyFault(err), s.writer.Close())
	}
	closeToOthers(path)
	if s.reader, err = openPool(path, readerPragmas, "mode=ro", readers); err != nil {
		return nil, errors.Join(err, s.writer.Close())
	}
	if err := s.refresh(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func newStore(path string, opt Options) *Store {
	s := &Store{path: path, now: opt.Now, engine: realEngine, texts: newTextCache(textCacheBytes), stamps: newVersions(), hashes: make(chan struct{}, 1)}
	if s.now == nil {
		s.now = time.Now
	}
	return s
}

// ErrNeedsWriting is that a network cannot be opened for reading alone: there is none,
// its tables or its derived rows are those of an older Doorleaf, or a change broke off.
var ErrNeedsWriting = errors.New("the network has to be brought up to date first")

// OpenToRead opens the network in the folder dir for reading alone, while another
// process may be changing it. All that changes something is a Conflict. Where Open has
// something to do first the error is ErrNeedsWriting; else errors are as Open's.
func OpenToRead(ctx context.Context, dir string, opt Options) (*Store, error) {
	path, err := filepath.Abs(filepath.Join(dir, FileName))
	if err != nil {
		return nil, fmt.Errorf("data folder %s: %w", dir, err)
	}
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		return nil, ErrNeedsWriting
	}
	if err := checkFile(ctx, path); isHalf(err) {
		return nil, ErrNeedsWriting
	} else if err != nil {
		return nil, busyFault(err)
	}
	s := newStore(path, opt)
	if s.reader, err = openPool(path, readerPragmas, "mode=ro"+unwritable(path), readers); err != nil {
		return nil, err
	}
	newest, err := newestMigration()
	if err == nil && fileVersion(ctx, s.reader) != newest {
		err = ErrNeedsWriting
	}
	if err == nil {
		var marks int
		if err = s.reader.QueryRowContext(ctx, `SELECT count(*) FROM stale`).Scan(&marks); err == nil && marks > 0 {
			err = ErrNeedsWriting
		}
	}
	if err != nil {
		return nil, errors.Join(busyFault(err), s.Close())
	}
	return s, nil
}

// unwritable returns what to add to the parameters of a database in a folder that
// nobody here may write to: SQLite then reads the file as it is, without the index
// that readers of a log share. Where there is a log nothing is added.
func unwritable(path string) string {
	if _, err := os.Stat(path + "-wal"); err == nil {
		return ""
	}
	probe, err := os.CreateTemp(filepath.Dir(path), ".doorleaf-probe-*")
	if err != nil {
		return "&immutable=1"
	}
	probe.Close()
	os.Remove(probe.Name())
	return ""
}

// Close closes the store.
func (s *Store) Close() error {
	err := s.reader.Close()
	if s.writer != nil {
		err = errors.Join(err, s.writer.Close())
	}
	if s.lock != nil {
		err = errors.Join(err, s.lock.Release())
		s.lock = nil
	}
	return err
}

func dataFile(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("data folder %s: %w", dir, err)
	}
	if err := os.MkdirAll(abs, 0o700); err != nil {
		return "", folderFault(abs, err)
	}
	return filepath.Join(abs, FileName), nil
}

// readers bounds the read pool. Readers of a WAL never wait for each other or
// for the writer; the bound is for memory and file handles.
const readers = 8

// Pragmas stand in the DSN and not in an Exec, since a pool opens new
// connections whenever it likes.
//
// synchronous is FULL: with NORMAL a power cut could take back the last
// commits, and a coordinator may have wiped the card after seeing its receipt.
// It costs one fsync an import. Who may write at all is the matter of Lock;
// busy_timeout is for programs that do not ask for it. page_size counts only when the file is made:
// with 8 KiB pages two or three blocks of openings share one. The driver runs
// _pragma values in the order of the alphabet and _journal_mode after them, and
// going over to WAL makes the file: so WAL is asked for by the latter.
var (
	writerPragmas = []string{
		"busy_timeout(10000)",
		"page_size(8192)",
		"synchronous(FULL)",
		"foreign_keys(1)",
	}
	readerPragmas = []string{
		"busy_timeout(10000)",
		"query_only(1)",
		"foreign_keys(1)",
	}
)

func openPool(path string, pragmas []string, params string, connections int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, pragmas, params))
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

// dsn returns path as an SQLite URI filename.
func dsn(path string, pragmas []string, params string) string {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // file:/C:/…
	}
	var b strings.Builder
	b.WriteString("file:" + (&url.URL{Path: slashed}).EscapedPath() + "?" + params)
	for _, p := range pragmas {
		b.WriteString("&_pragma=" + url.QueryEscape(p))
	}
	return b.String()
}
