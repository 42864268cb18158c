package server

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func TestTakesGzip(t *testing.T) {
	for _, c := range []struct {
		name    string
		headers []string
		want    bool
	}{
		{"nothing", nil, false},
		{"a browser's", []string{"gzip, deflate, br, zstd"}, true},
		{"two headers", []string{"br", "gzip"}, true},
		{"the older name", []string{"X-Gzip"}, true},
		{"weighed", []string{"br;q=1.0, gzip; q=0.5"}, true},
		{"refused", []string{"gzip;q=0, br"}, false},
		{"refused against all others", []string{"*, gzip;q=0"}, false},
		{"anything", []string{"*"}, true},
		{"nothing but itself", []string{"identity, *;q=0"}, false},
	} {
		if got := takesGzip(c.headers); got != c.want {
			t.Errorf("%s: takesGzip(%q) = %t, want %t", c.name, c.headers, got, c.want)
		}
	}
}

// A compressed body is the same body under the same tag, and what is compressed
// in itself or short is left alone.
func TestCompressed(t *testing.T) {
	long := strings.Repeat("a box with a door ", 200)
	for _, c := range []struct {
		name, kind, accepts, body, want string
	}{
		{"a page", "text/html; charset=utf-8", "gzip", long, "gzip"},
		{"json", "application/json", "gzip", long, "gzip"},
		{"a short page", "text/html; charset=utf-8", "gzip", "short", ""},
		{"not taken", "text/html; charset=utf-8", "br", long, ""},
		{"a font", "font/woff2", "gzip", long, ""},
	} {
		w, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("Accept-Encoding", c.accepts)
		w.Header().Set("Content-Type", c.kind)
		sendBytes(w, r, http.StatusOK, []byte(c.body))
		if got := w.Header().Get("Content-Encoding"); got != c.want {
			t.Errorf("%s: Content-Encoding = %q, want %q", c.name, got, c.want)
		}
		var body io.Reader = w.Body
		if c.want == "gzip" {
			z, err := gzip.NewReader(w.Body)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			body = z
		}
		if got, err := io.ReadAll(body); err != nil || string(got) != c.body {
			t.Errorf("%s: the body arrives as %.40q, %v", c.name, got, err)
		}
		tag := w.Header().Get("ETag")
		again := httptest.NewRecorder()
		again.Header().Set("Content-Type", c.kind)
		r.Header.Set("If-None-Match", tag)
		sendBytes(again, r, http.StatusOK, []byte(c.body))
		if again.Code != http.StatusNotModified || again.Body.Len() > 0 || again.Header().Get("ETag") != tag {
			t.Errorf("%s: asked again with %s: %d, %d bytes, ETag %s, want 304 and nothing", c.name, tag, again.Code, again.Body.Len(), again.Header().Get("ETag"))
		}
	}
}
