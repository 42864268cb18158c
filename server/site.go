package server

import (
	"context"
	"net/http"
	"net/url"
	"strconv"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

func (s *server) routeSite(r chi.Router) {
	r.Route("/sites/{code}", func(r chi.Router) {
		r.Use(s.withSite)
		r.Get("/", s.do(s.site))
		r.Get("/cards", s.do(s.siteCards))
		r.Get("/openings", s.do(s.openings))
		r.Get("/openings/{position:[0-9]+}", s.do(s.opening))
		r.Get("/visits", s.do(s.visits))
		r.Get("/visits/{visit:[0-9]+}", s.do(s.visit))
		r.Get("/about-the-numbers", s.do(s.siteAbout))
		r.Get("/change", s.do(s.changeForm))
		r.Post("/change", s.do(s.changeSite))
		s.routeSiteQuestions(r)
		s.routeCalls(r)
		s.routeOutlooks(r)
		s.routePrepare(r)
	})
}

// siteKey is the key of the site in a request's context.
type siteKey struct{}

// withSite loads the site that the address names.
func (s *server) withSite(next http.Handler) http.Handler {
	return s.do(func(w http.ResponseWriter, r *http.Request) error {
		site, err := s.Store.Site(r.Context(), chi.URLParam(r, "code"))
		if err != nil {
			return err
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), siteKey{}, &site)))
		return nil
	})
}

// siteOf returns the site that withSite loaded.
func siteOf(r *http.Request) *store.SiteDetail {
	return r.Context().Value(siteKey{}).(*store.SiteDetail)
}

// siteData is what the page of a site is made from.
type siteData struct {
	site     *store.SiteDetail
	season   *usage.Season
	figures  *siteFigures // of the season; nil for all time
	weekly   usage.Sum    // visits a week, of the season or of all time
	tally    *tally
	findings []usage.Finding
	cards    []store.Card // those that the evidence of findings counts
	calls    []usage.ServiceCall
}

// site shows what is known of one site.
func (s *server) site(w http.ResponseWriter, r *http.Request) error {
	data, err := s.siteData(r)
	if err != nil {
		return err
	}
	page, err := sitePage(s.words(r.Context()), data)
	if err != nil {
		return err
	}
	if page.Panels, err = s.panels(r.Context(), data.site.Code, data.season, s.words(r.Context())); err != nil {
		return err
	}
	return s.send(w, r, http.StatusOK, page)
}

func (s *server) siteData(r *http.Request) (siteData, error) {
	data := siteData{site: siteOf(r)}
	var err error
	if data.season, err = seasonOf(r.URL.Query(), data.site.Latitude); err != nil {
		return data, err
	}
	ctx, code := r.Context(), data.site.Code
	if data.tally, err = s.tally(ctx, code); err != nil {
		return data, err
	}
	data.weekly = data.tally.weekly
	if data.season != nil {
		if data.weekly, err = s.weeklyIn(ctx, code, *data.season); err != nil {
			return data, err
		}
		f, err := figuresOf(siteSeasons{data.site.SiteSummary, data.tally}, *data.season, s.Now().Unix())
		if err != nil {
			return data, err
		}
		data.figures = &f
	}
	if data.findings, err = s.Store.Findings(ctx, code); err != nil {
		return data, err
	}
	if data.cards, err = s.Store.Cards(ctx, code); err != nil {
		return data, err
	}
	data.calls, err = s.Store.Calls(ctx, code)
	return data, err
}

// weeklyIn returns the visits a week of a season at a site.
func (s *server) weeklyIn(ctx context.Context, code string, season usage.Season) (usage.Sum, error) {
	return recall(ctx, s.small, code, "weekly "+season.String(), func(ctx context.Context) (usage.Sum, int, error) {
		shown, err := s.shownOf(ctx, code, &season)
		return shown.spread().Weekly(usage.InSeason(shown.months, season)), 200, err
	})
}

// The dates that stand for an open end.
var (
	firstDate = usage.DateOf(1, 1, 1)
	lastDate  = usage.DateOf(9999, 12, 31)
)

// seasonOf reads the parameter season; nil is all time.
func seasonOf(q url.Values, latitude float64) (*usage.Season, error) {
	name := q.Get("season")
	if name == "" {
		return nil, nil
	}
	season, err := usage.ParseSeason(name, usage.HemisphereOf(latitude))
	if err != nil {
		return nil, err
	}
	return &season, nil
}

// sitePage is the page without its figures.
func sitePage(say *words.Words, data siteData) (web.SitePage, error) {
	site := data.site
	page := web.SitePage{
		Base:     web.Base{Trail: web.TrailToNetwork(say)},
		Site:     heading(site.Site),
		Latitude: site.Latitude, Longitude: site.Longitude,
		Installed: site.InstalledOn, Clock: site.Clock, Thresholds: site.Thresholds,
		Totals: site.Totals, Cards: site.Cards, LastCard: site.LastCardAt,
		Seasons: seasonLinks(say, data),
	}
	if data.season != nil {
		page.Season = say.Season(*data.season)
	}
	page.Weekly, page.Visits, page.ExposedS = data.weekly.Rate, data.weekly.Visits, data.weekly.ExposureS
	page.VisitsAt = "/sites/" + site.Code + "/visits"
	if err := addSeason(say, &page, data); err != nil {
		return page, err
	}
	page.From, page.To = data.tally.first, data.tally.last
	open := openFindings(data.findings)
	page.Findings, page.MoreFindings = findingsShown(say, open, data.cards)
	page.Answered, page.Calls = len(data.findings)-len(open), len(data.calls)
	return page, nil
}

// addSeason adds the figures of the chosen season.
func addSeason(say *words.Words, page *web.SitePage, data siteData) error {
	f := data.figures
	if f == nil {
		return nil
	}
	touching, err := touchingSeason(f.Site, openFindings(data.findings), f.season)
	if err != nil {
		return err
	}
	page.Figures, page.SeasonName, page.VisitsAt = &f.figures, f.season.String(), seasonVisits(f.Code, f.season)
	page.Lead = web.SeasonLead(say, f.figures, f.last, f.season, !f.ended)
	if note := untilSays(say, f.figures, f.ended, 1); note != "" {
		page.Lead = append(page.Lead, note)
	}
	page.Remarks = web.Remarks(say, f.figures, touching, f.figures.Complete)
	return nil
}

// visitLinks returns the addresses of the visits that the rows of a table count.
func visitLinks(code string, counts []chart.Visits, season *usage.Season) []string {
	links, link := make([]string, len(counts)), visitLink(code, season)
	for i, c := range counts {
		links[i] = link(c)
	}
	return links
}

// visitLink returns the function that gives the address of the visits of a site that
// a bar counts; those of no period of their own are of the season, where one is
// chosen.
func visitLink(code string, season *usage.Season) func(chart.Visits) string {
	return func(c chart.Visits) string {
		q := url.Values{}
		if c.From == nil && season != nil {
			first, last := season.First(), season.Last()
			c.From, c.To = &first, &last
		}
		if c.From != nil {
			q.Set("from", c.From.String())
			q.Set("to", c.To.String())
		}
		if c.Weekday > 0 {
			q.Set("weekday", strconv.Itoa(c.Weekday))
		}
		if c.Hour != nil {
			q.Set("hour", strconv.Itoa(*c.Hour))
		}
		return "/sites/" + code + "/visits?" + q.Encode()
	}
}

// findingsMost is how many findings the page of a site shows, and linesMost to
// how many lines of its evidence each links.
const (
	findingsMost = 12
	linesMost    = 3
)

func findingsShown(say *words.Words, findings []usage.Finding, cards []store.Card) (shown []web.Finding, more int) {
	for _, f := range findings[:min(len(findings), findingsMost)] {
		shown = append(shown, web.Finding{Says: capital(say.Retell(f.Says)), From: f.From, To: f.To, Lines: evidenceLinks(say, f, cards)})
	}
	return shown, len(findings) - len(shown)
}

func evidenceLinks(say *words.Words, f usage.Finding, cards []store.Card) []web.Link {
	var links []web.Link
	for _, e := range f.Evidence[:min(len(f.Evidence), linesMost)] {
		if e.Card >= 0 && int(e.Card) < len(cards) {
			links = append(links, web.Link{Href: lineAddress(cards[e.Card].ID, e.Line), Text: web.LineWords(say, e.Line)})
		}
	}
	return links
}

func seasonLinks(say *words.Words, data siteData) []web.Link {
	address := "/sites/" + data.site.Code
	links := []web.Link{{Href: address, Text: say.Say(web.AllTime), Here: data.season == nil}}
	for _, season := range data.tally.told {
		links = append(links, web.Link{
			Href: address + "?season=" + season.String(),
			Text: say.Season(season),
			Here: data.season != nil && *data.season == season,
		})
	}
	if len(links) == 1 {
		return nil
	}
	return links
}
