package server

import (
	"context"
	"net/http"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeAbout(r chi.Router) {
	r.Get("/about-the-numbers", s.do(s.networkAbout))
}

// networkAbout tells how figures are made, on the data of the site that has most
// visits.
func (s *server) networkAbout(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	page := web.AboutPage{Whole: true, Thresholds: usage.DefaultThresholds}
	if len(sites) > 0 {
		most := sites[0]
		for _, site := range sites {
			if site.Totals.Visits > most.Totals.Visits {
				most = site
			}
		}
		if page, err = s.aboutSite(r.Context(), most); err != nil {
			return err
		}
		page.Whole = true
	}
	return s.send(w, r, http.StatusOK, page)
}

// siteAbout tells how the figures of one site are made.
func (s *server) siteAbout(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r)
	page, err := s.aboutSite(r.Context(), site.SiteSummary)
	if err != nil {
		return err
	}
	page.Base = web.Base{Trail: web.TrailToSite(s.words(r.Context()), page.Site)}
	return s.send(w, r, http.StatusOK, page)
}

func (s *server) aboutSite(ctx context.Context, site store.SiteSummary) (web.AboutPage, error) {
	page := web.AboutPage{Site: heading(site.Site), Thresholds: site.Thresholds, Totals: site.Totals}
	data, err := s.Store.SeasonData(ctx, site.Code)
	if err != nil {
		return page, err
	}
	t, err := s.tally(ctx, site.Code)
	if err != nil {
		return page, err
	}
	if page.Season, err = s.exampleSeason(s.words(ctx), siteSeasons{site, t}); err != nil {
		return page, err
	}
	page.Visit, err = s.exampleVisit(ctx, site, data.Days)
	return page, err
}

// exampleSeason is the latest season that is complete, else the latest.
func (s *server) exampleSeason(say *words.Words, site siteSeasons) (*web.AboutSeason, error) {
	seasons := site.tally.seasons
	var latest *web.AboutSeason
	for i := len(seasons) - 1; i >= 0; i-- {
		f, err := figuresOf(site, seasons[i], s.Now().Unix())
		if err != nil {
			return nil, err
		}
		example := &web.AboutSeason{
			Name: f.season.String(), Words: say.Season(f.season), Figures: f.figures, Visits: seasonVisits(site.Code, f.season),
		}
		if f.figures.Complete {
			return example, nil
		}
		if latest == nil {
			latest = example
		}
	}
	return latest, nil
}

// exampleDays is how far back from the last day an example of a visit is looked for.
const exampleDays = 30

// exampleVisit is the visit with the most openings of the last days; nil for none.
func (s *server) exampleVisit(ctx context.Context, site store.SiteSummary, days []usage.Day) (*web.Visit, error) {
	if len(days) == 0 {
		return nil, nil
	}
	from := days[len(days)-1].Date - exampleDays
	rows, _, _, err := s.Store.Visits(ctx, site.Code, store.VisitPage{From: &from})
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	most := rows[0]
	for _, row := range rows {
		if row.Openings > most.Openings {
			most = row
		}
	}
	v := visitShown(site.Code, most)
	return &v, nil
}
