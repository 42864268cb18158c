package server

import (
	"net/http"
	"strconv"

	"doorleaf/usage"
	"doorleaf/web"
)

// The windows, h, and the weeks back that the page of restocking offers; the usual
// ones first.
var (
	restockHours = []int{3, 2, 4}
	restockWeeks = []int{52, 13, 26, 520}
)

// restock says when to fill a shelf.
func (s *server) restock(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site, q := heading(siteOf(r).Site), r.URL.Query()
	page := web.RestockPage{Base: web.Base{Trail: web.TrailToSite(say, site)}, Site: site}
	var hours, weeks int
	page.Form.Hours, hours = choices(restockHours, q.Get("hours"), func(n int) string { return say.Plural(int64(n), "hour", "hours") })
	page.Form.Weeks, weeks = choices(restockWeeks, q.Get("weeks"), func(n int) string { return web.LastWeeks(say, n) })
	outlook, err := s.Store.Outlook(r.Context(), site.Code)
	if err != nil {
		return err
	}
	f, err := usage.RestockOutlook(outlook.Restock(s.Now().Unix(), hours, weeks))
	if err != nil {
		return err
	}
	page.Lead, page.Mind, page.Rates = web.RestockLead(say, f), web.RestockMinds(say, f), web.RestockRates(say, f)
	page.Says, page.Books = web.BookSays(say, f.Books), web.BookFacts(say, f.Books, site.Zone)
	return s.send(w, r, http.StatusOK, page)
}

// choices are options in order of size, the one asked for chosen; the first where none is.
func choices(all []int, asked string, says func(int) string) ([]web.Option, int) {
	chosen := all[0]
	for _, n := range all {
		if strconv.Itoa(n) == asked {
			chosen = n
		}
	}
	var out []web.Option
	for _, n := range all {
		out = append(out, web.Option{Value: strconv.Itoa(n), Says: says(n), Chosen: n == chosen})
	}
	return out, chosen
}
