package server

import (
	"context"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
)

func (s *server) routeNetwork(r chi.Router) {
	r.Get("/", s.do(s.network))
}

// network shows all sites side by side.
func (s *server) network(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	page := web.NetworkPage{Base: web.Base{Here: web.PlaceNetwork}}
	for _, site := range sites {
		row, from, err := s.networkSite(r.Context(), site)
		if err != nil {
			return err
		}
		page.Visits += row.Visits
		page.ExposedS += row.ExposedS
		if from != nil && (page.From == nil || *from < *page.From) {
			page.From = from
		}
		page.Sites = append(page.Sites, row)
	}
	placeRanges(&page)
	addMap(&page, sites)
	return s.send(w, r, http.StatusOK, page)
}

// networkSite is one row of the network page, and the date of the first opening.
func (s *server) networkSite(ctx context.Context, site store.SiteSummary) (web.NetworkSite, *usage.Date, error) {
	months, err := s.Store.Months(ctx, site.Code)
	if err != nil {
		return web.NetworkSite{}, nil, err
	}
	data, err := s.Store.SeasonData(ctx, site.Code)
	if err != nil {
		return web.NetworkSite{}, nil, err
	}
	weekly := usage.DispersionOfSeasons(data.Days, usage.HemisphereOf(site.Latitude)).Weekly(months)
	row := web.NetworkSite{
		Site: heading(site.Site), Weekly: weekly.Rate, Visits: weekly.Visits, ExposedS: weekly.ExposureS,
		LastCard: site.LastCardAt, Cards: site.Cards,
	}
	if site.LastCardAt != nil {
		row.Age = web.AgeWords(*site.LastCardAt, s.Now().Unix())
	}
	if weekly.ExposureS > 0 && s.Charts != nil {
		row.Hours, err = s.Charts.HourProfile(ctx, "hours-"+strings.ToLower(site.Code), usage.PatternOf(site.Code, nil, months))
		if err != nil {
			s.Log.Warn("draw hour profile", "site", site.Code, "err", err)
		}
	}
	if err := s.addOdd(ctx, &row); err != nil {
		return row, nil, err
	}
	if row.Glance, err = glanceOf(siteSeasons{site, data}, len(row.Odd)+row.MoreOdd, s.Now().Unix()); err != nil {
		return row, nil, err
	}
	if site.Totals.FirstAt == 0 {
		return row, nil, nil
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return row, nil, err
	}
	first, _ := zone.Civil(site.Totals.FirstAt)
	return row, &first, nil
}

// glanceOf judges a box by its latest season with web.GlanceDays covered days, or by
// the latest there is.
func glanceOf(site siteSeasons, questions int, now int64) (web.Glance, error) {
	var season usage.Season
	var figures usage.SeasonFigures
	seasons := seasonsOf(site)
	for i := len(seasons) - 1; i >= 0; i-- {
		f, err := usage.SeasonFiguresOf(site.Site, seasons[i], site.data)
		if err != nil {
			return web.Glance{}, err
		}
		enough := f.CoveredDays >= web.GlanceDays
		if enough || figures.Code == "" {
			season, figures = seasons[i], f
		}
		if enough {
			break
		}
	}
	return web.GlanceOf(figures, season, questions, site.LastCardAt, now), nil
}

// addMap puts the sites on a map and says at first sight how they do.
func addMap(page *web.NetworkPage, sites []store.SiteSummary) {
	places := make([]usage.Point, len(sites))
	for i, site := range sites {
		places[i] = usage.Point{Latitude: site.Latitude, Longitude: site.Longitude}
	}
	page.Map = web.MapOf(page.Sites, places)
	if len(page.Sites) > 0 {
		page.Glance = web.GlanceLead(page.Sites)
	}
}

// oddShown is how many open findings a row of the network page shows.
const oddShown = 2

func (s *server) addOdd(ctx context.Context, row *web.NetworkSite) error {
	findings, err := s.Store.Findings(ctx, row.Code)
	if err != nil {
		return err
	}
	open := openFindings(findings)
	for _, f := range open[:min(len(open), oddShown)] {
		row.Odd = append(row.Odd, capital(f.Says))
	}
	row.MoreOdd = len(open) - len(row.Odd)
	return nil
}

// placeRanges draws the weekly rates of all sites on one scale.
func placeRanges(page *web.NetworkPage) {
	for _, site := range page.Sites {
		// A site with next to no exposure has limits beyond all others and would
		// flatten them; its range is cut at the scale's end.
		if site.Weekly != nil {
			page.Scale = max(page.Scale, min(site.Weekly.High, 3*site.Weekly.Value))
		}
	}
	for i := range page.Sites {
		if e := page.Sites[i].Weekly; e != nil {
			page.Sites[i].Range = web.NewRange(e.Value, e.Low, e.High, page.Scale)
		}
	}
}

func heading(site usage.Site) web.Site {
	return web.Site{Code: site.Code, Name: site.Name, Zone: site.Zone}
}
