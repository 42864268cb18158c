package main

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"doorleaf/importer/forge"
)

func writeCard(t *testing.T, lines ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "LOG.TXT")
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\r\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPulled gives the true time of a card's removal, with the card or later:
// the clock was an hour and 95 s fast, and all openings move by that.
func TestPulled(t *testing.T) {
	card := writeCard(t, "Wed,05/01/24,10:00:00,12", "Thu,05/02/24,11:00:00,9", "Mon,05/13/24,12:31:35,")
	add := func(data string) {
		must(t, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane", "--latitude", "52.1", "--longitude", "-8.2", "--zone", "Europe/Dublin", "--installed", "2024-05-01")
	}
	for _, when := range []string{"with the card", "later"} {
		t.Run(when, func(t *testing.T) {
			data := t.TempDir()
			add(data)
			if when == "later" {
				must(t, "import", "--data", data, "--site", "MILL", card)
			}
			// 11:30 in Dublin's summer is 10:30 UTC.
			must(t, "import", "--data", data, "--site", "MILL", "--pulled", "2024-05-13T11:30:01", card)
			got := allOpenings(t, serving(t, "serve", "--data", data), "MILL", 10)
			want := []string{"2024-05-01T07:58:26Z", "2024-05-02T08:58:26Z", "2024-05-13T10:30:01Z"}
			if len(got) != len(want) {
				t.Fatalf("%d openings, want %d", len(got), len(want))
			}
			for i, o := range got {
				if at := o.At.UTC().Format(time.RFC3339); at != want[i] {
					t.Errorf("opening %d at %s, want %s", i, at, want[i])
				}
			}
			if got[2].Class != "service" || got[2].Visit != nil || got[0].Class != "visitor" {
				t.Errorf("classes %s and %s, want visitor and service", got[0].Class, got[2].Class)
			}
		})
	}
}

// findingJSON is what the tests read of GET /api/sites/{code}/findings.
type findingJSON struct {
	Key, Kind, Says string
	From, To        *time.Time
	Ruling          *struct{ Answer, By, Why string }
}

// TestOutage brings in the cards of a made-up site whose batteries were dead for
// a while, answers the question about it, looks at the coverage, and takes the
// answer back.
func TestOutage(t *testing.T) {
	data := t.TempDir()
	site, outage := outageSite(t)
	s := site.Spec.Site()
	must(t, "site", "add", "--data", data, "--code", s.Code, "--name", s.Name, "--latitude", fmt.Sprint(s.Latitude), "--longitude", fmt.Sprint(s.Longitude),
		"--zone", s.Zone, "--installed", s.InstalledOn.String(), "--clock", string(s.Clock), "--date-order", site.Spec.Dialect.Order())
	for i, c := range site.Cards {
		bytes, err := c.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), fmt.Sprint(i), c.Name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, bytes, 0o644); err != nil {
			t.Fatal(err)
		}
		must(t, "import", "--data", data, "--site", s.Code, "--pulled", time.Unix(c.RemovedAt, 0).UTC().Format(time.RFC3339), path)
	}
	address := serving(t, "serve", "--data", data)
	quiet := quietFinding(t, address, s.Code)
	if quiet == nil {
		t.Fatal("no question about the outage")
	}
	if quiet.From.Unix() > outage[0]+86400 || quiet.To.Unix() < outage[1]-86400 {
		t.Errorf("the question is about %v to %v, the outage was from %d to %d", quiet.From, quiet.To, outage[0], outage[1])
	}
	before := exposure(t, address, s.Code)
	answer(t, address, s.Code, "/questions", url.Values{"key": {quiet.Key}, "answer": {"outage"}, "by": {"Ann"}, "why": {"flat batteries"}})
	ruled := exposure(t, address, s.Code)
	if lost, want := before-ruled, quiet.To.Sub(*quiet.From).Hours(); lost < want-1 || lost > want+1 {
		t.Errorf("the ruling takes %.1f hours of exposure away, want %.1f", lost, want)
	}
	if q := quietFinding(t, address, s.Code); q == nil || q.Ruling == nil || q.Ruling.Answer != "outage" || q.Ruling.By != "Ann" || q.Ruling.Why != "flat batteries" {
		t.Errorf("the finding after the ruling is %+v", q)
	}
	answer(t, address, s.Code, "/questions/undo", url.Values{"key": {quiet.Key}, "by": {"Ann"}})
	if after := exposure(t, address, s.Code); after != before {
		t.Errorf("exposure after the undo = %f h, want %f h", after, before)
	}
}

// outageSite makes a site with one outage in the middle of a card's stay.
func outageSite(t *testing.T) (*forge.Site, [2]int64) {
	t.Helper()
	n, err := forge.Demo(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range n.Sites {
		for _, o := range s.Outages() {
			return s, o
		}
	}
	t.Fatal("no outage in the demo")
	return nil, [2]int64{}
}

func quietFinding(t *testing.T, address, code string) *findingJSON {
	t.Helper()
	var all []findingJSON
	fetch(t, address+"/api/sites/"+code+"/findings", &all)
	for i := range all {
		if all[i].Kind == "quiet stretch" {
			return &all[i]
		}
	}
	return nil
}

func exposure(t *testing.T, address, code string) float64 {
	t.Helper()
	var pattern struct {
		ExposureH float64 `json:"exposure_h"`
	}
	fetch(t, address+"/api/sites/"+code+"/pattern", &pattern)
	return pattern.ExposureH
}

func answer(t *testing.T, address, code, path string, form url.Values) {
	t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.PostForm(address+"/sites/"+code+path, form)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusSeeOther {
		t.Fatalf("POST %s: %s", path, res.Status)
	}
}
