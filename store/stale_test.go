package store

import (
	"context"
	"os"
	"testing"
	"time"
)

// oldNetwork makes a network with tables of version 3 that keeps what the
// network in dir keeps, its derived rows as an older Doorleaf might have left
// them: one finding that is wrong, and nothing else.
func oldNetwork(t *testing.T, dir string) string {
	t.Helper()
	old := t.TempDir()
	db, err := openPool(databaseFile(old), writerPragmas, "mode=rwc&_txlock=immediate&_journal_mode=WAL", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	p, err := newProvider(db)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(t.Context(), 3); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`ATTACH '` + databaseFile(dir) + `' AS new`,
		`INSERT INTO site SELECT * FROM new.site`,
		`INSERT INTO card SELECT id, site, name, size, imported_at, removed_at, date_order, encoding, file_order,
			lines, rows, complaints, first_reading, last_reading, sketch, body FROM new.card`,
		`INSERT INTO totals SELECT id, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1 FROM site`,
		`INSERT INTO finding (site, key, kind, from_at, to_at, says, evidence) SELECT id, 'k', 'old', 1, 2, 'wrong', '[]' FROM site`,
		`DETACH new`,
	} {
		if _, err := db.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	return old
}

// A network of an older Doorleaf is derived again when it is opened, once.
func TestOpenRefreshesWhatIsStale(t *testing.T) {
	sites, cards := forged(t, 90, 2, 3)
	dir := t.TempDir()
	s := openEmpty(t, dir)
	s.engine = realEngine
	addForged(t, s, sites)
	for i, site := range sites {
		mustKeep(t, s, site.Spec.Code, cards[i]...)
	}
	want := dumpAll(t, s)
	old := oldNetwork(t, dir)
	again := openEmpty(t, old)
	if dumpAll(t, again) != want {
		t.Error("a network with tables of version 3 opens with other rows than a new one has")
	}
	var marks int
	if err := again.reader.QueryRow(`SELECT count(*) FROM stale`).Scan(&marks); err != nil || marks != 0 {
		t.Errorf("%d sites are still stale, %v", marks, err)
	}
	if n := totalChanges(t, openEmpty(t, old)); n != 0 {
		t.Errorf("opening it once more wrote %d rows, want 0", n)
	}
}

// A refresh that is cut off goes on the next time.
func TestRefreshIsCutOff(t *testing.T) {
	sites, cards := forged(t, 60, 1, 4)
	dir := t.TempDir()
	s := openEmpty(t, dir)
	s.engine = realEngine
	addForged(t, s, sites)
	mustKeep(t, s, sites[0].Spec.Code, cards[0]...)
	want := dumpAll(t, s)
	old := oldNetwork(t, dir)
	execIn(t, old, `CREATE TRIGGER cut BEFORE INSERT ON block BEGIN SELECT RAISE(ABORT, 'cut off'); END`)
	if s, err := Open(context.Background(), old, Options{Now: time.Now}); err == nil {
		s.Close()
		t.Fatal("Open succeeded though no block could be written")
	}
	execIn(t, old, `DROP TRIGGER cut`)
	if dumpAll(t, openEmpty(t, old)) != want {
		t.Error("the second opening did not finish what the first began")
	}
	if _, err := os.Stat(databaseFile(old)); err != nil {
		t.Error(err)
	}
}
