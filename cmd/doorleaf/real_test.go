package main

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

// table reads a reference table by its header.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, v := range r {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

// openingJSON is what the tests read of GET /api/sites/{code}/openings.
type openingJSON struct {
	At    *time.Time `json:"at"`
	OpenS *int       `json:"open_s"`
	Class string     `json:"class"`
	Visit *int       `json:"visit"`
	Line  int        `json:"line"`
	Raw   string     `json:"raw"`
}

// allOpenings follows the pages of a site's openings.
func allOpenings(t *testing.T, address, code string, limit int) []openingJSON {
	t.Helper()
	var all []openingJSON
	url := fmt.Sprintf("%s/api/sites/%s/openings?limit=%d", address, code, limit)
	for url != "" {
		var page []openingJSON
		fetch(t, url, &page)
		all = append(all, page...)
		url = nextPage(t, address, url)
	}
	return all
}

// nextPage reads the Link header of a page (RFC 8288); "" at the end.
func nextPage(t *testing.T, address, url string) string {
	t.Helper()
	res, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	target, found := strings.CutSuffix(res.Header.Get("Link"), `>; rel="next"`)
	if !found {
		return ""
	}
	target = strings.TrimPrefix(target, "<")
	if strings.HasPrefix(target, "/") {
		target = address + target
	}
	return target
}

// TestRealEvents sends public event data through the whole program: written as
// a card file, imported by the command line, read back as JSON, and compared
// with counts made by pandas. Sources, in testdata/reference/README.md:
// departures of 2,000 flights of 2001 (US Bureau of Transportation Statistics),
// and a simulated punch card of hourly counts, both from vega-datasets 3.2.1.
func TestRealEvents(t *testing.T) {
	flights := func(t *testing.T) (lines []string) {
		for _, r := range table(t, "events_flights.csv") {
			lines = append(lines, strings.Replace(r["local_time"], "T", " ", 1))
		}
		return lines
	}
	punches := func(t *testing.T) (lines []string) {
		for _, r := range table(t, "punchcard_github.csv") {
			n, err := strconv.Atoi(r["count"])
			if err != nil {
				t.Fatal(err)
			}
			for range n {
				lines = append(lines, r["time"]+" 20")
			}
		}
		return lines
	}
	tests := []struct {
		name, zone, installed, expected string
		lines                           func(*testing.T) []string
	}{
		{"flights", "America/Chicago", "2001-01-01", "events_flights_expected.csv", flights},
		{"punchcard", "Europe/Dublin", "2015-01-01", "punchcard_github_expected.csv", punches},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			lines := tt.lines(t)
			address := importLines(t, lines, tt.zone, tt.installed)
			openings := allOpenings(t, address, "EVENTS", 700)
			if len(openings) != len(lines) {
				t.Fatalf("%d openings, want %d", len(openings), len(lines))
			}
			compareCells(t, openings, tt.zone, tt.expected)
			comparePattern(t, address, openings, tt.zone)
		})
	}
}

func importLines(t *testing.T, lines []string, zone, installed string) (address string) {
	t.Helper()
	data := t.TempDir()
	card := filepath.Join(t.TempDir(), "LOG.TXT")
	if err := os.WriteFile(card, []byte(strings.Join(lines, "\r\n")+"\r\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, "site", "add", "--data", data, "--code", "EVENTS", "--name", "Events", "--latitude", "41.9", "--longitude", "-87.6",
		"--zone", zone, "--installed", installed, "--clock", "civil")
	must(t, "import", "--data", data, "--site", "EVENTS", card)
	return serving(t, "serve", "--data", data)
}

// compareCells counts openings by hour of week and compares with a table.
func compareCells(t *testing.T, openings []openingJSON, zone, expected string) {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	var got [usage.HoursOfWeek]int
	for _, o := range openings {
		if o.At == nil {
			t.Fatalf("line %d has no time: %q", o.Line, o.Raw)
		}
		at := o.At.In(loc)
		got[(int(at.Weekday())+6)%7*24+at.Hour()]++
	}
	cells := table(t, expected)
	if len(cells) != usage.HoursOfWeek {
		t.Fatalf("%d cells in %s, want 168", len(cells), expected)
	}
	for _, c := range cells {
		weekday, _ := strconv.Atoi(c["iso_weekday"])
		hour, _ := strconv.Atoi(c["hour"])
		want, _ := strconv.Atoi(c["count"])
		if n := got[(weekday-1)*24+hour]; n != want {
			t.Errorf("weekday %d, hour %d: %d openings, want %d", weekday, hour, n, want)
		}
	}
}

// comparePattern compares the visits of the pattern with a plain count of
// openings that begin more than three minutes after the last close.
func comparePattern(t *testing.T, address string, openings []openingJSON, zone string) {
	t.Helper()
	loc, _ := time.LoadLocation(zone)
	var want [usage.HoursOfWeek]int
	var shut time.Time
	for _, o := range openings {
		if o.At.Sub(shut) > 3*time.Minute {
			at := o.At.In(loc)
			want[(int(at.Weekday())+6)%7*24+at.Hour()]++
		}
		shut = *o.At
		if o.OpenS != nil {
			shut = shut.Add(time.Duration(*o.OpenS) * time.Second)
		}
	}
	var pattern struct {
		Visits int
		Cells  []struct {
			Weekday, Hour, Visits int
			ExposureH             float64 `json:"exposure_h"`
		}
	}
	fetch(t, address+"/api/sites/EVENTS/pattern", &pattern)
	if len(pattern.Cells) != usage.HoursOfWeek {
		t.Fatalf("%d cells, want 168", len(pattern.Cells))
	}
	total := 0
	for i, c := range pattern.Cells {
		if c.Visits != want[i] || c.Weekday != i/24+1 || c.Hour != i%24 {
			t.Errorf("cell %d = weekday %d hour %d visits %d, want %d visits", i, c.Weekday, c.Hour, c.Visits, want[i])
		}
		total += want[i]
	}
	if pattern.Visits != total {
		t.Errorf("visits = %d, want %d", pattern.Visits, total)
	}
}
