package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/httptest"
	"net/textproto"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
)

// noon is the clock of these tests.
var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

// box is a server with a store of its own.
type box struct {
	http.Handler
	store *store.Store
	log   *bytes.Buffer
}

// ruler draws every chart as the same small drawing.
type ruler struct{}

func (ruler) Draw(context.Context, []byte, int, int) ([]byte, error) {
	return []byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"></svg>`), nil
}

// newBox serves an empty network.
func newBox(t *testing.T, limits importer.Limits) *box {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir(), store.Options{Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	b := &box{store: st, log: &bytes.Buffer{}}
	b.Handler, err = New(Config{
		Store: st, Charts: chart.New(ruler{}), Now: func() time.Time { return noon }, Limits: limits,
		Log: slog.New(slog.NewTextHandler(b.log, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func newSite(code, name string) usage.Site {
	return usage.Site{
		Code: code, Name: name, Latitude: 52.1, Longitude: -8.2, Zone: "Europe/Dublin",
		InstalledOn: usage.DateOf(2024, 1, 1), Clock: usage.ClockFixed, Thresholds: usage.DefaultThresholds,
	}
}

// cardText is cardFrom of 2026.
func cardText(days int) []byte { return cardFrom(2026, days) }

// cardFrom is a card of days days from 1 March: two openings a day, one line that
// is no row in the middle, and a last row without its seconds.
func cardFrom(year, days int) []byte {
	var b strings.Builder
	for day := range days {
		date := time.Date(year, 3, 1+day, 0, 0, 0, 0, time.UTC)
		fmt.Fprintf(&b, "%s,10:%02d:00,%d\n", date.Format("Mon,01/02/2006"), day%60, 20+day)
		fmt.Fprintf(&b, "%s,17:%02d:30,%d\n", date.Format("Mon,01/02/2006"), day%60, 40+day)
		if day == days/2 {
			b.WriteString("<img src=x onerror=alert(1)>\x1b[31m\n")
		}
	}
	b.WriteString(time.Date(year, 3, 1+days, 0, 0, 0, 0, time.UTC).Format("Mon,01/02/2006") + ",09:00:00,")
	return []byte(b.String())
}

// usualBox serves a network of two sites, MILL with a card and QUAY without,
// and returns the card's id.
func usualBox(t *testing.T) (b *box, card string) {
	t.Helper()
	b = newBox(t, importer.Limits{})
	for _, site := range []usage.Site{newSite("MILL", "Mill Lane"), newSite("QUAY", "<script>alert(1)</script>\"'&\u202e")} {
		if err := b.store.AddSite(t.Context(), site); err != nil {
			t.Fatal(err)
		}
	}
	receipts, err := b.store.Keep(t.Context(), "MILL", []store.CardIn{{Name: `"><svg onload=alert(1)>.TXT`, Bytes: cardText(40)}})
	if err != nil {
		t.Fatal(err)
	}
	return b, receipts[0].Card.ID
}

// answer is a response read whole.
type answer struct {
	status int
	header http.Header
	body   string
}

func (a answer) page(t *testing.T) *html.Node { return parse(t, a.body) }

func (b *box) do(r *http.Request) answer {
	r.Host = "localhost:8080"
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	return answer{w.Code, w.Header(), w.Body.String()}
}

func (b *box) get(path string) answer { return b.do(httptest.NewRequest("GET", path, nil)) }

func (b *box) post(path string, form url.Values) answer {
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.do(r)
}

// file is a file to upload.
type file struct {
	path  string
	bytes []byte
}

func (b *box) upload(t *testing.T, files ...file) answer {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, f := range files {
		part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="files"; filename="%s"`, f.path)}})
		if err != nil {
			t.Fatal(err)
		}
		part.Write(f.bytes)
	}
	form.Close()
	r := httptest.NewRequest("POST", "/cards", &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	return b.do(r)
}

func TestRoutes(t *testing.T) {
	b, card := usualBox(t)
	none := strings.Repeat("0", 64)
	for _, c := range []struct {
		name, method, path string
		want               int
	}{
		{"network", "GET", "/", 200},
		{"head", "HEAD", "/", 200},
		{"site", "GET", "/sites/MILL", 200},
		{"site with a slash", "GET", "/sites/MILL/", 200},
		{"site without a card", "GET", "/sites/QUAY", 200},
		{"site in a season", "GET", "/sites/MILL?season=2026-spring", 200},
		{"site in a season without data", "GET", "/sites/MILL?season=2019-spring", 200},
		{"season that is none", "GET", "/sites/MILL?season=spring", 400},
		{"unknown site", "GET", "/sites/NOPE", 404},
		{"cards of a site", "GET", "/sites/MILL/cards", 200},
		{"cards of no site", "GET", "/sites/NOPE/cards", 404},
		{"openings", "GET", "/sites/MILL/openings", 200},
		{"openings of a day", "GET", "/sites/MILL/openings?from=2026-03-02&to=2026-03-02", 200},
		{"openings of no day", "GET", "/sites/MILL/openings?from=yesterday", 400},
		{"openings from nowhere", "GET", "/sites/MILL/openings?after=x", 400},
		{"new site", "GET", "/sites/new", 200},
		{"change a site", "GET", "/sites/MILL/change", 200},
		{"bring in", "GET", "/cards", 200},
		{"card", "GET", "/cards/" + card, 200},
		{"card at a line", "GET", "/cards/" + card + "?line=80", 200},
		{"card at a line that it lacks", "GET", "/cards/" + card + "?line=83", 404},
		{"card at no line", "GET", "/cards/" + card + "?line=-1", 404},
		{"unknown card", "GET", "/cards/" + none, 404},
		{"no card", "GET", "/cards/x", 404},
		{"file", "GET", "/cards/" + card + "/file", 200},
		{"unknown file", "GET", "/cards/" + none + "/file", 404},
		{"withdraw asks", "GET", "/cards/" + card + "/withdraw", 200},
		{"removal of an unknown card", "POST", "/cards/" + none + "/removed", 404},
		{"questions", "GET", "/questions", 200},
		{"questions from a place", "GET", "/questions?from=20", 200},
		{"questions from nowhere", "GET", "/questions?from=x", 400},
		{"questions of a site", "GET", "/sites/MILL/questions", 200},
		{"questions of a site without a card", "GET", "/sites/QUAY/questions", 200},
		{"questions of no site", "GET", "/sites/NOPE/questions", 404},
		{"answer to no question", "POST", "/sites/MILL/questions", 404},
		{"undo of no answer", "POST", "/sites/MILL/questions/undo", 404},
		{"service calls", "GET", "/sites/MILL/calls", 200},
		{"service calls of no site", "GET", "/sites/NOPE/calls", 404},
		{"service call without words", "POST", "/sites/MILL/calls", 400},
		{"unknown service call", "GET", "/sites/MILL/calls/99", 404},
		{"no service call", "GET", "/sites/MILL/calls/x", 404},
		{"change of an unknown service call", "POST", "/sites/MILL/calls/99", 404},
		{"withdrawal of an unknown service call", "POST", "/sites/MILL/calls/99/withdraw", 404},
		{"unknown tray", "GET", "/tray/nope", 404},
		{"keep of an unknown tray", "POST", "/tray/nope/keep", 404},
		{"receipt of an unknown tray", "GET", "/tray/nope/receipt", 404},
		{"throwing away what is gone", "POST", "/tray/nope/throw", 303},
		{"style", "GET", "/static/doorleaf.css", 200},
		{"mark", "GET", "/static/mark.svg", 200},
		{"no static file", "GET", "/static/../server.go", 404},
		{"static folder", "GET", "/static/", 404},
		{"no font", "GET", "/static/fonts/server.js", 404},
		{"nowhere", "GET", "/nowhere", 404},
		{"wrong method", "DELETE", "/", 405},
		{"sites", "GET", "/api/sites", 200},
		{"health", "GET", "/healthz", 200},
		{"description", "GET", "/api/openapi.json", 200},
		{"season", "GET", "/api/seasons/2026-spring", 200},
		{"seasons page", "GET", "/seasons", 200},
		{"season page", "GET", "/seasons/2026-spring", 200},
		{"season page without data", "GET", "/seasons/1999-spring", 200},
		{"season page of no season", "GET", "/seasons/spring", 400},
		{"season page of the other half of the world", "GET", "/seasons/2026-winter", 404},
		{"visits", "GET", "/sites/MILL/visits", 200},
		{"visits of an hour of the week", "GET", "/sites/MILL/visits?weekday=1&hour=10&light=daylight", 200},
		{"visits of no weekday", "GET", "/sites/MILL/visits?weekday=x", 400},
		{"visits from nowhere", "GET", "/sites/MILL/visits?after=x", 400},
		{"visits of no site", "GET", "/sites/NOPE/visits", 404},
		{"visit", "GET", "/sites/MILL/visits/1", 200},
		{"no visit", "GET", "/sites/MILL/visits/0", 404},
		{"visit beyond the last", "GET", "/sites/MILL/visits/81", 404},
		{"visit beyond all numbers", "GET", "/sites/MILL/visits/99999999999999999999", 404},
		{"opening", "GET", "/sites/MILL/openings/0", 200},
		{"the last opening", "GET", "/sites/MILL/openings/80", 200},
		{"opening beyond the last", "GET", "/sites/MILL/openings/81", 404},
		{"opening beyond all numbers", "GET", "/sites/MILL/openings/99999999999999999999", 404},
		{"about the numbers", "GET", "/about-the-numbers", 200},
		{"about the numbers of a site", "GET", "/sites/MILL/about-the-numbers", 200},
		{"about the numbers of a site without a card", "GET", "/sites/QUAY/about-the-numbers", 200},
		{"about the numbers of no site", "GET", "/sites/NOPE/about-the-numbers", 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := b.do(httptest.NewRequest(c.method, c.path, nil)); got.status != c.want {
				t.Errorf("%s %s = %d, want %d\n%s", c.method, c.path, got.status, c.want, got.body)
			}
		})
	}
	if b.log.Len() > 0 {
		t.Errorf("log holds %s, want nothing", b.log)
	}
}

// pagesOf are the addresses of one page of each kind, with what is on a tray.
func pagesOf(t *testing.T, b *box, card string) map[string]answer {
	t.Helper()
	pages := map[string]answer{}
	for _, path := range []string{
		"/", "/sites/MILL", "/sites/MILL?season=2026-spring", "/sites/QUAY", "/sites/MILL/cards", "/sites/QUAY/cards",
		"/sites/MILL/openings", "/sites/MILL/openings?from=x", "/sites/MILL/change", "/sites/QUAY/change", "/sites/new", "/cards",
		"/cards/" + card, "/cards/" + card + "/withdraw", "/nowhere", "/sites/MILL?season=%3Cb%3E",
		"/seasons", "/seasons/2026-spring", "/seasons/1999-spring", "/seasons/%3Cb%3E", "/about-the-numbers",
		"/sites/MILL/about-the-numbers", "/sites/QUAY/about-the-numbers", "/sites/MILL/visits", "/sites/QUAY/visits", "/sites/MILL/visits/3",
		"/sites/MILL/visits?from=%22%3E%3Cb%3E&to=x&weekday=9&hour=%3Cb%3E&light=%3Cb%3E", "/sites/MILL/openings/0", "/sites/MILL/openings/80",
		"/questions", "/sites/MILL/questions", "/sites/QUAY/questions", "/sites/MILL/calls", "/sites/QUAY/calls",
		"/data-out", "/data-out/file?format=%22%3E%3Cb%3E&name=%22%3E%3Cb%3E&least=%3Cb%3E", "/data-out/file?format=parquet&name=%22%3E%3Cb%3E&least=%3Cb%3E",
	} {
		pages[path] = b.get(path)
	}
	pages["bad site form"] = b.post("/sites/new", url.Values{"name": {"<b>"}, "code": {`"><b>`}})
	pages["no files"] = b.upload(t)
	pages["bad service call"] = b.post("/sites/MILL/calls", url.Values{"at": {"<b>"}, "note": {"</textarea><b>"}, "within": {`"><b>`}})
	pages["bad removal"] = b.post("/cards/"+card+"/removed", url.Values{"removed": {`"><b>`}})
	b.call(t, url.Values{"at": {"2026-06-30T10:00"}, "within": {"300"}, "did-restock": {"yes"}, "books-in": {"4"}, "books-now": {"31"}, "reading": {"2026-06-30T09:58:07"}, "note": {"<b>hinge</b>"}})
	pages["service calls"] = b.get("/sites/MILL/calls")
	pages["service call"] = b.get("/sites/MILL/calls/1")
	b.answer(t, "MILL", url.Values{"answer": {"seen"}, "by": {"<b>Ann"}, "why": {"<i>because"}})
	pages["answered"] = b.get("/questions")
	pages["answered at the site"] = b.get("/sites/MILL/questions")
	up := b.upload(t, file{"QUAY/LOG.TXT", cardText(12)}, file{"<i>x</i>.TXT", []byte("03/04/2026 10:00:00 5\n05/06/2026 10:00:00 <b>\n")},
		file{"EMPTY.TXT", nil}, file{"a/pic<b>.jpg", []byte("x")})
	tray := up.header.Get("Location")
	pages["tray"] = b.get(tray)
	pages["tray with faults"] = b.post(tray+"/keep", nil)
	doc := pages["tray"].page(t)
	form := url.Values{}
	for _, n := range find(doc, "input[type=checkbox]") {
		form.Set(attr(n, "name"), "yes")
	}
	for _, n := range find(doc, "select") {
		form.Set(attr(n, "name"), "QUAY")
		form.Set(strings.Replace(attr(n, "name"), "site", "sure", 1), "yes")
	}
	for _, n := range find(doc, "input[type=radio]") {
		form.Set(attr(n, "name"), "mdy")
	}
	kept := b.post(tray+"/keep", form)
	if kept.status != 303 {
		t.Fatalf("keep = %d, want 303\n%s", kept.status, texts(kept.page(t), ".trouble"))
	}
	pages["receipt"] = b.get(kept.header.Get("Location"))
	return pages
}

// Every page, in good times and bad, keeps what the policy promises.
func TestEveryPageIsSafe(t *testing.T) {
	b, card := usualBox(t)
	for name, a := range pagesOf(t, b, card) {
		t.Run(name, func(t *testing.T) {
			checkHeaders(t, a)
			checkPage(t, a.page(t))
		})
	}
}

func checkHeaders(t *testing.T, a answer) {
	t.Helper()
	for header, want := range map[string]string{
		"Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; script-src 'self'; " +
			"form-action 'self'; base-uri 'none'; frame-ancestors 'none'; connect-src 'self'",
		"X-Content-Type-Options": "nosniff",
		"Referrer-Policy":        "same-origin",
		"Content-Type":           "text/html; charset=utf-8",
	} {
		if got := a.header.Get(header); got != want {
			t.Errorf("%s = %q, want %q", header, got, want)
		}
	}
	if got := a.header.Get("Cache-Control"); !strings.Contains(got, "no-") {
		t.Errorf("Cache-Control = %q, want no-cache or no-store", got)
	}
}

// addresses are the attributes that make a browser fetch or go somewhere.
var addresses = []string{"href", "src", "action", "formaction", "srcset", "data", "poster", "xlink:href", "background"}

func checkPage(t *testing.T, doc *html.Node) {
	t.Helper()
	ids := map[string]int{}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if n.Data == "script" && n.FirstChild == nil && strings.HasPrefix(attr(n, "src"), "/static/") {
			continue // a file of ours, as the policy allows
		}
		if slices.Contains([]string{"style", "script", "img", "i", "b", "iframe", "object", "base"}, n.Data) {
			t.Errorf("page holds <%s>: %s", n.Data, text(n))
		}
		for _, a := range n.Attr {
			if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
				t.Errorf("<%s> has the attribute %s=%q", n.Data, a.Key, a.Val)
			}
			if slices.Contains(addresses, a.Key) && !ours(a.Val) {
				t.Errorf("<%s %s=%q> leads elsewhere", n.Data, a.Key, a.Val)
			}
		}
		if id := attr(n, "id"); id != "" {
			ids[id]++
		}
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%d elements have the id %q", n, id)
		}
	}
	checkNames(t, doc, ids)
}

// ours reports whether an address stays on this server.
func ours(address string) bool {
	u, err := url.Parse(address)
	return err == nil && u.Scheme == "" && u.Host == "" && !strings.HasPrefix(address, "//")
}

// checkNames sees to it that what a page shows has names: one heading, a title,
// labels that exist, and words for every drawing.
func checkNames(t *testing.T, doc *html.Node, ids map[string]int) {
	t.Helper()
	if got := len(find(doc, "h1")); got != 1 {
		t.Errorf("page has %d h1, want 1", got)
	}
	if got := text(find(doc, "title")[0]); !strings.HasSuffix(got, " – Doorleaf") || strings.HasPrefix(got, "–") {
		t.Errorf("title = %q, want words and then – Doorleaf", got)
	}
	labels := map[string]bool{}
	for _, n := range find(doc, "label") {
		labels[attr(n, "for")] = true
	}
	for _, tag := range []string{"input", "select", "textarea"} {
		for _, n := range find(doc, tag) {
			if !labels[attr(n, "id")] && attr(n, "type") != "hidden" {
				t.Errorf("<%s name=%q> has no label", tag, attr(n, "name"))
			}
		}
	}
	for _, name := range []string{"for", "aria-describedby", "aria-labelledby", "list"} {
		for _, n := range find(doc, "["+name+"]") {
			for _, id := range strings.Fields(attr(n, name)) {
				if ids[id] == 0 {
					t.Errorf("%s=%q names nothing", name, id)
				}
			}
		}
	}
	for _, n := range find(doc, "[role=img]") {
		if attr(n, "aria-label") == "" {
			t.Errorf("a drawing has no name")
		}
	}
	for _, n := range find(doc, "a[href]") {
		if frag, ok := strings.CutPrefix(attr(n, "href"), "#"); ok && ids[frag] == 0 {
			t.Errorf("a link leads to #%s, which is not there", frag)
		}
	}
}

// Text that came from a card or a person shows as it is and does nothing.
func TestHostileText(t *testing.T) {
	b, card := usualBox(t)
	page := b.get("/cards/" + card).page(t)
	bad := find(page, "tr.complaint")
	if len(bad) != 1 {
		t.Fatalf("card page marks %d lines, want 1", len(bad))
	}
	if got, want := texts(bad[0], "code")[0], "<img src=x onerror=alert(1)>‹ESC›[31m"; got != want {
		t.Errorf("hostile line shows as %q, want %q", got, want)
	}
	if got, want := texts(page, "h1")[0], `"><svg onload=alert(1)>.TXT`; got != want {
		t.Errorf("hostile card name shows as %q, want %q", got, want)
	}
	names := texts(b.get("/").page(t), ".ledger h2")
	if want := `<script>alert(1)</script>"'&‹U+202E›`; !slices.Contains(names, want) {
		t.Errorf("site names show as %q, want %q among them", names, want)
	}
}

func TestHosts(t *testing.T) {
	addr := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8080}
	for _, c := range []struct {
		name  string
		hosts []string
		host  string
		want  bool
	}{
		{"loopback by name", LoopbackHosts(addr), "localhost:8080", true},
		{"loopback by number", LoopbackHosts(addr), "127.0.0.1:8080", true},
		{"loopback of version 6", LoopbackHosts(addr), "[::1]:8080", true},
		{"any letter case and a full stop", LoopbackHosts(addr), "LocalHost.:8080", true},
		{"another port", LoopbackHosts(addr), "localhost:8081", false},
		{"no port", LoopbackHosts(addr), "localhost", false},
		{"no port where it is 80", []string{"box.example:80"}, "box.example", true},
		{"a name that points here", LoopbackHosts(addr), "evil.example:8080", false},
		{"a name that begins like ours", LoopbackHosts(addr), "localhost.evil.example:8080", false},
		{"a name that ends like ours", LoopbackHosts(addr), "evil-localhost:8080", false},
		{"nothing", LoopbackHosts(addr), "", false},
		{"only a port", LoopbackHosts(addr), ":8080", false},
		{"unset is loopback, any port", nil, "127.0.0.1:9", true},
		{"unset is loopback only", nil, "192.0.2.1:9", false},
		{"a name with any port", []string{"box.example"}, "box.example:444", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			h, err := New(Config{Store: calm{}, Hosts: c.hosts})
			if err != nil {
				t.Fatal(err)
			}
			r := httptest.NewRequest("GET", "/", nil)
			r.Host = c.host
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			want := http.StatusMisdirectedRequest
			if c.want {
				want = http.StatusOK
			}
			if w.Code != want {
				t.Errorf("host %q of %q = %d, want %d", c.host, c.hosts, w.Code, want)
			}
		})
	}
}

// calm is a network without sites.
type calm struct{ network }

// network is Network by a name that hides none of its methods where it is embedded.
type network = Network

func (calm) Network(context.Context) (usage.Network, error) {
	return usage.Network{Region: usage.DefaultRegion}, nil
}

func (calm) Sites(context.Context) ([]store.SiteSummary, error) { return nil, nil }

func (calm) OpenFindings(context.Context) (int, error) { return 0, nil }

func TestOtherOriginsChangeNothing(t *testing.T) {
	b, card := usualBox(t)
	for _, c := range []struct {
		name, header, value string
		want                int
	}{
		{"from another site", "Sec-Fetch-Site", "cross-site", 403},
		{"from a neighbour", "Sec-Fetch-Site", "same-site", 403},
		{"of another origin", "Origin", "http://evil.example", 403},
		{"of no origin", "Origin", "null", 403},
		{"another port", "Origin", "http://localhost:9", 403},
		{"from here", "Sec-Fetch-Site", "same-origin", 303},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, path := range []string{"/cards/" + card + "/withdraw", "/tray/x/keep", "/tray/x/throw", "/sites/new", "/sites/MILL/change", "/cards",
				"/sites/MILL/questions", "/sites/MILL/questions/undo", "/sites/MILL/calls", "/sites/MILL/calls/1", "/sites/MILL/calls/1/withdraw", "/cards/" + card + "/removed"} {
				r := httptest.NewRequest("POST", path, nil)
				r.Header.Set(c.header, c.value)
				if got := b.do(r); c.want == 403 && got.status != 403 {
					t.Errorf("POST %s with %s: %s = %d, want 403", path, c.header, c.value, got.status)
				} else if c.want != 403 && got.status == 403 {
					t.Errorf("POST %s with %s: %s = 403", path, c.header, c.value)
				}
			}
			_, err := b.store.Card(t.Context(), card)
			if kept := err == nil; kept != (c.want == 403) {
				t.Errorf("card is kept: %v", kept)
			}
		})
	}
}

// broken is a network whose every answer is an error or a panic.
type broken struct {
	network
	err error
}

func (n broken) Network(context.Context) (usage.Network, error) { return usage.Network{}, n.err }
func (n broken) NetworkBefore(context.Context, int64) (usage.Network, error) {
	return usage.Network{}, n.err
}

func (n broken) Sites(context.Context) ([]store.SiteSummary, error) {
	if n.err == nil {
		panic("a bug")
	}
	return nil, n.err
}

func TestErrorsNobodyForesaw(t *testing.T) {
	for name, err := range map[string]error{"error": errors.New("disk 7 is on fire"), "panic": nil} {
		for _, path := range []string{"/", "/api/sites", "/healthz"} {
			t.Run(name+path, func(t *testing.T) {
				var log bytes.Buffer
				h, newErr := New(Config{Store: broken{err: err}, Log: slog.New(slog.NewTextHandler(&log, nil))})
				if newErr != nil {
					t.Fatal(newErr)
				}
				got := (&box{Handler: h}).get(path)
				if got.status != 500 {
					t.Errorf("GET %s = %d, want 500", path, got.status)
				}
				for _, secret := range []string{"disk 7", "a bug", "server_test.go", "goroutine"} {
					if strings.Contains(got.body, secret) {
						t.Errorf("answer tells %q", secret)
					}
				}
				_, id, _ := strings.Cut(log.String(), " id=")
				id, _, _ = strings.Cut(id, " ")
				if len(id) != 8 || !strings.Contains(got.body, id) {
					t.Errorf("answer does not show the id %q of the log", id)
				}
			})
		}
	}
}

func TestFaultsBecomeStatuses(t *testing.T) {
	for kind, want := range map[usage.Kind]int{usage.Invalid: 400, usage.NotFound: 404, usage.Conflict: 409, usage.TooLarge: 413} {
		h, err := New(Config{Store: broken{err: fmt.Errorf("ask: %w", &usage.Fault{Kind: kind, What: "it <b>cannot</b> be", Try: "try <i>this</i>"})}})
		if err != nil {
			t.Fatal(err)
		}
		b := &box{Handler: h}
		page := b.get("/")
		if got := texts(page.page(t), ".lead"); page.status != want || got[0] != "It <b>cannot</b> be." {
			t.Errorf("fault of kind %d = %d %q, want %d", kind, page.status, got, want)
		}
		api := b.get("/api/sites")
		if p := problemOf(t, api); p.Status != want || p.Detail != "It <b>cannot</b> be. Try <i>this</i>" {
			t.Errorf("fault of kind %d = %+v, want status %d", kind, p, want)
		}
	}
}

// broke draws nothing.
type broke struct{}

func (broke) Draw(context.Context, []byte, int, int) ([]byte, error) {
	return nil, errors.New("out of ink")
}

// A page whose charts cannot be drawn still stands, and says so in their place.
func TestChartsThatCannotBeDrawn(t *testing.T) {
	whole, _ := usualBox(t)
	var log bytes.Buffer
	h, err := New(Config{Store: whole.store, Charts: chart.New(broke{}), Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	b := &box{Handler: h}
	for path, want := range map[string]int{"/": 0, "/sites/MILL": 6} {
		a := b.get(path)
		if got := len(find(a.page(t), "figure .missing")); a.status != 200 || got != want {
			t.Errorf("GET %s = %d with %d charts missing, want 200 with %d", path, a.status, got, want)
		}
		checkPage(t, a.page(t))
	}
	if !strings.Contains(log.String(), "out of ink") {
		t.Error("log does not say why")
	}
}

func TestNotModified(t *testing.T) {
	b, _ := usualBox(t)
	for _, path := range []string{"/", "/sites/MILL", "/api/sites", "/static/doorleaf.css"} {
		first := b.get(path)
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("If-None-Match", first.header.Get("ETag"))
		if again := b.do(r); again.status != 304 || again.body != "" {
			t.Errorf("GET %s again = %d with %d bytes, want 304 with none", path, again.status, len(again.body))
		}
		if err := b.store.AddSite(t.Context(), newSite("NEW"+string('A'+rune(len(path)%20)), "New")); err != nil {
			t.Fatal(err)
		}
	}
	if again := b.get("/"); again.header.Get("ETag") == "" {
		t.Error("GET / has no ETag")
	}
	for _, n := range find(b.get("/").page(t), "link") {
		a := b.get(attr(n, "href"))
		if a.status != 200 || !strings.Contains(a.header.Get("Cache-Control"), "immutable") {
			t.Errorf("GET %s = %d, Cache-Control %q, want 200 for good", attr(n, "href"), a.status, a.header.Get("Cache-Control"))
		}
	}
}

// The style sheet fetches nothing from elsewhere, and all that it fetches is
// there.
func TestStyleSheet(t *testing.T) {
	b := newBox(t, importer.Limits{})
	css := b.get("/static/doorleaf.css").body
	for i, rest := range strings.Split(css, "url(")[1:] {
		address := strings.Trim(rest[:strings.Index(rest, ")")], `"'`)
		if !ours(address) {
			t.Errorf("url %d leads to %s", i, address)
		}
		if a := b.get(address); a.status != 200 && !strings.HasPrefix(address, "/static/fonts/") {
			t.Errorf("GET %s = %d, want 200", address, a.status)
		}
	}
	if strings.Contains(css, "@import") || strings.Contains(css, "//") {
		t.Error("style sheet imports another, or names a host")
	}
}

func TestHTTPHasLimits(t *testing.T) {
	s := HTTP(http.NotFoundHandler())
	if s.ReadHeaderTimeout <= 0 || s.ReadTimeout <= 0 || s.WriteTimeout <= 0 || s.IdleTimeout <= 0 || s.MaxHeaderBytes <= 0 {
		t.Errorf("HTTP() = %+v, want limits for all", s)
	}
}
