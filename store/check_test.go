package store

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"doorleaf/usage"
)

// Whatever is wrong in what is derived, or in the bytes of a card, a check finds it.
func TestCheckFinds(t *testing.T) {
	for _, test := range []struct{ statement, says string }{
		{`UPDATE day SET visits = visits + 1 WHERE date = (SELECT min(date) FROM day)`, "days: 1 of "},
		{`UPDATE totals SET visits = visits + 1`, "totals: 1 of 1"},
		{`UPDATE month SET cells = (SELECT cells FROM month AS m WHERE m.month <> month.month LIMIT 1)`, "hours of the week"},
		{`UPDATE block SET body = (SELECT body FROM block AS b WHERE b.number <> block.number LIMIT 1) WHERE number = 0`, "openings: 1 of "},
		{`DELETE FROM finding`, "questions: "},
		{`UPDATE stretch SET to_at = to_at + 1`, "coverage: "},
		{`DELETE FROM block WHERE number = 1`, "openings: "},
		{`UPDATE card SET rows = rows + 1`, "what is noted of card"},
		{`UPDATE card SET body = x'28b52ffd0400010000'`, "card "},
		{`UPDATE card SET body = (SELECT body FROM card AS c WHERE c.id <> card.id LIMIT 1)`, "are damaged"},
		{`UPDATE card SET id = replace(id, substr(id, 1, 1), '_')`, "are damaged"},
	} {
		s := openTest(t)
		mustKeep(t, s, "MILL", cardOf("A", quietRows(1)), cardOf("B", invent(2, 3, 20)))
		wantWhole(t, s)
		if _, err := s.writer.Exec(`PRAGMA foreign_keys = 0`); err != nil {
			t.Fatal(err)
		}
		if _, err := s.writer.Exec(test.statement); err != nil {
			t.Fatalf("%s: %v", test.statement, err)
		}
		before := totalChanges(t, s)
		c, err := s.Check(t.Context(), "", nil)
		var said []string
		for _, p := range c.Problems {
			said = append(said, p.Site+": "+p.Says)
		}
		if err != nil || !strings.Contains(strings.Join(said, "\n"), test.says) {
			t.Errorf("%s\nCheck says %q, %v, want %q", test.statement, said, err, test.says)
		}
		if totalChanges(t, s) != before {
			t.Errorf("%s: Check wrote", test.statement)
		}
	}
}

// A check of the whole thing agrees with what the program derives.
func TestCheckOfForgedCards(t *testing.T) {
	s := realNetwork(t, t.TempDir())
	c, err := s.Check(t.Context(), "", nil)
	if err != nil || len(c.Problems) != 0 || c.Sites != 2 || c.Cards == 0 || c.Rows == 0 {
		t.Errorf("Check = %+v, %v", c, err)
	}
	_, err = s.Check(t.Context(), "NONE", nil)
	wantKind(t, "Check of no site", err, usage.NotFound)
}

// What is told of a card after it was kept is noted as it is read.
func TestCheckAfterTelling(t *testing.T) {
	s := openEmpty(t, t.TempDir())
	s.engine = realEngine
	mustAdd(t, s, testSite("MILL"))
	card := CardIn{Name: "A", Bytes: []byte("01/02/2016,09:12:33,34\n02/02/2016,21:05:06,7\n")}
	card.DateOrder = "dmy"
	mustKeep(t, s, "MILL", card)
	card.DateOrder = "mdy"
	mustKeep(t, s, "MILL", card)
	wantWhole(t, s)
}

// A database that is cut off, or of which any byte was flipped, is found out when it
// is opened or by a check, or holds what it held. Nothing false is ever found whole.
func TestDamagedFiles(t *testing.T) {
	dir := t.TempDir()
	s := realNetwork(t, dir)
	want := keptContent(t, s) + derivedByCode(t, s)
	file := filepath.Join(t.TempDir(), "copy.db")
	if _, err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(11, 7))
	atOpen, byCheck, harmless := 0, 0, 0
	for range soakTimes(60, 2000) {
		bad := append([]byte(nil), good...)
		switch r.IntN(4) {
		case 0:
			bad = bad[:1+r.IntN(len(bad)-1)]
		case 1:
			at := r.IntN(len(bad) - 512)
			clear(bad[at : at+512])
		default:
			bad[r.IntN(len(bad))] ^= 1 << r.IntN(8)
		}
		dir := t.TempDir()
		if err := os.WriteFile(databaseFile(dir), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		again, err := OpenToRead(t.Context(), dir, Options{Now: fixedClock(testNow)})
		if err != nil {
			if _, ok := errors.AsType[*usage.Fault](err); !ok && !errors.Is(err, ErrNeedsWriting) {
				t.Errorf("OpenToRead: %v is no fault", err)
			}
			atOpen++
			continue
		}
		c, err := again.Check(t.Context(), "", nil)
		switch {
		case err != nil || len(c.Problems) > 0:
			byCheck++
		case c.Digest != digestOf(t, s):
			byCheck++ // what a restore and a daily copy compare
		case keptContent(t, again)+derivedByCode(t, again) != want:
			t.Error("a damaged network was found whole")
		default:
			harmless++
		}
		if err := again.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("found at the opening %d, by a check %d; harmless %d", atOpen, byCheck, harmless)
	if atOpen == 0 || byCheck == 0 {
		t.Error("nothing was damaged in one of the two ways")
	}
}

func digestOf(t *testing.T, s *Store) string {
	t.Helper()
	digest, err := keptDigest(t.Context(), s.reader)
	if err != nil {
		t.Fatal(err)
	}
	return digest
}

// soakTimes returns how often to try: few times in a test, often in a soak, which the
// environment variable DOORLEAF_SOAK asks for: 1 for a whole one, 0.1 for a tenth.
func soakTimes(test, soak int) int {
	share, err := strconv.ParseFloat(os.Getenv("DOORLEAF_SOAK"), 64)
	if err != nil || share <= 0 {
		return test
	}
	return max(test, int(math.Round(share*float64(soak))))
}

// Whoever opens a damaged network is told of its newest copy.
func TestDamagedNetworkNamesItsCopy(t *testing.T) {
	dir := t.TempDir()
	s := realNetwork(t, dir)
	made, err := s.Roll(t.Context())
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(databaseFile(dir))
	if err == nil {
		clear(data[8192 : 8192*6])
		err = os.WriteFile(databaseFile(dir), data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), dir, Options{})
	if err == nil {
		again.Close()
	}
	f, ok := errors.AsType[*usage.Fault](err)
	if !ok || !strings.Contains(f.Try, made.File) {
		t.Fatalf("Open of a damaged network: %v, want a fault that names %s", err, made.File)
	}
	mustRestore(t, made.File, dir, true)
	wantWhole(t, realEngined(openEmpty(t, dir)))
}

func realEngined(s *Store) *Store {
	s.engine = realEngine
	return s
}

// The disk is full after any number of pages: the card is kept or it is not, and the
// fault says what to do.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	s := openEmpty(t, dir)
	mustAdd(t, s, testSite("MILL"))
	var pages int
	if err := s.writer.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	refused, kept := 0, 0
	for i := range soakTimes(20, 100) {
		card := cardOf("A", invent(uint64(i), 300, 30))
		before := keptContent(t, s) + derivedByCode(t, s)
		limitPages(t, s, pages+i*60/soakTimes(20, 100))
		_, err := s.Keep(t.Context(), "MILL", []CardIn{card})
		if err != nil {
			refused++
			wantKind(t, "Keep on a full disk", err, usage.Conflict)
			if keptContent(t, s)+derivedByCode(t, s) != before {
				t.Error("a card that found no room left something behind")
			}
			continue
		}
		kept++
		wantWhole(t, s)
		limitPages(t, s, 1<<30)
		if err := s.Withdraw(t.Context(), cardID(card.Bytes)); err != nil {
			t.Fatal(err)
		}
		if _, err := s.writer.Exec(`VACUUM`); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("refused %d cards, kept %d", refused, kept)
	if refused == 0 || kept == 0 {
		t.Error("the disk was never full, or always")
	}
}

// limitPages lets the database grow to no more than so many pages.
func limitPages(t *testing.T, s *Store, most int) {
	t.Helper()
	if _, err := s.writer.Exec(`PRAGMA max_page_count = ` + strconv.Itoa(most)); err != nil {
		t.Fatal(err)
	}
}

// A change broke off while the network had no write-ahead log, as when a copy was just
// put in its place: the next who may write undoes it, and who only reads says so.
func TestHalfAChange(t *testing.T) {
	from := t.TempDir()
	s := openEmpty(t, from)
	mustAdd(t, s, testSite("MILL"))
	want := keptContent(t, s)
	copyFile := filepath.Join(t.TempDir(), "copy.db")
	if _, err := s.Backup(t.Context(), copyFile); err != nil {
		t.Fatal(err)
	}
	db, err := openPool(copyFile, []string{"cache_size(1)"}, "mode=rw", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	for _, change := range []string{`CREATE TABLE half (a)`, `INSERT INTO half SELECT randomblob(9000) FROM (VALUES (1), (2), (3), (4), (5), (6), (7), (8), (9))`, `DELETE FROM site`} {
		if _, err := tx.Exec(change); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	for from, to := range map[string]string{copyFile: databaseFile(dir), copyFile + "-journal": databaseFile(dir) + "-journal"} {
		data, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(to, data, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := OpenToRead(t.Context(), dir, Options{}); !errors.Is(err, ErrNeedsWriting) {
		t.Errorf("OpenToRead = %v, want ErrNeedsWriting", err)
	}
	again := openEmpty(t, dir)
	if got := keptContent(t, again); got != want {
		t.Errorf("after half a change the network keeps\n%s\nwant\n%s", got, want)
	}
	wantWhole(t, again)
}
