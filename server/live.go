package server

import (
	"net/http"

	"doorleaf/web/chart"
)

// wanting takes the query option=ID of any page for the live form of that figure of the
// page, and drawing=narrow for that of its narrow drawing: the page's handler makes it,
// with all that it checks and in the same words, and send sends it in the page's place.
func wanting(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if q := r.URL.Query(); q.Has("option") && (r.Method == http.MethodGet || r.Method == http.MethodHead) {
			want := &chart.Want{ID: q.Get("option"), Narrow: q.Get("drawing") == "narrow"}
			r = r.WithContext(chart.Wanting(r.Context(), want))
		}
		next.ServeHTTP(w, r)
	})
}

// sendLive sends what the page made of the figure that was asked for.
func sendLive(w http.ResponseWriter, r *http.Request, want *chart.Want) error {
	if want.Live == nil {
		return notFound("this page has no such chart", "Go back to the page: it may have changed.")
	}
	return sendJSON(w, r, want.Live)
}
