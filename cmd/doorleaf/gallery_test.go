package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer/forge"
	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

// galleryNow is the moment at which every state of the gallery is looked at, two
// days after the last card of a scenario came home.
func galleryNow() time.Time { return time.Date(2026, 10, 2, 9, 30, 0, 0, time.UTC) }

// gallery is a network in one state, served, with the sites whose pages are
// looked at.
type gallery struct {
	state  string
	store  *store.Store
	routes chi.Routes
	url    string
	sites  []string // codes
	tray   string   // of uploaded cards, not kept yet; "" for none
	kept   string   // of a tray whose cards were kept
	bundle string   // of another network, not taken over yet; "" for none
}

// galleryStates are the states of a network that pages must be good in, with
// the functions that make them.
var galleryStates = []struct {
	name string
	make func(*testing.T, *gallery)
}{
	{"empty", func(*testing.T, *gallery) {}},
	{"bare", makeBare},
	{"usual", makeUsual},
	{"troubled", makeTroubled},
	{"huge", makeHuge},
}

// openGallery makes a network in a state and serves it until the test ends.
func openGallery(t *testing.T, state string) *gallery {
	t.Helper()
	i := slices.IndexFunc(galleryStates, func(s struct {
		name string
		make func(*testing.T, *gallery)
	}) bool {
		return s.name == state
	})
	s, err := store.Open(t.Context(), t.TempDir(), store.Options{Now: galleryNow})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	h, err := server.New(server.Config{
		Store: s, Charts: chart.New(draw.New(draw.Options{})), Now: galleryNow, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	g := &gallery{state: state, store: s, routes: h.(chi.Routes), url: srv.URL}
	start := time.Now()
	galleryStates[i].make(t, g)
	t.Logf("the state %s took %.1f s to make", state, time.Since(start).Seconds())
	return g
}

// makeBare makes a network of one site that has no card yet.
func makeBare(t *testing.T, g *gallery) {
	site := usage.Site{
		Code: "MILL", Name: "Mill Lane", Latitude: 52.1, Longitude: -8.2, Zone: "Europe/Dublin",
		InstalledOn: usage.DateOf(2026, 9, 1), Clock: usage.ClockFixed, Thresholds: usage.DefaultThresholds,
	}
	if err := g.store.AddSite(t.Context(), site); err != nil {
		t.Fatal(err)
	}
	g.sites = []string{site.Code}
}

// makeUsual makes the demo network, with cards on a tray and a card prepared.
func makeUsual(t *testing.T, g *gallery) {
	n, err := forge.Demo(galleryNow(), 1)
	if err != nil {
		t.Fatal(err)
	}
	last := n.Sites[0].Cards[len(n.Sites[0].Cards)-1]
	for _, site := range n.Sites {
		cards := site.Cards
		if site == n.Sites[0] || site == n.Sites[1] {
			cards = cards[:len(cards)-1] // they are brought below
		}
		g.keep(t, site, site.Spec.Site(), cards)
		if err := keepLog(t.Context(), g.store, site); err != nil {
			t.Fatal(err)
		}
	}
	g.sites = []string{"MILL", "QUAY"}
	second := n.Sites[1].Cards[len(n.Sites[1].Cards)-1]
	g.kept = g.bring(t, last)
	g.keepTray(t, g.kept, "MILL")
	g.tray = g.bring(t, second, last)
	g.bundle = g.bringBundle(t, n.Sites[0].Spec.Site(), second)
	at := galleryNow().Unix() + 3600
	if err := g.store.AddPrepared(t.Context(), "MILL", store.PreparedCard{At: at, Reading: at}); err != nil {
		t.Fatal(err)
	}
}

// troubles are the situations of the troubled network, a site each.
var troubles = []string{
	"reset, no anchors", "halt", "0xFF rows", "truncated", "ajar", "outage", "wrong set", "dead cell", "month 0", "away", "everything",
}

// makeTroubled makes a network in which something is wrong at every site, and
// every second question of the first sites has been answered. The sites whose
// pages are looked at are those with most openings without a time, with most
// questions and with most complaints.
func makeTroubled(t *testing.T, g *gallery) {
	for _, sc := range forge.Scenarios() {
		if !slices.Contains(troubles, sc.Name) {
			continue
		}
		n, err := sc.Network(1, 5)
		if err != nil {
			t.Fatal(err)
		}
		site := n.Sites[0].Spec.Site()
		site.Code, site.Name = fmt.Sprintf("T%d", slices.Index(troubles, sc.Name)), "Trouble: "+sc.Name
		g.keep(t, n.Sites[0], site, n.Sites[0].Cards)
		g.note(t, site.Code, n.Sites[0].Noted)
	}
	for i := range 4 {
		g.answer(t, fmt.Sprintf("T%d", i))
	}
	all, err := g.store.Sites(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	most := func(what string, f func(store.SiteSummary) int) {
		best := slices.MaxFunc(all, func(a, b store.SiteSummary) int { return f(a) - f(b) })
		if f(best) == 0 {
			t.Errorf("no site of the troubled network has any %s", what)
		}
		if !slices.Contains(g.sites, best.Code) {
			g.sites = append(g.sites, best.Code)
		}
	}
	most("untimed opening", func(s store.SiteSummary) int { return int(s.Totals.Untimed) })
	most("open question", func(s store.SiteSummary) int { return s.OpenFindings })
	most("complaint", func(s store.SiteSummary) int { return g.complaints(t, s.Code) })
}

// makeHuge makes a network of sixty sites with long names, of which one has been
// running for ten years.
func makeHuge(t *testing.T, g *gallery) {
	n, err := forge.Random(45, 59, 2)
	if err != nil {
		t.Fatal(err)
	}
	old, err := forge.Random(3650, 1, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range append(n.Sites, old.Sites...) {
		site := s.Spec.Site()
		site.Code = fmt.Sprintf("HUGE%02d", i)
		site.Name = fmt.Sprintf("Box %d at the Underwhistleborough-on-the-Larkenhythewater Reading Hall", i)
		g.keep(t, s, site, s.Cards)
	}
	g.sites = []string{"HUGE59"}
}

func (g *gallery) keep(t *testing.T, forged *forge.Site, site usage.Site, cards []forge.Card) {
	t.Helper()
	if err := g.store.AddSite(t.Context(), site); err != nil {
		t.Fatalf("%s: %v", site.Name, err)
	}
	in := make([]store.CardIn, len(cards))
	for i, card := range cards {
		data, err := card.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		in[i] = store.CardIn{Name: card.Name, Bytes: data, RemovedAt: card.NotedAt}
	}
	if _, err := g.store.Keep(t.Context(), site.Code, in); err != nil {
		t.Fatalf("%s: %v", site.Name, err)
	}
}

// note keeps what was written down of service calls.
func (g *gallery) note(t *testing.T, code string, noted []usage.ServiceCall) {
	t.Helper()
	calls := make([]store.SiteCall, len(noted))
	for i, c := range noted {
		c.ID = 0
		calls[i] = store.SiteCall{Site: code, Call: c}
	}
	if len(calls) == 0 {
		return
	}
	if _, err := g.store.AddCalls(t.Context(), calls); err != nil {
		t.Fatal(err)
	}
}

// answer rules on every second open question of a site.
func (g *gallery) answer(t *testing.T, code string) {
	t.Helper()
	findings, err := g.store.Findings(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range findings {
		if i%2 == 1 || len(f.Choices) == 0 {
			continue
		}
		err := g.store.Rule(t.Context(), code, usage.Ruling{
			Key: f.Key, Answer: f.Choices[len(f.Choices)-1].Answer, By: "Ada", At: galleryNow().Unix(), Why: "looked at it on the spot",
		})
		if err != nil && usage.KindOf(err) != usage.NotFound { // an answer can settle the next question too
			t.Fatalf("%s %s: %v", code, f.Key, err)
		}
	}
}

func (g *gallery) complaints(t *testing.T, code string) int {
	t.Helper()
	n := 0
	for _, c := range g.cards(t, code) {
		n += c.Complaints
	}
	return n
}

func (g *gallery) cards(t *testing.T, code string) []store.Card {
	t.Helper()
	cards, err := g.store.Cards(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	return cards
}

// bring uploads cards and returns the name of the tray that they lie on.
func (g *gallery) bring(t *testing.T, cards ...forge.Card) string {
	t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	for _, card := range cards {
		data, err := card.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		part, err := form.CreateFormFile("files", card.Name)
		if err != nil {
			t.Fatal(err)
		}
		part.Write(data)
	}
	form.Close()
	return strings.TrimPrefix(g.post(t, "/cards", form.FormDataContentType(), &b), "/tray/")
}

// bringBundle uploads the bundle of another network, which has a card of one site and
// calls it otherwise.
func (g *gallery) bringBundle(t *testing.T, site usage.Site, card forge.Card) string {
	t.Helper()
	other, err := store.Open(t.Context(), t.TempDir(), store.Options{Now: galleryNow})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	site.Name = "The box of the others"
	data, err := card.Bytes()
	if err == nil {
		err = other.AddSite(t.Context(), site)
	}
	if err == nil {
		_, err = other.Keep(t.Context(), site.Code, []store.CardIn{{Name: card.Name, Bytes: data}})
	}
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	part, partErr := form.CreateFormFile("bundle", "other.zip")
	if err := errors.Join(err, partErr); err != nil {
		t.Fatal(err)
	}
	if _, err := other.WriteBundle(t.Context(), part, ""); err != nil {
		t.Fatal(err)
	}
	form.Close()
	return strings.TrimPrefix(g.post(t, "/merge", form.FormDataContentType(), &b), "/merge/")
}

var keepField = regexp.MustCompile(`name="keep-([^"]+)"`)

// keepTray keeps all cards of a tray at one site.
func (g *gallery) keepTray(t *testing.T, tray, code string) {
	t.Helper()
	values := url.Values{}
	for _, m := range keepField.FindAllStringSubmatch(body(t, g.url+"/tray/"+tray), -1) {
		values.Set("keep-"+m[1], "yes")
		values.Set("site-"+m[1], code)
	}
	g.post(t, "/tray/"+tray+"/keep", "application/x-www-form-urlencoded", strings.NewReader(values.Encode()))
}

// post sends a form and returns where it leads on to.
func (g *gallery) post(t *testing.T, path, kind string, form io.Reader) string {
	t.Helper()
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Post(g.url+path, kind, form)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusSeeOther {
		text, _ := io.ReadAll(res.Body)
		t.Fatalf("POST %s = %s, want a page to go on to\n%.2000s", path, res.Status, text)
	}
	return res.Header.Get("Location")
}

// address is a page as it is asked for, and the route that answers it.
type address struct {
	route string // its pattern, without expressions
	path  string // with a query
}

// name is the address as a file name.
func (a address) name() string {
	if a.path == "/" {
		return "network"
	}
	return strings.Trim(strings.Map(func(r rune) rune {
		if strings.ContainsRune("/?&=:", r) {
			return '-'
		}
		return r
	}, a.path), "-")
}

// routesOf returns the patterns of all routes that answer to GET, without the
// expressions in their parameters, sorted.
func routesOf(t *testing.T, routes chi.Routes) []string {
	t.Helper()
	var found []string
	err := chi.Walk(routes, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if method == http.MethodGet {
			found = append(found, plainPattern(pattern))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(found)
	return slices.Compact(found)
}

// plainPattern drops the expressions: /cards/{id:[0-9a-f]{64}}/ is /cards/{id}.
func plainPattern(pattern string) string {
	var b strings.Builder
	depth, skip := 0, false
	for _, r := range strings.ReplaceAll(pattern, "/*/", "/") {
		switch {
		case r == '{':
			depth++
		case r == '}':
			depth--
		case r == ':' && depth == 1:
			skip = true
		}
		if depth == 0 {
			skip = skip && r != '}'
		}
		if !skip {
			b.WriteRune(r)
		}
	}
	if p := b.String(); p != "/" {
		return strings.TrimSuffix(p, "/")
	}
	return "/"
}

var parameter = regexp.MustCompile(`\{([a-z]+)\}`)

// addresses returns the pages of all routes but the static files, with values
// of the state for each parameter and, where a page says more with one, with
// queries. It fails for a parameter that it knows no values of, so that a new
// page cannot be forgotten.
func (g *gallery) addresses(t *testing.T) []address {
	t.Helper()
	var found []address
	for _, route := range routesOf(t, g.routes) {
		if route == "/static/*" {
			continue
		}
		for _, path := range g.fill(t, route, route) {
			queries := append([]string{""}, g.queries(t, route)...)
			if needsQuery[route] {
				queries = queries[1:]
			}
			for _, q := range queries {
				found = append(found, address{route, path + q})
			}
		}
	}
	return append(found, address{"unknown", "/no-such-page"}, address{"unknown", "/sites/NOWHERE"})
}

// fill puts values in the place of the parameters of a path, from left to right.
func (g *gallery) fill(t *testing.T, route, path string) []string {
	t.Helper()
	m := parameter.FindStringSubmatchIndex(path)
	if m == nil {
		return []string{path}
	}
	var found []string
	for _, v := range g.values(t, route, path[m[2]:m[3]], path[:m[0]]) {
		found = append(found, g.fill(t, route, path[:m[0]]+v+path[m[1]:])...)
	}
	return found
}

// values returns what a parameter can be in this state; before is the path
// before it.
func (g *gallery) values(t *testing.T, route, name, before string) []string {
	t.Helper()
	code := strings.TrimPrefix(strings.TrimPrefix(before, "/api"), "/sites/")
	code, _, _ = strings.Cut(code, "/")
	switch name {
	case "code":
		return g.sites
	case "id":
		return g.cardsToSee(t)
	case "season":
		return g.seasons(t)
	case "format":
		return []string{"html", "csv"}
	case "call":
		return g.callsToSee(t, code)
	case "position":
		return g.positions(t, code)
	case "visit":
		return g.visits(t, code)
	case "tray":
		if g.kept != "" && strings.HasSuffix(route, "/receipt") {
			return []string{g.kept}
		}
		if g.tray != "" && !strings.HasSuffix(route, "/receipt") {
			return []string{g.tray}
		}
		return nil
	case "bundle":
		if g.bundle != "" {
			return []string{g.bundle}
		}
		return nil
	}
	t.Errorf("the gallery knows no values for {%s} of the route %s", name, route)
	return nil
}

// cardsToSee are the first card of a site and the one with most complaints.
func (g *gallery) cardsToSee(t *testing.T) []string {
	t.Helper()
	var ids []string
	for _, code := range g.sites {
		cards := g.cards(t, code)
		if len(cards) == 0 {
			continue
		}
		worst := slices.MaxFunc(cards, func(a, b store.Card) int { return a.Complaints - b.Complaints })
		ids = append(ids, cards[0].ID)
		if worst.Complaints > 0 {
			ids = append(ids, worst.ID)
		}
	}
	return firstOf(ids, 2)
}

var seasonLink = regexp.MustCompile(`href="/seasons/([0-9a-z-]+)"`)

// seasons are the last season and the first of those that the page of seasons
// leads to.
func (g *gallery) seasons(t *testing.T) []string {
	t.Helper()
	if len(g.sites) == 0 {
		return nil // there is no season without a site
	}
	links := seasonLink.FindAllStringSubmatch(body(t, g.url+"/seasons"), -1)
	if len(links) == 0 {
		return []string{"2026-spring"}
	}
	return firstOf([]string{links[0][1], links[len(links)-1][1]}, 2)
}

func (g *gallery) callsToSee(t *testing.T, code string) []string {
	t.Helper()
	calls, err := g.store.Calls(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	if len(calls) == 0 {
		return nil
	}
	return []string{strconv.FormatInt(calls[len(calls)-1].ID, 10)}
}

// positions are the first opening, the first without a time and the first with
// the door ajar.
func (g *gallery) positions(t *testing.T, code string) []string {
	t.Helper()
	rows := g.openings(t, code)
	var at []string
	for _, is := range []func(store.OpeningRow) bool{
		func(store.OpeningRow) bool { return true },
		func(o store.OpeningRow) bool { return !o.Timed },
		func(o store.OpeningRow) bool { return o.Class == usage.Ajar },
	} {
		if i := slices.IndexFunc(rows, is); i >= 0 {
			at = append(at, strconv.FormatInt(rows[i].Position, 10))
		}
	}
	return firstOf(at, 3)
}

func (g *gallery) visits(t *testing.T, code string) []string {
	t.Helper()
	rows := g.openings(t, code)
	i := slices.IndexFunc(rows, func(o store.OpeningRow) bool { return o.Visit != usage.Unknown })
	if i < 0 {
		return nil
	}
	return []string{strconv.Itoa(int(rows[i].Visit))}
}

func (g *gallery) openings(t *testing.T, code string) []store.OpeningRow {
	t.Helper()
	rows, _, err := g.store.Openings(t.Context(), code, store.Page{After: -1, Limit: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// needsQuery are the routes that say nothing without a query.
var needsQuery = map[string]bool{"/round/kept": true, "/data-out/file": true}

// queries are those with which a page says more, or has another form.
func (g *gallery) queries(t *testing.T, route string) []string {
	t.Helper()
	switch route {
	case "/sites/{code}":
		return []string{"?season=2026-spring"}
	case "/sites/{code}/visits", "/visits":
		return []string{"?weekday=1&hour=9", "?from=2026-13-01"}
	case "/sites/{code}/openings":
		return []string{"?from=2026-09-01&to=2026-09-30", "?to=x"}
	case "/sites/{code}/light":
		return []string{"?ma=-1"}
	case "/set-up":
		return []string{"?kept=yes", "?language=de&dates=mdy&decimal=%2C&clock=12&first-day=7", "?language=x"}
	case "/sites/{code}/change":
		return []string{"?join=600&rattle=3&ajar=900&name=Mill", "?join=x"}
	case "/round":
		return []string{"?days=10"}
	case "/data-out/file":
		if len(g.sites) > 0 {
			return []string{"?format=geojson&season=2026-spring&least=5"}
		}
	case "/round/kept":
		if refs := g.callRefs(t); refs != "" {
			return []string{"?" + refs}
		}
	}
	return nil
}

// callRefs names a call of each site that has one, as the page of a kept round does.
func (g *gallery) callRefs(t *testing.T) string {
	t.Helper()
	q := url.Values{}
	for _, code := range g.sites {
		for _, id := range g.callsToSee(t, code) {
			q.Add("call", code+":"+id)
		}
	}
	return q.Encode()
}

// firstOf returns the first n different values.
func firstOf(all []string, n int) []string {
	var first []string
	for _, v := range all {
		if !slices.Contains(first, v) && len(first) < n {
			first = append(first, v)
		}
	}
	return first
}

// webPage is a page of the gallery as the server sent it.
type webPage struct {
	address
	html []byte
}

// pages asks for all addresses and returns those that are answered with HTML.
// An answer that is neither a page nor data nor leads on, and a page for
// something that is there and yet has an error, fail the test.
func (g *gallery) pages(t *testing.T) []webPage {
	t.Helper()
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	var found []webPage
	for _, a := range g.addresses(t) {
		res, err := client.Get(g.url + a.path)
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case res.StatusCode >= 500, a.route != "unknown" && res.StatusCode >= 400 && !strings.Contains(a.path, "?"):
			t.Errorf("GET %s = %s in the state %s\n%.600s", a.path, res.Status, g.state, data)
		case strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") && res.StatusCode != http.StatusSeeOther:
			found = append(found, webPage{a, data})
		}
	}
	return found
}

func TestPlainPattern(t *testing.T) {
	for pattern, want := range map[string]string{
		"/": "/", "/cards/{id:[0-9a-f]{64}}/": "/cards/{id}", "/cards/{id:[0-9a-f]{64}}/*/file": "/cards/{id}/file",
		"/sites/{code}/*/calls/{call:[0-9]{1,18}}": "/sites/{code}/calls/{call}", "/static/*": "/static/*",
		"/seasons/{season}/report.{format}": "/seasons/{season}/report.{format}",
	} {
		if got := plainPattern(pattern); got != want {
			t.Errorf("plainPattern(%q) = %q, want %q", pattern, got, want)
		}
	}
}
