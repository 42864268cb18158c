package server

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeNetworkVisits(r chi.Router) {
	r.Get("/visits", s.do(s.networkVisits))
	r.Get("/api/visits", s.do(s.apiNetworkVisits))
}

// networkAsk asks for visits of all sites: site by site, each in the order of its
// logbook.
type networkAsk struct {
	store.VisitPage
	season string   // "" for all time; else of the sites that have a season of that name
	after  bookmark // after which to begin
}

// bookmark is a visit in the list of all sites; its zero value lies before the first.
type bookmark struct {
	code  string
	visit int64
}

func (b bookmark) String() string { return fmt.Sprintf("%s.%d", b.code, b.visit) }

// siteVisit is a visit with its site.
type siteVisit struct {
	site usage.Site
	store.VisitRow
}

// networkList is a page of visits of all sites.
type networkList struct {
	visits  []siteVisit
	count   store.VisitCount // on all pages together
	boxes   int              // sites that were asked
	exposed int64            // recording time over which they count, see exposedIn
	next    *bookmark        // after which the next page begins; nil for none
}

// visitsOfAll returns a page of the visits of sites.
func (s *server) visitsOfAll(ctx context.Context, sites []store.SiteSummary, ask networkAsk) (networkList, error) {
	var list networkList
	started := ask.after.code == ""
	for _, site := range sites {
		page, ok := ask.of(site.Site)
		here := site.Code == ask.after.code
		if ok {
			list.boxes++
			room := ask.Limit - len(list.visits)
			page.After = math.MaxInt32 // for the count alone
			if (started || here) && room > 0 {
				page.After, page.Limit = 0, room
			}
			if here && room > 0 {
				page.After = ask.after.visit
			}
			if err := s.addVisits(ctx, &list, site.Site, page, started || here); err != nil {
				return list, err
			}
		}
		started = started || here
	}
	return list, nil
}

// of is the question to one site; false for a site that has no season of that name.
func (a networkAsk) of(site usage.Site) (store.VisitPage, bool) {
	page := a.VisitPage
	if a.season == "" {
		return page, true
	}
	season, err := usage.ParseSeason(a.season, usage.HemisphereOf(site.Latitude))
	if err != nil {
		return page, false
	}
	first, last := season.First(), season.Last()
	if page.From != nil {
		first = max(first, *page.From)
	}
	if page.To != nil {
		last = min(last, *page.To)
	}
	page.From, page.To = &first, &last
	return page, first <= last
}

// addVisits adds what a site answers. reached says that the list has come to it.
func (s *server) addVisits(ctx context.Context, list *networkList, site usage.Site, page store.VisitPage, reached bool) error {
	rows, next, count, err := s.Store.Visits(ctx, site.Code, page)
	if err != nil {
		return err
	}
	full := page.After == math.MaxInt32
	if reached && full && list.next == nil && len(list.visits) > 0 && count.Timed+count.Untimed > 0 {
		last := list.visits[len(list.visits)-1]
		list.next = &bookmark{last.site.Code, int64(last.Visit)}
	}
	for _, row := range rows {
		list.visits = append(list.visits, siteVisit{site, row})
	}
	if next >= 0 && !full {
		list.next = &bookmark{site.Code, next}
	}
	exposed, err := s.exposedIn(ctx, site.Code, page)
	if err != nil {
		return err
	}
	list.exposed += exposed
	list.count.Timed += count.Timed
	list.count.Untimed += count.Untimed
	return nil
}

// bookmarkOf reads after which visit a page begins.
func bookmarkOf(q url.Values, sites []store.SiteSummary) (bookmark, error) {
	text := q.Get("after")
	if text == "" {
		return bookmark{}, nil
	}
	code, number, _ := strings.Cut(text, ".")
	visit, err := strconv.ParseInt(number, 10, 32)
	known := slices.ContainsFunc(sites, func(site store.SiteSummary) bool { return site.Code == code })
	if err != nil || visit < 1 || !known {
		return bookmark{}, invalid(fmt.Sprintf("after=%q is no place in the list", text), "Take it from the link to the next page.")
	}
	return bookmark{code, visit}, nil
}

// seasonAsked reads the season of a network.
func seasonAsked(q url.Values, sites []store.SiteSummary) (string, error) {
	name := q.Get("season")
	if name == "" {
		return "", nil
	}
	all := make([]siteSeasons, len(sites))
	for i, site := range sites {
		all[i].SiteSummary = site
	}
	return name, checkSeason(name, all)
}

// networkVisits lists the visits of all sites that the address asks for.
func (s *server) networkVisits(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	q := r.URL.Query()
	all, err := s.allSeasons(r.Context())
	if err != nil {
		return err
	}
	sites := make([]store.SiteSummary, len(all))
	for i := range all {
		sites[i] = all[i].SiteSummary
	}
	page := web.NetworkVisitsPage{
		Base: web.Base{Trail: web.TrailToNetwork(say)},
		Form: web.VisitForm{
			From: q.Get("from"), To: q.Get("to"), Weekday: q.Get("weekday"), Hour: q.Get("hour"), Light: q.Get("light"), Season: q.Get("season"),
		},
		Weekdays: web.WeekdayOptions(say, q.Get("weekday")), Hours: web.HourOptions(say, q.Get("hour")), Lights: web.LightOptions(say, q.Get("light")),
		Notes: web.NetworkVisitsNotes(say),
	}
	ask := networkAsk{}
	if ask.season, err = seasonAsked(q, sites); err != nil {
		return err
	}
	page.Seasons = seasonOptions(say, all, ask.season)
	if ask.VisitPage, page.Faults = visitsAsked(say, q); len(page.Faults) > 0 {
		return s.send(w, r, http.StatusBadRequest, page)
	}
	ask.Limit = visitsShown
	if ask.after, err = bookmarkOf(q, sites); err != nil {
		return err
	}
	list, err := s.visitsOfAll(r.Context(), sites, ask)
	if err != nil {
		return err
	}
	page.Says = web.VisitsSay(say, list.count.Timed, list.count.Untimed, web.Asked{
		From: ask.From, To: ask.To, Weekday: ask.Weekday, Hour: ask.Hour, Light: ask.Light, Boxes: list.boxes, Season: seasonWordsOf(s.words(r.Context()), ask.season), ExposedS: list.exposed,
	})
	for _, v := range list.visits {
		page.Visits = append(page.Visits, web.NetworkVisit{Site: heading(v.site), Visit: visitShown(v.site.Code, v.VisitRow)})
	}
	if list.next != nil {
		page.Next = addressAfter(r.URL, list.next.String())
	}
	return s.send(w, r, http.StatusOK, page)
}

// seasonWordsOf writes the name of a season of either half of the world; "" for none.
func seasonWordsOf(say *words.Words, name string) string {
	for _, h := range []usage.Hemisphere{usage.North, usage.South} {
		if season, err := usage.ParseSeason(name, h); err == nil {
			return say.Season(season)
		}
	}
	return ""
}

// seasonOptions are the seasons with recording, and the chosen one.
func seasonOptions(say *words.Words, all []siteSeasons, chosen string) []web.Option {
	names := seasonNames(all)
	if chosen != "" && !slices.Contains(names, chosen) {
		names = append(names, chosen)
	}
	options := []web.Option{{Value: "", Says: say.Say(web.AllTime), Chosen: chosen == ""}}
	for _, name := range names {
		options = append(options, web.Option{Value: name, Says: seasonWordsOf(say, name), Chosen: name == chosen})
	}
	return options
}

// networkVisitJSON is a visit with the code of its site.
type networkVisitJSON struct {
	Site string `json:"site"`
	visitJSON
}

// apiNetworkVisits is a page of visits of all sites, with the address of the next in
// a Link header (RFC 8288).
func (s *server) apiNetworkVisits(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	var ask networkAsk
	if ask.season, err = seasonAsked(q, sites); err != nil {
		return err
	}
	if ask.after, err = bookmarkOf(q, sites); err != nil {
		return err
	}
	q.Del("after") // which is no number here
	if ask.VisitPage, err = apiVisitsAsked(q); err != nil {
		return err
	}
	list, err := s.visitsOfAll(r.Context(), sites, ask)
	if err != nil {
		return err
	}
	if list.next != nil {
		w.Header().Set("Link", "<"+addressAfter(r.URL, list.next.String())+`>; rel="next"`)
	}
	out := make([]networkVisitJSON, len(list.visits))
	for i, v := range list.visits {
		face, err := faceOf(v.site)
		if err != nil {
			return err
		}
		out[i] = networkVisitJSON{v.site.Code, visitAsJSON(v.VisitRow, face)}
	}
	return sendJSON(w, r, out)
}
