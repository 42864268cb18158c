package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
)

// duckDB runs SQL in DuckDB, from npm, and returns the rows of each statement.
// Where Node.js or the package is not there the test is passed over, unless
// DOORLEAF_DUCKDB=required.
func duckDB(t *testing.T, sql string) [][]map[string]any {
	t.Helper()
	const dir = "testdata/duckdb"
	node, err := exec.LookPath("node")
	if err == nil {
		_, err = os.Stat(filepath.Join(dir, "node_modules", "@duckdb", "node-api"))
	}
	if err != nil {
		if os.Getenv("DOORLEAF_DUCKDB") == "required" {
			t.Fatalf("no DuckDB, and DOORLEAF_DUCKDB=required: %v", err)
		}
		t.Skipf("no DuckDB to ask; make duckdb installs it: %v", err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Minute)
	defer stop()
	cmd := exec.CommandContext(ctx, node, filepath.Join(dir, "query.mjs"))
	cmd.Stdin = strings.NewReader(sql)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("ask DuckDB: %v\n%s\n%s", err, errs.String(), sql)
	}
	var answers [][]map[string]any
	for in := json.NewDecoder(&out); in.More(); {
		var rows []map[string]any
		if err := in.Decode(&rows); err != nil {
			t.Fatal(err)
		}
		answers = append(answers, rows)
	}
	return answers
}

// seasonSums are the totals of one season.
type seasonSums struct{ visits, openings, exposureS, openS int64 }

func (s *seasonSums) add(o seasonSums) {
	s.visits, s.openings, s.exposureS, s.openS = s.visits+o.visits, s.openings+o.openings, s.exposureS+o.exposureS, s.openS+o.openS
}

// southBox is a forged network half of whose sites are moved to the southern
// half of the world, one of them under a code that reads like a number.
func southBox(t *testing.T) (*console, *store.Store) {
	t.Helper()
	c, s, n := forgedNetwork(t, 200, 3, 11)
	err := s.ChangeSite(t.Context(), n.Sites[1].Spec.Code, func(site *usage.Site) error { site.Latitude = -41; return nil })
	if err != nil {
		t.Fatal(err)
	}
	site := usage.Site{Code: "007", Name: "Quay", Latitude: -36.8, Longitude: 174.8, Zone: "Pacific/Auckland", InstalledOn: usage.DateOf(2015, 12, 1)}
	if err := s.AddSite(t.Context(), site); err != nil {
		t.Fatal(err)
	}
	// A winter of the north, New Year's Eve in between, and a row that no clock shows.
	card := "Tue,12/29/15,09:12:33,34\nThu,12/31/15,23:59:50,20\nFri,01/01/16,00:10:00,20\nFri,01/15/16,45:85:00,7\nSat,01/16/16,10:00:00,2400\nMon,01/18/16,08:00:00,"
	if _, err := s.Keep(t.Context(), site.Code, []store.CardIn{{Name: "LOG.TXT", Bytes: []byte(card)}}); err != nil {
		t.Fatal(err)
	}
	return c, s
}

// TestDuckDBAgrees writes two networks as Parquet and lets DuckDB add up the seasons
// of each and of both: what the JSON of the program says of them.
func TestDuckDBAgrees(t *testing.T) {
	dir := t.TempDir()
	want := map[string]map[string]seasonSums{}
	var untimed int64
	for name, make := range map[string]func(*testing.T) (*console, *store.Store){"larkbridge": exportedBox, "teal-sound": southBox} {
		c, s := make(t)
		if err := folderWhole(filepath.Join(dir, name), func(to string) error {
			return server.Export{Format: "parquet", Name: name}.WriteFolder(t.Context(), s, to)
		}); err != nil {
			t.Fatal(err)
		}
		want[name] = jsonSums(t, c, s)
		sites, err := s.Sites(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, site := range sites {
			untimed += site.Totals.Untimed
		}
	}
	if untimed == 0 {
		t.Fatal("no opening without a time among the test's")
	}
	got := duckSums(t, dir)
	all := map[string]seasonSums{}
	for name, seasons := range want {
		for season, sums := range seasons {
			if g := got[name][season]; g != sums {
				t.Errorf("%s of %s = %+v, want %+v", season, name, g, sums)
			}
			both := all[season]
			both.add(sums)
			all[season] = both
		}
	}
	for season, sums := range all {
		if g := got[""][season]; g != sums {
			t.Errorf("%s of both = %+v, want %+v", season, g, sums)
		}
	}
	if len(got[""]) != len(all) || len(all) < 4 {
		t.Errorf("seasons = %d, want %d, and 4 at least", len(got[""]), len(all))
	}
}

// duckSums are the season totals by network, "" for all of them together.
func duckSums(t *testing.T, dir string) map[string]map[string]seasonSums {
	t.Helper()
	read := func(table string) string {
		return fmt.Sprintf("read_parquet('%s/*/%s/**/*.parquet', hive_partitioning = true)", filepath.ToSlash(dir), table)
	}
	answers := duckDB(t, fmt.Sprintf(`
SELECT coalesce(network, '') AS network, season, count(*) AS visits, sum(open_s) AS open_s FROM %s WHERE season IS NOT NULL GROUP BY GROUPING SETS ((network, season), (season));
SELECT coalesce(network, '') AS network, season, count("at") AS openings, sum(engaged_s) FILTER ("at" IS NOT NULL) AS open_s FROM %s WHERE season IS NOT NULL GROUP BY GROUPING SETS ((network, season), (season));
SELECT coalesce(network, '') AS network, season, sum(visits) AS visits, sum(openings) AS openings, sum(open_s) AS open_s, sum(exposure_s) AS exposure_s FROM %s GROUP BY GROUPING SETS ((network, season), (season));`,
		read("visits"), read("openings"), read("days")))
	if len(answers) != 3 {
		t.Fatalf("answers = %d, want 3", len(answers))
	}
	sums := map[string]map[string]seasonSums{}
	for _, row := range answers[2] {
		name := row["network"].(string)
		if sums[name] == nil {
			sums[name] = map[string]seasonSums{}
		}
		sums[name][row["season"].(string)] = seasonSums{openings: count(t, row["openings"]), openS: count(t, row["open_s"]), exposureS: count(t, row["exposure_s"])}
	}
	for _, row := range answers[0] {
		s := sums[row["network"].(string)][row["season"].(string)]
		s.visits = count(t, row["visits"])
		sums[row["network"].(string)][row["season"].(string)] = s
	}
	for _, row := range answers[1] { // the openings one by one, against the days
		s := sums[row["network"].(string)][row["season"].(string)]
		if count(t, row["openings"]) != s.openings || count(t, row["open_s"]) != s.openS {
			t.Errorf("openings of %v, want %d in %d s", row, s.openings, s.openS)
		}
	}
	return sums
}

func count(t *testing.T, v any) int64 {
	t.Helper()
	n, err := strconv.ParseInt(fmt.Sprint(v), 10, 64)
	if err != nil && v != nil {
		t.Fatalf("%v (%T) is no count", v, v)
	}
	return n
}

// jsonSums asks the program's own server for the totals of all seasons.
func jsonSums(t *testing.T, c *console, s *store.Store) map[string]seasonSums {
	t.Helper()
	handler, err := server.New(server.Config{Store: s, Now: c.now})
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(handler)
	defer web.Close()
	seasons, err := server.SeasonFigures(t.Context(), s, c.now)
	if err != nil {
		t.Fatal(err)
	}
	sums := map[string]seasonSums{}
	for _, season := range seasons {
		var answer struct {
			Sites []struct {
				Code        string
				Counted     int64
				CoveredDays float64 `json:"covered_days"`
				OpenS       int64   `json:"open_s"`
			}
		}
		askJSON(t, web.URL+"/api/seasons/"+season.Name, &answer)
		sum := seasonSums{}
		for i, site := range answer.Sites {
			of, err := usage.ParseSeason(season.Name, usage.HemisphereOf(season.Sites[i].Latitude))
			if err != nil {
				t.Fatal(err)
			}
			var days []struct{ Openings int64 }
			askJSON(t, fmt.Sprintf("%s/api/sites/%s/days?from=%s&to=%s", web.URL, site.Code, of.First(), of.Last()), &days)
			for _, d := range days {
				sum.openings += d.Openings
			}
			sum.add(seasonSums{visits: site.Counted, openS: site.OpenS, exposureS: int64(math.Round(site.CoveredDays * 86400))})
		}
		sums[season.Name] = sum
	}
	return sums
}

func askJSON(t *testing.T, address string, into any) {
	t.Helper()
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Fatalf("GET %s = %s", address, r.Status)
	}
	if err := json.NewDecoder(r.Body).Decode(into); err != nil {
		t.Fatal(err)
	}
}
