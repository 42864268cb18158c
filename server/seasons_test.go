package server

import (
	"bytes"
	"fmt"
	"log/slog"
	"math"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

// boxAt is newBox with another clock.
func boxAt(t *testing.T, now time.Time) *box {
	t.Helper()
	b := newBox(t, importer.Limits{})
	var err error
	b.Handler, err = New(Config{Store: b.store, Charts: chart.New(ruler{}), Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(b.log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *box) keep(t *testing.T, site usage.Site, cards ...[]byte) {
	t.Helper()
	if err := b.store.AddSite(t.Context(), site); err != nil {
		t.Fatal(err)
	}
	for _, c := range cards {
		if _, err := b.store.Keep(t.Context(), site.Code, []store.CardIn{{Name: "LOG.TXT", Bytes: c}}); err != nil {
			t.Fatal(err)
		}
	}
}

func southern(code, name string) usage.Site {
	site := newSite(code, name)
	site.Latitude, site.Longitude, site.Zone = -34.9, 138.6, "Australia/Adelaide"
	return site
}

const figureKeys = "counted covered_days days estimated per_day ratio_to_last_year dark_share open_s median_open_s"

func TestAPISeason(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2025, 92), cardFrom(2026, 92))
	b.keep(t, newSite("QUAY", "Old Quay"))
	a := b.get("/api/seasons/2026-spring")
	s := decode[seasonJSON](t, a)
	wantKeys(t, "season", a.body, "season complete sites network")
	if got := strings.Join(keys(t, a.body[strings.Index(a.body, `"sites"`)+8:]), " "); !strings.HasPrefix(got, "code "+figureKeys) {
		t.Errorf("a site has the fields %s, want code %s first", got, figureKeys)
	}
	if s.Season != "2026-spring" || !s.Complete || len(s.Sites) != 2 {
		t.Fatalf("season = %+v, want 2026-spring complete with two sites", s)
	}
	mill, quay := s.Sites[0], s.Sites[1]
	if mill.Counted != 184 || mill.Days != 92 || math.Abs(mill.CoveredDays-91.6) > 0.2 || !mill.Complete {
		t.Errorf("MILL = %+v, want 184 visits in nearly 92 of 92 days", mill)
	}
	if e := mill.Estimated; e == nil || e.Value < 184 || e.Value > 186 || !(e.Low < e.Value && e.Value < e.High) || e.Level != usage.Confidence {
		t.Errorf("estimated = %+v, want a little more than 184 within limits", e)
	}
	if e := mill.RatioToLast; e == nil || e.Value < 0.98 || e.Value > 1.02 || e.Low >= 1 || e.High <= 1 {
		t.Errorf("ratio = %+v, want 1 within limits", e)
	}
	if quay.Counted != 0 || quay.Estimated != nil || quay.PerDay != nil || quay.RatioToLast != nil || quay.DarkShare != nil || quay.MedianOpenS != nil {
		t.Errorf("QUAY = %+v, want nothing known", quay)
	}
	if n := s.Network; n.Counted != 184 || n.Days != 92 || *n.Estimated != *mill.Estimated {
		t.Errorf("network = %+v, want that of its one box with recording", n)
	}
	if last := decode[seasonJSON](t, b.get("/api/seasons/2025-spring")); last.Network.RatioToLast != nil {
		t.Errorf("2025-spring has a ratio %+v to a year without recording", last.Network.RatioToLast)
	}
}

// A season is of its half of the world.
func TestSeasonsByHemisphere(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2026, 92))
	b.keep(t, southern("SUN", "Sun Street"), append(cardFrom(2026, 92), '\n'))
	for name, want := range map[string]string{
		"2026-spring": "MILL 184, SUN 0", "2026-autumn": "MILL 0, SUN 184",
		"2026-winter": "SUN 0", "2026-summer": "MILL 0", "2025-26-winter": "MILL 0", "2025-26-summer": "SUN 0",
	} {
		var got []string
		for _, site := range decode[seasonJSON](t, b.get("/api/seasons/"+name)).Sites {
			got = append(got, fmt.Sprint(site.Code, " ", site.Counted))
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%s counts %s, want %s", name, strings.Join(got, ", "), want)
		}
		if a := b.get("/seasons/" + name); a.status != 200 {
			t.Errorf("GET /seasons/%s = %d, want 200", name, a.status)
		}
	}
}

// A season that still runs says so, and its figures end with the last card.
func TestSeasonStillRunning(t *testing.T) {
	for _, c := range []struct {
		name     string
		now      time.Time
		days     int
		complete bool
		says     string
	}{
		{"in the season", time.Date(2026, 4, 12, 9, 0, 0, 0, time.UTC), 40, false, "The season is still running: its figures go as far as its last card, 10 April 2026, and nothing is projected beyond."},
		{"after it, cards missing", noon, 40, false, "The last cards of the season have not been read: its figures go as far as its last card, 10 April 2026, and nothing is projected beyond."},
		{"after it, read to its end", noon, 92, true, ""},
		{"its last evening", time.Date(2026, 5, 31, 22, 59, 0, 0, time.UTC), 92, false, "still running"},
		{"the day after", time.Date(2026, 5, 31, 23, 0, 0, 0, time.UTC), 92, true, ""}, // midnight in Dublin
	} {
		t.Run(c.name, func(t *testing.T) {
			b := boxAt(t, c.now)
			b.keep(t, newSite("MILL", "Mill Lane"), cardText(c.days))
			s := decode[seasonJSON](t, b.get("/api/seasons/2026-spring"))
			if s.Complete != c.complete || s.Network.Complete != c.complete {
				t.Errorf("complete = %v, want %v", s.Complete, c.complete)
			}
			if c.days == 40 && (s.Network.Days != 41 || s.Network.Estimated.Value > 85) {
				t.Errorf("figures %+v go beyond the last card", s.Network)
			}
			page := b.get("/seasons/2026-spring").page(t)
			said := strings.Join(texts(page, "main p"), "\n")
			if c.says == "" && strings.Contains(said, "its figures go") || !strings.Contains(said, c.says) {
				t.Errorf("page says %s\nwant %q", said, c.says)
			}
		})
	}
}

var listed = regexp.MustCompile(`^([0-9,]+) visits?\b`)

// countOn returns the number of visits that a list says it holds.
func countOn(t *testing.T, b *box, href string) string {
	t.Helper()
	a := b.get(href)
	if a.status != 200 {
		t.Fatalf("GET %s = %d, want 200", href, a.status)
	}
	lead := texts(a.page(t), "p.lead")[0]
	if m := listed.FindStringSubmatch(lead); m != nil {
		return m[1]
	}
	if strings.HasPrefix(lead, "No visit") {
		return "0"
	}
	return lead
}

// Each count in the tables of a site's page leads to a list of just as many visits.
func TestFiguresLeadToTheirVisits(t *testing.T) {
	b, _ := usualBox(t)
	for _, path := range []string{"/sites/MILL", "/sites/MILL?season=2026-spring"} {
		page := b.get(path).page(t)
		tables := find(page, "details.numbers")
		if len(tables) < 6 {
			t.Fatalf("%s has %d tables, want those of six figures", path, len(tables))
		}
		links := 0
		for _, a := range find(page, "details.numbers td a") {
			if got, want := countOn(t, b, attr(a, "href")), text(a); got != want {
				t.Errorf("%s: %s lists %s visits, want %s", path, attr(a, "href"), got, want)
			}
			links++
		}
		if links < 24+7+168 {
			t.Errorf("%s has %d links to visits, want one a row", path, links)
		}
	}
}

// Every figure of a box on a season's page leads to visits, the count to as many.
func TestSeasonPageLeadsToVisits(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2025, 92), cardFrom(2026, 92))
	b.keep(t, newSite("QUAY", "Old Quay"), cardFrom(2026, 60))
	page := b.get("/seasons/2026-spring").page(t)
	rows := find(page, "table.boxes tbody tr")
	if len(rows) != 2 {
		t.Fatalf("table has %d boxes, want 2", len(rows))
	}
	for _, row := range rows {
		links := find(row, "td a")
		if len(links) < 6 {
			t.Errorf("row %q has %d links, want one a figure", text(row), len(links))
		}
		for i, a := range links {
			if got := countOn(t, b, attr(a, "href")); i == 0 && got != text(a) {
				t.Errorf("%s lists %s visits, want %s", attr(a, "href"), got, text(a))
			}
		}
	}
	if got := texts(page, "#order p"); len(got) != 1 || !strings.Contains(got[0], "no order of them means anything") {
		t.Errorf("of two boxes alike the order says %q", got)
	}
	for _, want := range []string{"/seasons/2026-winter", "/seasons/2025-26-winter"} {
		if got := len(find(page, `nav.pages a[href=`+want+`]`)); got != map[string]int{"/seasons/2026-winter": 0, "/seasons/2025-26-winter": 1}[want] {
			t.Errorf("page has %d links to %s", got, want)
		}
	}
}

// The season of one box on its own page has the figures of the JSON.
func TestSiteInASeason(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardFrom(2025, 92), cardFrom(2026, 92))
	page := b.get("/sites/MILL?season=2026-spring").page(t)
	lead := texts(page, "p.lead")[0]
	if want := "About 14 visits a week in spring 2026, between 12 and 16; in spring 2025 it was 14, between 12 and 16."; lead != want {
		t.Errorf("lead = %q, want %q", lead, want)
	}
	if got := texts(page, "#season strong")[0]; got != "184" {
		t.Errorf("counted = %s, want 184", got)
	}
	if said := strings.Join(texts(page, "main p"), "\n"); strings.Contains(said, "rise") || strings.Contains(said, "fall") || !strings.Contains(said, "cannot be told") {
		t.Errorf("two seasons alike: page says %s", said)
	}
}

func TestAboutTheNumbers(t *testing.T) {
	b, _ := usualBox(t)
	if err := b.store.ChangeSite(t.Context(), "MILL", func(s *usage.Site) error { s.Thresholds.JoinS = 7 * 60; return nil }); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string][]string{
		"/about-the-numbers":            {"within 7 min", "are those of Mill Lane", "80 visits in"},
		"/sites/MILL/about-the-numbers": {"within 7 min", "In spring 2026, ", "Of 81 openings at Mill Lane, 0 are rattles and 1 were made in service"},
		"/sites/QUAY/about-the-numbers": {"within 3 min"},
	} {
		page := b.get(path).page(t)
		said := text(find(page, "main")[0])
		for _, w := range want {
			if !strings.Contains(said, w) {
				t.Errorf("GET %s says %s\nwant %q", path, said, w)
			}
		}
	}
	for _, path := range []string{"/", "/sites/MILL", "/seasons/2026-spring", "/sites/MILL/visits", "/sites/MILL/openings/3"} {
		var margin []*html.Node
		for _, a := range find(b.get(path).page(t), "main a") {
			if strings.HasSuffix(attr(a, "href"), "/about-the-numbers") {
				margin = append(margin, a)
			}
		}
		if len(margin) == 0 {
			t.Errorf("GET %s has no link to about the numbers", path)
		}
	}
}

// With days that vary more than by chance, the weekly rate of a site and of the
// network has wider limits, and the cells of the pattern keep theirs.
func TestLimitsAllowForDispersion(t *testing.T) {
	b := newBox(t, importer.Limits{})
	var card bytes.Buffer
	for day := range 60 {
		date := time.Date(2026, 3, 1+day, 0, 0, 0, 0, time.UTC)
		for visit := range 1 + 9*(day/7%2) {
			card.WriteString(date.Add(time.Duration(8+visit)*time.Hour).Format("Mon,01/02/2006,15:04:05") + ",30\n")
		}
	}
	b.keep(t, newSite("MILL", "Mill Lane"), card.Bytes())
	months, err := b.store.Months(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	plain := usage.Weekly(months).Rate
	data, err := b.store.SeasonData(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	spread := usage.DispersionOfSeasons(data.Days, usage.North).Weekly(months).Rate
	if spread.Value != plain.Value || spread.High-spread.Low < 1.5*(plain.High-plain.Low) {
		t.Errorf("limits %+v with dispersion, %+v without", spread, plain)
	}
	s := decode[seasonJSON](t, b.get("/api/seasons/2026-spring"))
	if s.Network.Dispersion < 3 {
		t.Errorf("dispersion = %v, want well above 1", s.Network.Dispersion)
	}
	p := decode[usage.Pattern](t, b.get("/api/sites/MILL/pattern"))
	for _, c := range p.Cells {
		if want := usage.Rate(c.Visits, c.ExposureH, usage.Confidence); c.Rate == nil || math.Abs(c.Rate.High-want.High) > 1e-9 {
			t.Errorf("cell %d %d has the rate %+v, want %+v", c.Weekday, c.Hour, c.Rate, want)
		}
	}
	lead := texts(b.get("/sites/MILL").page(t), "p.lead")[0]
	if want := words.English.Between(spread); !strings.Contains(lead, want) {
		t.Errorf("lead = %q, want %q in it", lead, want)
	}
}

func TestVisitLinks(t *testing.T) {
	hour, from, to := 7, usage.DateOf(2026, 1, 1), usage.DateOf(2026, 1, 31)
	season, err := usage.ParseSeason("2026-spring", usage.North)
	if err != nil {
		t.Fatal(err)
	}
	counts := []chart.Visits{{Weekday: 3, Hour: &hour}, {From: &from, To: &to}, {}}
	for _, c := range []struct {
		season *usage.Season
		want   []string
	}{
		{nil, []string{"hour=7&weekday=3", "from=2026-01-01&to=2026-01-31", ""}},
		{&season, []string{"from=2026-03-01&hour=7&to=2026-05-31&weekday=3", "from=2026-01-01&to=2026-01-31", "from=2026-03-01&to=2026-05-31"}},
	} {
		for i, got := range visitLinks("MILL", counts, c.season) {
			u, err := url.Parse(got)
			if err != nil || u.Path != "/sites/MILL/visits" || u.RawQuery != c.want[i] {
				t.Errorf("visitLinks(%v)[%d] = %s, want %s", c.season, i, got, c.want[i])
			}
		}
	}
}
