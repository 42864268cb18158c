package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
)

// forgedNetwork keeps a forged network.
func forgedNetwork(t *testing.T, days, sites int, seed uint64) (*console, *store.Store, *forge.Network) {
	t.Helper()
	c := &console{ctx: context.Background(), out: io.Discard, err: io.Discard, data: t.TempDir(), now: time.Now}
	n, err := forge.Random(days, sites, seed)
	if err != nil {
		t.Fatal(err)
	}
	if err := keepForged(c, c.data, n); err != nil {
		t.Fatal(err)
	}
	s, err := c.open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return c, s, n
}

// exportedBox is a forged network of two sites, one of them with a hostile name, and
// a third whose card has a time that no clock shows.
func exportedBox(t *testing.T) (*console, *store.Store) {
	t.Helper()
	c, s, n := forgedNetwork(t, 150, 2, 7)
	err := s.ChangeSite(t.Context(), n.Sites[0].Spec.Code, func(site *usage.Site) error { site.Name = "=1+1"; return nil })
	if err != nil {
		t.Fatal(err)
	}
	odd := usage.Site{Code: "ZODD", Name: "Odd Row", Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: usage.DateOf(2016, 1, 1)}
	if err := s.AddSite(t.Context(), odd); err != nil {
		t.Fatal(err)
	}
	card := "Thu,01/14/16,09:12:33,34\nFri,01/15/16,45:85:00,7\nSat,01/16/16,10:00:00,20\nMon,01/18/16,08:00:00,"
	if _, err := s.Keep(t.Context(), odd.Code, []store.CardIn{{Name: "LOG.TXT", Bytes: []byte(card)}}); err != nil {
		t.Fatal(err)
	}
	return c, s
}

// dataPackage is a package read back.
type dataPackage struct {
	Description string
	Resources   []struct {
		Name, Path string
		Schema     struct {
			Fields []struct{ Name, Type string }
		}
	}
	tables map[string][]map[string]string // rows by column
}

func packed(t *testing.T, c *console, s *store.Store, coarse int) dataPackage {
	t.Helper()
	var b bytes.Buffer
	if err := (server.Export{Format: "datapackage", Coarse: coarse}).Write(c.ctx, s, c.now, &b); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	var p dataPackage
	if err := json.Unmarshal(part(t, z, "datapackage.json"), &p); err != nil {
		t.Fatal(err)
	}
	p.tables = map[string][]map[string]string{}
	for _, r := range p.Resources {
		rows, err := csv.NewReader(bytes.NewReader(part(t, z, r.Path))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows[0]) != len(r.Schema.Fields) {
			t.Fatalf("columns of %s = %d, want %d", r.Path, len(rows[0]), len(r.Schema.Fields))
		}
		for _, row := range rows[1:] {
			m := map[string]string{}
			for i, v := range row {
				if m[rows[0][i]] = v; rows[0][i] != r.Schema.Fields[i].Name {
					t.Fatalf("column %d of %s = %s, want %s", i, r.Path, rows[0][i], r.Schema.Fields[i].Name)
				}
			}
			p.tables[r.Name] = append(p.tables[r.Name], m)
		}
	}
	return p
}

func part(t *testing.T, z *zip.Reader, name string) []byte {
	t.Helper()
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestPackageTables looks for tables without rows, and for texts that a spreadsheet
// would take for a formula.
func TestPackageTables(t *testing.T) {
	c, s := exportedBox(t)
	for _, coarse := range []int{0, 3} {
		p := packed(t, c, s, coarse)
		for _, r := range p.Resources {
			if len(p.tables[r.Name]) == 0 {
				t.Errorf("coarse %d: table %s is empty", coarse, r.Name)
			}
			for _, row := range p.tables[r.Name] {
				for _, f := range r.Schema.Fields {
					if v := row[f.Name]; f.Type == "string" && v != "" && strings.ContainsAny(v[:1], "=+-@\t\r\x00") {
						t.Errorf("coarse %d: %s.%s = %q, which is a formula to a spreadsheet", coarse, r.Name, f.Name, v)
					}
				}
			}
		}
	}
}

func number(t *testing.T, s string) int64 {
	t.Helper()
	if s == "" {
		return 0
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestPackageSums holds the tables against each other, the store and the figures of
// the season pages.
func TestPackageSums(t *testing.T) {
	c, s := exportedBox(t)
	p := packed(t, c, s, 0)
	if got := p.tables["sites"][0]["name"]; got != "'=1+1" {
		t.Errorf("name = %q, want it neutralised", got)
	}
	dayVisits, listed, untimed := map[string]int64{}, map[string]int64{}, map[string]int64{}
	for _, d := range p.tables["days"] {
		if n := number(t, d["visits"]); n > 0 {
			dayVisits[d["site"]+d["date"]] += n
		}
	}
	for _, v := range p.tables["visits"] {
		if v["at"] == "" {
			untimed[v["site"]]++
		} else {
			listed[v["site"]+v["at"][:10]]++
		}
	}
	if len(listed) != len(dayVisits) {
		t.Errorf("dates with visits = %d, want %d", len(listed), len(dayVisits))
	}
	for at, n := range dayVisits {
		if listed[at] != n {
			t.Errorf("visits listed on %s = %d, want %d", at, listed[at], n)
		}
	}
	sites, err := s.Sites(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, site := range sites {
		got := untimed[site.Code]
		for at, n := range dayVisits {
			if strings.HasPrefix(at, site.Code) {
				got += n
			}
		}
		if got != site.Totals.Visits {
			t.Errorf("visits of %s = %d, want %d", site.Code, got, site.Totals.Visits)
		}
		checkVisits(t, s, site.Site, p.tables["visits"])
	}
	checkSeasons(t, c, s, p.tables["seasons"])
}

// checkVisits compares the list of visits with that of the store.
func checkVisits(t *testing.T, s *store.Store, site usage.Site, rows []map[string]string) {
	t.Helper()
	want, _, _, err := s.Visits(t.Context(), site.Code, store.VisitPage{Limit: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for _, row := range rows {
		if row["site"] != site.Code {
			continue
		}
		v := want[i]
		i++
		if number(t, row["visit"]) != int64(v.Visit) || number(t, row["openings"]) != int64(v.Openings) ||
			number(t, row["open_s"]) != v.OpenS || v.Timed && row["light"] != v.Light.String() {
			t.Errorf("visit %v, want %+v", row, v)
		}
	}
	if i != len(want) {
		t.Errorf("visits of %s = %d, want %d", site.Code, i, len(want))
	}
}

func checkSeasons(t *testing.T, c *console, s *store.Store, rows []map[string]string) {
	t.Helper()
	seasons, err := server.SeasonFigures(t.Context(), s, c.now)
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for _, season := range seasons {
		for _, site := range season.Sites {
			row, f := rows[i], site.Figures
			i++
			if row["season"] != season.Name || row["site"] != site.Code || number(t, row["counted_visits"]) != f.Counted {
				t.Errorf("row %v, want %s of %s: %d visits", row, season.Name, site.Code, f.Counted)
			}
			if f.Estimated == nil {
				continue
			}
			if got, _ := strconv.ParseFloat(row["estimated_visits"], 64); got != f.Estimated.Value || math.IsNaN(got) {
				t.Errorf("estimated_visits = %v, want %v", got, f.Estimated.Value)
			}
		}
	}
	if i == 0 || i != len(rows) {
		t.Errorf("rows of seasons = %d, want %d", len(rows), i)
	}
}

// TestCoarsePackage looks for anything finer than an hour and for small cells.
func TestCoarsePackage(t *testing.T) {
	c, s := exportedBox(t)
	const least = 3
	p := packed(t, c, s, least)
	if !strings.Contains(p.Description, "fewer than 3 visits") {
		t.Errorf("description = %q, want it to say what is held back", p.Description)
	}
	for _, r := range p.Resources {
		for _, f := range r.Schema.Fields {
			if f.Type == "datetime" || f.Name == "raw" || f.Name == "says" {
				t.Errorf("%s has a column %s of type %s", r.Name, f.Name, f.Type)
			}
		}
		for _, row := range p.tables[r.Name] {
			for _, column := range []string{"visits", "counted_visits", "dark_visits", "twilight_visits", "untimed_visits", "visits_without_seconds"} {
				if v, ok := row[column]; ok && v != "" && number(t, v) < least {
					t.Errorf("%s: %s = %s, want fewer than %d held back", r.Name, column, v, least)
				}
			}
			if v, ok := row["visits"]; ok && v == "" && (row["open_s"] != "" || row["visits_per_hour"] != "") {
				t.Errorf("%s: %v tells what is held back", r.Name, row)
			}
		}
	}
	if _, ok := p.tables["openings"]; ok {
		t.Error("coarse package has openings")
	}
}
