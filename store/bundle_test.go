package store

import (
	"archive/zip"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"doorleaf/usage"
)

// Every table of the database is kept, derived, or known to be neither: a table that
// a new migration adds is in no bundle until somebody says which.
func TestEveryTableIsAccountedFor(t *testing.T) {
	s := openTest(t)
	tables, err := collect(t.Context(), s.reader, scanCode, `SELECT name FROM sqlite_schema WHERE type = 'table'`)
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]int{}
	for _, k := range keptTables {
		known[k.name]++
	}
	for _, name := range derivedNames {
		known[name]++
	}
	for name := range otherTables {
		known[name]++
	}
	for _, name := range tables {
		if known[name] != 1 {
			t.Errorf("table %s stands in %d of keptTables, derivedNames and otherTables, want 1", name, known[name])
		}
		delete(known, name)
	}
	for name := range known {
		if name != "seal" {
			t.Errorf("there is no table %s", name)
		}
	}
	if !slices.Equal(derivedNames, derivedTables) {
		t.Errorf("derived tables of the tests are %q, want %q", derivedTables, derivedNames)
	}
}

// Every column that is kept and can be told apart is in a bundle, whatever migration
// added it.
func TestEveryColumnIsCarried(t *testing.T) {
	s := openTest(t)
	fillAll(t, s)
	all, err := layouts(t.Context(), s.reader)
	if err != nil {
		t.Fatal(err)
	}
	b := mustBundle(t, s, "")
	rows, err := b.rows(all)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all {
		columns, err := collect(t.Context(), s.reader, scanCode, `SELECT name FROM pragma_table_info(?)`, l.name)
		if err != nil || len(rows[l.name]) == 0 {
			t.Fatalf("%s: %d rows, %v, want some", l.name, len(rows[l.name]), err)
		}
		for _, name := range columns {
			_, carried := rows[l.name][0].values[name]
			if own := l.number && name == "id"; carried == (own || slices.Contains(l.skip, name)) {
				t.Errorf("column %s of %s: carried %v", name, l.name, carried)
			}
		}
	}
	for _, secret := range []string{"argon2id", "token"} {
		if bytes.Contains(bundleBytes(t, s, ""), []byte(secret)) {
			t.Errorf("the bundle holds %q", secret)
		}
	}
}

// fillAll keeps a row of every kind.
func fillAll(t *testing.T, s *Store) {
	t.Helper()
	mustKeep(t, s, "MILL", cardOf("A.TXT", quietRows(1)))
	mustRule(t, s, usage.Ruling{Key: onlyFinding(t, s).Key, Answer: usage.AnswerQuiet, By: "Ada"})
	id, err := s.AddCall(t.Context(), "MILL", usage.ServiceCall{At: logStart + 5000, Kinds: []usage.CallKind{usage.CallRestock}, Note: "books"})
	if err == nil {
		_, err = s.ChangeCall(t.Context(), "MILL", usage.ServiceCall{ID: id, At: logStart + 5060, Kinds: []usage.CallKind{usage.CallRestock}})
	}
	if err == nil {
		err = s.SetPower(t.Context(), "MILL", usage.NewPowerSetting())
	}
	if err == nil {
		err = s.SetNetwork(t.Context(), usage.Network{Name: "Boxes of Aldermouth", Region: usage.DefaultRegion})
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`INSERT INTO card_setting (site, body, said_at) VALUES (1, '{}', 7)`,
		`INSERT INTO prepared_card (site, at, reading, made_at) VALUES (1, 8, 9, 10)`,
		`INSERT INTO passphrase (role, hash, set_at) VALUES ('reading', '$argon2id$secret', 1)`,
		`INSERT INTO session (token, role, who, begun_at, seen_at) VALUES (x'00', 'reading', 'token', 1, 1)`,
	} {
		if _, err := s.writer.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

func bundleBytes(tb testing.TB, s *Store, code string) []byte {
	tb.Helper()
	var b bytes.Buffer
	if _, err := s.WriteBundle(context.Background(), &b, code); err != nil {
		tb.Fatalf("WriteBundle: %v", err)
	}
	return b.Bytes()
}

func mustBundle(tb testing.TB, s *Store, code string) *Bundle {
	tb.Helper()
	data := bundleBytes(tb, s, code)
	b, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", DefaultBundleLimits)
	if err != nil {
		tb.Fatalf("ReadBundle: %v", err)
	}
	return b
}

func merge(tb testing.TB, into *Store, b *Bundle, answers MergeAnswers) Merged {
	tb.Helper()
	m, err := into.Merge(context.Background(), b, answers)
	if err != nil {
		tb.Fatalf("Merge: %v", err)
	}
	return m
}

// keptContent is everything kept as text, the journal aside, which also tells of the
// merge itself.
func keptContent(tb testing.TB, s *Store) string {
	tb.Helper()
	all, err := layouts(context.Background(), s.reader)
	if err != nil {
		tb.Fatal(err)
	}
	kept, err := readKept(context.Background(), s.reader, all)
	if err != nil {
		tb.Fatal(err)
	}
	var b strings.Builder
	for _, l := range all {
		if l.name != "journal" {
			fmt.Fprintf(&b, "== %s\n%s", l.name, encode(kept[l.name]))
		}
	}
	return b.String()
}

// derivedByCode is the derived rows of all sites with their codes for numbers.
func derivedByCode(tb testing.TB, s *Store) string {
	tb.Helper()
	var b strings.Builder
	for _, table := range derivedNames {
		columns, err := collect(context.Background(), s.reader, scanCode, `SELECT name FROM pragma_table_info(?) WHERE name <> 'site'`, table)
		if err != nil {
			tb.Fatal(err)
		}
		lines, err := collect(context.Background(), s.reader, func(rows *sql.Rows) (string, error) {
			held := make([]any, len(columns)+1)
			fields := make([]any, len(held))
			for i := range held {
				fields[i] = &held[i]
			}
			err := rows.Scan(fields...)
			return fmt.Sprintf("%v", held), err
		}, `SELECT code, t.`+strings.Join(columns, ", t.")+` FROM `+table+` AS t JOIN site ON site.id = t.site`)
		if err != nil {
			tb.Fatal(err)
		}
		slices.Sort(lines)
		fmt.Fprintf(&b, "== %s\n%s\n", table, strings.Join(lines, "\n"))
	}
	return b.String()
}

func wantWhole(tb testing.TB, s *Store) {
	tb.Helper()
	c, err := s.Check(context.Background(), "", nil)
	if err != nil || len(c.Problems) > 0 {
		tb.Errorf("Check = %+v, %v, want no problem", c.Problems, err)
	}
}

// A bundle brought into an empty network makes the same network, and the same bundle.
func TestBundleIsTheNetwork(t *testing.T) {
	s := openTest(t)
	fillAll(t, s)
	mustKeep(t, s, "QUAY", rotation(4)...)
	into := openEmpty(t, t.TempDir())
	m := merge(t, into, mustBundle(t, s, ""), MergeAnswers{})
	if len(m.Questions) != 0 || len(m.Sites) != 2 || !m.Sites[0].New || m.Sites[1].Cards != 6 {
		t.Errorf("Merge into nothing = %+v", m)
	}
	if got, want := keptContent(t, into), keptContent(t, s); got != want {
		t.Errorf("kept after a merge into nothing:\n%s\nwant\n%s", got, want)
	}
	if derivedByCode(t, into) != derivedByCode(t, s) {
		t.Error("a merge into nothing derived other rows")
	}
	wantWhole(t, into)
	if one, two := bundleBytes(t, s, ""), bundleBytes(t, s, ""); !bytes.Equal(one, two) {
		t.Error("two bundles of one network differ")
	}
	if one, two := bundleBytes(t, s, "QUAY"), bundleBytes(t, into, "QUAY"); len(one) < 1000 || !bytes.Equal(tablesOf(t, one, "card"), tablesOf(t, two, "card")) {
		t.Error("the bundles of one site differ between a network and what was made of it")
	}
}

func tablesOf(t *testing.T, bundle []byte, table string) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(bundle), int64(len(bundle)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := z.Open(tableFolder + table + ".json")
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// fresh is the file of an empty network. Making one takes far longer than a copy.
var fresh = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "doorleaf-fresh-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	s, err := Open(context.Background(), dir, Options{})
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		return nil, err
	}
	return os.ReadFile(databaseFile(dir))
})

func openFresh(tb testing.TB) *Store {
	tb.Helper()
	data, err := fresh()
	dir := tb.TempDir()
	if err == nil {
		err = os.WriteFile(databaseFile(dir), data, 0o600)
	}
	if err != nil {
		tb.Fatal(err)
	}
	return openEmpty(tb, dir)
}

// randomNetwork draws a small network: cards out of one stock, calls, answers, things
// taken back. Networks of one stock agree on their sites.
func randomNetwork(r *rapid.T, t testing.TB, name string) *Store {
	s := openFresh(t)
	ctx := context.Background()
	must := func(err error) {
		if err != nil && usage.KindOf(err) == 0 {
			t.Fatal(err)
		}
	}
	clock := int64(testNow)
	for i, code := range []string{"MILL", "QUAY", "YARD"} {
		if i > 0 && !rapid.Bool().Draw(r, name+" has "+code) {
			continue
		}
		site := testSite(code)
		site.Latitude += float64(i)
		must(s.AddSite(ctx, site))
		for range rapid.IntRange(0, 8).Draw(r, name+" deeds") {
			clock += int64(rapid.IntRange(0, 2).Draw(r, "later"))
			s.now = fixedClock(clock)
			switch rapid.IntRange(0, 4).Draw(r, "deed") {
			case 0, 1:
				cards := rotation(uint64(10 + i))
				_, err := s.Keep(ctx, code, []CardIn{cards[rapid.IntRange(0, len(cards)-1).Draw(r, "card")]})
				must(err)
			case 2:
				_, err := s.AddCall(ctx, code, usage.ServiceCall{
					At: logStart + 3600*int64(rapid.IntRange(0, 3).Draw(r, "at")), Kinds: []usage.CallKind{usage.CallRestock},
					Note: rapid.SampledFrom([]string{"", "wet", "dry"}).Draw(r, "note"),
				})
				must(err)
			case 3:
				all, err := s.Calls(ctx, code)
				must(err)
				if len(all) > 0 {
					must(s.DropCall(ctx, code, all[rapid.IntRange(0, len(all)-1).Draw(r, "call")].ID))
				}
			case 4:
				found, err := s.Findings(ctx, code)
				must(err)
				if len(found) > 0 {
					f := found[rapid.IntRange(0, len(found)-1).Draw(r, "finding")]
					must(s.Rule(ctx, code, usage.Ruling{Key: f.Key, Answer: usage.AnswerOutage, By: name}))
				}
			}
		}
	}
	return s
}

// Whoever merges whom, the kept content and the derived rows are the same; nothing is
// lost; merging again changes nothing.
func TestMergeIsAUnion(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tb := &drawn{TB: t, r: r}
		a, b := randomNetwork(r, tb, "a"), randomNetwork(r, tb, "b")
		before := unionOfRows(tb, a, b)
		ofA, ofB := mustBundle(tb, a, ""), mustBundle(tb, b, "")
		if q := merge(tb, a, ofB, MergeAnswers{}).Questions; len(q) > 0 {
			r.Fatalf("questions %+v, want none", q)
		}
		merge(tb, b, ofA, MergeAnswers{})
		if x, y := keptContent(tb, a), keptContent(tb, b); x != y {
			r.Errorf("a with b keeps\n%s\nb with a keeps\n%s", x, y)
		}
		if derivedByCode(tb, a) != derivedByCode(tb, b) {
			r.Error("a with b derives other rows than b with a")
		}
		for row := range before {
			if after := unionOfRows(tb, a); !after[row] {
				r.Errorf("lost %s", row)
			}
		}
		wantWhole(tb, a)
		once := bundleBytes(tb, a, "")
		if m := merge(tb, a, ofB, MergeAnswers{}); len(m.Sites) != 0 || !bytes.Equal(once, bundleBytes(tb, a, "")) {
			r.Errorf("merging twice changed %+v", m.Sites)
		}
	})
}

// drawn reports to the property's own failures, and cleans up with the test.
type drawn struct {
	testing.TB
	r *rapid.T
}

func (d *drawn) Errorf(f string, a ...any) { d.r.Errorf(f, a...) }
func (d *drawn) Fatalf(f string, a ...any) { d.r.Fatalf(f, a...) }
func (d *drawn) Error(a ...any)            { d.r.Error(a...) }
func (d *drawn) Fatal(a ...any)            { d.r.Fatal(a...) }

// unionOfRows returns the identity of every kept row of networks.
func unionOfRows(tb testing.TB, stores ...*Store) map[string]bool {
	rows := map[string]bool{}
	for _, s := range stores {
		all, err := layouts(context.Background(), s.reader)
		if err != nil {
			tb.Fatal(err)
		}
		kept, err := readKept(context.Background(), s.reader, all)
		if err != nil {
			tb.Fatal(err)
		}
		for table, list := range kept {
			for _, r := range list {
				rows[table+" "+r.text("site")+" "+r.key] = true
			}
		}
	}
	return rows
}

// A bundle that is damaged, strange or of a newer Doorleaf is refused, and nothing
// changes.
func TestReadBundleRefuses(t *testing.T) {
	s := openTest(t)
	fillAll(t, s)
	good := unzip(t, bundleBytes(t, s, ""))
	card := slices.IndexFunc(slices.Sorted(maps.Keys(good)), func(n string) bool { return strings.HasPrefix(n, cardFolder) })
	cardName := slices.Sorted(maps.Keys(good))[card]
	for _, test := range []struct {
		name  string
		spoil func(parts map[string]string)
		want  usage.Kind
	}{
		{"no manifest", func(p map[string]string) { delete(p, manifestPart) }, usage.Invalid},
		{"card changed", func(p map[string]string) { p[cardName] += "1" }, usage.Invalid},
		{"card missing", func(p map[string]string) { delete(p, cardName) }, usage.Invalid},
		{"table changed", func(p map[string]string) { p[tableFolder+"site.json"] += " " }, usage.Invalid},
		{"strange part", func(p map[string]string) { p["../../evil"] = "x" }, usage.Invalid},
		{"newer form", func(p map[string]string) {
			p[manifestPart] = strings.Replace(p[manifestPart], `"version": 1`, `"version": 2`, 1)
		}, usage.Conflict},
		{"newer tables", func(p map[string]string) {
			p[manifestPart] = strings.Replace(p[manifestPart], `"tables": `, `"tables": 9`, 1)
		}, usage.Conflict},
	} {
		parts := maps.Clone(good)
		test.spoil(parts)
		data := zipped(t, parts)
		_, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", DefaultBundleLimits)
		wantKind(t, "ReadBundle, "+test.name, err, test.want)
	}
	data := zipped(t, good)
	_, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", BundleLimits{Bytes: 100, Parts: 1000})
	wantKind(t, "ReadBundle over the bytes", err, usage.TooLarge)
	_, err = ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", BundleLimits{Bytes: 1 << 30, Parts: 2})
	wantKind(t, "ReadBundle over the parts", err, usage.TooLarge)
	_, err = ReadBundle(strings.NewReader("hello"), 5, "B.zip", DefaultBundleLimits)
	wantKind(t, "ReadBundle of a text", err, usage.Invalid)
}

func unzip(t testing.TB, data []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string]string{}
	for _, f := range z.File {
		text, err := readPart(f, 1<<30)
		if err != nil {
			t.Fatal(err)
		}
		parts[f.Name] = string(text)
	}
	return parts
}

func zipped(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		if err := addPart(z, name, []byte(parts[name])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sealedAgain makes the manifest fit tables that were changed on purpose.
func sealedAgain(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var m manifest
	if err := json.Unmarshal([]byte(parts[manifestPart]), &m); err != nil {
		t.Fatal(err)
	}
	for i := range m.Parts {
		text := parts[m.Parts[i].Path]
		m.Parts[i].Bytes, m.Parts[i].SHA256 = int64(len(text)), cardID([]byte(text))
	}
	head, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	parts[manifestPart] = string(head)
	return zipped(t, parts)
}

// Rows that make no sense are refused though their digests are right, and nothing
// changes.
func TestMergeRefusesNonsense(t *testing.T) {
	s := openTest(t)
	fillAll(t, s)
	good := unzip(t, bundleBytes(t, s, ""))
	into := openEmpty(t, t.TempDir())
	mustAdd(t, into, testSite("QUAY"))
	before := keptContent(t, into)
	for _, test := range []struct{ name, table, old, new string }{
		{"code", "site", `"code":"MILL"`, `"code":"mill"`},
		{"zone", "site", `Europe/Dublin`, `Europe/Nowhere`},
		{"not JSON", "site", `[`, `{`},
		{"unknown column", "site", `"zone":`, `"zzone":`},
		{"kind of value", "site", `"latitude":52.1`, `"latitude":"north"`},
		{"site of a call", "service_call", `"site":"MILL"`, `"site":"NONE"`},
		{"books", "service_call", `"error_s":0`, `"error_s":-5`},
		{"null", "ruling", `"answer":"quiet"`, `"answer":null`},
		{"another card", "card", `"date_order":""`, `"date_order":"dym"`},
		{"stands in its own place", "service_call", `"instead_of":"`, `"instead_of":"x`},
	} {
		parts := maps.Clone(good)
		path := tableFolder + test.table + ".json"
		parts[path] = strings.Replace(parts[path], test.old, test.new, 1)
		if parts[path] == good[path] {
			t.Fatalf("%s: nothing was changed in %s", test.name, parts[path])
		}
		data := sealedAgain(t, parts)
		b, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", DefaultBundleLimits)
		if err == nil {
			_, err = into.Merge(t.Context(), b, MergeAnswers{Keep: Theirs})
		}
		wantKind(t, "Merge, "+test.name, err, usage.Invalid)
		if keptContent(t, into) != before {
			t.Errorf("Merge, %s: something changed", test.name)
		}
	}
}

func mustAdd(t testing.TB, s *Store, site usage.Site) {
	t.Helper()
	if err := s.AddSite(context.Background(), site); err != nil {
		t.Fatal(err)
	}
}

// Whatever bytes come as a bundle: they are refused and nothing changes, or what they
// leave is whole.
func FuzzMerge(f *testing.F) {
	s := openEmpty(f, f.TempDir())
	mustAdd(f, s, testSite("MILL"))
	if _, err := s.Keep(f.Context(), "MILL", []CardIn{cardOf("A", invent(1, 2, 3))}); err != nil {
		f.Fatal(err)
	}
	f.Add(bundleBytes(f, s, ""))
	f.Add([]byte("PK"))
	into := &mergeTarget{}
	f.Cleanup(into.drop)
	f.Fuzz(func(t *testing.T, data []byte) { into.merge(t, data) })
}

// mergeTarget is an empty network that bundles are merged into, a new one after each
// that was taken. Opening one takes far longer than refusing a bundle.
type mergeTarget struct {
	dir    string
	store  *Store
	before string
	sites  []string // that it has to begin with
}

func (m *mergeTarget) drop() {
	if m.store != nil {
		m.store.Close()
		os.RemoveAll(m.dir)
		m.store = nil
	}
}

func (m *mergeTarget) open(t *testing.T) {
	t.Helper()
	if m.store != nil {
		return
	}
	data, err := fresh()
	if err == nil {
		m.dir, err = os.MkdirTemp("", "doorleaf-merge-")
	}
	if err == nil {
		err = os.WriteFile(databaseFile(m.dir), data, 0o600)
	}
	if err == nil {
		m.store, err = Open(context.Background(), m.dir, Options{Now: fixedClock(testNow)})
	}
	if err != nil {
		t.Fatal(err)
	}
	m.store.engine = fakeEngine
	for _, code := range m.sites {
		mustAdd(t, m.store, testSite(code))
	}
	m.before = keptContent(t, m.store)
}

// merge merges a bundle: it is refused, and nothing has changed, or what it leaves is
// whole.
func (m *mergeTarget) merge(t *testing.T, data []byte) {
	b, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", BundleLimits{Bytes: 1 << 20, Parts: 100})
	if err == nil {
		m.open(t)
		_, err = m.store.Merge(t.Context(), b, MergeAnswers{Keep: Theirs})
		if err == nil {
			wantWhole(t, m.store)
			m.drop()
			return
		}
		if keptContent(t, m.store) != m.before {
			t.Errorf("Merge: %v, and something has changed", err)
		}
	}
	if usage.KindOf(err) == 0 {
		t.Errorf("Merge: %v is no Fault", err)
	}
}

// A bundle whose tables say anything, with digests that are right for it: it is refused
// and nothing changes, or what it leaves is whole.
func FuzzMergeTables(f *testing.F) {
	s := openEmpty(f, f.TempDir())
	mustAdd(f, s, testSite("MILL"))
	if _, err := s.Keep(f.Context(), "MILL", []CardIn{cardOf("A", invent(1, 2, 3))}); err != nil {
		f.Fatal(err)
	}
	id, err := s.AddCall(f.Context(), "MILL", usage.ServiceCall{At: logStart + 5000, Kinds: []usage.CallKind{usage.CallRestock}, Note: "books"})
	if err == nil {
		_, err = s.ChangeCall(f.Context(), "MILL", usage.ServiceCall{ID: id, At: logStart + 5060, Kinds: []usage.CallKind{usage.CallRestock}})
	}
	if err == nil {
		err = s.SetPower(f.Context(), "MILL", usage.NewPowerSetting())
	}
	if err != nil {
		f.Fatal(err)
	}
	good := unzip(f, bundleBytes(f, s, ""))
	var tables []string
	for _, name := range slices.Sorted(maps.Keys(good)) {
		if strings.HasPrefix(name, tableFolder) {
			tables = append(tables, name)
			f.Add(uint8(len(tables)-1), uint16(3), uint8(0), []byte("x"))
		}
	}
	f.Add(uint8(0), uint16(40), uint8(10), []byte(`-1`))
	f.Add(uint8(1), uint16(90), uint8(30), []byte(`null,"site":"NONE"`))
	into := &mergeTarget{sites: []string{"MILL"}}
	f.Cleanup(into.drop)
	f.Fuzz(func(t *testing.T, table uint8, at uint16, gone uint8, put []byte) {
		parts := maps.Clone(good)
		path := tables[int(table)%len(tables)]
		text := parts[path]
		from := int(at) % (len(text) + 1)
		parts[path] = text[:from] + string(put) + text[min(len(text), from+int(gone)):]
		data := sealedAgain(t, parts)
		into.merge(t, data)
	})
}

func fixedClock(at int64) func() time.Time { return func() time.Time { return time.Unix(at, 0) } }
