package server

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"net/http"
	"strconv"
	"strings"
	"sync"
)

// worthCompressing is the shortest body that is compressed, bytes: a shorter one
// fits into one packet as it is.
const worthCompressing = 1400

var gzips = sync.Pool{New: func() any { return gzip.NewWriter(nil) }}

// compressed returns a finished body as it is to be sent, and sets the headers
// that tell how: with gzip where the browser takes it and the kind of body gains
// by it. No page holds a secret beside what its visitor typed, so that its length
// gives none away.
func compressed(w http.ResponseWriter, r *http.Request, body []byte) []byte {
	if !compresses(w, r, body) {
		return body
	}
	return gzipped(body)
}

// compressedOnce is compressed for a body that may be asked for again; sum is its
// SHA-256.
func compressedOnce(w http.ResponseWriter, r *http.Request, body []byte, sum [sha256.Size]byte) []byte {
	if !compresses(w, r, body) {
		return body
	}
	return bodies.of(sum, body)
}

// compresses reports whether a body is to be compressed, and sets the headers that tell.
func compresses(w http.ResponseWriter, r *http.Request, body []byte) bool {
	if !varies(w) || len(body) < worthCompressing || !takesGzip(r.Header.Values("Accept-Encoding")) || w.Header().Get("Content-Encoding") != "" {
		return false
	}
	w.Header().Set("Content-Encoding", "gzip")
	return true
}

func gzipped(body []byte) []byte {
	var b bytes.Buffer
	z := gzips.Get().(*gzip.Writer)
	defer gzips.Put(z)
	z.Reset(&b)
	z.Write(body) // a buffer takes everything
	z.Close()
	return b.Bytes()
}

// varies says in the headers, of an answer without a body too, that the body depends
// on what the browser takes, where its kind gains by compression.
func varies(w http.ResponseWriter) bool {
	if !textual(w.Header().Get("Content-Type")) {
		return false
	}
	w.Header().Add("Vary", "Accept-Encoding")
	return true
}

// textual reports whether a media type is text or JSON; fonts, spreadsheets and
// PDFs are compressed in themselves.
func textual(mediaType string) bool {
	mediaType, _, _ = strings.Cut(mediaType, ";")
	return strings.HasPrefix(mediaType, "text/") || strings.HasSuffix(mediaType, "json") || mediaType == "image/svg+xml"
}

// takesGzip reads Accept-Encoding headers (RFC 9110, 12.5.3): the weight of
// gzip, or else that of *, is above nought.
func takesGzip(headers []string) bool {
	any := false
	for _, part := range strings.Split(strings.Join(headers, ","), ",") {
		name, params, _ := strings.Cut(part, ";")
		weight := 1.0
		if q, given := strings.CutPrefix(strings.ToLower(strings.TrimSpace(params)), "q="); given {
			weight, _ = strconv.ParseFloat(q, 64)
		}
		switch strings.ToLower(strings.TrimSpace(name)) {
		case "gzip", "x-gzip":
			return weight > 0
		case "*":
			any = weight > 0
		}
	}
	return any
}
