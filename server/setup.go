package server

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/web"
)

func (s *server) routeSetUp(r chi.Router) {
	r.Get("/set-up", s.do(s.setUp))
	r.Post("/set-up", s.do(s.keepSetUp))
}

// setUp shows what the network says of itself; with values in the address, how it
// would look with these; with the time of a change, what stood before it.
func (s *server) setUp(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	if q.Has("language") {
		return s.sendSetUp(w, r, http.StatusOK, web.SetUpPage{Form: setUpForm(q)})
	}
	if q.Has("before") {
		at, err := strconv.ParseInt(q.Get("before"), 10, 64)
		if err != nil {
			return invalid("there is no such change of the network", "see the journal for what was changed")
		}
		n, err := s.Store.NetworkBefore(r.Context(), at)
		if err != nil {
			return err
		}
		return s.sendSetUp(w, r, http.StatusOK, web.SetUpPage{Form: web.SetUpFormOf(n), Before: true})
	}
	n, err := s.Store.Network(r.Context())
	if err != nil {
		return err
	}
	return s.sendSetUp(w, r, http.StatusOK, web.SetUpPage{Form: web.SetUpFormOf(n), Kept: q.Has("kept")})
}

func (s *server) keepSetUp(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	page := web.SetUpPage{Form: setUpForm(r.PostForm)}
	n, faults := page.Form.Network(s.words(r.Context()))
	if len(faults) > 0 {
		return s.sendSetUp(w, r, http.StatusBadRequest, page)
	}
	if err := s.Store.SetNetwork(r.Context(), n); err != nil {
		return err
	}
	return seeOther(w, r, "/set-up?kept=yes")
}

func setUpForm(from url.Values) web.SetUpForm {
	get := func(name string) string { return strings.TrimSpace(from.Get(name)) }
	return web.SetUpForm{
		Name: get("name"), Language: get("language"), Dates: get("dates"), Decimal: get("decimal"),
		FirstDay: get("first-day"), Clock: get("clock"),
	}
}

func (s *server) sendSetUp(w http.ResponseWriter, r *http.Request, status int, page web.SetUpPage) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	page.Sites = len(sites)
	for _, site := range sites {
		page.Cards += site.Cards
	}
	page.Local = !s.Remote
	if s.Access != nil {
		access, err := s.Access.Access(r.Context())
		if err != nil {
			return err
		}
		page.Coordinated = access.Has(store.RoleCoordinating)
	}
	n, faults := page.Form.Network(s.words(r.Context()))
	if page.Faults = faults; len(faults) == 0 {
		page.Example = web.ExampleOf(n.Region)
	}
	return s.send(w, r, status, page)
}

// networkName is what the network is called, "" where it has no name. A name that
// cannot be had is left out: the page is worth more than it.
func (s *server) networkName(r *http.Request) string {
	n, err := s.Store.Network(r.Context())
	if err != nil {
		s.Log.Warn("read the network's name", "err", strings.TrimSpace(err.Error()))
		return ""
	}
	return n.Name
}
