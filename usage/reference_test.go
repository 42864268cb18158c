package usage

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
	_ "time/tzdata"
)

// refRow is a row of a reference table; testdata/reference/README.md says where
// each table comes from.
type refRow struct {
	t      testing.TB
	table  string
	line   int
	fields map[string]string
}

// reference reads a reference table.
func reference(t testing.TB, name string) []refRow {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	head, err := r.Read()
	if err != nil {
		t.Fatal(err)
	}
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]refRow, len(lines))
	for i, line := range lines {
		rows[i] = refRow{t, name, i + 2, map[string]string{}}
		for c, field := range line {
			rows[i].fields[head[c]] = field
		}
	}
	return rows
}

func (r refRow) text(column string) string {
	s, ok := r.fields[column]
	if !ok {
		r.t.Fatalf("%s has no column %q", r.table, column)
	}
	return s
}

func (r refRow) fail(column string, err error) {
	r.t.Fatalf("%s line %d, %s: %v", r.table, r.line, column, err)
}

func (r refRow) float(column string) float64 {
	v, err := strconv.ParseFloat(r.text(column), 64)
	if err != nil {
		r.fail(column, err)
	}
	return v
}

func (r refRow) int(column string) int64 {
	v, err := strconv.ParseInt(r.text(column), 10, 64)
	if err != nil {
		r.fail(column, err)
	}
	return v
}

func (r refRow) date(column string) Date {
	d, err := ParseDate(r.text(column))
	if err != nil {
		r.fail(column, err)
	}
	return d
}

// when reads a time by layout as if it were UTC.
func (r refRow) when(column, layout string) int64 {
	at, err := time.Parse(layout, r.text(column))
	if err != nil {
		r.fail(column, err)
	}
	return at.Unix()
}

func (r refRow) utc(column string) int64  { return r.when(column, "2006-01-02T15:04:05Z") }
func (r refRow) wall(column string) int64 { return r.when(column, "2006-01-02T15:04:05") }

// offset reads ±hh:mm as seconds.
func (r refRow) offset(column string) int32 {
	at, err := time.Parse("-07:00", r.text(column))
	if err != nil {
		r.fail(column, err)
	}
	_, s := at.Zone()
	return int32(s)
}

// zones loads each zone once.
type zones map[string]*Zone

func (z zones) get(t testing.TB, name string) *Zone {
	t.Helper()
	if z[name] == nil {
		var err error
		if z[name], err = LoadZone(name); err != nil {
			t.Fatal(err)
		}
	}
	return z[name]
}

func loadZone(t testing.TB, name string) *Zone { return zones{}.get(t, name) }

// instant reads RFC 3339.
func instant(t testing.TB, s string) int64 {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at.Unix()
}

func stamp(unix int64) string { return time.Unix(unix, 0).UTC().Format(time.RFC3339) }

// wantChecked guards a table's check against running empty.
func wantChecked(t *testing.T, table string, got, atLeast int) {
	t.Helper()
	if got < atLeast {
		t.Errorf("%s: %d rows checked, want %d at least", table, got, atLeast)
	}
}
