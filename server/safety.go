package server

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/go-chi/chi/v5/middleware"

	"doorleaf/usage"
)

// policy lets a page load nothing that this server does not serve, and run no
// script or style that stands inside the page.
const policy = "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; script-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'; connect-src 'self'"

// formBytes is the limit of a form that carries no files. A tray's form has a
// few fields for each of its cards.
const formBytes = 4 << 20

// strictTransport keeps browsers from asking this host in the clear, for 180 days
// (RFC 6797).
const strictTransport = "max-age=15552000"

// harden sets the headers that every answer has, and the limit of bodies for
// all routes that set no limit of their own.
func harden(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		if r.TLS != nil { // a proxy says it for itself, since it knows its other names
			h.Set("Strict-Transport-Security", strictTransport)
		}
		next.ServeHTTP(w, r)
	})
}

// onlyHosts refuses requests for a host that is not this one.
func (s *server) onlyHosts(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !answers(s.Hosts, r.Host) {
			s.refuse(w, r, http.StatusMisdirectedRequest, &usage.Fault{
				What: fmt.Sprintf("this server does not answer to the name %q", r.Host),
				Try:  "Use the address that it printed when it started, or start it with this name among its hosts.",
			})
			return
		}
		next.ServeHTTP(w, r)
	})
}

// answers reports whether a Host header names one of hosts. Names are compared
// without regard to case and to a final full stop.
func answers(hosts []string, header string) bool {
	name, port := splitHost(header)
	for _, h := range hosts {
		wantName, wantPort := splitHost(h)
		if name != "" && name == wantName && (wantPort == "" || port == wantPort || port == "" && wantPort == "80") {
			return true
		}
	}
	return false
}

// splitHost splits "name:port", "name", "[::1]:port" and "::1".
func splitHost(s string) (name, port string) {
	if host, p, err := net.SplitHostPort(s); err == nil {
		s, port = host, p
	}
	s = strings.TrimSuffix(strings.TrimPrefix(s, "["), "]")
	return strings.ToLower(strings.TrimSuffix(s, ".")), port
}

// sameOrigin refuses requests that change something and come from a page of
// another origin.
func (s *server) sameOrigin(next http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, http.StatusForbidden, &usage.Fault{
			What: "the request came from a page of another site",
			Try:  "Do it from Doorleaf's own page.",
		})
	}))
	return guard.Handler(next)
}

// contained turns a panic into an answer, so that one request cannot end the
// server.
func (s *server) contained(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			s.fail(w, r, fmt.Errorf("panic: %v\n%s", v, debug.Stack()))
		}()
		next.ServeHTTP(w, r)
	})
}

// logged writes one line a request, at the level debug.
func (s *server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ww := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		begun := time.Now()
		defer func() {
			s.Log.Debug("request", "method", r.Method, "path", r.URL.Path, "status", ww.Status(),
				"bytes", ww.BytesWritten(), "took", time.Since(begun).Round(time.Microsecond))
		}()
		next.ServeHTTP(ww, r)
	})
}

// moreTime gives a request that is slow for good reasons, an upload or the
// keeping of many cards, longer than the server's own limits.
func moreTime(w http.ResponseWriter, d time.Duration) {
	rc := http.NewResponseController(w)
	// Not every writer has deadlines (a test's has none); then none applies.
	_ = rc.SetReadDeadline(time.Now().Add(d))
	_ = rc.SetWriteDeadline(time.Now().Add(d))
}

// stallTime is how long an upload may stand still. Common practice, no source: a
// phone on a bad line pauses for seconds, not for half a minute.
const stallTime = 30 * time.Second

// steady returns a body that ends in an error when it stands still for longer
// than stall, or has not come whole after all: one slow client would else keep the
// others from bringing in cards. When the body is read, the time of all is left for
// what is done with it.
func steady(w http.ResponseWriter, body io.ReadCloser, stall, all time.Duration) io.ReadCloser {
	return &steadyBody{ReadCloser: body, rc: http.NewResponseController(w), stall: stall, end: time.Now().Add(all)}
}

type steadyBody struct {
	io.ReadCloser
	rc    *http.ResponseController
	stall time.Duration
	end   time.Time
}

func (b *steadyBody) Read(p []byte) (int, error) {
	until := time.Now().Add(b.stall)
	if until.After(b.end) {
		until = b.end
	}
	_ = b.rc.SetReadDeadline(until) // see moreTime
	n, err := b.ReadCloser.Read(p)
	if err == io.EOF {
		_ = b.rc.SetReadDeadline(b.end) // an expired one would end the request's context
	}
	return n, err
}
