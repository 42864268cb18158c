//go:build unix

package main

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/pressly/goose/v3"

	"doorleaf/importer/forge"
	"doorleaf/migrations"
	"doorleaf/store"
)

// These tests run the program as others do, in processes of its own, and do it harm.

// soakTimes returns how often to try: few times in a test, often in a soak, which the
// environment variable DOORLEAF_SOAK asks for: 1 for a whole one, 0.1 for a tenth.
func soakTimes(test, soak int) int {
	share, err := strconv.ParseFloat(os.Getenv("DOORLEAF_SOAK"), 64)
	if err != nil || share <= 0 {
		return test
	}
	return max(test, int(math.Round(share*float64(soak))))
}

// township is a small made-up network with its cards in folders named for their sites.
type township struct {
	data, cards string
	ids         map[string][]byte // bytes of every card, by its ID
	bundle      string            // of another network with the same sites and other cards
}

// newTownship makes a network of which half the cards are kept, and a folder with all.
func newTownship(t *testing.T) *township {
	t.Helper()
	n, err := forge.Random(200, 2, 9)
	if err != nil {
		t.Fatal(err)
	}
	w := &township{data: t.TempDir(), cards: t.TempDir(), ids: map[string][]byte{}}
	one, two := openAt(t, w.data), openAt(t, t.TempDir())
	for _, site := range n.Sites {
		for i, s := range []*store.Store{one, two} {
			if err := s.AddSite(t.Context(), site.Spec.Site()); err != nil {
				t.Fatal(err)
			}
			half := &forge.Site{Spec: site.Spec}
			for j, c := range site.Cards {
				data, err := c.Bytes()
				if err != nil {
					t.Fatal(err)
				}
				w.ids[store.CardID(data)] = data
				w.write(t, site.Spec.Code, j, data)
				if j%2 == i {
					half.Cards = append(half.Cards, c)
				}
			}
			for _, c := range half.Cards {
				data, err := c.Bytes()
				if err == nil {
					_, err = s.Keep(t.Context(), site.Spec.Code, []store.CardIn{{Name: c.Name, Bytes: data}})
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	w.bundle = filepath.Join(t.TempDir(), "other.zip")
	err = writeWhole(w.bundle, func(out io.Writer) error {
		_, err := two.WriteBundle(t.Context(), out, "")
		return err
	})
	if err := errors.Join(err, one.Close(), two.Close()); err != nil {
		t.Fatal(err)
	}
	return w
}

func (w *township) write(t *testing.T, code string, i int, data []byte) {
	t.Helper()
	dir := filepath.Join(w.cards, fmt.Sprintf("%s %d", code, i))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "LOG.TXT"), data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func openAt(t *testing.T, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), dir, store.Options{})
	if err != nil {
		t.Fatalf("open %s: %v", dir, err)
	}
	return s
}

// clone copies the network.
func (w *township) clone(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	data, err := os.ReadFile(filepath.Join(w.data, store.FileName))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, store.FileName), data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// old makes a network with tables of version 3 that keeps the sites and cards of the
// township.
func (w *township) old(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	db, err := sql.Open("sqlite", filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	p, err := goose.NewProvider(goose.DialectSQLite3, db, migrations.Files, goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err == nil {
		_, err = p.UpTo(t.Context(), 3)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`ATTACH '` + filepath.Join(w.data, store.FileName) + `' AS new`,
		`INSERT INTO site SELECT * FROM new.site`,
		`INSERT INTO card SELECT id, site, name, size, imported_at, removed_at, date_order, encoding, file_order,
			lines, rows, complaints, first_reading, last_reading, sketch, body FROM new.card`,
		`INSERT INTO totals SELECT id, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1 FROM site`,
		`DETACH new`,
	} {
		if _, err := db.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	return dir
}

// look opens a network that was harmed and returns how many cards are kept, and how
// many of them with other bytes than were brought. A check has to find nothing.
func (w *township) look(t *testing.T, what, dir string) (cards, spoilt int) {
	t.Helper()
	s := openAt(t, dir)
	defer s.Close()
	done, err := s.Check(t.Context(), "", nil)
	if err != nil || len(done.Problems) > 0 {
		t.Errorf("%s: check finds %+v, %v", what, done.Problems, err)
	}
	for id, want := range w.ids {
		data, err := s.CardBytes(t.Context(), id)
		if err != nil {
			continue // not kept
		}
		cards++
		if !bytes.Equal(data, want) {
			spoilt++
		}
	}
	if cards != done.Cards || spoilt > 0 {
		t.Errorf("%s: %d cards are kept, %d of them as they were brought", what, done.Cards, cards-spoilt)
	}
	return cards, spoilt
}

// The program is killed at a random moment of everything that writes. Afterwards the
// network is whole, and doing it again finishes it.
func TestKilled(t *testing.T) {
	w := newTownship(t)
	before, _ := w.look(t, "before", w.clone(t))
	copyOf := filepath.Join(t.TempDir(), "copy.db")
	must(t, "--data", w.clone(t), "backup", "--out", copyOf)
	r := rand.New(rand.NewPCG(3, uint64(time.Now().UnixNano())))
	inAll := 0
	rows := [][]string{{"", "tries", "killed", "unfinished", "cards lost", "spoilt"}}
	for _, do := range []struct {
		name  string
		args  func(dir string) []string
		all   bool // afterwards all cards are kept
		begin func(*testing.T) string
	}{
		{"import", func(string) []string { return []string{"import", w.cards} }, true, w.clone},
		{"merge", func(string) []string { return []string{"merge", w.bundle} }, true, w.clone},
		{"rebuild", func(string) []string { return []string{"rebuild"} }, false, w.clone},
		{"migrate", func(string) []string { return []string{"site", "list"} }, false, w.old},
		{"backup", func(dir string) []string { return []string{"backup", "--out", filepath.Join(dir, "copy.db")} }, false, w.clone},
		{"restore", func(string) []string { return []string{"restore", copyOf, "--replace"} }, false, w.clone},
	} {
		try := func(dir string, after time.Duration) (killed bool) {
			return killAfter(t, after, append([]string{"--data", dir}, do.args(dir)...)...)
		}
		begun := time.Now()
		try(do.begin(t), time.Minute)
		took := time.Since(begun) // the machine may be faster later on
		tries, cut, killed, lost, spoilt := soakTimes(4, 95), 0, 0, 0, 0
		for i := range tries {
			dir := do.begin(t)
			begun := time.Now()
			if try(dir, time.Duration((float64(i)+r.Float64())/float64(tries)*float64(took))) {
				killed++
			} else {
				took = min(took, time.Since(begun))
			}
			kept, bad := w.look(t, do.name+" killed", dir)
			lost, spoilt = lost+max(0, before-kept), spoilt+bad
			if do.all && kept < len(w.ids) {
				cut++
			}
			try(dir, time.Minute)
			kept, bad = w.look(t, do.name+" done again", dir)
			lost, spoilt = lost+max(0, before-kept), spoilt+bad
			if do.all {
				lost += len(w.ids) - kept
			}
		}
		rows = append(rows, []string{do.name, fmt.Sprint(tries), fmt.Sprint(killed), fmt.Sprint(cut), fmt.Sprint(lost), fmt.Sprint(spoilt)})
		if inAll += killed; lost > 0 {
			t.Errorf("%s: %d cards were lost", do.name, lost)
		}
	}
	soakTable(t, append(rows, []string{"together", "", fmt.Sprint(inAll), "", "", ""}))
	if inAll == 0 {
		t.Error("nothing was ever killed")
	}
}

// killAfter runs the program and kills it after a time; false: it had ended before.
func killAfter(t *testing.T, after time.Duration, args ...string) bool {
	t.Helper()
	cmd := exec.Command("doorleaf", args...)
	var errs strings.Builder
	cmd.Stderr = &errs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { cmd.Process.Kill() })
	defer timer.Stop()
	err := cmd.Wait()
	if status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && status.Signaled() {
		return true
	}
	if err != nil {
		t.Errorf("doorleaf %v: %v\n%s", args, err, errs.String())
	}
	return false
}

// The file-size limit stands in for a full disk: whatever is cut off by it is told in
// words, and leaves nothing half done.
func TestFileSizeLimit(t *testing.T) {
	w := newTownship(t)
	info, err := os.Stat(filepath.Join(w.data, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	copyOf := filepath.Join(t.TempDir(), "copy.db")
	must(t, "--data", w.clone(t), "backup", "--out", copyOf)
	before, _ := w.look(t, "before", w.clone(t))
	refused, done := 0, 0
	byCommand, names := map[string][5]int{}, []string{}
	tries := soakTimes(6, 100)
	for i := range tries {
		blocks := 1 + i*int(2*info.Size()/512)/tries // of 512 bytes, as POSIX sh counts
		for _, args := range [][]string{
			{"import", w.cards}, {"merge", w.bundle}, {"backup", "--out", "copy.db"}, {"bundle", "--out", "b.zip"}, {"restore", copyOf, "--data", "new"},
		} {
			dir := w.clone(t)
			work := t.TempDir()
			cmd := exec.Command("sh", "-c", `ulimit -f "$0"; exec doorleaf "$@"`)
			cmd.Args = append(append(cmd.Args, fmt.Sprint(blocks), "--data", dir), args...)
			cmd.Dir = work
			out, err := cmd.CombinedOutput()
			counts, known := byCommand[args[0]]
			if !known {
				names = append(names, args[0])
			}
			counts[0]++
			if err == nil {
				done++
				counts[2]++
			} else {
				refused++
				counts[1]++
				if text := string(out); !strings.Contains(text, "doorleaf: ") && !strings.Contains(text, "refused: ") || strings.Contains(text, "goroutine") || !strings.Contains(text, "try: ") {
					t.Errorf("doorleaf %v with %d blocks says\n%s\nwant what happened and what to try", args, blocks, text)
				}
				if left, _ := filepath.Glob(filepath.Join(work, "*")); len(left) > 0 && !strings.HasSuffix(left[0], "new") {
					t.Errorf("doorleaf %v with %d blocks left %q", args, blocks, left)
				}
			}
			kept, spoilt := w.look(t, args[0], dir)
			counts[3], counts[4] = counts[3]+max(0, before-kept), counts[4]+spoilt
			byCommand[args[0]] = counts
			if kept < before {
				t.Errorf("doorleaf %v with %d blocks lost %d cards", args, blocks, before-kept)
			}
		}
	}
	rows := [][]string{{"", "tries", "cut off", "done", "cards lost", "spoilt"}}
	for _, name := range names {
		row := []string{name}
		for _, n := range byCommand[name] {
			row = append(row, fmt.Sprint(n))
		}
		rows = append(rows, row)
	}
	soakTable(t, rows)
	if refused == 0 || done == 0 {
		t.Error("the limit never cut anything off, or always")
	}
}

// One process at a time changes a network; the second is told who has it, and reading
// goes on.
func TestTwoProcesses(t *testing.T) {
	dir := t.TempDir()
	must(t, "--data", dir, "site", "add", "--code", "MILL", "--name", "Mill Lane", "--latitude", "52", "--longitude", "-8", "--zone", "Europe/Dublin", "--installed", "2016-01-01")
	card := filepath.Join(t.TempDir(), "LOG.TXT")
	if err := os.WriteFile(card, []byte("Thu,01/14/16,09:12:33,34\nFri,01/15/16,21:05:06,7\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	address := serving(t, "serve", "--data", dir)
	tell := func(args ...string) (int, string) {
		t.Helper()
		out, err := exec.Command("doorleaf", append([]string{"--data", dir}, args...)...).CombinedOutput()
		var code *exec.ExitError
		if errors.As(err, &code) {
			return code.ExitCode(), string(out)
		}
		return 0, string(out)
	}
	for _, args := range [][]string{
		{"serve", "--listen", "127.0.0.1:0"}, {"import", "--site", "MILL", card}, {"rebuild"}, {"site", "change", "MILL", "--name", "x"},
		{"restore", card, "--replace"}, {"merge", card},
	} {
		code, out := tell(args...)
		if code != 1 || !strings.Contains(out, "doorleaf serve, process") || !strings.Contains(out, address) || !strings.Contains(out, "try: ") {
			t.Errorf("doorleaf %v beside a server: status %d\n%s\nwant 1 and who has the network, at %s", args, code, out, address)
		}
	}
	for _, args := range [][]string{
		{"check"}, {"site", "list"}, {"backup", "--out", filepath.Join(t.TempDir(), "copy.db")}, {"bundle", "--out", filepath.Join(t.TempDir(), "b.zip")},
		{"export", "--format", "datapackage", "--out", filepath.Join(t.TempDir(), "e.zip")},
	} {
		if code, out := tell(args...); code != 0 {
			t.Errorf("doorleaf %v beside a server: status %d\n%s", args, code, out)
		}
	}
}

// A data folder that may only be read is told so in words, and can be read. The
// program runs as another user, since whoever runs the tests may be allowed everything.
func TestReadOnlyFolder(t *testing.T) {
	if os.Getuid() != 0 {
		testReadOnly(t, nil)
		return
	}
	testReadOnly(t, &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}})
}

func testReadOnly(t *testing.T, as *syscall.SysProcAttr) {
	dir, err := os.MkdirTemp("", "doorleaf-read-only-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o700); os.RemoveAll(dir) })
	must(t, "--data", dir, "site", "add", "--code", "MILL", "--name", "Mill Lane", "--latitude", "52", "--longitude", "-8", "--zone", "Europe/Dublin", "--installed", "2016-01-01")
	for path, mode := range map[string]os.FileMode{filepath.Join(dir, store.FileName): 0o444, filepath.Join(dir, store.LockName): 0o444, dir: 0o555} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	program, err := exec.LookPath("doorleaf")
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(program)
	if err != nil {
		t.Fatal(err)
	}
	place, err := os.MkdirTemp("", "doorleaf-program-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(place) })
	copied := filepath.Join(place, "doorleaf")
	if err := errors.Join(os.Chmod(place, 0o755), os.WriteFile(copied, data, 0o755)); err != nil {
		t.Fatal(err)
	}
	ask := func(args ...string) (string, error) {
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		defer stop()
		cmd := exec.CommandContext(ctx, copied, append([]string{"--data", dir}, args...)...)
		cmd.SysProcAttr, cmd.Dir = as, place
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := ask("rebuild")
	if err == nil || !strings.Contains(out, "cannot be written to") || !strings.Contains(out, "try: ") {
		t.Errorf("rebuild of a network that may only be read: %v\n%s", err, out)
	}
	if out, err = ask("site", "list"); err != nil || !strings.Contains(out, "Mill Lane") {
		t.Errorf("site list of a network that may only be read: %v\n%s", err, out)
	}
	if out, err = ask("check"); err != nil || !strings.Contains(out, "all as it should be") {
		t.Errorf("check of a network that may only be read: %v\n%s", err, out)
	}
}
