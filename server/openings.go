package server

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// openingsShown is how many openings one page of the list shows.
const openingsShown = 200

// openings lists the openings of a site, each with a link to its line.
func (s *server) openings(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site, q := siteOf(r), r.URL.Query()
	page := web.OpeningsPage{
		Base: web.Base{Trail: web.TrailToSite(say, heading(site.Site))},
		Site: heading(site.Site), From: q.Get("from"), To: q.Get("to"),
	}
	ask := store.Page{After: -1, Limit: openingsShown}
	ask.From, page.Faults = dateField(say, q, "from", page.Faults)
	ask.To, page.Faults = dateField(say, q, "to", page.Faults)
	if len(page.Faults) > 0 {
		return s.send(w, r, http.StatusBadRequest, page)
	}
	var err error
	if ask.After, err = afterOf(q); err != nil {
		return err
	}
	rows, next, err := s.Store.Openings(r.Context(), site.Code, ask)
	if err != nil {
		return err
	}
	for _, row := range rows {
		page.Openings = append(page.Openings, openingShown(site.Code, row))
	}
	if next >= 0 {
		page.Next = nextAddress(r.URL, next)
	}
	return s.send(w, r, http.StatusOK, page)
}

func openingShown(code string, row store.OpeningRow) web.Opening {
	return web.Opening{Opening: row.Opening, Raw: row.Raw, Href: lineAddress(row.CardID, row.Line), Page: openingAddress(code, row.Position)}
}

// openingAddress is where one opening of a site is shown.
func openingAddress(code string, position int64) string {
	return fmt.Sprintf("/sites/%s/openings/%d", code, position)
}

// dateField reads a date of a form; nil is an open end.
func dateField(say *words.Words, q url.Values, name string, faults web.FieldFaults) (*usage.Date, web.FieldFaults) {
	if q.Get(name) == "" {
		return nil, faults
	}
	d, err := usage.ParseDate(q.Get(name))
	if err != nil {
		return nil, append(faults, web.FieldFault{Field: name, Says: say.Say(web.DateUnread)})
	}
	return &d, faults
}

// afterOf reads where a page of openings begins.
func afterOf(q url.Values) (int64, error) {
	if q.Get("after") == "" {
		return -1, nil
	}
	after, err := strconv.ParseInt(q.Get("after"), 10, 64)
	if err != nil || after < -1 {
		return 0, invalid(fmt.Sprintf("after=%q is no place in the list", q.Get("after")), "Take it from the link to the next page.")
	}
	return after, nil
}

// nextAddress is an address with another after.
func nextAddress(u *url.URL, after int64) string {
	return addressAfter(u, strconv.FormatInt(after, 10))
}

// addressAfter is nextAddress for an after that is no number.
func addressAfter(u *url.URL, after string) string {
	q := u.Query()
	q.Set("after", after)
	return u.EscapedPath() + "?" + q.Encode()
}

// lineAddress is where a line of a card is shown.
func lineAddress(card string, line int32) string {
	return fmt.Sprintf("/cards/%s?line=%d#line-%d", card, line, line)
}
