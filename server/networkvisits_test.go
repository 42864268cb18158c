package server

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"doorleaf/importer"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

// twoBoxes are boxes of either half of the world.
func twoBoxes(t *testing.T) *box {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), visitsCard())
	south := newSite("KAURI", "Kauri Street")
	south.Latitude, south.Zone = -36.9, "Pacific/Auckland"
	b.keep(t, south, cardText(40))
	b.keep(t, newSite("QUAY", "Old Quay"), cardText(20))
	return b
}

// walkVisits reads all pages of the list of all sites.
func walkVisits(t *testing.T, b *box, address string) (found []string) {
	t.Helper()
	for pages := 0; address != ""; pages++ {
		if pages > 1000 {
			t.Fatalf("the list goes on at %s", address)
		}
		a := b.get(address)
		if a.status != 200 {
			t.Fatalf("GET %s = %d: %s", address, a.status, a.body)
		}
		for _, v := range decode[[]networkVisitJSON](t, withoutBounds(a)) {
			found = append(found, fmt.Sprintf("%s %d", v.Site, v.Visit))
		}
		address = ""
		if link := a.header.Get("Link"); link != "" {
			address = nextOf(t, link)
		}
	}
	return found
}

// The list of all sites holds what the lists of the sites hold, whatever the length
// of its pages.
func TestNetworkVisitsAreThoseOfTheSites(t *testing.T) {
	b := twoBoxes(t)
	for _, query := range []string{"", "hour=9", "weekday=1&from=2026-03-10", "light=dark", "from=2026-03-12&to=2026-03-13", "to=2020-01-01"} {
		var want []string
		for _, code := range []string{"KAURI", "MILL", "QUAY"} {
			for _, v := range decode[[]visitJSON](t, withoutBounds(b.get("/api/sites/"+code+"/visits?"+query))) {
				want = append(want, fmt.Sprintf("%s %d", code, v.Visit))
			}
		}
		for _, limit := range []string{"", "limit=1", "limit=7", "limit=61"} {
			if limit == "limit=1" && len(want) > 50 {
				continue // which takes long
			}
			if got := walkVisits(t, b, "/api/visits?"+query+"&"+limit); !slices.Equal(got, want) {
				t.Errorf("visits with %q, %q = %d of them, want %d: %v", query, limit, len(got), len(want), got)
			}
		}
	}
}

// What a season counts for the network is what its list holds. The autumn of a site in
// the other half of the world lies in March, April and May.
func TestNetworkSeasonLeadsToItsVisits(t *testing.T) {
	b := twoBoxes(t)
	for season, want := range map[string]int64{"2026-spring": 101, "2026-autumn": 80} {
		counted := decode[seasonJSON](t, b.get("/api/seasons/"+season)).Network.Counted
		if counted != want {
			t.Errorf("%s counts %d visits, want %d", season, counted, want)
		}
		if got := len(walkVisits(t, b, "/api/visits?season="+season+"&limit=33")); int64(got) != counted {
			t.Errorf("%s has %d visits in the list, %d counted", season, got, counted)
		}
		page := b.get("/seasons/" + season).page(t)
		links := find(page, "dl.figures a")
		if len(links) == 0 || attr(links[0], "href") != "/visits?season="+season {
			t.Fatalf("the figures of %s lead to %v", season, links)
		}
		lead := texts(b.get(attr(links[0], "href")).page(t), "p.lead")[0]
		if !strings.Contains(lead, "at 3 boxes in "+strings.Replace(season, "2026-", "", 1)+" 2026") {
			t.Errorf("%s: the list says %q, want 3 boxes and the season", season, lead)
		}
	}
}

func TestNetworkVisitsPage(t *testing.T) {
	b := twoBoxes(t)
	seen := 0
	for address := "/visits"; address != ""; {
		page := b.get(address).page(t)
		for _, a := range find(page, "table.openings th a") {
			if seen++; seen%40 == 1 {
				if got := b.get(attr(a, "href")).status; got != 200 {
					t.Errorf("GET %s = %d, want 200", attr(a, "href"), got)
				}
			}
		}
		address = ""
		if next := find(page, "p a.button"); len(next) > 0 {
			address = attr(next[0], "href")
		}
	}
	if want := len(walkVisits(t, b, "/api/visits")); seen != want {
		t.Errorf("the pages of /visits list %d visits, want %d", seen, want)
	}
	if kept := texts(b.get("/visits?season=2026-spring&hour=9").page(t), "select[id=season] option[selected]"); len(kept) != 1 || kept[0] != "spring 2026" {
		t.Errorf("the form shows the season %v, want spring 2026", kept)
	}
	for address, want := range map[string]int{
		"/visits?season=spring": 400, "/visits?season=2026-spring&after=MILL.1": 200, "/visits?after=MILL": 400, "/visits?after=NONE.3": 400,
		"/visits?weekday=8": 400, "/api/visits?season=x": 400, "/api/visits?after=7": 400, "/api/visits?limit=0": 400, "/api/visits?hour=24": 400,
	} {
		if got := b.get(address).status; got != want {
			t.Errorf("GET %s = %d, want %d", address, got, want)
		}
	}
	if got := newBox(t, importer.Limits{}).get("/visits").status; got != 200 {
		t.Errorf("GET /visits of an empty network = %d, want 200", got)
	}
}

// markKeeper keeps the marks of the options that it is given to draw.
type markKeeper struct {
	mu    sync.Mutex
	marks map[string]string // what is said, by address
}

func (k *markKeeper) Draw(_ context.Context, option []byte, _, _ int) ([]byte, error) {
	var o struct{ Marks draw.Marks }
	if err := json.Unmarshal(option, &o); err != nil {
		return nil, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, m := range o.Marks.Links {
		k.marks[m.Href] = m.Says
	}
	return []byte("<svg/>"), nil
}

// Every mark of every drawing of a site leads to a list that holds as many visits as
// the mark counts, in the season of the page too.
func TestMarksLeadToWhatTheyCount(t *testing.T) {
	b := newBox(t, importer.Limits{})
	keeper := &markKeeper{}
	var err error
	if b.Handler, err = New(Config{Store: b.store, Charts: chart.New(keeper)}); err != nil {
		t.Fatal(err)
	}
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2025, 140), cardFrom(2026, 60))
	for _, address := range []string{"/sites/MILL", "/sites/MILL?season=2026-spring", "/seasons/2026-spring"} {
		keeper.marks = map[string]string{}
		if got := b.get(address).status; got != 200 {
			t.Fatalf("GET %s = %d", address, got)
		}
		if least := map[bool]int{true: 1, false: 200}[strings.HasPrefix(address, "/seasons")]; len(keeper.marks) < least {
			t.Errorf("%s has %d marks, want %d or more", address, len(keeper.marks), least)
		}
		for i, href := range slices.Sorted(maps.Keys(keeper.marks)) {
			if i%9 != 0 {
				continue // a part of them will do
			}
			says := keeper.marks[href]
			_, text, _ := strings.Cut(says[strings.LastIndex(says, ": "):], ": ")
			want, err := strconv.Atoi(strings.ReplaceAll(strings.Fields(text)[0], ",", ""))
			if err != nil {
				t.Fatalf("mark %q says no number", says)
			}
			u, err := url.Parse(href)
			if err != nil {
				t.Fatal(err)
			}
			got := 0
			for _, v := range decode[[]visitJSON](t, withoutBounds(b.get("/api"+u.Path+"?"+u.RawQuery))) {
				if v.At != nil {
					got++
				}
			}
			if got != want {
				t.Errorf("%s: mark %q leads to %s, with %d visits", address, says, href, got)
			}
		}
	}
}
