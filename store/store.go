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
}

// Store is an open network. Its methods may be called from many goroutines:
// reads run side by side and see the last commit, writes queue.
type Store struct {
	writer *sql.DB // one connection
	reader *sql.DB
	now    func() time.Time
	engine engine
	texts  *textCache
}

// Open opens the network in the folder dir, making both where they do not
// exist, brings its tables up to date and derives again the sites that this made
// stale. A file that is no network of Doorleaf, or one written by a newer Doorleaf, is a usage.Fault and stays as
// it was.
func Open(ctx context.Context, dir string, opt Options) (*Store, error) {
	path, err := dataFile(dir)
	if err != nil {
		return nil, err
	}
	s := &Store{now: opt.Now, engine: realEngine, texts: newTextCache(textCacheBytes)}
	if s.now == nil {
		s.now = time.Now
	}
	if err := checkFile(ctx, path); err != nil {
		return nil, err
	}
	if s.writer, err = openPool(path, writerPragmas, "mode=rwc&_txlock=immediate&_journal_mode=WAL", 1); err != nil {
		return nil, err
	}
	if err := migrate(ctx, s.writer, path); err != nil {
		return nil, errors.Join(err, s.writer.Close())
	}
	if s.reader, err = openPool(path, readerPragmas, "mode=ro", readers); err != nil {
		return nil, errors.Join(err, s.writer.Close())
	}
	if err := s.refresh(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Close closes the store.
func (s *Store) Close() error {
	return errors.Join(s.reader.Close(), s.writer.Close())
}

func dataFile(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("data folder %s: %w", dir, err)
	}
	if err := os.MkdirAll(abs, 0o700); err != nil {
		return "", fmt.Errorf("data folder: %w", err)
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
// It costs one fsync an import. busy_timeout is what lets the command line
// import while the server runs. page_size counts only when the file is made:
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
