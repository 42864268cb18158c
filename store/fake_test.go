package store

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// The tests of this package derive with a small engine of their own: what is
// under test is keeping, not reading. Its card files have lines "READING OPEN",
// a reading in wall seconds that it takes to be UTC; "? OPEN" is an untimed row.
// real_test.go does the same with the importer and usage.

var fakeEngine = engine{read: fakeRead, derive: fakeDerive}

func fakeRead(data []byte, hint cardfile.Hint) (*cardfile.File, error) {
	f := &cardfile.File{Encoding: "utf-8", LineEnd: "lf", Resolution: 1, LeadingS: usage.Unknown}
	offset := int64(0)
	for line := range bytes.Lines(data) {
		f.Lines++
		text := strings.TrimSuffix(string(line), "\n")
		stamp, open, ok := strings.Cut(text, " ")
		seconds, err := strconv.Atoi(open)
		if !ok || err != nil {
			f.Complaints = append(f.Complaints, cardfile.Complaint{Line: f.Lines, Offset: offset, Reason: "no row", Raw: text})
			offset += int64(len(line))
			continue
		}
		reading, err := strconv.ParseInt(stamp, 10, 64)
		h := fnv.New64a()
		h.Write([]byte(stamp))
		f.Rows = append(f.Rows, cardfile.Row{
			Line: int32(f.Lines), Length: int32(len(text)), Offset: offset, Reading: reading,
			Key: h.Sum64(), OpenS: int32(seconds), Timed: err == nil,
		})
		offset += int64(len(line))
	}
	return f, nil
}

// fakeDerive takes the union of all rows by reading. Each is told by the card
// that begins first, so that a growing card leaves earlier rows where they are.
// Openings within five minutes of a service call are service, and five days
// without an opening are a finding, which takes the answers outage and quiet.
func fakeDerive(site usage.Site, kept importer.Kept) (usage.Logbook, usage.Derived, error) {
	lb := usage.Logbook{Calls: kept.Calls, Rulings: kept.Rulings}
	type source struct {
		card importer.Card
		file *cardfile.File
		at   int64
	}
	var all []source
	for _, c := range kept.Cards {
		file, err := fakeRead(c.Bytes, c.Hint)
		if err != nil {
			return lb, usage.Derived{}, err
		}
		if bytes.Contains(c.Bytes, []byte("poison")) {
			return lb, usage.Derived{}, errors.New("poisoned card")
		}
		at := int64(0)
		if first, _ := ends(file.Rows); first != nil {
			at = *first
		}
		all = append(all, source{c, file, at})
	}
	slices.SortFunc(all, func(a, b source) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(len(a.file.Rows), len(b.file.Rows)), cmp.Compare(a.card.ID, b.card.ID))
	})
	seen := map[int64]bool{}
	for i, s := range all {
		lb.Cards = append(lb.Cards, usage.CardRef{ID: s.card.ID, Name: s.card.Name})
		last := s.at
		for _, r := range s.file.Rows {
			o := usage.Opening{At: r.Reading, ErrorS: 2, OpenS: r.OpenS, Card: int32(i), Line: r.Line, Offset: r.Offset, Length: r.Length, Timed: r.Timed}
			if !r.Timed {
				o.At, o.ErrorS, o.Earliest, o.Latest, o.Run = 0, 0, last, last+3600, usage.Unknown
				lb.Openings = append(lb.Openings, o)
				continue
			}
			last = r.Reading
			o.Earliest, o.Latest = o.At-2, o.At+2
			if !seen[r.Reading] {
				seen[r.Reading] = true
				lb.Openings = append(lb.Openings, o)
			}
		}
	}
	slices.SortStableFunc(lb.Openings, func(a, b usage.Opening) int { return cmp.Compare(a.Earliest, b.Earliest) })
	if n := len(lb.Openings); n > 0 {
		lb.Runs = []usage.Run{{Last: n - 1, FirstReading: lb.Openings[0].Earliest, LastReading: lb.Openings[n-1].Latest, Why: "first row"}}
		lb.Stretches = []usage.Stretch{{From: lb.Openings[0].Earliest, To: lb.Openings[n-1].Latest, Kind: usage.Recording}}
	}
	return lb, fakeUsage(site, lb), nil
}

func fakeUsage(site usage.Site, lb usage.Logbook) usage.Derived {
	d := usage.Derived{Openings: slices.Clone(lb.Openings), Coverage: lb.Stretches}
	days := map[usage.Date]*usage.Day{}
	months := map[usage.Month]*usage.MonthTally{}
	last := int64(0)
	for i := range d.Openings {
		o := &d.Openings[i]
		o.Visit = int32(i/2 + 1)
		if slices.ContainsFunc(lb.Calls, func(c usage.ServiceCall) bool { return max(c.At-o.At, o.At-c.At) <= 300 }) {
			o.Class = usage.Service
		}
		d.Totals.Openings++
		if !o.Timed {
			d.Totals.Untimed++
			continue
		}
		date := usage.Date(o.At / 86400)
		if days[date] == nil {
			days[date] = &usage.Day{Date: date, ExposureS: 86400}
		}
		days[date].Openings++
		month := usage.MonthOf(date)
		if months[month] == nil {
			months[month] = &usage.MonthTally{Month: month}
		}
		months[month].Visits[24*(date.Weekday()-1)+int(o.At%86400/3600)]++
		if last != 0 && o.At-last > 5*86400 {
			f := usage.Finding{
				Key: fmt.Sprintf("quiet-%d", last), Kind: "quiet", From: last, To: o.At,
				Says: "no opening for days", Changes: "nothing yet", Choices: []usage.Choice{{Answer: usage.AnswerOutage, Says: "it was out"}, {Answer: usage.AnswerQuiet, Says: "it was quiet"}},
				Evidence: []usage.RowRef{{Card: o.Card, Line: o.Line, Offset: o.Offset}},
			}
			if r := usage.RulingFor(lb.Rulings, f.Key); r != nil && r.Answer == usage.AnswerOutage {
				d.Coverage = append(slices.Clip(d.Coverage), usage.Stretch{From: last, To: o.At, Kind: usage.Outage})
			}
			d.Findings = append(d.Findings, f)
		}
		last = o.At
		d.Totals.LastAt = o.At
	}
	for _, day := range days {
		d.Days = append(d.Days, *day)
	}
	slices.SortFunc(d.Days, func(a, b usage.Day) int { return cmp.Compare(a.Date, b.Date) })
	for _, m := range months {
		d.Months = append(d.Months, *m)
	}
	slices.SortFunc(d.Months, func(a, b usage.MonthTally) int { return cmp.Compare(a.Month, b.Month) })
	return d
}

// testNow is 2026-06-01 12:00:00 UTC.
const testNow = 1780315200

// openTest opens a network with the fake engine and the sites MILL and QUAY.
func openTest(tb testing.TB) *Store {
	tb.Helper()
	s := openEmpty(tb, tb.TempDir())
	for _, code := range []string{"MILL", "QUAY"} {
		if err := s.AddSite(tb.Context(), testSite(code)); err != nil {
			tb.Fatal(err)
		}
	}
	return s
}

func openEmpty(tb testing.TB, dir string) *Store {
	tb.Helper()
	s, err := Open(tb.Context(), dir, Options{Now: func() time.Time { return time.Unix(testNow, 0) }})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := s.Close(); err != nil {
			tb.Error(err)
		}
	})
	s.engine = fakeEngine
	return s
}

func testSite(code string) usage.Site {
	return usage.Site{
		Code: code, Name: "Box " + code, Latitude: 52.1, Longitude: -8.2, Zone: "Europe/Dublin",
		InstalledOn: usage.DateOf(2015, 3, 1),
	}
}

// logStart is 2016-01-01 00:00:00.
const logStart = 1451606400

// invent returns the rows of a busy logger: perDay openings a day on average
// for days days. The same seed gives the same rows.
func invent(seed uint64, days, perDay int) []string {
	r := rand.New(rand.NewPCG(seed, 1))
	var rows []string
	at := int64(logStart)
	for at < logStart+int64(days)*86400 {
		at += 1 + int64(r.ExpFloat64()*86400/float64(perDay))
		rows = append(rows, fmt.Sprintf("%d %d\n", at, 2+r.IntN(90)))
	}
	return rows
}

func cardOf(name string, rows []string) CardIn {
	return CardIn{Name: name, Bytes: []byte(strings.Join(rows, ""))}
}

func mustKeep(tb testing.TB, s *Store, code string, cards ...CardIn) []Receipt {
	tb.Helper()
	receipts, err := s.Keep(tb.Context(), code, cards)
	if err != nil {
		tb.Fatalf("Keep(%s): %v", code, err)
	}
	return receipts
}

var derivedTables = []string{"block", "day", "month", "stretch", "run", "finding", "month_open", "bracket", "logbook_card", "totals"}

// dump writes tables out, rows in the order of their first columns. Two stores
// that hold the same have equal dumps. Bodies of blocks are left to their
// digests, and sites appear by their codes.
func dump(tb testing.TB, s *Store, tables ...string) string {
	tb.Helper()
	var b strings.Builder
	for _, table := range tables {
		fmt.Fprintf(&b, "== %s\n", table)
		for _, line := range dumpTable(tb, s, table) {
			b.WriteString(line + "\n")
		}
	}
	return b.String()
}

func dumpTable(tb testing.TB, s *Store, table string) []string {
	tb.Helper()
	lines, err := collect(context.Background(), s.reader, func(rows *sql.Rows) (string, error) {
		names, err := rows.Columns()
		if err != nil {
			return "", err
		}
		values := make([]any, len(names))
		fields := make([]any, len(names))
		for i := range values {
			fields[i] = &values[i]
		}
		if err := rows.Scan(fields...); err != nil {
			return "", err
		}
		return fmt.Sprintf("%x", fmt.Sprintf("%v", values)), nil
	}, `SELECT (SELECT code FROM site WHERE site.id = t.site), * FROM `+table+` AS t`)
	if err != nil {
		tb.Fatal(err)
	}
	slices.Sort(lines)
	return lines
}

// dumpAll is dump of everything about sites, kept or derived.
func dumpAll(tb testing.TB, s *Store) string {
	return dump(tb, s, append([]string{"card", "ruling", "service_call"}, derivedTables...)...)
}

// totalChanges returns how many rows the write connection has written since it
// was opened, as SQLite counts.
func totalChanges(tb testing.TB, s *Store) int64 {
	tb.Helper()
	var n int64
	if err := s.writer.QueryRow(`SELECT total_changes()`).Scan(&n); err != nil {
		tb.Fatal(err)
	}
	return n
}

func wantKind(t *testing.T, what string, err error, want usage.Kind) {
	t.Helper()
	if got := usage.KindOf(err); got != want {
		t.Errorf("%s: error %v of kind %d, want kind %d", what, err, got, want)
	}
}

func databaseFile(dir string) string { return filepath.Join(dir, FileName) }

var noHint cardfile.Hint

func rowAt(at int64) string { return fmt.Sprintf("%d 5\n", at) }

type deriver = func(usage.Site, importer.Kept) (usage.Logbook, usage.Derived, error)

// twiceTheSameDay derives the first day twice.
func twiceTheSameDay(derive deriver) deriver {
	return func(site usage.Site, kept importer.Kept) (usage.Logbook, usage.Derived, error) {
		lb, d, err := derive(site, kept)
		d.Days = append(d.Days, d.Days[0])
		return lb, d, err
	}
}
