package server

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"mime"
	"net/http"
	"path"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/web"
	"doorleaf/web/chart"
)

// send renders a page and sends it. Nothing has been sent when it returns an
// error.
func (s *server) send(w http.ResponseWriter, r *http.Request, status int, p web.Page) error {
	if want := chart.Wanted(r.Context()); want != nil && status == http.StatusOK {
		return sendLive(w, r, want)
	}
	var b bytes.Buffer
	if err := s.pages.Render(&b, p, navFor(r, s.navOf(r, p))); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	sendBytes(w, r, status, b.Bytes())
	return nil
}

// sendJSON sends v as JSON.
func sendJSON(w http.ResponseWriter, r *http.Request, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write json: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	sendBytes(w, r, http.StatusOK, append(body, '\n'))
	return nil
}

// sendBytes sends a finished body. What a GET gets may be kept by the browser
// but must be asked for again, and a tag saves sending what has not changed.
func sendBytes(w http.ResponseWriter, r *http.Request, status int, body []byte) {
	if status != http.StatusOK || r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Cache-Control", "no-store")
		body = compressed(w, r, body)
		w.WriteHeader(status)
		w.Write(body)
		return
	}
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:12]) + `"`
	if w.Header().Get("Cache-Control") == "" {
		w.Header().Set("Cache-Control", "private, no-cache")
	}
	w.Header().Set("ETag", "W/"+tag) // weak: the same for the body and for the body compressed
	if tagged(r.Header.Get("If-None-Match"), tag) {
		varies(w)
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.Write(compressedOnce(w, r, body, sum))
}

// tagged reports whether an If-None-Match header holds tag.
func tagged(header, tag string) bool {
	for _, t := range strings.Split(header, ",") {
		if t = strings.TrimSpace(t); t == tag || t == "W/"+tag || t == "*" {
			return true
		}
	}
	return false
}

// seeOther sends the browser on to another page after a form was taken.
func seeOther(w http.ResponseWriter, r *http.Request, address string) error {
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, address, http.StatusSeeOther)
	return nil
}

func (s *server) routeStatic(r chi.Router) {
	r.Get("/static/*", s.do(s.static))
}

// mediaTypes are those of the static files, so that none hangs on the tables
// of the machine.
var mediaTypes = map[string]string{
	".css":   "text/css; charset=utf-8",
	".js":    "text/javascript; charset=utf-8",
	".svg":   "image/svg+xml",
	".woff2": "font/woff2",
}

// static serves a static file. An address that carries the tag of its bytes is
// good for ever.
func (s *server) static(w http.ResponseWriter, r *http.Request) error {
	name := chi.URLParam(r, "*")
	data, tag, err := s.pages.Static(name)
	if err != nil {
		s.Log.Debug("static file", "name", name, "err", err)
		return notFound("there is no such file", "")
	}
	kind := mediaTypes[path.Ext(name)]
	if kind == "" {
		kind = mime.TypeByExtension(path.Ext(name))
	}
	w.Header().Set("Content-Type", kind)
	if r.URL.Query().Get("v") == tag {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	sendBytes(w, r, http.StatusOK, data)
	return nil
}
