package server

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/store"
	"doorleaf/usage"
)

// decode reads JSON into a T and refuses fields that T lacks; keys checks that
// none of T's is missing.
func decode[T any](t *testing.T, a answer) T {
	t.Helper()
	if a.status != 200 || a.header.Get("Content-Type") != "application/json" {
		t.Fatalf("answer = %d %s, want 200 application/json\n%s", a.status, a.header.Get("Content-Type"), a.body)
	}
	var v T
	d := json.NewDecoder(strings.NewReader(a.body))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		t.Fatalf("decode %T: %v\n%s", v, err, a.body)
	}
	return v
}

// keys returns the names in the first object of a JSON text, in their order.
func keys(t *testing.T, body string) []string {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(body))
	var names []string
	depth, name := 0, false
	for {
		tok, err := d.Token()
		if err != nil {
			return names
		}
		switch v := tok.(type) {
		case json.Delim:
			if v == '[' && depth == 0 {
				continue
			}
			if v == '{' || v == '[' {
				depth++
			} else if depth--; depth == 0 {
				return names
			}
			name = depth == 1
		case string:
			if depth == 1 && name {
				names = append(names, v)
				name = false
				continue
			}
			name = depth == 1
		default:
			name = depth == 1
		}
	}
}

func wantKeys(t *testing.T, what, body, want string) {
	t.Helper()
	if got := strings.Join(keys(t, body), " "); got != want {
		t.Errorf("%s has the fields %q, want %q", what, got, want)
	}
}

func problemOf(t *testing.T, a answer) problem {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != "application/problem+json" {
		t.Fatalf("Content-Type = %q, want application/problem+json", got)
	}
	var p problem
	d := json.NewDecoder(strings.NewReader(a.body))
	d.DisallowUnknownFields()
	if err := d.Decode(&p); err != nil {
		t.Fatalf("decode problem: %v\n%s", err, a.body)
	}
	if p.Status != a.status || p.Title == "" || p.Type == "" {
		t.Errorf("problem %+v of an answer %d", p, a.status)
	}
	return p
}

const (
	siteKeys    = "code name latitude longitude time_zone installed_on last_card_at open_findings"
	openingKeys = "at error_s open_s class visit card line offset raw"
)

func TestAPISites(t *testing.T) {
	b, _ := usualBox(t)
	a := b.get("/api/sites")
	wantKeys(t, "a site", a.body, siteKeys)
	sites := decode[[]siteJSON](t, a)
	if len(sites) != 2 || sites[0].Code != "MILL" || sites[1].Code != "QUAY" {
		t.Fatalf("sites = %+v, want MILL and QUAY", sites)
	}
	// The last row reads 09:00 by a clock that takes no notice of daylight saving,
	// on 10 April, when civil time in Dublin is an hour ahead of it.
	if got := sites[0].LastCardAt; got == nil || *got != "2026-04-10T10:00:00+01:00" {
		t.Errorf("last_card_at = %v, want 2026-04-10T10:00:00+01:00", deref(got))
	}
	if sites[1].LastCardAt != nil {
		t.Errorf("last_card_at without a card = %v, want null", *sites[1].LastCardAt)
	}
}

func deref(s *string) string {
	if s == nil {
		return "null"
	}
	return *s
}

func TestAPISite(t *testing.T) {
	b, _ := usualBox(t)
	a := b.get("/api/sites/MILL")
	wantKeys(t, "the site", a.body, siteKeys+" profile coverage runs totals")
	site := decode[siteDetailJSON](t, a)
	if site.Totals.Openings != 81 {
		t.Errorf("totals.openings = %d, want 81", site.Totals.Openings)
	}
	if len(site.Coverage) == 0 || len(site.Runs) == 0 {
		t.Fatalf("coverage %v, runs %v, want some of both", site.Coverage, site.Runs)
	}
	first := site.Coverage[0]
	if deref(first.From) != "2026-03-01T10:00:00Z" || first.Kind != usage.Recording {
		t.Errorf("coverage begins %s as %s, want 2026-03-01T10:00:00Z recording", deref(first.From), first.Kind)
	}
	if got := site.Runs[0].FirstReading; got != "2026-03-01T10:00:00" {
		t.Errorf("run begins at reading %s, want 2026-03-01T10:00:00", got)
	}
}

func TestAPIPattern(t *testing.T) {
	b, _ := usualBox(t)
	for query, season := range map[string]string{"": "null", "?season=2026-spring": "2026-spring", "?season=2019-autumn": "2019-autumn"} {
		a := b.get("/api/sites/MILL/pattern" + query)
		wantKeys(t, "the pattern", a.body, "season site exposure_h visits cells")
		p := decode[usage.Pattern](t, a)
		if deref(p.Season) != season || len(p.Cells) != 168 {
			t.Errorf("pattern%s: season %s, %d cells, want %s, 168", query, deref(p.Season), len(p.Cells), season)
		}
		var visits int64
		var hours float64
		for i, c := range p.Cells {
			if c.Weekday != i/24+1 || c.Hour != i%24 {
				t.Fatalf("cell %d is %d, %d", i, c.Weekday, c.Hour)
			}
			if (c.Rate == nil) != (c.ExposureH == 0) {
				t.Errorf("cell %d: exposure %v h, rate %v", i, c.ExposureH, c.Rate)
			}
			visits, hours = visits+c.Visits, hours+c.ExposureH
		}
		if visits != p.Visits || hours < p.ExposureH-1e-6 || hours > p.ExposureH+1e-6 {
			t.Errorf("pattern%s: cells sum to %d in %v h, the whole says %d in %v h", query, visits, hours, p.Visits, p.ExposureH)
		}
	}
}

func TestAPIDays(t *testing.T) {
	b, _ := usualBox(t)
	for _, c := range []struct{ name, query, from, to string }{
		{"all", "", "2026-03-01", "2026-04-10"},
		{"from", "?from=2026-03-20", "2026-03-20", "2026-04-10"},
		{"from before the first", "?from=2026-02-20", "2026-02-20", "2026-04-10"},
		{"to", "?to=2026-03-20", "2026-03-01", "2026-03-20"},
		{"both", "?from=2026-02-27&to=2026-03-02", "2026-02-27", "2026-03-02"},
		{"both, without data", "?from=2020-02-27&to=2020-03-01", "2020-02-27", "2020-03-01"},
		{"one day", "?from=2026-03-29&to=2026-03-29", "2026-03-29", "2026-03-29"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := b.get("/api/sites/MILL/days" + c.query)
			wantKeys(t, "a day", a.body, "date openings visits open_s dark_visits exposure_h")
			days := decode[[]dayJSON](t, a)
			date, _ := usage.ParseDate(c.from)
			for i, d := range days {
				if d.Date != date+usage.Date(i) {
					t.Fatalf("day %d is %s, want %s", i, d.Date, date+usage.Date(i))
				}
			}
			if last := days[len(days)-1].Date.String(); last != c.to {
				t.Errorf("days end on %s, want %s", last, c.to)
			}
		})
	}
	if got := decode[[]dayJSON](t, b.get("/api/sites/QUAY/days")); len(got) != 0 {
		t.Errorf("days of a site without cards = %v, want none", got)
	}
	if !strings.HasPrefix(b.get("/api/sites/QUAY/days").body, "[]") {
		t.Error("days of a site without cards are no empty list")
	}
	// 29 March 2026 has 23 hours in Dublin, the day before it 24.
	days := decode[[]dayJSON](t, b.get("/api/sites/MILL/days?from=2026-03-28&to=2026-03-29"))
	if days[0].ExposureH != 24 || days[1].ExposureH != 23 {
		t.Errorf("exposure = %v h, %v h, want 24, 23", days[0].ExposureH, days[1].ExposureH)
	}
	if days[0].Openings != 2 || days[0].Visits != 2 || days[0].OpenS != 20+27+40+27 {
		t.Errorf("day = %+v, want 2 openings, 2 visits, 114 s", days[0])
	}
}

// Following the Link headers to their end gives each opening once, whatever the
// size of a page.
func TestAPIOpeningsPages(t *testing.T) {
	b, card := usualBox(t)
	all := decode[[]openingJSON](t, b.get("/api/sites/MILL/openings"))
	if len(all) != 81 {
		t.Fatalf("openings = %d, want 81", len(all))
	}
	text := string(cardText(40))
	for _, o := range all {
		if o.Card != card || !strings.HasPrefix(text[o.Offset:], o.Raw) || strings.Count(text[:o.Offset], "\n") != int(o.Line)-1 {
			t.Errorf("opening %+v is not what stands at its line and offset", o)
		}
		at, err := time.Parse(time.RFC3339, deref(o.At))
		if err != nil || o.ErrorS == nil {
			t.Errorf("opening at %s ± %v: %v", deref(o.At), o.ErrorS, err)
		} else if _, off := at.Zone(); off != map[bool]int{true: 3600, false: 0}[at.After(time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC))] {
			t.Errorf("opening at %s has not the offset of its site", deref(o.At))
		}
	}
	for _, limit := range []int{1, 7, 80, 81, 82, 10000} {
		var got []openingJSON
		path := fmt.Sprintf("/api/sites/MILL/openings?from=2026-03-01&limit=%d", limit)
		for pages := 0; path != ""; pages++ {
			a := b.get(path)
			page := decode[[]openingJSON](t, a)
			if len(page) == 0 || len(page) > limit || pages > 81 {
				t.Fatalf("limit %d: page %d holds %d", limit, pages, len(page))
			}
			got = append(got, page...)
			path = nextOf(t, a.header.Get("Link"))
		}
		if !slices.EqualFunc(got, all, func(a, b openingJSON) bool { return a.Line == b.Line && a.Card == b.Card }) {
			t.Errorf("limit %d: pages together hold %d openings, not the %d of the whole in their order", limit, len(got), len(all))
		}
	}
}

var linkHeader = regexp.MustCompile(`^<([^>]*)>; rel="next"$`)

func nextOf(t *testing.T, link string) string {
	t.Helper()
	if link == "" {
		return ""
	}
	m := linkHeader.FindStringSubmatch(link)
	if m == nil {
		t.Fatalf("Link = %q, want <…>; rel=\"next\"", link)
	}
	return m[1]
}

func TestAPIOpeningsOfDays(t *testing.T) {
	b, _ := usualBox(t)
	a := b.get("/api/sites/MILL/openings?from=2026-03-02&to=2026-03-03")
	wantKeys(t, "an opening", a.body, openingKeys)
	got := decode[[]openingJSON](t, a)
	if len(got) != 4 || got[0].Line != 3 || got[3].Line != 6 {
		t.Errorf("openings of two days = %d, want lines 3 to 6", len(got))
	}
}

// An untimed opening has no time, but its bracket; what nothing bounds is null.
func TestOpeningAsJSON(t *testing.T) {
	face, err := faceOf(newSite("MILL", "Mill"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		row  usage.Opening
		want string
	}{
		{"timed", usage.Opening{At: 1772532000, ErrorS: 30, OpenS: 12, Visit: 3, Line: 7, Offset: 99, Timed: true, Class: usage.Ajar},
			`{"at":"2026-03-03T10:00:00Z","error_s":30,"open_s":12,"class":"ajar","visit":3,"card":"c","line":7,"offset":99,"raw":"\u003cb\u003e"}`},
		{"unknown seconds, no visit", usage.Opening{At: 1782900000, OpenS: usage.Unknown, Visit: usage.Unknown, Timed: true, Class: usage.Service},
			`{"at":"2026-07-01T11:00:00+01:00","error_s":0,"open_s":null,"class":"service","visit":null,"card":"c","line":0,"offset":0,"raw":"\u003cb\u003e"}`},
		{"untimed", usage.Opening{Earliest: 1772532000, Latest: 1772535600, OpenS: 1, Visit: usage.Unknown, Class: usage.Rattle},
			`{"at":null,"error_s":null,"open_s":1,"class":"rattle","visit":null,"card":"c","line":0,"offset":0,"raw":"\u003cb\u003e","earliest":"2026-03-03T10:00:00Z","latest":"2026-03-03T11:00:00Z"}`},
		{"untimed, open at one end", usage.Opening{Latest: 1772535600, OpenS: 1, Visit: usage.Unknown},
			`{"at":null,"error_s":null,"open_s":1,"class":"visitor","visit":null,"card":"c","line":0,"offset":0,"raw":"\u003cb\u003e","earliest":null,"latest":"2026-03-03T11:00:00Z"}`},
	} {
		got, err := json.Marshal(openingAsJSON(store.OpeningRow{Opening: c.row, CardID: "c", Raw: "<b>"}, face))
		if err != nil || string(got) != c.want {
			t.Errorf("%s:\n got %s, %v\nwant %s", c.name, got, err, c.want)
		}
	}
}

func TestAPIFindings(t *testing.T) {
	b, card := usualBox(t)
	a := b.get("/api/sites/MILL/findings")
	findings := decode[[]findingJSON](t, a)
	if len(findings) == 0 {
		t.Fatal("no finding of a card with a line that is no row, want one")
	}
	wantKeys(t, "a finding", a.body, "key kind from to says ruling changes choices evidence")
	site := decode[siteDetailJSON](t, b.get("/api/sites/MILL"))
	if site.OpenFindings != len(findings) {
		t.Errorf("open_findings = %d, want %d", site.OpenFindings, len(findings))
	}
	if e := findings[0].Evidence; len(e) != 1 || e[0].Card != card || e[0].Line != 43 || findings[0].Ruling != nil {
		t.Errorf("finding = %+v, want line 43 of the card and no ruling", findings[0])
	}
	err := b.store.Rule(t.Context(), "MILL", usage.Ruling{Key: findings[0].Key, Answer: usage.AnswerSeen, By: "Ann", Why: "a <b>scratch</b>"})
	if err != nil {
		t.Fatal(err)
	}
	ruled := decode[[]findingJSON](t, b.get("/api/sites/MILL/findings"))[0]
	if at := "2026-07-01T13:00:00+01:00"; ruled.Ruling == nil || *ruled.Ruling.At != at {
		t.Fatalf("ruling = %+v, want one of %s", ruled.Ruling, at)
	}
	if r := *ruled.Ruling; r.Answer != "seen" || r.By != "Ann" || r.Why != "a <b>scratch</b>" {
		t.Errorf("ruling = %+v, want Ann's", r)
	}
	if site := decode[siteDetailJSON](t, b.get("/api/sites/MILL")); site.OpenFindings != len(findings)-1 {
		t.Errorf("open_findings after a ruling = %d, want %d", site.OpenFindings, len(findings)-1)
	}
}

func TestAPIProblems(t *testing.T) {
	b, _ := usualBox(t)
	for path, want := range map[string]int{
		"/api/sites/NOPE":                                             404,
		"/api/sites/NOPE/days":                                        404,
		"/api/nowhere":                                                404,
		"/api/seasons/2026":                                           400,
		"/api/seasons/2026-monsoon":                                   400,
		"/api/seasons/2026-winter":                                    404, // a winter of the south
		"/api/seasons/2025-26-summer":                                 404,
		"/api/sites/NOPE/visits":                                      404,
		"/api/sites/MILL/visits?weekday=0":                            400,
		"/api/sites/MILL/visits?weekday=8":                            400,
		"/api/sites/MILL/visits?hour=24":                              400,
		"/api/sites/MILL/visits?hour=-1":                              400,
		"/api/sites/MILL/visits?light=dim":                            400,
		"/api/sites/MILL/visits?limit=0":                              400,
		"/api/sites/MILL/visits?after=x":                              400,
		"/api/sites/MILL/visits?from=2026-03-02&to=2026-03-01":        400,
		"/api/sites/MILL/openings?limit=0":                            400,
		"/api/sites/MILL/openings?limit=10001":                        400,
		"/api/sites/MILL/openings?limit=":                             400,
		"/api/sites/MILL/openings?limit=1e3":                          400,
		"/api/sites/MILL/openings?after=-2":                           400,
		"/api/sites/MILL/openings?after=x":                            400,
		"/api/sites/MILL/openings?from=2026-02-30":                    400,
		"/api/sites/MILL/openings?from=2026-03-02&to=2026-03-01":      400,
		"/api/sites/MILL/days?from=":                                  400,
		"/api/sites/MILL/days?to=1/2/2026":                            400,
		"/api/sites/MILL/days?from=2026-03-02&to=2026-03-01":          400,
		"/api/sites/MILL/days?from=2016-01-01&to=2026-01-02":          400,
		"/api/sites/MILL/pattern?season=2026":                         400,
		"/api/sites/MILL/pattern?season=2026-winter":                  400,
		"/api/sites/MILL/pattern?season=%3Cscript%3Ealert(1)%3C%2F":   400,
		"/api/sites/MILL/pattern?season=" + strings.Repeat("x", 2000): 400,
	} {
		if p := problemOf(t, b.get(path)); p.Status != want || p.Detail == "" {
			t.Errorf("GET %s = %+v, want %d with detail", path, p, want)
		}
	}
	a := b.do(httptest.NewRequest("POST", "/api/sites", nil))
	if p := problemOf(t, a); p.Status != 405 {
		t.Errorf("POST /api/sites = %+v, want 405", p)
	}
	r := httptest.NewRequest("GET", "/api/sites", nil)
	w := httptest.NewRecorder()
	r.Host = "evil.example"
	b.ServeHTTP(w, r)
	if p := problemOf(t, answer{w.Code, w.Header(), w.Body.String()}); p.Status != 421 {
		t.Errorf("GET /api/sites of another host = %+v, want 421", p)
	}
}

func TestHealth(t *testing.T) {
	b, _ := usualBox(t)
	if got, want := b.get("/healthz").body, `{"status":"ok","sites":2}`+"\n"; got != want {
		t.Errorf("GET /healthz = %q, want %q", got, want)
	}
}

// The description names every route below /api/ and every field that the
// answers hold.
func TestOpenAPI(t *testing.T) {
	var doc struct {
		OpenAPI    string                     `json:"openapi"`
		Paths      map[string]json.RawMessage `json:"paths"`
		Components struct {
			Schemas map[string]struct {
				Properties map[string]json.RawMessage `json:"properties"`
			} `json:"schemas"`
		} `json:"components"`
	}
	if err := json.NewDecoder(bytes.NewReader(openAPI)).Decode(&doc); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(doc.OpenAPI, "3.1") {
		t.Errorf("openapi = %s, want 3.1", doc.OpenAPI)
	}
	b, _ := usualBox(t)
	for path := range doc.Paths {
		if a := b.get(strings.NewReplacer("{code}", "MILL", "{season}", "2026-spring").Replace(path)); a.status != 200 {
			t.Errorf("GET %s = %d, want 200", path, a.status)
		}
	}
	wantSchema := func(schema, name string) {
		t.Helper()
		if doc.Components.Schemas[schema].Properties[name] == nil {
			t.Errorf("schema %s lacks %s", schema, name)
		}
	}
	ruling, err := json.Marshal(rulingJSON{})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range keys(t, string(ruling)) {
		wantSchema("Ruling", name)
	}
	for schema, path := range map[string]string{
		"Site": "", "SiteDetail": "/MILL", "Pattern": "/MILL/pattern", "Day": "/MILL/days", "Opening": "/MILL/openings", "Finding": "/MILL/findings", "Visit": "/MILL/visits",
	} {
		for _, key := range keys(t, b.get("/api/sites"+path).body) {
			wantSchema(schema, key)
		}
	}
	season := decode[map[string]json.RawMessage](t, b.get("/api/seasons/2026-spring"))
	for key := range season {
		wantSchema("Season", key)
	}
	for _, key := range keys(t, string(season["sites"])) {
		wantSchema("SeasonSite", key)
	}
	for _, key := range keys(t, string(season["network"])) {
		wantSchema("Figures", key)
	}
}
