package server

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"
	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/web/chart"
)

// wanted is what each route of the server needs, told apart from the server's
// own table: who adds a route says here too who may use it.
var wanted = map[need]string{
	needNothing: `
		GET /healthz
		GET /static/*
		GET /sign-in
		POST /sign-in
		POST /sign-out`,
	needReading: `
		GET /
		GET /visits
		GET /seasons
		GET /seasons/{season}
		GET /questions
		GET /round
		GET /round.ics
		GET /compare
		GET /about-the-numbers
		GET /api
		GET /data-out
		GET /sites/{code}
		GET /sites/{code}/cards
		GET /sites/{code}/openings
		GET /sites/{code}/openings/{position:[0-9]+}
		GET /sites/{code}/visits
		GET /sites/{code}/visits/{visit:[0-9]+}
		GET /sites/{code}/about-the-numbers
		GET /sites/{code}/questions
		GET /sites/{code}/calls
		GET /sites/{code}/power
		GET /sites/{code}/light
		GET /sites/{code}/restock
		GET /sites/{code}/daylight
		GET /cards/{id:[0-9a-f]{64}}
		GET /api/openapi.json
		GET /api/sites
		GET /api/sites/{code}
		GET /api/sites/{code}/pattern
		GET /api/sites/{code}/days
		GET /api/sites/{code}/openings
		GET /api/sites/{code}/visits
		GET /api/sites/{code}/findings
		GET /api/sites/{code}/light
		GET /api/sites/{code}/power
		GET /api/seasons/{season}
		GET /api/visits
		GET /data-out`,
	needReports: `
		GET /cards/{id:[0-9a-f]{64}}/file
		GET /data-out/file
		GET /seasons/{season}/report.{format}`,
	needCoordinating: `
		GET /cards
		POST /cards
		GET /cards/{id:[0-9a-f]{64}}/withdraw
		POST /cards/{id:[0-9a-f]{64}}/withdraw
		POST /cards/{id:[0-9a-f]{64}}/removed
		GET /tray/{tray}
		POST /tray/{tray}/keep
		POST /tray/{tray}/throw
		GET /tray/{tray}/receipt
		GET /set-up
		POST /set-up
		GET /sites/new
		POST /sites/new
		GET /sites/{code}/change
		POST /sites/{code}/change
		POST /sites/{code}/questions
		POST /sites/{code}/questions/undo
		POST /sites/{code}/calls
		GET /sites/{code}/calls/{call:[0-9]{1,18}}
		POST /sites/{code}/calls/{call:[0-9]{1,18}}
		POST /sites/{code}/calls/{call:[0-9]{1,18}}/withdraw
		POST /sites/{code}/calls/{call:[0-9]{1,18}}/restore
		GET /sites/{code}/power/change
		POST /sites/{code}/power/change
		POST /sites/{code}/power/withdraw
		GET /sites/{code}/prepare
		POST /sites/{code}/prepare
		POST /sites/{code}/prepare/setting
		POST /sites/{code}/prepare/usual
		GET /bench
		POST /bench
		GET /merge
		POST /merge
		GET /merge/{bundle}
		POST /merge/{bundle}
		GET /round/done
		POST /round/done
		GET /round/kept
		POST /round/undo
		GET /journal
		GET /access
		POST /access/reading
		POST /access/sign-out-everyone
		POST /access/sessions/{session:[0-9]{1,18}}/end`,
}

// A route that is in no table is the coordinators'.
func wantedNeeds() map[string]need {
	all := map[string]need{}
	for n, list := range wanted {
		for _, line := range strings.Split(strings.TrimSpace(list), "\n") {
			all[strings.TrimSpace(line)] = n
		}
	}
	return all
}

// keyring is an Access in which the token of a session is its role's name.
type keyring struct{ access store.Access }

func (k *keyring) Access(context.Context) (store.Access, error)      { return k.access, nil }
func (k *keyring) OpenReading(context.Context, bool) error           { return nil }
func (k *keyring) Sessions(context.Context) ([]store.Session, error) { return nil, nil }
func (k *keyring) SignOut(context.Context, string) error             { return nil }
func (k *keyring) EndSession(context.Context, int64) error           { return nil }
func (k *keyring) EndSessions(context.Context) (int64, error)        { return 0, nil }
func (k *keyring) SignIn(context.Context, string, string) (string, store.Session, error) {
	return "", store.Session{}, nil
}

func (k *keyring) Journal(context.Context, int64, int) ([]store.Entry, bool, error) {
	return nil, false, nil
}

func (k *keyring) Session(_ context.Context, token string) (store.Session, bool, error) {
	role := store.Role(token)
	return store.Session{ID: 1, Role: role, Who: "Ann"}, slices.Contains(store.Roles(), role), nil
}

var _ Access = (*keyring)(nil)

// allSet is the state in which each role has a passphrase.
func allSet() store.Access {
	a := store.Access{SetAt: map[store.Role]int64{}}
	for _, role := range store.Roles() {
		a.SetAt[role] = 1
	}
	return a
}

// lockedBox serves the usual network to others than the person at the machine.
func lockedBox(t *testing.T, change func(*Config)) (b *box, card string) {
	t.Helper()
	b, card = usualBox(t)
	c := Config{
		Store: b.store, Charts: chart.New(ruler{}), Now: func() time.Time { return noon }, Limits: importer.DefaultLimits,
		Log: slog.New(slog.NewTextHandler(b.log, nil)), Access: &keyring{allSet()}, Remote: true,
	}
	if change != nil {
		change(&c)
	}
	var err error
	if b.Handler, err = New(c); err != nil {
		t.Fatal(err)
	}
	return b, card
}

// route is a route of the server with an address that leads to it.
type route struct{ method, pattern, path string }

func (r route) key() string { return routeKey(r.method, r.pattern) }

// routesOf walks the router itself.
func routesOf(t *testing.T, h http.Handler, card string) []route {
	t.Helper()
	router, ok := h.(chi.Routes)
	if !ok {
		t.Fatalf("the server is a %T and no router to walk", h)
	}
	var all []route
	err := chi.Walk(router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		r := route{method: method, pattern: pattern}
		for _, other := range []string{"1", "MILL", "a", "2026-spring", card} {
			path := fill(pattern, card, other)
			if found := router.Find(chi.NewRouteContext(), method, path); routeKey(method, found) == r.key() {
				r.path = path
				break
			}
		}
		if r.path == "" {
			t.Errorf("no address is known that leads to %s", r.key())
		}
		all = append(all, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

var parameter = regexp.MustCompile(`\{([a-z]+)(:(?:[^{}]|\{[^{}]*\})*)?\}`)

// fill puts values in the place of a pattern's parameters; other in the place of
// those that it does not know.
func fill(pattern, card, other string) string {
	path := parameter.ReplaceAllStringFunc(pattern, func(p string) string {
		switch parameter.FindStringSubmatch(p)[1] {
		case "code":
			return "MILL"
		case "season":
			return "2026-spring"
		case "id":
			return card
		}
		return other
	})
	return strings.Replace(path, "*", "doorleaf.css", 1)
}

// turnedAway tells from an answer that the gate let nobody through.
func turnedAway(a answer) bool {
	return a.status == 401 || a.status == 403 || a.status == 303 && strings.HasPrefix(a.header.Get("Location"), signInAddress+"?to=") ||
		a.status == 303 && a.header.Get("Location") == signInAddress && a.header.Get("Clear-Site-Data") == ""
}

func (b *box) as(role store.Role, method, path string) answer {
	r := httptest.NewRequest(method, path, nil)
	if method == "POST" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if role != "" {
		r.AddCookie(&http.Cookie{Name: "doorleaf", Value: string(role)})
	}
	return b.do(r)
}

// Every route that the router has stands in the table of who may use it, and
// every line of that table is a route.
func TestEveryRouteSaysWhoMayUseIt(t *testing.T) {
	b, card := lockedBox(t, nil)
	want := wantedNeeds()
	seen := map[string]bool{}
	for _, r := range routesOf(t, b.Handler, card) {
		seen[r.key()] = true
		if _, ok := want[r.key()]; !ok {
			t.Errorf("%s is in no table of who may use it: add it to wanted, and to needs unless it is the coordinators'", r.key())
		}
	}
	for key := range want {
		if !seen[key] {
			t.Errorf("%s stands in the table and is no route", key)
		}
	}
	for key := range needs {
		if !seen[key] {
			t.Errorf("%s stands in needs and is no route", key)
		}
	}
}

// A role can do nothing beyond its own: every route of the router, with every
// method, as everybody.
func TestEveryRouteAsEverybody(t *testing.T) {
	people := []struct {
		name string
		role store.Role
		open bool // reading is open to everybody
		may  need
	}{
		{"nobody", "", false, needNothing},
		{"nobody, reading open", "", true, needReading},
		{"an unknown token", "root", false, needNothing},
		{"reading", store.RoleReading, false, needReading},
		{"reports", store.RoleReports, false, needReports},
		{"coordinating", store.RoleCoordinating, false, needCoordinating},
	}
	want := wantedNeeds()
	of := func(key string) need {
		if n, ok := want[key]; ok {
			return n
		}
		return needCoordinating
	}
	tried := 0
	for _, who := range people {
		t.Run(who.name, func(t *testing.T) {
			access := allSet()
			access.ReadingOpen = who.open
			b, card := lockedBox(t, func(c *Config) { c.Access = &keyring{access} })
			all := routesOf(t, b.Handler, card)
			have := map[string]bool{}
			for _, r := range all {
				have[r.key()] = true
			}
			for _, r := range all {
				for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"} {
					key := routeKey(strings.Replace(method, "HEAD", "GET", 1), r.pattern)
					a := b.as(who.role, method, r.path)
					tried++
					switch {
					case !have[key]:
						if a.status < 400 && !turnedAway(a) {
							t.Errorf("%s, which is no route, answers %d", key, a.status)
						}
					case turnedAway(a) != (who.may < of(key)):
						t.Errorf("%s = %d to %q, want turned away: %v", key, a.status, a.header.Get("Location"), who.may < of(key))
					case a.status == 500:
						t.Errorf("%s = 500\n%s", key, b.log)
					}
				}
			}
		})
	}
	t.Logf("%d requests", tried)
}

// What the gate turns away has changed nothing.
func TestTurnedAwayChangesNothing(t *testing.T) {
	for _, role := range []store.Role{"", store.RoleReading, store.RoleReports} {
		b, card := lockedBox(t, nil)
		before := digest(t, b, card)
		for _, r := range routesOf(t, b.Handler, card) {
			if r.method != "GET" && wantedNeeds()[r.key()] == needCoordinating {
				b.as(role, r.method, r.path)
			}
		}
		if after := digest(t, b, card); after != before {
			t.Errorf("as %q: %s, want %s", role, after, before)
		}
	}
}

// digest tells what is kept of the usual network.
func digest(t *testing.T, b *box, card string) string {
	t.Helper()
	sites, err := b.store.Sites(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	kept, err := b.store.Card(t.Context(), card)
	entries, _, journalErr := b.store.Journal(t.Context(), 0, 1000)
	words, jsonErr := json.Marshal([]any{sites, kept, len(entries)})
	return fmt.Sprint(string(words), err, journalErr, jsonErr)
}

func TestUnknownRoutesAreClosed(t *testing.T) {
	router := chi.NewRouter()
	router.Get("/new-thing", nil)
	router.Route("/sites/{code}", func(r chi.Router) { r.Get("/new-thing", nil) })
	for _, c := range []struct {
		method, path string
		want         need
	}{
		{"GET", "/new-thing", needCoordinating},
		{"GET", "/sites/MILL/new-thing", needCoordinating},
		{"POST", "/sites/MILL", needCoordinating}, // a sub-router's stub
		{"GET", "/sites/MILL/nothing", needNothing},
	} {
		r := httptest.NewRequest(c.method, c.path, nil)
		r = r.WithContext(context.WithValue(r.Context(), chi.RouteCtxKey, chi.NewRouteContext()))
		if got, _ := needOf(router, r); got != c.want {
			t.Errorf("needOf(%s %s) = %d, want %d", c.method, c.path, got, c.want)
		}
	}
}

// Addresses that are written in odd ways do not get around the gate.
func TestOddAddresses(t *testing.T) {
	b, card := lockedBox(t, nil)
	for _, path := range []string{
		"/sites/MILL", "/sites/MILL/", "//sites/MILL", "/sites//MILL", "/sites/%4DILL", "/sites/MILL%2Fchange", "/sites/./MILL", "/static/../sites/MILL",
		"/static/%2e%2e/sites/MILL", "/SITES/MILL", "/sites/MILL;x", "/sites/MILL?to=/static/x", "/healthz/../journal", "/healthz%2f..%2fjournal", "/cards/" + strings.ToUpper(card),
	} {
		for _, method := range []string{"GET", "HEAD", "POST"} {
			r := httptest.NewRequest(method, "/", nil)
			u, err := url.Parse("http://localhost:8080" + path)
			if err != nil {
				t.Fatal(err)
			}
			r.URL = u
			if a := b.do(r); a.status < 300 && !strings.HasPrefix(path, "/static/doorleaf") {
				t.Errorf("%s %s as nobody = %d, want no answer", method, path, a.status)
			}
		}
	}
}

func TestPersonAtTheMachine(t *testing.T) {
	unset, set, readingOnly := store.Access{}, allSet(), store.Access{SetAt: map[store.Role]int64{store.RoleReading: 1}}
	for _, c := range []struct {
		name   string
		access store.Access
		remote bool
		header string
		want   int
	}{
		{"no passphrase", unset, false, "", 200},
		{"a reading passphrase alone", readingOnly, false, "", 200},
		{"a coordinating passphrase", set, false, "", 303},
		{"through a proxy that nobody told of", unset, false, "X-Forwarded-For", 303},
		{"through another", unset, false, "Forwarded", 303},
		{"of a server that others reach", unset, true, "", 303},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := lockedBox(t, func(conf *Config) { conf.Access, conf.Remote = &keyring{c.access}, c.remote })
			r := httptest.NewRequest("GET", "/journal", nil)
			if c.header != "" {
				r.Header.Set(c.header, "127.0.0.1")
			}
			a := b.do(r)
			if a.status != c.want {
				t.Errorf("GET /journal = %d, want %d", a.status, c.want)
			}
		})
	}
	if _, err := New(Config{Store: calm{}, Remote: true}); err == nil {
		t.Error("a server that others reach, without a word on who may do what, starts")
	}
}

// What the API answers to who may not.
func TestAPITurnsAway(t *testing.T) {
	b, _ := lockedBox(t, nil)
	a := b.as("", "GET", "/api/sites")
	if p := problemOf(t, a); p.Status != 401 || a.header.Get("WWW-Authenticate") == "" {
		t.Errorf("GET /api/sites as nobody = %+v, want 401 with WWW-Authenticate", p)
	}
	if a := b.as(store.RoleReading, "GET", "/api/sites"); a.status != 200 {
		t.Errorf("GET /api/sites for reading = %d, want 200", a.status)
	}
	if a := b.as("", "GET", "/healthz"); a.status != 200 {
		t.Errorf("GET /healthz as nobody = %d, want 200", a.status)
	}
}

// What a page offers fits who looks at it.
func TestNavigationFitsTheRole(t *testing.T) {
	b, _ := lockedBox(t, nil)
	all := func(page *html.Node) (links []string) {
		for _, n := range find(page, ".top li a") {
			links = append(links, attr(n, "href"))
		}
		return links
	}
	whole := all(b.as(store.RoleCoordinating, "GET", "/").page(t))
	reads := slices.DeleteFunc(slices.Clone(whole), func(l string) bool { return l == "/cards" || l == "/sites/new" })
	for _, c := range []struct {
		role      store.Role
		path      string
		body, who string
		links     []string
	}{
		{"", signInAddress, "may-nothing", "", nil},
		{store.RoleReading, "/", "may-read", "Ann", reads},
		{store.RoleReports, "/", "may-report", "Ann", reads},
		{store.RoleCoordinating, "/", "", "Ann", whole},
	} {
		page := b.as(c.role, "GET", c.path).page(t)
		if got := attr(find(page, "body")[0], "class"); got != c.body {
			t.Errorf("as %q: body is %q, want %q", c.role, got, c.body)
		}
		if got := strings.Join(texts(page, "form.who p"), ""); got != c.who {
			t.Errorf("as %q: signed in is %q, want %q", c.role, got, c.who)
		}
		if got := all(page); !slices.Equal(got, c.links) {
			t.Errorf("as %q: navigation leads to %q, want %q", c.role, got, c.links)
		}
	}
	if len(whole) != len(reads)+2 {
		t.Errorf("the coordinators' navigation leads to %q, want bringing in cards and adding a site among it", whole)
	}
}

// keptBox serves with a real passphrase of one role.
func keptBox(t *testing.T, role store.Role, change func(*Config)) *box {
	t.Helper()
	b, _ := lockedBox(t, func(c *Config) {
		c.Access = nil
		if change != nil {
			change(c)
		}
	})
	if err := b.store.SetPassphrase(t.Context(), role, phrases[role]); err != nil {
		t.Fatal(err)
	}
	return b
}

var phrases = map[store.Role]string{
	store.RoleReading:      "lantern turnip harbour",
	store.RoleCoordinating: "saddle mitten quarry",
}

func (b *box) signIn(role store.Role, header http.Header) answer {
	form := url.Values{"who": {"Ann <b>"}, "passphrase": {phrases[role]}, "to": {"/seasons"}}
	r := httptest.NewRequest("POST", signInAddress, strings.NewReader(form.Encode()))
	for name, values := range header {
		r.Header[name] = values
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.do(r)
}

func cookieOf(t *testing.T, a answer) *http.Cookie {
	t.Helper()
	cookies := (&http.Response{Header: a.header}).Cookies()
	if len(cookies) != 1 {
		t.Fatalf("answer %d sets %d cookies, want 1", a.status, len(cookies))
	}
	return cookies[0]
}

func TestSignIn(t *testing.T) {
	b := keptBox(t, store.RoleCoordinating, nil)
	a := b.signIn(store.RoleCoordinating, nil)
	c := cookieOf(t, a)
	if a.status != 303 || a.header.Get("Location") != "/seasons" {
		t.Fatalf("sign in = %d to %q, want 303 to /seasons", a.status, a.header.Get("Location"))
	}
	if c.Name != "doorleaf" || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Secure {
		t.Errorf("cookie = %+v, want HttpOnly, SameSite=Lax, path /, not Secure", c)
	}
	get := func(path string) answer {
		r := httptest.NewRequest("GET", path, nil)
		r.AddCookie(c)
		return b.do(r)
	}
	journal := get("/journal")
	if got := texts(journal.page(t), ".journal .fine")[0]; journal.status != 200 || !strings.HasSuffix(got, " · Ann <b>, coordinating") {
		t.Errorf("latest line of the journal is by %q, want Ann <b>, coordinating", got)
	}
	post := func(path string, form url.Values) answer {
		r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.AddCookie(c)
		return b.do(r)
	}
	post("/sites/MILL/calls", url.Values{"at": {"2026-06-30T10:00"}, "within": {"300"}, "did-restock": {"yes"}})
	entries, _, err := b.store.Journal(t.Context(), 0, 1)
	if err != nil || entries[0].Deed != store.DeedCallKept || entries[0].Actor != (store.Actor{Role: "coordinating", Who: "Ann <b>"}) {
		t.Errorf("journal says %+v, %v; want a service call kept by Ann", entries, err)
	}
	links := find(get("/journal").page(t), ".journal a")
	if len(links) == 0 || attr(links[0], "href") != "/sites/MILL/calls#call-1" {
		t.Errorf("journal has %d links, want one first to the service call", len(links))
	}
	if a := post("/sign-out", nil); a.status != 303 || cookieOf(t, a).MaxAge >= 0 {
		t.Errorf("sign out = %d, want 303 and no cookie", a.status)
	}
	if a := get("/"); a.status != 303 {
		t.Errorf("GET / with the token of a session that ended = %d, want 303", a.status)
	}
}

// An answer is signed with the name that was given at sign-in, whatever a form says.
func TestAnswersBearTheNameOfTheSession(t *testing.T) {
	form := url.Values{"by": {"somebody else"}}
	r := httptest.NewRequest("POST", "/", nil)
	if got := signer(r, form); got != "somebody else" {
		t.Errorf("at the machine = %q, want the form's", got)
	}
	r = r.WithContext(context.WithValue(r.Context(), visitorKey{}, visitor{session: &store.Session{Who: "Ann"}}))
	if got := signer(r, form); got != "Ann" {
		t.Errorf("signed in = %q, want Ann", got)
	}
}

func TestSignInOverTLS(t *testing.T) {
	header := http.Header{"X-Forwarded-Proto": {"https"}, "X-Forwarded-For": {"203.0.113.7"}}
	for _, c := range []struct {
		name   string
		behind bool
		want   string
		secure bool
	}{{"behind a proxy", true, "__Host-doorleaf", true}, {"a header that nobody vouches for", false, "doorleaf", false}} {
		b := keptBox(t, store.RoleReading, func(conf *Config) { conf.BehindProxy = c.behind })
		got := cookieOf(t, b.signIn(store.RoleReading, header))
		if got.Name != c.want || got.Secure != c.secure || got.Domain != "" || got.Path != "/" {
			t.Errorf("%s: cookie = %+v, want %s, Secure %v", c.name, got, c.want, c.secure)
		}
	}
}

func TestSignInIsThrottled(t *testing.T) {
	b, _ := lockedBox(t, nil) // no passphrase fits, and none is tried in vain for long
	try := func(from, forwarded string) answer {
		r := httptest.NewRequest("POST", signInAddress, strings.NewReader("who=Ann&passphrase=wrong"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("X-Forwarded-For", forwarded)
		r.RemoteAddr = from
		return b.do(r)
	}
	for n := range triesEach {
		if a := try("192.0.2.1:1000", fmt.Sprint("203.0.113.", n)); a.status != 403 {
			t.Fatalf("try %d = %d, want 403", n+1, a.status)
		}
	}
	a := try("192.0.2.1:2000", "203.0.113.99")
	if a.status != 429 || a.header.Get("Retry-After") == "" {
		t.Errorf("try %d = %d, Retry-After %q, want 429: other ports and forwarded addresses are the same caller", triesEach+1, a.status, a.header.Get("Retry-After"))
	}
	if a := try("192.0.2.2:1000", ""); a.status != 403 {
		t.Errorf("another caller = %d, want 403", a.status)
	}
	status := 0
	for n := range triesAll {
		status = try(fmt.Sprintf("198.51.100.%d:1", n), "").status
	}
	if status != 429 {
		t.Errorf("after %d tries of all callers = %d, want 429", triesAll, status)
	}
}

func TestCaller(t *testing.T) {
	for _, c := range []struct {
		name, forwarded string
		behind          bool
		want            string
	}{
		{"no proxy", "203.0.113.7", false, "192.0.2.1"},
		{"a proxy", "203.0.113.7", true, "203.0.113.7"},
		{"words of the caller before it", "10.0.0.1, 203.0.113.7", true, "203.0.113.7"},
		{"no address", "unknown", true, "192.0.2.1"},
		{"nothing", "", true, "192.0.2.1"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("X-Forwarded-For", c.forwarded)
		if got := (&server{Config: Config{BehindProxy: c.behind}}).caller(r); got != c.want {
			t.Errorf("%s: caller = %q, want %q", c.name, got, c.want)
		}
	}
}

func TestLocalAddress(t *testing.T) {
	for to, want := range map[string]string{
		"/sites/MILL?season=2026-spring": "/sites/MILL?season=2026-spring", "": "/", "//evil.example": "/", `/\evil.example`: "/",
		"https://evil.example/": "/", "javascript:alert(1)": "/", "/\tx": "/", "evil.example": "/", "/sign-in?to=/": "/", "/a//b": "/a//b",
	} {
		if got := localAddress(to); got != want {
			t.Errorf("localAddress(%q) = %q, want %q", to, got, want)
		}
	}
}

// The pages of access are as safe and as well named as all others.
func TestAccessPages(t *testing.T) {
	b := keptBox(t, store.RoleCoordinating, nil)
	c := cookieOf(t, b.signIn(store.RoleCoordinating, nil))
	for _, path := range []string{signInAddress, signInAddress + "?to=%22%3E%3Cb%3E", "/access", "/journal", "/journal?before=1", "/journal?before=x"} {
		r := httptest.NewRequest("GET", path, nil)
		if !strings.HasPrefix(path, signInAddress) {
			r.AddCookie(c)
		}
		a := b.do(r)
		checkHeaders(t, a)
		checkPage(t, a.page(t))
		if a.status >= 500 || a.status == 303 {
			t.Errorf("GET %s = %d", path, a.status)
		}
	}
	bad := b.post(signInAddress, url.Values{"who": {`"><b>`}, "passphrase": {"wrong"}, "to": {`"><b>`}})
	checkPage(t, bad.page(t))
	if got := texts(bad.page(t), ".fieldfault"); bad.status != 403 || len(got) != 1 {
		t.Errorf("a wrong passphrase = %d %q, want 403 and one fault", bad.status, got)
	}
	if strings.Contains(bad.body, "wrong\"") {
		t.Error("the page shows the passphrase again")
	}
	if !strings.Contains(b.log.String(), "nobody's") || strings.Contains(b.log.String(), "wrong") {
		t.Errorf("log = %q, want the try without the passphrase", b.log)
	}
}

// The journal comes in pages, each entry once.
func TestJournalPages(t *testing.T) {
	b := newBox(t, importer.Limits{})
	for n := range entriesShown + 7 {
		if err := b.store.Note(t.Context(), store.Entry{Deed: store.DeedSiteChanged, Says: fmt.Sprintf("change %d \x1b[31m<b>\u202e", n)}); err != nil {
			t.Fatal(err)
		}
	}
	seen := 0
	for path := "/journal"; path != ""; {
		page := b.get(path).page(t)
		checkPage(t, page)
		rows := texts(page, ".journal li")
		seen += len(rows)
		path = ""
		for _, n := range find(page, ".pages a[rel=next]") {
			path = attr(n, "href")
		}
	}
	if seen != entriesShown+7 {
		t.Errorf("pages of the journal show %d entries, want %d", seen, entriesShown+7)
	}
	if body := b.get("/journal").body; strings.ContainsAny(body, "\x1b\u202e") {
		t.Error("the journal sends control characters")
	}
}
