package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"doorleaf/usage"
)

// RestoreOptions say how to restore.
type RestoreOptions struct {
	Now     func() time.Time
	Replace bool // put it in the place of the network that is there
}

// Restored says what a restore did.
type Restored struct {
	Copied
	Sealed bool     // the copy said what it kept, and that is what it keeps
	Aside  string   // folder with the network that was there before; "" for none
	Mended []string // codes of sites that were derived anew, since this Doorleaf derives them otherwise
}

// Restore makes the network in the data folder dir from a backup or from a bundle. It
// is made and checked in a folder beside: the database by its own rules, everything
// kept against the seal of the copy, the bytes of every card against their digest, and
// every derived row against a derivation. Only then does it take its place. Whatever
// goes wrong, the data folder is as it was.
//
// A data folder that holds anything is a Conflict without opt.Replace, which keeps
// what was there in a folder of its own inside.
func Restore(ctx context.Context, file, dir string, opt RestoreOptions) (Restored, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	lock, err := TakeLock(dir, "restore", opt.Now())
	if err != nil {
		return Restored{}, err
	}
	defer lock.Release()
	occupied, err := occupied(dir)
	if err != nil {
		return Restored{}, folderFault(dir, err)
	}
	if occupied && !opt.Replace {
		return Restored{}, &usage.Fault{
			Kind: usage.Conflict,
			What: "the data folder " + dir + " is not empty",
			Try:  "name an empty or new folder with --data, or add --replace, which keeps what is there in a folder beside",
		}
	}
	removeLeft(dir, stagePrefix) // by a restore that was cut off
	stage, err := os.MkdirTemp(dir, stagePrefix+"*")
	if err != nil {
		return Restored{}, folderFault(dir, err)
	}
	defer os.RemoveAll(stage)
	done, err := restoreInto(ctx, file, stage, opt)
	if err != nil {
		return Restored{}, fmt.Errorf("restore %s: %w", file, busyFault(err))
	}
	if occupied {
		if done.Aside, err = setAside(dir, opt.Now()); err != nil {
			return Restored{}, fmt.Errorf("restore %s: keep what was there: %w", file, err)
		}
	}
	if err := takePlace(stage, dir); err != nil {
		return Restored{}, fmt.Errorf("restore %s: %w", file, err)
	}
	return done, nil
}

const stagePrefix = ".doorleaf-restore-"

// removeLeft removes what was left in a folder by somebody who was cut off, as far as
// that goes.
func removeLeft(dir, prefix string) {
	left, _ := filepath.Glob(filepath.Join(dir, prefix+"*")) // the pattern is sound
	for _, path := range left {
		os.RemoveAll(path)
	}
}

// occupied reports whether a data folder holds anything but a lock and what an
// interrupted restore left.
func occupied(dir string) (bool, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return false, err
	}
	for _, e := range entries {
		if e.Name() != LockName && !strings.HasPrefix(e.Name(), stagePrefix) {
			return true, nil
		}
	}
	return false, nil
}

// restoreInto makes a checked network in the empty folder stage.
func restoreInto(ctx context.Context, file, stage string, opt RestoreOptions) (Restored, error) {
	var done Restored
	isZip, err := isBundle(file)
	if err != nil {
		return done, err
	}
	if !isZip {
		if done.Sealed, err = fetchCopy(ctx, file, stage); err != nil {
			return done, err
		}
	}
	s, err := open(ctx, stage, Options{Now: opt.Now}, false)
	if err != nil {
		return done, err
	}
	defer s.Close()
	if isZip {
		err = s.fromBundle(ctx, file)
		done.Sealed = true
	} else {
		err = s.write(ctx, func(tx *tx) error {
			if _, err := tx.ExecContext(ctx, `DROP TABLE IF EXISTS seal`); err != nil {
				return err
			}
			_, err := endSessions(ctx, tx, `TRUE`) // who was signed out since the copy was made stays so
			return err
		})
	}
	if err != nil {
		return done, err
	}
	c, said, err := s.mend(ctx)
	if err != nil {
		return done, err
	}
	if done.Mended = said; len(said) > 0 {
		c, err = s.Check(ctx, "", nil)
	}
	if err == nil && len(c.Problems) > 0 {
		err = damaged(": "+c.Problems[0].Site+" "+c.Problems[0].Says, nil)
	}
	done.Copied = Copied{File: file, Sites: c.Sites, Cards: c.Cards, Digest: c.Digest, Bytes: c.CardBytes}
	if err == nil {
		err = s.Note(ctx, Entry{Deed: DeedRestored, Says: fmt.Sprintf("restored from %s: %d sites, %d cards", filepath.Base(file), c.Sites, c.Cards)})
	}
	return done, errors.Join(err, s.Close())
}

// isBundle reports whether a file is a .zip; what is neither that nor a database is
// Invalid.
func isBundle(file string) (bool, error) {
	f, err := os.Open(file)
	if err != nil {
		return false, fileFault("the copy", err)
	}
	defer f.Close()
	head := make([]byte, 16)
	n, err := io.ReadFull(f, head)
	switch {
	case bytes.HasPrefix(head[:n], []byte("PK\x03\x04")):
		return true, nil
	case bytes.Equal(head, []byte("SQLite format 3\x00")):
		return false, nil
	}
	return false, &usage.Fault{Kind: usage.Invalid, What: file + " is neither a backup nor a bundle", Err: noEnd(err), Try: "name a file that doorleaf backup or doorleaf bundle wrote"}
}

// noEnd leaves out that a file is short.
func noEnd(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}

// fetchCopy brings a backup into the folder stage and checks it as it is.
func fetchCopy(ctx context.Context, file, stage string) (sealed bool, err error) {
	if info, err := os.Stat(file + "-wal"); err == nil && info.Size() > 0 {
		return false, &usage.Fault{Kind: usage.Invalid, What: file + " is a network in use and not a copy", Try: "make a copy of it with doorleaf backup, and restore that"}
	}
	to := filepath.Join(stage, FileName)
	if err := copyFile(file, to); err != nil {
		return false, err
	}
	if err := checkFile(ctx, to); err != nil {
		return false, err
	}
	digest, err := sealOf(ctx, to)
	if err != nil {
		return false, err
	}
	_, err = checkCopy(ctx, to, digest)
	return digest != "", err
}

// sealOf reads the seal of a copy that nobody else uses.
func sealOf(ctx context.Context, file string) (string, error) {
	db, err := openPool(file, []string{"query_only(1)"}, "mode=ro&immutable=1", 1)
	if err != nil {
		return "", err
	}
	defer db.Close()
	return readSeal(ctx, db), nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return fileFault("the copy", err)
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

func (s *Store) fromBundle(ctx context.Context, file string) error {
	b, closer, err := OpenBundle(file, DefaultBundleLimits)
	if err != nil {
		return err
	}
	defer closer.Close()
	m, err := s.Merge(ctx, b, MergeAnswers{})
	if err == nil && len(m.Questions) > 0 {
		err = b.fault("contradicts itself: "+m.Questions[0].Says, nil)
	}
	return err
}

// mend derives again the sites of which a check finds derived rows that differ, and
// returns their codes, and what the check found.
func (s *Store) mend(ctx context.Context) (c Checked, said []string, err error) {
	if c, err = s.Check(ctx, "", nil); err != nil {
		return c, nil, err
	}
	sites := map[string]bool{}
	for _, p := range c.Problems {
		if p.Derived {
			sites[p.Site] = true
		}
	}
	for _, code := range sortedKeys(sites) {
		if err := s.Rebuild(ctx, code, nil); err != nil {
			return c, nil, err
		}
		said = append(said, code)
	}
	return c, said, nil
}

// setAside keeps the network that is in a data folder in a folder of its own inside,
// and takes what SQLite keeps beside the database away, which must not meet another
// database. The old file itself stays until the new one takes its name.
func setAside(dir string, now time.Time) (string, error) {
	base := filepath.Join(dir, "replaced-"+now.UTC().Format("20060102-150405"))
	aside := base
	for n := 2; ; n++ {
		err := os.Mkdir(aside, 0o700)
		if err == nil {
			break
		}
		if !errors.Is(err, os.ErrExist) {
			return "", err
		}
		aside = fmt.Sprintf("%s-%d", base, n)
	}
	for _, end := range []string{"", "-wal", "-journal"} {
		from, to := filepath.Join(dir, FileName+end), filepath.Join(aside, FileName+end)
		err := os.Link(from, to)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			err = copyFile(from, to)
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", err
		}
	}
	if err := syncFolder(aside); err != nil {
		return "", err
	}
	for _, end := range []string{"-wal", "-journal", "-shm"} {
		if err := os.Remove(filepath.Join(dir, FileName+end)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", err
		}
	}
	return aside, nil
}

// takePlace gives the finished network its name in the data folder.
func takePlace(stage, dir string) error {
	return moveWhole(filepath.Join(stage, FileName), filepath.Join(dir, FileName))
}
