package server

import (
	"archive/zip"
	"bufio"
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
)

// evil is text that does harm where it is not taken for what it is: markup,
// terminal commands, characters that turn writing round or cannot be seen, zeros,
// bytes that are no UTF-8, and what a spreadsheet would calculate.
const evil = "</td><script>alert(1)</script>\"'`><svg onload=alert(1)>&lt;{{.}}${x}\x1b[2J\x1b]0;owned\x07\u202egnp.\u2066\u200b\u2028\ufeff\x00\x00\x9b31m\xff=cmd|'/c calc'!A0"

// evilCard has rows, and lines that are none and say evil things.
func evilCard() []byte {
	var b bytes.Buffer
	b.WriteString(evil + "\n")
	for day := range 20 {
		fmt.Fprintf(&b, "2026-03-%02d 10:00:00,%d\n", day+1, 20+day)
		fmt.Fprintf(&b, "%s,%s\n", evil, evil)
		fmt.Fprintf(&b, "2026-03-%02d 45:85:00,%s\n", day+1, evil) // a fault of the chip
	}
	return b.Bytes()
}

// raw are bytes that must not reach a page, a header or a log as they are.
var raw = []string{"\x1b", "\x07", "\x00", "\u202e", "\u2066", "\u200b", "\u2028", "\u009b", "\xff", "<script", "<svg onload"}

// fieldValue is what stands in a form's field: there a person gets back what they
// typed, as it was, and it shows nowhere else.
var fieldValue = regexp.MustCompile(` value="[^"<>]*"`)

// ownScript loads a script of ours, by the tag of its bytes; nothing stands in it.
var ownScript = regexp.MustCompile(`<script src="/static/[a-z]+\.js\?v=[0-9a-f]+" (?:defer|type="module")></script>`)

func checkTame(t *testing.T, where, text string) {
	t.Helper()
	for _, bad := range raw {
		if i := strings.Index(text, bad); i >= 0 {
			t.Errorf("%s holds %q: %q", where, bad, text[max(0, i-60):min(len(text), i+60)])
		}
	}
}

// An evil card goes the whole way, from the upload to the findings, and harms no
// page on it.
func TestEvilCard(t *testing.T) {
	b, _ := usualBox(t)
	up := b.upload(t, file{"pocket.zip", packed(t, map[string][]byte{ // a form's header cannot hold such names, a .zip can
		"QUAY/" + strings.ReplaceAll(evil, "/", "∕") + ".TXT": evilCard(), "../../../etc/" + evil: []byte("x"), evil + "/inner.zip": nil,
	})})
	tray := up.header.Get("Location")
	if up.status != 303 {
		t.Fatalf("upload = %d\n%s", up.status, up.body)
	}
	pages := map[string]answer{"upload": up, "tray": b.get(tray)}
	form := url.Values{}
	for _, n := range find(pages["tray"].page(t), "input[type=checkbox]") {
		form.Set(attr(n, "name"), "yes")
	}
	for _, n := range find(pages["tray"].page(t), "select") {
		form.Set(attr(n, "name"), "QUAY")
		form.Set(strings.Replace(attr(n, "name"), "site", "sure", 1), "yes")
	}
	if kept := b.post(tray+"/keep", form); kept.status != 303 {
		t.Fatalf("keep = %d: %q", kept.status, texts(kept.page(t), ".trouble"))
	}
	cards, err := b.store.Cards(t.Context(), "QUAY")
	cards = slices.DeleteFunc(cards, func(c store.Card) bool { return c.Complaints < 20 })
	if err != nil || len(cards) != 1 {
		t.Fatalf("cards = %+v, %v, want one with the complaints", cards, err)
	}
	if _, err := b.store.AddCall(t.Context(), "QUAY", callOf(evilNote)); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		"/", "/sites/QUAY", "/sites/QUAY/cards", "/sites/QUAY/openings", "/sites/QUAY/visits", "/sites/QUAY/questions", "/questions", "/sites/QUAY/calls", "/journal",
		"/cards/" + cards[0].ID, "/cards/" + cards[0].ID + "/withdraw", "/sites/QUAY/about-the-numbers", "/sites/QUAY/openings/0", tray + "/receipt",
		"/seasons/" + url.PathEscape(evil), "/sites/" + url.PathEscape(evil), "/" + url.PathEscape(evil), "/sites/QUAY/openings?from=" + url.QueryEscape(evil),
	} {
		pages[path] = b.get(path)
	}
	for name, a := range pages {
		for header, values := range a.header {
			checkTame(t, name+": "+header, strings.Join(values, ""))
		}
		checkTame(t, name, ownScript.ReplaceAllString(fieldValue.ReplaceAllString(a.body, ""), ""))
		if a.status >= 500 {
			t.Errorf("%s = %d", name, a.status)
		}
		if name != "upload" {
			checkPage(t, a.page(t))
		}
	}
	checkTame(t, "log", b.log.String())
	for _, path := range []string{"/api/sites/QUAY/openings", "/api/sites/QUAY/findings", "/api/sites", "/api/sites/" + url.PathEscape(evil)} {
		if a := b.get(path); strings.ContainsAny(a.body, "\x1b\x00<") || !strings.Contains(a.header.Get("Content-Type"), "json") {
			t.Errorf("GET %s sends markup or control characters", path)
		}
	}
	file := b.get("/cards/" + cards[0].ID + "/file")
	if file.header.Get("Content-Type") != "application/octet-stream" || !strings.HasPrefix(file.header.Get("Content-Disposition"), "attachment") {
		t.Errorf("the card file comes as %q, %q, want a download", file.header.Get("Content-Type"), file.header.Get("Content-Disposition"))
	}
	checkTame(t, "Content-Disposition", file.header.Get("Content-Disposition"))
}

// The headers that stand between a page and who would frame, sniff or follow it.
func TestHeadersOfEveryAnswer(t *testing.T) {
	b, card := usualBox(t)
	for _, path := range []string{"/", "/static/doorleaf.css", "/api/sites", "/healthz", "/nowhere", "/cards/" + card + "/file", "/sign-in"} {
		a := b.get(path)
		for header, want := range map[string]string{
			"Content-Security-Policy": policy, "X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if got := a.header.Get(header); got != want {
				t.Errorf("GET %s: %s = %q, want %q", path, header, got, want)
			}
		}
	}
	for _, part := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
		if !strings.Contains(policy, part) {
			t.Errorf("policy lacks %s", part)
		}
	}
	if strings.Contains(policy, "unsafe") || strings.Contains(policy, "*") || strings.Contains(policy, "http") {
		t.Errorf("policy = %s, want none of it unsafe or of another host", policy)
	}
}

// Uploads that would take too much are refused, and keep nothing.
func TestUploadsThatTakeTooMuch(t *testing.T) {
	limits := importer.Limits{CardBytes: 1 << 20, TotalBytes: 2 << 20, Files: 20}
	zeros := make([]byte, 900<<10)
	inner := packed(t, map[string][]byte{"LOG.TXT": zeros})
	many, bomb, deep := map[string][]byte{}, map[string][]byte{}, map[string][]byte{}
	for n := range 25 {
		many[fmt.Sprintf("%d/LOG.TXT", n)] = []byte("x")
		if n < 18 {
			bomb[fmt.Sprintf("%d/LOG.TXT", n)] = zeros
			deep[fmt.Sprintf("%d.zip", n)] = inner
		}
	}
	for _, c := range []struct {
		name string
		file file
		want int // status
	}{
		{"a bomb", file{"x.zip", packed(t, bomb)}, 413},
		{"too many files in a .zip", file{"x.zip", packed(t, many)}, 413},
		{"a .zip in a .zip", file{"x.zip", packed(t, deep)}, 400},
		{"one file over the limit", file{"LOG.TXT", make([]byte, 1<<20+1)}, 400},
		{"a path out of the folder", file{"x.zip", packed(t, map[string][]byte{"../../../../etc/cron.d/x.txt": []byte("2026-03-01 10:00:00,5\n2026-03-02 10:00:00,5\n")})}, 303},
		{"a name without end", file{strings.Repeat("x", 5000) + ".TXT", []byte("2026-03-01 10:00:00,5\n")}, 400},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBox(t, limits)
			a := b.upload(t, c.file)
			if a.status != c.want {
				t.Errorf("upload = %d, want %d", a.status, c.want)
			}
			if a.status == 303 { // it is read, by a name inside the upload
				for _, name := range texts(b.get(a.header.Get("Location")).page(t), ".file") {
					if strings.Contains(name, "..") {
						t.Errorf("the tray shows the path %q", name)
					}
				}
			}
		})
	}
	t.Run("too many files", func(t *testing.T) {
		b := newBox(t, limits)
		var files []file
		for n := range 25 {
			files = append(files, file{fmt.Sprintf("%d/LOG.TXT", n), []byte("2026-03-01 10:00:00,5\n")})
		}
		if a := b.upload(t, files...); a.status != 413 {
			t.Errorf("upload = %d, want 413", a.status)
		}
	})
	t.Run("too many fields", func(t *testing.T) {
		b := newBox(t, limits)
		var body bytes.Buffer
		form := multipart.NewWriter(&body)
		for n := range 1000 {
			form.WriteField(fmt.Sprint("f", n), "x")
		}
		form.Close()
		r := httptest.NewRequest("POST", "/cards", &body)
		r.Header.Set("Content-Type", form.FormDataContentType())
		if a := b.do(r); a.status != 413 {
			t.Errorf("upload = %d, want 413", a.status)
		}
	})
}

// A form that is too large is refused before it is read whole.
func TestFormsThatAreTooLarge(t *testing.T) {
	b, _ := lockedBox(t, nil)
	long := "who=Ann&passphrase=" + strings.Repeat("x", signInBytes)
	r := httptest.NewRequest("POST", signInAddress, strings.NewReader(long))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if a := b.do(r); a.status != 413 {
		t.Errorf("sign in with %d bytes = %d, want 413", len(long), a.status)
	}
	r = httptest.NewRequest("POST", "/sites/new", strings.NewReader("name="+strings.Repeat("x", formBytes)))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.AddCookie(&http.Cookie{Name: "doorleaf", Value: string(store.RoleCoordinating)})
	if a := b.do(r); a.status != 413 {
		t.Errorf("a form over the limit = %d, want 413", a.status)
	}
}

// servedBox serves over a real connection; stall is how long an upload may stand still.
func servedBox(t *testing.T, stall time.Duration) (address string) {
	t.Helper()
	b := newBox(t, importer.Limits{})
	s := &server{Config: Config{Store: b.store, Access: b.store, Charts: chart.New(ruler{}), Hosts: []string{"127.0.0.1"}}.withDefaults(),
		uploads: make(chan struct{}, 1), tries: newTries(), stall: stall, pages: pagesSet(t)}
	srv := HTTP(s.routes())
	srv.ReadHeaderTimeout = 300 * time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	return l.Addr().String()
}

// An upload that stands still is cut off; one that only goes slowly is not.
func TestSlowUploads(t *testing.T) {
	address := servedBox(t, 400*time.Millisecond)
	for _, c := range []struct {
		name  string
		pause time.Duration
		want  bool // answered as an upload
	}{{"slow and steady", 50 * time.Millisecond, true}, {"standing still", 3 * time.Second, false}} {
		t.Run(c.name, func(t *testing.T) {
			conn, err := net.Dial("tcp", address)
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			body := "--b\r\nContent-Disposition: form-data; name=\"f\"; filename=\"LOG.TXT\"\r\n\r\n2026-03-01 10:00:00,5\n2026-03-02 10:00:00,5\n\r\n--b--\r\n"
			fmt.Fprintf(conn, "POST /cards HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: %d\r\n\r\n", len(body))
			begun := time.Now()
			go func() {
				for piece := body; piece != ""; {
					n := min(10, len(piece))
					io.WriteString(conn, piece[:n])
					piece = piece[n:]
					time.Sleep(c.pause)
				}
			}()
			conn.SetReadDeadline(time.Now().Add(10 * time.Second))
			res, err := http.ReadResponse(bufio.NewReader(conn), nil)
			took := time.Since(begun)
			if got := err == nil && res.StatusCode == 303; got != c.want {
				t.Errorf("answer = %v, %v after %v, want taken: %v", res, err, took, c.want)
			}
			if !c.want && took > 2*time.Second {
				t.Errorf("cut off after %v, want some 400 ms", took)
			}
			if c.want && took < 400*time.Millisecond {
				t.Errorf("the upload took %v only: it proves nothing", took)
			}
		})
	}
}

// Headers that come drop by drop end the connection.
func TestSlowHeaders(t *testing.T) {
	conn, err := net.Dial("tcp", servedBox(t, time.Second))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	io.WriteString(conn, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
	conn.SetReadDeadline(time.Now().Add(5 * time.Second))
	begun := time.Now()
	_, err = io.ReadAll(conn)
	if took := time.Since(begun); took > 3*time.Second {
		t.Errorf("connection held for %v (%v), want it ended", took, err)
	}
}

// A panic in a handler is one answer, and the next request is answered.
func TestPanicIsContained(t *testing.T) {
	b, _ := usualBox(t)
	s := &server{Config: Config{Store: b.store, Access: b.store}.withDefaults(), pages: pagesSet(t)}
	var log bytes.Buffer
	s.Log = logTo(&log)
	h := s.contained(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/panic" {
			panic("secret " + evil)
		}
	}))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/panic", nil))
	if w.Code != 500 || strings.Contains(w.Body.String(), "secret") || strings.Contains(w.Body.String(), "goroutine") {
		t.Errorf("panic = %d, and the page tells of it: %v", w.Code, strings.Contains(w.Body.String(), "secret"))
	}
	if !strings.Contains(log.String(), "secret") {
		t.Error("the log does not tell of the panic")
	}
	checkTame(t, "log", strings.ReplaceAll(strings.ReplaceAll(log.String(), "<script", ""), "<svg onload", ""))
	w = httptest.NewRecorder()
	if h.ServeHTTP(w, httptest.NewRequest("GET", "/", nil)); w.Code != 200 {
		t.Errorf("the next request = %d, want 200", w.Code)
	}
}

// evilNote is evil as far as a form can say it: text, without zeros.
var evilNote = strings.ReplaceAll(strings.ToValidUTF8(evil, "?"), "\x00", "")

func callOf(note string) usage.ServiceCall {
	return usage.ServiceCall{At: noon.Unix() - 3600, Kinds: []usage.CallKind{usage.CallNote}, Note: note}
}

func pagesSet(t *testing.T) *web.Set {
	t.Helper()
	set, err := web.Load()
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func logTo(w io.Writer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }

// packed is a .zip.
func packed(t testing.TB, files map[string][]byte) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, data := range files {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
