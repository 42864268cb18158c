package store

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/argon2"

	"doorleaf/usage"
)

// cheap keeps the tests of what goes around the hash from waiting for it.
var cheap = hashing{memory: 64, passes: 1, lanes: 1, saltLen: 8, keyLen: 16}

// setCheap gives a role a passphrase with a cheap hash.
func setCheap(t *testing.T, s *Store, role Role, phrase string) {
	t.Helper()
	_, err := s.writer.ExecContext(t.Context(), `INSERT OR REPLACE INTO passphrase (role, hash, set_at) VALUES (?, ?, ?)`,
		string(role), hashPassphrase(tidyPhrase(phrase), cheap), 1)
	if err != nil {
		t.Fatal(err)
	}
}

// openAt opens a network whose clock is *now.
func openAt(t *testing.T, now *time.Time) *Store {
	t.Helper()
	s, err := Open(t.Context(), t.TempDir(), Options{Now: func() time.Time { return *now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// RFC 9106's own vector of Argon2id (section 5.3) takes a secret and associated
// data, which the library does not. So the vector is one of the reference
// implementation's test.c for version 0x13: t=2, m=2^16 KiB, p=1, "password",
// "somesalt"; the value comes from memory of that file.
func TestArgon2id(t *testing.T) {
	got := hex.EncodeToString(argon2.IDKey([]byte("password"), []byte("somesalt"), 2, 64<<10, 1, 32))
	if want := "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7"; got != want {
		t.Errorf("Argon2id(password, somesalt, t=2, m=2^16, p=1) = %s, want %s", got, want)
	}
	salt := base64.RawStdEncoding.EncodeToString([]byte("somesalt"))
	key := base64.RawStdEncoding.EncodeToString(unhex(t, "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7"))
	if ok, err := checkPassphrase("password", "$argon2id$v=19$m=65536,t=2,p=1$"+salt+"$"+key); !ok || err != nil {
		t.Errorf("checkPassphrase of that hash = %v, %v, want true", ok, err)
	}
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestHashPassphrase(t *testing.T) {
	a, b := hashPassphrase("lantern turnip", usualHashing), hashPassphrase("lantern turnip", usualHashing)
	if !strings.HasPrefix(a, "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Errorf("hash = %q, want the parameters of RFC 9106's second option", a)
	}
	if a == b {
		t.Error("two hashes of a phrase are the same: there is no salt")
	}
	for phrase, want := range map[string]bool{"lantern turnip": true, "lantern turnip ": false, "Lantern turnip": false, "": false} {
		if got, err := checkPassphrase(phrase, a); got != want || err != nil {
			t.Errorf("checkPassphrase(%q) = %v, %v, want %v", phrase, got, err, want)
		}
	}
	for _, bad := range []string{"", "x", "$argon2i$v=19$m=64,t=1,p=1$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdA", "$argon2id$v=16$m=64,t=1,p=1$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdA",
		"$argon2id$v=19$m=999999999,t=1,p=1$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdA", "$argon2id$v=19$m=64,t=0,p=1$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdA",
		"$argon2id$v=19$m=64,t=1,p=0$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdA", "$argon2id$v=19$m=64,t=1,p=1$c29tZXNhbHQ$"} {
		if ok, err := checkPassphrase("x", bad); ok || err == nil {
			t.Errorf("checkPassphrase with hash %q = %v, %v, want an error", bad, ok, err)
		}
	}
}

func TestCheckPhrase(t *testing.T) {
	for phrase, want := range map[string]bool{
		"lantern turnip harbour": true, "zwölf Grüße an": true, "eleven char": false, "twelve chars": true, "aaaaaaaaaaaaaaaa": false,
		"abababababababab": false, "            ": false, "a b c d      ": false, strings.Repeat("abcdef ", 40): false, "with a\nline end": false, "with a \x00 zero": false, "": false,
	} {
		if err := CheckPhrase(phrase); (err == nil) != want {
			t.Errorf("CheckPhrase(%q) = %v, want taken: %v", phrase, err, want)
		}
	}
}

func TestSetPassphrase(t *testing.T) {
	now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	s, ctx := openAt(t, &now), t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.SetPassphrase(ctx, RoleReading, "lantern turnip harbour"))
	if err := s.SetPassphrase(ctx, RoleReports, " lantern turnip harbour "); usage.KindOf(err) != usage.Conflict {
		t.Errorf("the passphrase of another role = %v, want Conflict", err)
	}
	if err := s.SetPassphrase(ctx, "king", "lantern turnip onward"); usage.KindOf(err) != usage.Invalid {
		t.Errorf("a role that there is not = %v, want Invalid", err)
	}
	token, _, err := s.SignIn(ctx, "lantern turnip harbour", "Ann")
	must(err)
	lines := func() int {
		all, _, err := s.Journal(ctx, 0, 100)
		must(err)
		return len(all)
	}
	before := lines()
	must(s.SetPassphrase(ctx, RoleReading, "lantern turnip harbour"))
	if _, ok, err := s.Session(ctx, token); !ok || err != nil || lines() != before {
		t.Errorf("the same passphrase again: session there %v, %v, %d new lines; want nothing changed", ok, err, lines()-before)
	}
	must(s.SetPassphrase(ctx, RoleReading, "gravel thimble onward"))
	if _, ok, _ := s.Session(ctx, token); ok {
		t.Error("a session outlives the passphrase that began it")
	}
	if token, _, err := s.SignIn(ctx, "lantern turnip harbour", "Ann"); token != "" || err != nil {
		t.Errorf("sign in with the old passphrase = %q, %v, want none", token, err)
	}
	must(s.RemovePassphrase(ctx, RoleReading))
	if err := s.RemovePassphrase(ctx, RoleReading); usage.KindOf(err) != usage.NotFound {
		t.Errorf("remove again = %v, want NotFound", err)
	}
	if a, err := s.Access(ctx); err != nil || len(a.SetAt) != 0 || a.ReadingOpen {
		t.Errorf("Access() = %+v, %v, want nothing set", a, err)
	}
	must(s.OpenReading(ctx, true))
	if a, err := s.Access(ctx); err != nil || !a.ReadingOpen {
		t.Errorf("Access() = %+v, %v, want reading open", a, err)
	}
}

// A phrase typed in another form of Unicode, or with a phone's blank, is the same.
func TestSignInForms(t *testing.T) {
	now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	s := openAt(t, &now)
	setCheap(t, s, RoleReading, "zw\u00f6lf Fische")
	setCheap(t, s, RoleCoordinating, "saddle mitten quarry")
	for phrase, want := range map[string]Role{
		"zw\u00f6lf Fische": RoleReading, "zwo\u0308lf Fische": RoleReading, " zw\u00f6lf Fische ": RoleReading,
		"saddle mitten quarry": RoleCoordinating, "Saddle mitten quarry": "", "": "", strings.Repeat("x", 5000): "",
	} {
		token, session, err := s.SignIn(t.Context(), phrase, "Ann")
		if err != nil || session.Role != want || (token == "") != (want == "") {
			t.Errorf("SignIn(%q) = %q, %q, %v, want %q", phrase, token, session.Role, err, want)
		}
	}
	for _, who := range []string{"", "  ", strings.Repeat("x", 81), "a\x00b", "\xff"} {
		if _, _, err := s.SignIn(t.Context(), "saddle mitten quarry", who); usage.KindOf(err) != usage.Invalid {
			t.Errorf("SignIn as %q = %v, want Invalid", who, err)
		}
	}
}

func TestSessionsEnd(t *testing.T) {
	begun := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		role  Role
		steps []time.Duration // when the session is used
		want  bool            // at the last
	}{
		{"a coordinator, at once", RoleCoordinating, []time.Duration{0}, true},
		{"a coordinator, the next day", RoleCoordinating, []time.Duration{25 * time.Hour}, false},
		{"a coordinator, each half day", RoleCoordinating, []time.Duration{12 * time.Hour, 30 * time.Hour}, true},
		{"a coordinator, after a week of use", RoleCoordinating, every(12*time.Hour, 15), false},
		{"a reader, after three weeks", RoleReading, []time.Duration{21 * 24 * time.Hour}, true},
		{"a reader, after five weeks", RoleReading, []time.Duration{35 * 24 * time.Hour}, false},
		{"a reader, after half a year of use", RoleReading, every(20*24*time.Hour, 10), false},
		{"the clock was put back an hour", RoleReading, []time.Duration{-time.Hour}, true},
		{"the clock was put back a year", RoleReading, []time.Duration{-365 * 24 * time.Hour}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			now := begun
			s := openAt(t, &now)
			setCheap(t, s, c.role, "saddle mitten quarry")
			token, _, err := s.SignIn(t.Context(), "saddle mitten quarry", "Ann")
			if err != nil || token == "" {
				t.Fatal(token, err)
			}
			var ok bool
			for _, step := range c.steps {
				now = begun.Add(step)
				if _, ok, err = s.Session(t.Context(), token); err != nil {
					t.Fatal(err)
				}
			}
			if ok != c.want {
				t.Errorf("session is there: %v, want %v", ok, c.want)
			}
		})
	}
}

func every(step time.Duration, n int) (all []time.Duration) {
	for i := range n {
		all = append(all, time.Duration(i+1)*step)
	}
	return all
}

func TestSessionsAreKeptHashed(t *testing.T) {
	now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	s, ctx := openAt(t, &now), t.Context()
	setCheap(t, s, RoleCoordinating, "saddle mitten quarry")
	var tokens []string
	for range 3 {
		token, _, err := s.SignIn(ctx, "saddle mitten quarry", "Ann")
		if err != nil {
			t.Fatal(err)
		}
		tokens = append(tokens, token)
	}
	if tokens[0] == tokens[1] || len(tokens[0]) < 43 {
		t.Errorf("tokens %q are not 256 random bits each", tokens)
	}
	var found int
	for _, table := range []string{"session", "passphrase", "journal"} {
		rows, err := s.reader.QueryContext(ctx, `SELECT * FROM `+table)
		if err != nil {
			t.Fatal(err)
		}
		columns, _ := rows.Columns()
		for rows.Next() {
			values := make([]any, len(columns))
			for i := range values {
				values[i] = new(any)
			}
			if err := rows.Scan(values...); err != nil {
				t.Fatal(err)
			}
			for _, v := range values {
				found++
				for _, secret := range append(tokens, "saddle mitten") {
					if strings.Contains(fmt.Sprintf("%s", *v.(*any)), secret) {
						t.Errorf("table %s holds %q", table, secret)
					}
				}
			}
		}
		rows.Close()
	}
	if found == 0 {
		t.Error("nothing was looked at")
	}
	sessions, err := s.Sessions(ctx)
	if err != nil || len(sessions) != 3 {
		t.Fatalf("Sessions() = %d, %v, want 3", len(sessions), err)
	}
	if err := s.EndSession(ctx, sessions[0].ID); err != nil {
		t.Fatal(err)
	}
	if err := s.EndSession(ctx, sessions[0].ID); usage.KindOf(err) != usage.NotFound {
		t.Errorf("EndSession again = %v, want NotFound", err)
	}
	if n, err := s.EndSessions(ctx); n != 2 || err != nil {
		t.Errorf("EndSessions() = %d, %v, want 2", n, err)
	}
	for _, token := range tokens {
		if _, ok, _ := s.Session(ctx, token); ok {
			t.Error("a session is left when everyone was signed out")
		}
	}
}

// Each change writes its line in its own transaction, as whose it is.
func TestJournal(t *testing.T) {
	now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	s := openAt(t, &now)
	ctx := WithActor(t.Context(), Actor{Role: "coordinating", Who: "Ann"})
	ok := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	site := usage.Site{Code: "MILL", Name: "Mill Lane", Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: usage.DateOf(2024, 1, 1)}
	ok(s.AddSite(t.Context(), site))
	ok(s.ChangeSite(ctx, "MILL", func(site *usage.Site) error { site.Name = "Mill Bridge"; return nil }))
	ok(s.ChangeSite(ctx, "MILL", func(*usage.Site) error { return nil })) // changes nothing
	got, err := s.Keep(ctx, "MILL", []CardIn{{Name: "LOG.TXT", Bytes: []byte("2026-03-01 10:00:00,20\n2026-03-01 17:00:30,40\n2026-03-02 09:00:00,\n")}})
	ok(err)
	card := got[0].Card.ID
	_, err = s.Keep(ctx, "MILL", []CardIn{{Name: "LOG.TXT", Bytes: []byte("2026-03-01 10:00:00,20\n2026-03-01 17:00:30,40\n2026-03-02 09:00:00,\n")}}) // nor this
	ok(err)
	at := time.Date(2026, 3, 2, 9, 0, 5, 0, time.UTC).Unix()
	ok(s.Removal(ctx, card, &at, false))
	call, err := s.AddCall(ctx, "MILL", usage.ServiceCall{At: at, Kinds: []usage.CallKind{usage.CallRestock}})
	ok(err)
	ok(s.DropCall(ctx, "MILL", call))
	ok(s.Withdraw(ctx, card))
	if err := s.DropCall(ctx, "MILL", call); err == nil {
		t.Error("a call is withdrawn twice")
	}
	entries, more, err := s.Journal(t.Context(), 0, 100)
	ok(err)
	var deeds []string
	for _, e := range entries {
		deeds = append(deeds, string(e.Deed))
		if want := (Actor{Role: "coordinating", Who: "Ann"}); e.Deed != DeedSiteAdded && e.Actor != want {
			t.Errorf("%s is by %+v, want %+v", e.Deed, e.Actor, want)
		}
		if e.Standing != (e.Deed == DeedSiteChanged) {
			t.Errorf("%s can be taken back: %v", e.Deed, e.Standing)
		}
	}
	want := "card withdrawn, service call withdrawn, service call kept, card told, card kept, site changed, site added"
	if got := strings.Join(deeds, ", "); got != want || more {
		t.Errorf("journal = %s, want %s", got, want)
	}
	if first := entries[len(entries)-1]; first.Actor != (Actor{Role: CommandLine}) {
		t.Errorf("without an actor the change is by %+v, want the command line", first.Actor)
	}
	if says := entries[5].Says; says != "name: Mill Lane → Mill Bridge" {
		t.Errorf("a changed site says %q", says)
	}
	older, more, err := s.Journal(t.Context(), entries[1].ID, 2)
	if err != nil || len(older) != 2 || !more || older[0].ID != entries[2].ID {
		t.Errorf("Journal(before the second, 2) = %d entries, more %v, %v", len(older), more, err)
	}
	for _, statement := range []string{`UPDATE journal SET who = 'Bob'`, `DELETE FROM journal`, `DELETE FROM journal WHERE id = 1`} {
		if _, err := s.writer.ExecContext(context.Background(), statement); err == nil {
			t.Errorf("%s is not refused", statement)
		}
	}
}

// Other users of the machine cannot read the database, nor what lies beside it.
func TestDatabaseIsClosedToOthers(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.OpenReading(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	for _, suffix := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(filepath.Join(dir, FileName) + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got&0o007 != 0 {
			t.Errorf("mode of %s = %v, want none for others", info.Name(), got)
		}
	}
}

// A session that was ended after a copy was made is not there again when the copy
// is restored.
func TestRestoreSignsEveryoneOut(t *testing.T) {
	now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	s, file, dir := openAt(t, &now), filepath.Join(t.TempDir(), "copy.db"), t.TempDir()
	setCheap(t, s, RoleCoordinating, "saddle mitten quarry")
	token, _, err := s.SignIn(t.Context(), "saddle mitten quarry", "Ann")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), file, dir, RestoreOptions{Now: fixedClock(now.Unix())}); err != nil {
		t.Fatal(err)
	}
	restored, err := Open(t.Context(), dir, Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	if _, ok, err := restored.Session(t.Context(), token); ok || err != nil {
		t.Errorf("session of the copy is there: %v, %v, want none", ok, err)
	}
	if token, _, err := restored.SignIn(t.Context(), "saddle mitten quarry", "Ann"); token == "" || err != nil {
		t.Errorf("sign in after a restore = %q, %v, want a session", token, err)
	}
	entries, _, err := restored.Journal(t.Context(), 0, 10)
	if err != nil || len(entries) < 2 || entries[1].Deed != DeedRestored {
		t.Errorf("journal = %+v, %v, want the restore before the sign-in", entries, err)
	}
}

func BenchmarkPassphrase(b *testing.B) {
	hash := hashPassphrase("saddle mitten quarry", usualHashing)
	b.ReportAllocs()
	for b.Loop() {
		if ok, err := checkPassphrase("saddle mitten quarry", hash); !ok || err != nil {
			b.Fatal(ok, err)
		}
	}
}
