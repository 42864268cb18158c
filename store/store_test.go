package store

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"doorleaf/usage"
)

func TestOpenAgain(t *testing.T) {
	// Characters that mean something in a URI must not in a path.
	dir := filepath.Join(t.TempDir(), "town? 100% #1&mode=memory")
	s := openEmpty(t, dir)
	if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(databaseFile(dir)); err != nil {
		t.Fatalf("Open: %v", err)
	}
	again := openEmpty(t, dir)
	sites, err := again.Sites(t.Context())
	if err != nil || len(sites) != 1 || sites[0].Code != "MILL" {
		t.Errorf("Sites() after opening again = %v, %v, want MILL", sites, err)
	}
	before := totalChanges(t, again)
	if before != 0 {
		t.Errorf("opening an up-to-date network wrote %d rows, want 0", before)
	}
}

func TestPragmas(t *testing.T) {
	s := openTest(t)
	for _, test := range []struct {
		name string
		db   *sql.DB
		want string
	}{
		{"journal_mode", s.writer, "wal"},
		{"synchronous", s.writer, "2"},
		{"foreign_keys", s.writer, "1"},
		{"busy_timeout", s.writer, "10000"},
		{"page_size", s.writer, "8192"},
		{"query_only", s.reader, "1"},
		{"busy_timeout", s.reader, "10000"},
	} {
		var got string
		if err := test.db.QueryRow(`PRAGMA ` + test.name).Scan(&got); err != nil || got != test.want {
			t.Errorf("PRAGMA %s = %s, %v, want %s", test.name, got, err, test.want)
		}
	}
	if _, err := s.reader.Exec(`DELETE FROM site`); err == nil {
		t.Error("the read pool deleted sites")
	}
}

func TestOpenRefuses(t *testing.T) {
	for _, test := range []struct {
		name  string
		spoil func(t *testing.T, dir string)
		want  usage.Kind
	}{
		{"text file", func(t *testing.T, dir string) {
			text := []byte("this is no database, and longer than a header of a hundred bytes would have to be ............................")
			if err := os.WriteFile(databaseFile(dir), text, 0o600); err != nil {
				t.Fatal(err)
			}
		}, usage.Invalid},
		{"other program", func(t *testing.T, dir string) { execIn(t, dir, `CREATE TABLE recipe (name TEXT)`) }, usage.Invalid},
		{"newer", func(t *testing.T, dir string) {
			openEmpty(t, dir)
			execIn(t, dir, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`)
		}, usage.Conflict},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir := t.TempDir()
			test.spoil(t, dir)
			before, err := os.ReadFile(databaseFile(dir))
			if err != nil {
				t.Fatal(err)
			}
			s, err := Open(t.Context(), dir, Options{})
			wantKind(t, "Open", err, test.want)
			if err == nil {
				s.Close()
			}
			after, err := os.ReadFile(databaseFile(dir))
			if err != nil || string(before) != string(after) {
				t.Errorf("Open changed the file that it refused (%v)", err)
			}
		})
	}
}

func execIn(t *testing.T, dir, statement string) {
	t.Helper()
	db, err := openPool(databaseFile(dir), nil, "mode=rwc", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

// Two programs may begin the same network at the same moment.
func TestOpenAtOnce(t *testing.T) {
	dir := t.TempDir()
	errs := make(chan error)
	for range 4 {
		go func() {
			s, err := Open(context.Background(), dir, Options{})
			if err == nil {
				err = s.Close()
			}
			errs <- err
		}()
	}
	for range 4 {
		if err := <-errs; err != nil {
			t.Errorf("Open at once: %v", err)
		}
	}
}
