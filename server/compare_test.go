package server

import (
	"net/url"
	"strings"
	"testing"

	"doorleaf/importer"
)

// comparedBox serves MILL with two springs alike, and GREEN with twice MILL's visits
// in the later.
func comparedBox(t *testing.T) *box {
	t.Helper()
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2025, 92), cardFrom(2026, 92))
	twice := addHour(addHour(string(cardFrom(2026, 92)), "10", "11"), "17", "19")
	b.keep(t, newSite("GREEN", "Lower <b> Green"), []byte(twice))
	b.keep(t, newSite("QUAY", "Old Quay"))
	return b
}

// addHour adds to a card, after each row of one hour, the same row at another.
func addHour(card, hour, other string) string {
	var lines []string
	for _, line := range strings.Split(card, "\n") {
		lines = append(lines, line)
		if strings.Contains(line, ","+hour+":") {
			lines = append(lines, strings.Replace(line, ","+hour+":", ","+other+":", 1))
		}
	}
	return strings.Join(lines, "\n")
}

func TestCompareSites(t *testing.T) {
	b := comparedBox(t)
	a := b.get("/compare?season=2026-spring&site=MILL&site=GREEN")
	page := a.page(t)
	checkHeaders(t, a)
	checkPage(t, page)
	want := "Lower <b> Green has more visits a day than Mill Lane: between "
	if got := texts(page, "p.lead")[0]; !strings.HasPrefix(got, want) {
		t.Errorf("lead = %q, want %q…", got, want)
	}
	if got := strings.Join(texts(page, ".sides h3"), "|"); got != "Mill Lane|Lower <b> Green" {
		t.Errorf("drawings are of %q, want both boxes", got)
	}
	rows := texts(page, ".compared tbody tr")
	if len(rows) != 2 || !strings.HasPrefix(rows[0], "Mill Lane 184 ") || !strings.HasSuffix(rows[0], "the first") || !strings.HasPrefix(rows[1], "Lower <b> Green 368 ") {
		t.Errorf("rows = %q, want 184 of the first and 368", rows)
	}
	// Turned round, the first is the other.
	back := texts(b.get("/compare?season=2026-spring&site=GREEN&site=MILL").page(t), "p.lead")[0]
	if !strings.HasPrefix(back, "Mill Lane has fewer visits a day than Lower <b> Green: between ") {
		t.Errorf("lead = %q, want fewer at Mill Lane", back)
	}
}

// Two springs alike are no rise and no fall.
func TestCompareSeasons(t *testing.T) {
	b := comparedBox(t)
	page := b.get("/compare?site=MILL&season=2026-spring&season=2025-spring").page(t)
	checkPage(t, page)
	lead := texts(page, "p.lead")[0]
	if !strings.HasPrefix(lead, "Whether Spring 2026 or Spring 2025 has more visits a day cannot be told: the former may have between ") {
		t.Errorf("lead = %q, want that it cannot be told", lead)
	}
	if got := strings.Join(texts(page, ".sides h3"), "|"); got != "Spring 2025|Spring 2026" {
		t.Errorf("sides are %q, want the earlier season first", got)
	}
	three := b.get("/compare?site=MILL&site=GREEN&season=2026-spring&season=2025-spring").page(t)
	if got := texts(three, "p.lead")[0]; got != "Lower <b> Green, spring 2026 clearly has more visits a day than Mill Lane, spring 2025; of 2 others it cannot be told." {
		t.Errorf("lead of four sides = %q", got)
	}
}

// A figure of the table leads to as many visits as it says.
func TestComparedVisitsAreListed(t *testing.T) {
	page := comparedBox(t).get("/compare?season=2026-spring&site=MILL&site=QUAY").page(t)
	links := find(page, ".compared td a")
	if len(links) != 2 || attr(links[0], "href") != "/sites/MILL/visits?from=2026-03-01&to=2026-05-31" {
		t.Errorf("counts lead to %v, want the visits of the season", links)
	}
	if lead := texts(page, "p.lead")[0]; lead != "Old Quay and Mill Lane have nothing recorded to set against each other." {
		t.Errorf("lead = %q, want nothing to set against each other", lead)
	}
}

func TestCompareAddresses(t *testing.T) {
	b := comparedBox(t)
	many := url.Values{"site": {"MILL", "GREEN", "QUAY"}, "season": {"2020-spring", "2021-spring", "2022-spring", "2023-spring", "2024-spring"}}
	for _, c := range []struct {
		name, query, to string
		status, sides   int
	}{
		{"nothing chosen", "", "", 200, 0},
		{"one box", "site=MILL", "", 200, 0},
		{"one box, one season", "site=MILL&season=2026-spring", "", 200, 0},
		{"the same box twice", "site=MILL&site=MILL&season=2026-spring", "", 200, 0},
		{"two boxes", "site=MILL&site=GREEN", "/compare?season=2026-spring&site=MILL&site=GREEN", 303, 0},
		{"two boxes with one recorded", "site=QUAY&site=MILL", "/compare?season=2026-spring&site=QUAY&site=MILL", 303, 0},
		{"two boxes and an empty season", "site=MILL&site=GREEN&season=", "/compare?season=2026-spring&site=MILL&site=GREEN", 303, 0},
		{"unlike seasons", "site=MILL&season=2026-spring&season=2025-26-winter", "", 200, 2},
		{"four sides", "site=MILL&site=GREEN&season=2026-spring&season=2025-spring", "", 200, 4},
		{"no such box", "site=NOPE&site=MILL", "", 404, 0},
		{"no season", "site=MILL&season=spring", "", 400, 0},
		{"a season of the other half of the world", "site=MILL&season=2025-26-summer", "", 404, 0},
		{"too many", many.Encode(), "", 400, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := b.get("/compare?" + c.query)
			if a.status != c.status || a.header.Get("Location") != c.to {
				t.Fatalf("GET /compare?%s = %d to %q, want %d to %q", c.query, a.status, a.header.Get("Location"), c.status, c.to)
			}
			if a.status != 200 {
				return
			}
			page := a.page(t)
			checkPage(t, page)
			if got := len(find(page, ".sides figure")); got != c.sides {
				t.Errorf("%d sides, want %d", got, c.sides)
			}
			if got := len(find(page, "form#choose [name=site]")); got != 3 {
				t.Errorf("%d boxes to choose from, want 3", got)
			}
		})
	}
	if a := newBox(t, importer.Limits{}).get("/compare"); a.status != 200 {
		t.Errorf("GET /compare of an empty network = %d, want 200", a.status)
	}
}

// The map of the network links each box once a drawing, and the first sentence names
// the boxes that need a hand.
func TestNetworkMap(t *testing.T) {
	b := comparedBox(t)
	page := b.get("/").page(t)
	checkPage(t, page)
	for _, drawing := range []string{".fig-wide", ".fig-narrow"} {
		var links []string
		for _, a := range find(page, "#map "+drawing+" a") {
			links = append(links, attr(a, "href"))
			if attr(a, "aria-label") == "" || len(find(a, "title")) != 1 {
				t.Errorf("%s: the link to %s has no name", drawing, attr(a, "href"))
			}
		}
		if len(links) != 3 {
			t.Errorf("%s leads to %q, want three boxes", drawing, links)
		}
	}
	// Every card of these has a line that is no row, which is answered at a desk, and QUAY
	// has no card.
	lead := texts(page, "p.lead")[0]
	if want := "No box is clearly busier or quieter than a year before. Old Quay needs a hand."; lead != want {
		t.Errorf("lead = %q, want %q", lead, want)
	}
	if n := len(find(newBox(t, importer.Limits{}).get("/").page(t), "#map")); n != 0 {
		t.Error("an empty network has a map")
	}
}
