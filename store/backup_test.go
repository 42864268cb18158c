package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

func wantNoTraces(t *testing.T, dir string) {
	t.Helper()
	left, err := filepath.Glob(filepath.Join(dir, ".doorleaf-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind in %s: %q, %v", dir, left, err)
	}
}

func mustRestore(t *testing.T, file, dir string, replace bool) Restored {
	t.Helper()
	done, err := Restore(t.Context(), file, dir, RestoreOptions{Now: fixedClock(testNow), Replace: replace})
	if err != nil {
		t.Fatalf("Restore(%s): %v", file, err)
	}
	return done
}

// realNetwork is a network of forged cards, derived as the program does.
func realNetwork(t testing.TB, dir string) *Store {
	t.Helper()
	s := openEmpty(t, dir)
	s.engine = realEngine
	sites, cards := forged(t, 60, 2, 5)
	for i, site := range sites {
		mustAdd(t, s, site.Spec.Site())
		mustKeep(t, s, site.Spec.Code, cards[i]...)
	}
	return s
}

// Cards that lie on a tray are nobody's yet: a copy leaves them out, and is made.
func TestBackupBesideATray(t *testing.T) {
	s := openTest(t)
	cards := []TrayCard{{Name: "A", Packed: packed(t, "a")}, {Name: "B", Packed: packed(t, "b")}}
	tray, err := s.FillTray(t.Context(), cards)
	if err != nil {
		t.Fatal(err)
	}
	for what, copyIt := range map[string]func() (Copied, error){
		"Backup": func() (Copied, error) { return s.Backup(t.Context(), filepath.Join(t.TempDir(), "copy.db")) },
		"Roll":   func() (Copied, error) { return s.Roll(t.Context()) },
	} {
		made, err := copyIt()
		if err != nil || made.File == "" {
			t.Errorf("%s beside a tray = %+v, %v", what, made, err)
			continue
		}
		to := t.TempDir()
		mustRestore(t, made.File, to, false)
		again := openEmpty(t, to)
		if keptContent(t, again) != keptContent(t, s) {
			t.Errorf("%s: the copy differs", what)
		}
		_, err = again.Tray(t.Context(), tray)
		wantKind(t, what+": the tray in the copy", err, usage.NotFound)
	}
	wantTray(t, s, tray, cards)
}

// A backup restored is the network: everything kept, everything derived, the journal
// and the passphrases.
func TestBackupAndRestore(t *testing.T) {
	dir := t.TempDir()
	s := realNetwork(t, dir)
	want, wantDerived := keptContent(t, s), derivedByCode(t, s)
	file := filepath.Join(t.TempDir(), "copy.db")
	made, err := s.Backup(t.Context(), file)
	if err != nil || made.Sites != 2 || made.Cards == 0 || made.Bytes == 0 {
		t.Fatalf("Backup = %+v, %v", made, err)
	}
	wantNoTraces(t, filepath.Dir(file))
	to := filepath.Join(t.TempDir(), "new", "folder")
	done := mustRestore(t, file, to, false)
	if !done.Sealed || done.Aside != "" || len(done.Mended) != 0 || done.Digest != made.Digest || done.Cards != made.Cards {
		t.Errorf("Restore = %+v, want what was copied, sealed, nothing mended", done)
	}
	wantNoTraces(t, to)
	again := openEmpty(t, to)
	again.engine = realEngine
	if keptContent(t, again) != want || derivedByCode(t, again) != wantDerived {
		t.Error("the restored network differs")
	}
	wantWhole(t, again)

	_, err = Restore(t.Context(), file, dir, RestoreOptions{})
	wantKind(t, "Restore over a network", err, usage.Conflict)
	if keptContent(t, s) != want {
		t.Error("a refused restore changed the network")
	}
}

// Where a restore replaces a network, that one is kept aside with what it held.
func TestRestoreReplaces(t *testing.T) {
	from, dir := t.TempDir(), t.TempDir()
	s := realNetwork(t, from)
	file := filepath.Join(from, "copy.db")
	if _, err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	old := openEmpty(t, dir)
	mustAdd(t, old, testSite("OLD"))
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	done := mustRestore(t, file, dir, true)
	if keptContent(t, openEmpty(t, dir)) != keptContent(t, s) {
		t.Error("the restored network differs")
	}
	sites, err := openEmpty(t, done.Aside).Sites(t.Context())
	if err != nil || len(sites) != 1 || sites[0].Code != "OLD" {
		t.Errorf("the network set aside holds %+v, %v, want OLD", sites, err)
	}
}

// A bundle is restored too.
func TestRestoreOfABundle(t *testing.T) {
	s := realNetwork(t, t.TempDir())
	file := filepath.Join(t.TempDir(), "b.zip")
	if err := os.WriteFile(file, bundleBytes(t, s, ""), 0o600); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	mustRestore(t, file, dir, false)
	if keptContent(t, openEmpty(t, dir)) != keptContent(t, s) {
		t.Error("the restored network differs")
	}
}

// Whatever is wrong with a copy, it is refused and the data folder stays empty.
func TestRestoreRefuses(t *testing.T) {
	src := t.TempDir()
	s := realNetwork(t, src)
	file := filepath.Join(t.TempDir(), "copy.db")
	if _, err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name  string
		spoil func(t *testing.T, path string)
	}{
		{"no file", func(t *testing.T, path string) { os.Remove(path) }},
		{"empty", func(t *testing.T, path string) { os.WriteFile(path, nil, 0o600) }},
		{"text", func(t *testing.T, path string) { os.WriteFile(path, []byte("dear diary, today"), 0o600) }},
		{"truncated", func(t *testing.T, path string) { os.WriteFile(path, good[:len(good)/2], 0o600) }},
		{"last page lost", func(t *testing.T, path string) { os.WriteFile(path, good[:len(good)-8192], 0o600) }},
		{"card lost", func(t *testing.T, path string) { execFile(t, path, `DELETE FROM card WHERE rowid = 1`) }},
		{"name changed", func(t *testing.T, path string) { execFile(t, path, `UPDATE site SET name = 'x' WHERE id = 1`) }},
		{"bytes of a card changed", func(t *testing.T, path string) {
			execFile(t, path, `UPDATE card SET body = (SELECT body FROM card AS c WHERE c.id <> card.id LIMIT 1)`)
		}},
		{"newer tables", func(t *testing.T, path string) {
			execFile(t, path, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)`)
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "copy.db")
			if err := os.WriteFile(path, good, 0o600); err != nil {
				t.Fatal(err)
			}
			test.spoil(t, path)
			dir := t.TempDir()
			_, err := Restore(t.Context(), path, dir, RestoreOptions{})
			if f, ok := errors.AsType[*usage.Fault](err); !ok || f.Try == "" {
				t.Errorf("Restore: %v, want a fault that says what to try", err)
			}
			if entries, _ := os.ReadDir(dir); len(entries) > 1 {
				t.Errorf("a refused restore left %v", entries)
			}
		})
	}
}

func execFile(t *testing.T, path, statement string) {
	t.Helper()
	db, err := openPool(path, nil, "mode=rw", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

// A copy made while others write is whole, and is one commit.
func TestBackupWhileKeeping(t *testing.T) {
	s := openTest(t)
	rows := invent(10, 100, 20)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		for i := 1; ; i++ {
			part := rows[:min(i*20, len(rows))]
			if _, err := s.Keep(context.Background(), "MILL", []CardIn{cardOf("A", append([]string{rowAt(logStart - int64(i))}, part...))}); err != nil || ctx.Err() != nil {
				done <- err
				return
			}
		}
	}()
	seen := map[string]bool{}
	for i := range 8 {
		file := filepath.Join(t.TempDir(), fmt.Sprint(i, ".db"))
		made, err := s.Backup(t.Context(), file)
		if err != nil {
			t.Errorf("Backup: %v", err)
			continue
		}
		seen[made.Digest] = true
		dir := t.TempDir()
		if err := os.Rename(file, databaseFile(dir)); err != nil {
			t.Fatal(err)
		}
		wantWhole(t, openEmpty(t, dir))
	}
	stop()
	if err := <-done; err != nil {
		t.Errorf("Keep: %v", err)
	}
	if len(seen) < 2 {
		t.Errorf("%d different copies were made while cards were kept, want more", len(seen))
	}
}

func TestBackupRefusesItself(t *testing.T) {
	dir := t.TempDir()
	s := openEmpty(t, dir)
	_, err := s.Backup(t.Context(), databaseFile(dir))
	wantKind(t, "Backup onto itself", err, usage.Invalid)
	_, err = s.Backup(t.Context(), filepath.Join(dir, "none", "copy.db"))
	wantKind(t, "Backup into no folder", err, usage.NotFound)
	wantNoTraces(t, dir)
}

// A damaged network makes no copy that looks like a whole one.
func TestBackupOfADamagedNetwork(t *testing.T) {
	s := openTest(t)
	mustKeep(t, s, "MILL", cardOf("A", invent(1, 5, 5)), cardOf("B", invent(2, 5, 5)))
	if _, err := s.writer.Exec(`UPDATE card SET body = (SELECT body FROM card AS c WHERE c.id <> card.id LIMIT 1)`); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "copy.db")
	_, err := s.Backup(t.Context(), file)
	wantKind(t, "Backup", err, usage.Conflict)
	if _, err := os.Stat(file); err == nil {
		t.Error("there is a copy")
	}
}

// Before each site the daily check lets readers go first.
func TestTendWaits(t *testing.T) {
	s := openTest(t)
	ctx, stop := context.WithCancel(t.Context())
	waited := 0
	s.Tend(ctx, func(context.Context) { waited++ }, func(what string, err error) {
		if stop(); err != nil || !strings.HasPrefix(what, "daily copy ") {
			t.Errorf("Tend says %q, %v, want the day's copy", what, err)
		}
	})
	if waited != 2 {
		t.Errorf("Tend waited %d times, want once for each site", waited)
	}
}

// One copy a day on which something changed, seven days and four weeks of them.
func TestRoll(t *testing.T) {
	dir := t.TempDir()
	s := openEmpty(t, dir)
	mustAdd(t, s, testSite("MILL"))
	start := time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)
	roll := func(day int) string {
		t.Helper()
		s.now = fixedClock(start.AddDate(0, 0, day).Unix())
		made, err := s.Roll(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return filepath.Base(made.File)
	}
	if got := roll(0); got != "2026-01-01.db" {
		t.Errorf("first copy %s, want 2026-01-01.db", got)
	}
	if a, b := roll(0), roll(1); a != "." || b != "." {
		t.Errorf("a second copy on one day: %s, one of nothing new: %s, want none", a, b)
	}
	for day := 2; day <= 60; day++ {
		mustKeep(t, s, "MILL", cardOf("A", []string{rowAt(logStart + int64(day))}))
		roll(day)
	}
	if err := os.WriteFile(filepath.Join(dir, copyFolder, "mine.txt"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	copies, err := Copies(dir)
	for i := range copies {
		copies[i] = strings.TrimSuffix(filepath.Base(copies[i]), ".db")
	}
	// 2026-03-02 is a Monday; before the seven days the newest of each week.
	want := []string{
		"2026-03-02", "2026-03-01", "2026-02-28", "2026-02-27", "2026-02-26", "2026-02-25", "2026-02-24",
		"2026-02-23", "2026-02-22", "2026-02-15", "2026-02-08",
	}
	if err != nil || !slices.Equal(copies, want) {
		t.Errorf("Copies() = %q, %v, want %q", copies, err, want)
	}
	if err := pruneCopies(filepath.Join(dir, copyFolder), 1); err != nil {
		t.Fatal(err)
	}
	if left, err := Copies(dir); err != nil || len(left) != 2 {
		t.Errorf("under a byte: %q, %v, want the newest two", left, err)
	}
	if _, err := os.Stat(filepath.Join(dir, copyFolder, "mine.txt")); err != nil {
		t.Errorf("somebody's own file: %v", err)
	}
}

// Before the tables of an old network are changed it is copied as it was.
func TestCopyBeforeMigration(t *testing.T) {
	dir := t.TempDir()
	realNetwork(t, dir)
	old := oldNetwork(t, dir)
	openEmpty(t, old)
	copies, err := Copies(old)
	if err != nil || len(copies) != 1 || !strings.HasPrefix(filepath.Base(copies[0]), "before-tables-3-") {
		t.Fatalf("Copies() = %q, %v, want one before version 3", copies, err)
	}
	db, err := openPool(copies[0], nil, "mode=ro", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if v := fileVersion(t.Context(), db); v != 3 {
		t.Errorf("the copy has tables of version %d, want 3", v)
	}
	to := t.TempDir()
	mustRestore(t, copies[0], to, false)
	openEmpty(t, old)
	if again, _ := Copies(old); len(again) != 1 {
		t.Errorf("opening it once more made another copy: %q", again)
	}
}
