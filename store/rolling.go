package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Rolling copies lie in the folder backups of the data folder: a copy a day on which
// something kept has changed, YYYY-MM-DD.db by the UTC date, and one before each
// change of the tables, before-tables-N-TIME.db. They are on the same disk as the
// network: a guard against mistakes and damage, and none against the loss of the disk.
const (
	copyFolder   = "backups"
	dailyCopies  = 7
	weeklyCopies = 4 // one a week (ISO 8601) of the weeks before those days
	beforeCopies = 3
	beforePrefix = "before-tables-"
	copyDay      = "2006-01-02"

	// copyBytes bounds all copies together; but the newest two are always kept.
	copyBytes = 4 << 30
)

// Roll makes today's copy unless there is one, or what is kept is what the newest copy
// keeps, and removes copies that are too old. made says that there is a new one.
func (s *Store) Roll(ctx context.Context) (made Copied, err error) {
	folder := filepath.Join(filepath.Dir(s.path), copyFolder)
	copies, err := listCopies(folder)
	if err != nil {
		return made, fmt.Errorf("daily copy: %w", err)
	}
	today := s.now().UTC().Format(copyDay) + ".db"
	if slices.Contains(copies.daily, today) {
		return made, nil
	}
	digest, err := keptDigest(ctx, s.reader)
	if err != nil {
		return made, fmt.Errorf("daily copy: %w", busyFault(err))
	}
	if n := len(copies.daily); n > 0 {
		if last, err := sealOf(ctx, filepath.Join(folder, copies.daily[n-1])); err == nil && last == digest {
			return made, nil
		}
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return made, folderFault(folder, err)
	}
	removeLeft(folder, copyPrefix) // by a copy that was cut off
	if made, err = s.Backup(ctx, filepath.Join(folder, today)); err != nil {
		return made, fmt.Errorf("daily copy: %w", err)
	}
	return made, pruneCopies(folder, copyBytes)
}

// Copies returns the rolling copies of a data folder, the newest first.
func Copies(dir string) ([]string, error) {
	folder := filepath.Join(dir, copyFolder)
	copies, err := listCopies(folder)
	all := slices.Concat(copies.daily, copies.before)
	slices.SortFunc(all, func(a, b string) int { return strings.Compare(copyDate(b), copyDate(a)) })
	for i := range all {
		all[i] = filepath.Join(folder, all[i])
	}
	return all, err
}

// copyDate returns the date, and the time where there is one, in the name of a copy.
func copyDate(name string) string {
	if rest, before := strings.CutPrefix(name, beforePrefix); before {
		_, name, _ = strings.Cut(rest, "-")
	}
	return strings.TrimSuffix(name, ".db")
}

// copies are the names of rolling copies, the oldest first.
type copies struct{ daily, before []string }

// listCopies lists the copies in a folder. Whatever else lies there is somebody's own
// and left alone.
func listCopies(folder string) (copies, error) {
	var c copies
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return c, err
	}
	for _, e := range entries {
		name := e.Name()
		day, isDB := strings.CutSuffix(name, ".db")
		switch _, err := time.Parse(copyDay, day); {
		case !isDB || !e.Type().IsRegular():
		case err == nil:
			c.daily = append(c.daily, name)
		case strings.HasPrefix(name, beforePrefix):
			c.before = append(c.before, name)
		}
	}
	slices.Sort(c.daily)
	slices.SortFunc(c.before, func(a, b string) int { return strings.Compare(copyDate(a), copyDate(b)) })
	return c, nil
}

// stays returns which daily copies are kept: the newest dailyCopies, and of the weeks
// before those the newest of each of weeklyCopies weeks.
func stays(daily []string) map[string]bool {
	keep, weeks := map[string]bool{}, map[[2]int]bool{}
	for i := len(daily) - 1; i >= 0; i-- {
		if len(daily)-i <= dailyCopies {
			keep[daily[i]] = true
			continue
		}
		day, err := time.Parse(copyDay, strings.TrimSuffix(daily[i], ".db"))
		if err != nil {
			continue
		}
		year, week := day.ISOWeek()
		if at := [2]int{year, week}; !weeks[at] && len(weeks) < weeklyCopies {
			weeks[at] = true
			keep[daily[i]] = true
		}
	}
	return keep
}

// pruneCopies removes the copies that are not kept, and then the oldest of those that
// are until they take no more than most bytes.
func pruneCopies(folder string, most int64) error {
	c, err := listCopies(folder)
	if err != nil {
		return err
	}
	var errs []error
	keep := stays(c.daily)
	for i, name := range c.before {
		keep[name] = i >= len(c.before)-beforeCopies
	}
	var left []string
	for _, name := range slices.Concat(c.daily, c.before) {
		if keep[name] {
			left = append(left, name)
		} else {
			errs = append(errs, os.Remove(filepath.Join(folder, name)))
		}
	}
	slices.SortFunc(left, func(a, b string) int { return strings.Compare(copyDate(b), copyDate(a)) })
	total := int64(0)
	for i, name := range left {
		info, err := os.Stat(filepath.Join(folder, name))
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if total += info.Size(); total > most && i >= 2 {
			errs = append(errs, os.Remove(filepath.Join(folder, name)))
		}
	}
	return errors.Join(errs...)
}

// copyBefore makes a copy of a network whose tables are about to be changed.
func copyBefore(ctx context.Context, path string, version int64, now time.Time) error {
	folder := filepath.Join(filepath.Dir(path), copyFolder)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return folderFault(folder, err)
	}
	db, err := openPool(path, []string{"busy_timeout(10000)", "query_only(1)"}, "mode=ro", 1)
	if err != nil {
		return err
	}
	defer db.Close()
	name := fmt.Sprintf("%s%d-%s.db", beforePrefix, version, now.UTC().Format("2006-01-02T150405Z"))
	if _, err := backup(ctx, db, filepath.Join(folder, name), now); err != nil {
		return fmt.Errorf("copy the network before its tables are changed: %w", busyFault(err))
	}
	return pruneCopies(folder, copyBytes)
}

// Tend looks after a network that is served until ctx ends: at once and every day it
// checks the network and derives again what is not as it should be, and every hour it
// makes the day's copy where something has changed. Before each site wait lets go first
// who cannot wait. say hears what was found or done; nothing of it stops the server.
func (s *Store) Tend(ctx context.Context, wait func(context.Context), say func(what string, err error)) {
	hour := time.NewTicker(time.Hour)
	defer hour.Stop()
	for n := 0; ; n++ {
		if n%24 == 0 {
			s.tendCheck(ctx, wait, say)
		}
		if made, err := s.Roll(ctx); ctx.Err() == nil && (err != nil || made.File != "") {
			say("daily copy "+made.File, err)
		}
		select {
		case <-ctx.Done():
			return
		case <-hour.C:
		}
	}
}

func (s *Store) tendCheck(ctx context.Context, wait func(context.Context), say func(what string, err error)) {
	c, err := s.Check(ctx, "", func(string) { wait(ctx) })
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		say("check", err)
		return
	}
	sites := map[string]bool{}
	for _, p := range c.Problems {
		say("check "+p.Site, errors.New(p.Says))
		if p.Derived {
			sites[p.Site] = true
		}
	}
	for _, code := range sortedKeys(sites) {
		if err := s.Rebuild(ctx, code, nil); ctx.Err() == nil {
			say("derive "+code+" again", err)
		}
	}
}

// damagedAt is damaged with the name of the newest copy of the network at path.
func damagedAt(path, what string) error {
	f := damaged(": "+what, nil)
	if all, err := Copies(filepath.Dir(path)); err == nil && len(all) > 0 {
		f.Try = fmt.Sprintf("stop using it; doorleaf restore %s --replace puts the newest copy in its place and keeps the damaged one aside", all[0])
	}
	return f
}

// quickLook bounds how long opening a network may look for damage.
const quickLook = 2 * time.Second

// lookOver reads the whole database once, as far as that takes no longer than
// quickLook, and says what is damaged in it. The rest is left to Check.
func lookOver(ctx context.Context, db *sql.DB, path string) error {
	short, stop := context.WithTimeout(ctx, quickLook)
	defer stop()
	problems, err := integrity(short, db, `quick_check`)
	switch {
	case short.Err() != nil:
		return ctx.Err()
	case err != nil:
		return busyFault(err)
	case len(problems) > 0:
		return damagedAt(path, strings.Join(strings.Fields(problems[0]), " "))
	}
	return nil
}
