package server

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

func (s *server) routeSeasons(r chi.Router) {
	r.Get("/seasons", s.do(s.seasons))
	r.Get("/seasons/{season}", s.do(s.season))
}

// siteSeasons is a site with the figures of all of its seasons.
type siteSeasons struct {
	store.SiteSummary
	tally *tally
}

func (s siteSeasons) hemisphere() usage.Hemisphere { return usage.HemisphereOf(s.Latitude) }

// allSeasons returns every site. It reads no opening.
func (s *server) allSeasons(ctx context.Context) ([]siteSeasons, error) {
	sites, err := s.Store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	all := make([]siteSeasons, len(sites))
	err = forEach(ctx, sites, func(ctx context.Context, i int, code string) error {
		t, err := s.tally(ctx, code)
		all[i] = siteSeasons{sites[i], t}
		return err
	})
	return all, err
}

// siteFigures is a site in one season, which is of its own hemisphere.
type siteFigures struct {
	siteSeasons
	season        usage.Season
	figures, last usage.SeasonFigures // last: the same season a year before
	ended         bool                // the season is over at the site
}

func figuresOf(site siteSeasons, season usage.Season, now int64) (siteFigures, error) {
	f := siteFigures{siteSeasons: site, season: season}
	var err error
	if f.figures, err = site.tally.in(site.Site, season); err != nil {
		return f, err
	}
	if f.last, err = site.tally.in(site.Site, season.LastYear()); err != nil {
		return f, err
	}
	f.ended, err = hasEnded(site.Site, season, now)
	f.figures.Complete = f.figures.Complete && f.ended
	return f, err
}

func hasEnded(site usage.Site, season usage.Season, now int64) (bool, error) {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return false, fmt.Errorf("site %s: %w", site.Code, err)
	}
	return zone.StartOfDay(season.Last()+1) <= now, nil
}

// networkSeason is one season of a network: of the sites in whose half of the
// world there is a season of that name.
type networkSeason struct {
	name          string
	sites         []siteFigures
	season        usage.Season // of the first site
	figures, last usage.SeasonFigures
	ended         bool // at every site
}

func (s *server) seasonNamed(name string, all []siteSeasons) (networkSeason, error) {
	return seasonAt(name, all, s.Now().Unix())
}

// seasonAt returns a season as it is at an instant.
func seasonAt(name string, all []siteSeasons, now int64) (networkSeason, error) {
	n := networkSeason{name: name, ended: true}
	if err := checkSeason(name, all); err != nil {
		return n, err
	}
	var figures, last []usage.SeasonFigures
	for _, site := range all {
		season, err := usage.ParseSeason(name, site.hemisphere())
		if err != nil {
			continue // of the other half of the world
		}
		f, err := figuresOf(site, season, now)
		if err != nil {
			return n, err
		}
		if len(n.sites) == 0 {
			n.season = season
		}
		n.sites = append(n.sites, f)
		n.ended = n.ended && f.ended
		figures, last = append(figures, f.figures), append(last, f.last)
	}
	n.figures, n.last = usage.NetworkFigures(figures), usage.NetworkFigures(last)
	n.figures.Complete = n.figures.Complete && n.ended
	return n, nil
}

// checkSeason returns Invalid for what is the name of no season, and NotFound for
// one of a half of the world in which there is no site.
func checkSeason(name string, all []siteSeasons) error {
	north, err := usage.ParseSeason(name, usage.North)
	inNorth := err == nil
	_, southErr := usage.ParseSeason(name, usage.South)
	if err != nil && southErr != nil {
		return err
	}
	for _, site := range all {
		if site.hemisphere() == usage.North && inNorth || site.hemisphere() == usage.South && southErr == nil {
			return nil
		}
	}
	if inNorth && southErr == nil {
		return notFound("there is no site to have a "+north.Word(), "Add a site first.")
	}
	return notFound(fmt.Sprintf("no site has a season %s in its half of the world", name), "Look at the list of seasons.")
}

// seasonNames returns the seasons of all sites, the latest first.
func seasonNames(all []siteSeasons) []string {
	starts := map[string]usage.Month{}
	for _, site := range all {
		for _, season := range site.tally.seasons {
			name := season.String()
			starts[name] = max(starts[name], season.Start)
		}
	}
	names := make([]string, 0, len(starts))
	for name := range starts {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(cmp.Compare(starts[b], starts[a]), cmp.Compare(a, b)) })
	return names
}

// seasons lists the seasons of the network.
func (s *server) seasons(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	all, err := s.seasonSums(r.Context())
	if err != nil {
		return err
	}
	page := web.SeasonsPage{Base: web.Base{Here: web.PlaceSeasons}}
	for _, sum := range all {
		ended, err := endedAtAll(sites, sum.name, s.Now().Unix())
		if err != nil {
			return err
		}
		line := web.SeasonLine{Name: sum.name, Words: s.words(r.Context()).Season(sum.season), Running: !ended, Boxes: sum.boxes, Figures: sum.figures, Visits: networkSeasonVisits(sum.name)}
		line.Figures.Complete = line.Figures.Complete && ended
		page.Seasons = append(page.Seasons, line)
	}
	return s.send(w, r, http.StatusOK, page)
}

// endedAtAll reports whether a season is over at all sites that have one of its name.
func endedAtAll(sites []store.SiteSummary, name string, now int64) (bool, error) {
	type calendar struct {
		zone string
		half usage.Hemisphere
	}
	seen := map[calendar]bool{}
	for _, site := range sites {
		of := calendar{site.Zone, usage.HemisphereOf(site.Latitude)}
		if seen[of] {
			continue
		}
		seen[of] = true
		season, err := usage.ParseSeason(name, of.half)
		if err != nil {
			continue // of the other half of the world
		}
		if ended, err := hasEnded(site.Site, season, now); err != nil || !ended {
			return false, err
		}
	}
	return true, nil
}

// seasonSum is a season of the network, taken to be over.
type seasonSum struct {
	name    string
	season  usage.Season // of the first site
	boxes   int          // with any recording
	figures usage.SeasonFigures
}

// seasonSums adds the sites up in each season, the latest first.
func (s *server) seasonSums(ctx context.Context) ([]seasonSum, error) {
	return recall(ctx, s.small, "", "season sums", func(ctx context.Context) ([]seasonSum, int, error) {
		all, err := s.allSeasons(ctx)
		if err != nil {
			return nil, 0, err
		}
		var sums []seasonSum
		for _, name := range seasonNames(all) {
			n, err := seasonAt(name, all, math.MaxInt64)
			if err != nil {
				return nil, 0, err
			}
			sum := seasonSum{name: name, season: n.season, figures: n.figures}
			for _, site := range n.sites {
				if site.figures.CoveredDays > 0 {
					sum.boxes++
				}
			}
			sums = append(sums, sum)
		}
		return sums, len(sums) * (figuresBytes + 100), nil
	})
}

// season shows one season of the network.
func (s *server) season(w http.ResponseWriter, r *http.Request) error {
	all, err := s.allSeasons(r.Context())
	if err != nil {
		return err
	}
	n, err := s.seasonNamed(chi.URLParam(r, "season"), all)
	if err != nil {
		return err
	}
	page, err := s.seasonPage(r.Context(), n)
	if err != nil {
		return err
	}
	page.Previous, page.Next = neighbours(s.words(r.Context()), n, all)
	return s.send(w, r, http.StatusOK, page)
}

func (s *server) seasonPage(ctx context.Context, n networkSeason) (web.SeasonPage, error) {
	say := s.words(ctx)
	boxes := 0
	page := web.SeasonPage{
		Base: web.Base{Here: web.PlaceSeasons}, Name: n.name, Words: capital(say.Season(n.season)), Network: n.figures,
		Visits: networkSeasonVisits(n.name),
	}
	for _, site := range n.sites {
		row, err := s.seasonSite(ctx, site)
		if err != nil {
			return page, err
		}
		if site.figures.PerDay != nil {
			boxes++
		}
		page.Sites = append(page.Sites, row)
	}
	page.Lead = web.NetworkLead(say, n.figures, n.last, n.season, !n.ended, boxes)
	if note := untilSays(say, n.figures, n.ended, boxes); note != "" {
		page.Lead = append(page.Lead, note)
	}
	page.Order, page.Pooled = placesOf(n.sites)
	page.Notes = web.SeasonFiguresNotes(say, n.figures)
	page.Panel = s.sitesPanel(ctx, n)
	return page, nil
}

// untilSays tells how far the figures of a season go that are not complete.
func untilSays(say *words.Words, f usage.SeasonFigures, ended bool, boxes int) string {
	if f.Complete {
		return ""
	}
	return web.Until(say, f.Until, ended, boxes)
}

func (s *server) seasonSite(ctx context.Context, site siteFigures) (web.SeasonSite, error) {
	findings, err := s.Store.Findings(ctx, site.Code)
	if err != nil {
		return web.SeasonSite{}, err
	}
	touching, err := touchingSeason(site.Site, openFindings(findings), site.season)
	if err != nil {
		return web.SeasonSite{}, err
	}
	return web.SeasonSite{
		Site: heading(site.Site), Figures: site.figures, Findings: touching,
		Visits: seasonVisits(site.Code, site.season), Before: seasonVisits(site.Code, site.season.LastYear()),
		Remarks: web.Remarks(s.words(ctx), site.figures, touching, site.figures.Complete),
	}, nil
}

// seasonVisits is the address of a season's visits at a site.
func seasonVisits(code string, season usage.Season) string {
	return fmt.Sprintf("/sites/%s/visits?from=%s&to=%s", code, season.First(), season.Last())
}

// networkSeasonVisits is the address of a season's visits at all sites.
func networkSeasonVisits(name string) string { return "/visits?season=" + url.QueryEscape(name) }

// touchingSeason counts the findings that may bear on a season. One of which no
// time is known may bear on any.
func touchingSeason(site usage.Site, findings []usage.Finding, season usage.Season) (int, error) {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return 0, err
	}
	from, to := zone.StartOfDay(season.First()), zone.StartOfDay(season.Last()+1)
	n := 0
	for _, f := range findings {
		end := max(f.From, f.To)
		if f.From == 0 && f.To == 0 || f.From < to && end >= from {
			n++
		}
	}
	return n, nil
}

// placesOf orders the sites with recording, the busiest first, unless there are
// fewer than two.
func placesOf(sites []siteFigures) (places []web.SitePlace, pooled bool) {
	var recorded []siteFigures
	var exposed []usage.Exposed
	for _, site := range sites {
		if f := site.figures; f.CoveredDays > 0 {
			recorded = append(recorded, site)
			exposed = append(exposed, usage.Exposed{Visits: float64(f.Counted) / f.Phi, Days: f.CoveredDays / f.Phi})
		}
	}
	if len(recorded) < 2 {
		return nil, false
	}
	prior := usage.FitPrior(exposed, usage.PriorML)
	for _, p := range usage.Order(exposed, prior) {
		places = append(places, web.SitePlace{Site: heading(recorded[p.Site].Site), Weekly: web.Weekly(p.Rate), Low: p.Low, High: p.High})
	}
	return places, prior.Pooled
}

// sitesPanel draws the sites side by side; nil without charts or sites.
func (s *server) sitesPanel(ctx context.Context, n networkSeason) *web.Panel {
	say := s.words(ctx)
	if s.Charts == nil || len(n.sites) == 0 {
		return nil
	}
	var rates []chart.SiteRate
	for _, site := range n.sites {
		f := site.figures
		rates = append(rates, chart.SiteRate{
			Name: site.Name, Visits: f.Counted, ExposureH: f.CoveredDays * 24, Weekly: web.Weekly(f.PerDay),
			Href: seasonVisits(site.Code, site.season),
		})
	}
	figure, err := s.Charts.In(say).BySite(ctx, "by-site", say.Season(n.season), rates)
	panel := &web.Panel{Figure: figure}
	if err != nil {
		s.Log.Warn("draw chart", "chart", "by-site", "err", err)
		panel.ID, panel.Title, panel.Problem = "by-site", say.Say(web.TitleSites), say.Say(web.ChartMissing)
	}
	return panel
}

// neighbours links to the seasons before and after, as far as there is anything
// recorded in that direction.
func neighbours(say *words.Words, n networkSeason, all []siteSeasons) (previous, next *web.Link) {
	first, last := false, false
	for _, site := range all {
		for _, season := range site.tally.seasons {
			first = first || season.Start < n.season.Start
			last = last || season.Start > n.season.Start
		}
	}
	link := func(season usage.Season) *web.Link {
		return &web.Link{Href: "/seasons/" + season.String(), Text: say.Season(season)}
	}
	if first {
		previous = link(n.season.Previous())
	}
	if last {
		next = link(n.season.Next())
	}
	return previous, next
}

// seasonJSON is one season of the network. For the network, days and covered days
// of all sites are added up, so that per_day is that of a mean site.
type seasonJSON struct {
	Season   string           `json:"season"`
	Complete bool             `json:"complete"`
	Sites    []seasonSiteJSON `json:"sites"`
	Network  figuresJSON      `json:"network"`
}

type seasonSiteJSON struct {
	Code string `json:"code"`
	figuresJSON
	OpenFindings int `json:"open_findings"` // that touch the season
}

// figuresJSON are the figures of one season; see usage.SeasonFigures.
type figuresJSON struct {
	Counted      int64           `json:"counted"`
	CoveredDays  float64         `json:"covered_days"`
	Days         int             `json:"days"`
	Estimated    *usage.Estimate `json:"estimated"`
	PerDay       *usage.Estimate `json:"per_day"`
	RatioToLast  *usage.Estimate `json:"ratio_to_last_year"`
	DarkShare    *usage.Estimate `json:"dark_share"`
	OpenS        int64           `json:"open_s"`
	MedianOpenS  *usage.Estimate `json:"median_open_s"`
	Complete     bool            `json:"complete"`
	Until        *usage.Date     `json:"until"`
	Untimed      int64           `json:"untimed"`
	UntimedAbout int64           `json:"untimed_about"`
	WeekOpenS    *usage.Estimate `json:"open_s_per_week"`
	LowerOpenS   *float64        `json:"lower_quartile_open_s"`
	UpperOpenS   *float64        `json:"upper_quartile_open_s"`
	UnknownOpen  int64           `json:"visits_without_seconds"`
	Dispersion   float64         `json:"dispersion"`
}

func figuresAsJSON(f usage.SeasonFigures) figuresJSON {
	return figuresJSON{
		Counted: f.Counted, CoveredDays: f.CoveredDays, Days: f.Days, Estimated: f.Estimated, PerDay: f.PerDay,
		RatioToLast: f.RatioToLast, DarkShare: f.DarkShare, OpenS: f.OpenS, MedianOpenS: f.MedianOpenS,
		Complete: f.Complete, Until: f.Until, Untimed: f.Untimed, UntimedAbout: f.UntimedAbout,
		WeekOpenS: f.WeekOpenS, LowerOpenS: f.LowerOpenS, UpperOpenS: f.UpperOpenS, UnknownOpen: f.UnknownOpen, Dispersion: f.Phi,
	}
}

func (s *server) apiSeason(w http.ResponseWriter, r *http.Request) error {
	all, err := s.allSeasons(r.Context())
	if err != nil {
		return err
	}
	n, err := s.seasonNamed(chi.URLParam(r, "season"), all)
	if err != nil {
		return err
	}
	out := seasonJSON{Season: n.name, Complete: n.figures.Complete, Sites: make([]seasonSiteJSON, len(n.sites)), Network: figuresAsJSON(n.figures)}
	for i, site := range n.sites {
		findings, err := s.Store.Findings(r.Context(), site.Code)
		if err != nil {
			return err
		}
		touching, err := touchingSeason(site.Site, openFindings(findings), site.season)
		if err != nil {
			return err
		}
		out.Sites[i] = seasonSiteJSON{site.Code, figuresAsJSON(site.figures), touching}
	}
	return sendJSON(w, r, out)
}
