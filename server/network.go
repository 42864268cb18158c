package server

import (
	"context"
	"crypto/sha256"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
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
	rows := make([]networkRow, len(sites))
	err = forEach(r.Context(), sites, func(ctx context.Context, i int, code string) error {
		row, err := s.networkRow(ctx, code)
		rows[i] = row
		return err
	})
	if err != nil {
		return err
	}
	say := s.words(r.Context())
	for i := range rows {
		row := s.networkSite(say, rows[i])
		sites[i] = rows[i].site // as the row was made from it
		page.Visits += row.Visits
		page.ExposedS += row.ExposedS
		if from := rows[i].first; from != nil && (page.From == nil || *from < *page.From) {
			page.From = from
		}
		page.Sites = append(page.Sites, row)
	}
	placeRanges(&page)
	if err := s.addMap(r, &page, sites); err != nil {
		return err
	}
	if err := s.writeRows(r, &page, rows); err != nil {
		return err
	}
	return s.send(w, r, http.StatusOK, page)
}

// networkRow is what a row of the network page says as long as nothing of its site
// changes.
type networkRow struct {
	version uint64 // of the change since which it holds; 0: not known
	site    store.SiteSummary
	weekly  usage.Sum
	hours   chart.Figure
	odd     []string // the first open findings
	open    int      // how many there are
	press   int      // and how many of them ask for a hand at the box
	season  usage.Season
	figures usage.SeasonFigures // of season, by which the box is judged
	first   *usage.Date         // of the first opening
}

func (s *server) networkRow(ctx context.Context, code string) (networkRow, error) {
	say := s.words(ctx)
	return recall(ctx, s.small, code, fmt.Sprint("network row ", say.Region()), func(ctx context.Context) (row networkRow, bytes int, err error) {
		row.version = s.small.version(code)
		site, err := s.Store.Site(ctx, code)
		if err != nil {
			return row, 0, err
		}
		row.site = site.SiteSummary
		t, err := s.tally(ctx, code)
		if err != nil {
			return row, 0, err
		}
		row.weekly = t.weekly
		if row.season, row.figures, err = judgedBy(site.Site, t); err != nil {
			return row, 0, err
		}
		if err = s.addOdd(ctx, &row, code); err != nil {
			return row, 0, err
		}
		if row.first, err = firstOpening(site); err != nil {
			return row, 0, err
		}
		bytes, err = s.addHourProfile(ctx, say, &row, code)
		return row, bytes, err
	})
}

// addHourProfile draws the visits through the day and returns about how much memory the
// row takes, or -1 where the drawing has to be tried again.
func (s *server) addHourProfile(ctx context.Context, say *words.Words, row *networkRow, code string) (bytes int, err error) {
	bytes = figuresBytes + 2000
	if row.weekly.ExposureS == 0 || s.Charts == nil {
		return bytes, nil
	}
	months, err := s.Store.Months(ctx, code)
	if err != nil {
		return 0, err
	}
	row.hours, err = s.Charts.In(say).HourProfile(ctx, "hours-"+strings.ToLower(code), usage.PatternOf(code, nil, months))
	if err != nil {
		s.Log.Warn("draw hour profile", "site", code, "err", err)
		return -1, nil
	}
	return bytes + len(row.hours.Wide) + len(row.hours.Narrow), nil
}

// networkSite is one row of the network page.
func (s *server) networkSite(say *words.Words, row networkRow) web.NetworkSite {
	site, now := row.site, s.Now().Unix()
	out := web.NetworkSite{
		Site: heading(site.Site), Weekly: row.weekly.Rate, Visits: row.weekly.Visits, ExposedS: row.weekly.ExposureS,
		LastCard: site.LastCardAt, Cards: site.Cards, Hours: row.hours, Odd: retold(say, row.odd), MoreOdd: row.open - len(row.odd),
		Glance: web.GlanceOf(say, row.figures, row.season, row.press, site.LastCardAt, now),
	}
	if site.LastCardAt != nil {
		out.Age = say.Age(*site.LastCardAt, now)
	}
	return out
}

// retold are sentences of findings in the words of the pages.
func retold(say *words.Words, sentences []string) []string {
	said := make([]string, len(sentences))
	for i, s := range sentences {
		said[i] = capital(say.Retell(s))
	}
	return said
}

// writeRows writes each row once for all that it says: what of it is kept with the
// figures of its site, and what the hour and the other sites make of it.
func (s *server) writeRows(r *http.Request, page *web.NetworkPage, rows []networkRow) error {
	w := s.words(r.Context())
	for i := range page.Sites {
		site, version := page.Sites[i], rows[i].version
		if version == 0 {
			continue
		}
		key := memoKey{version, site.Code, fmt.Sprint("written row", site.Age, site.Glance, site.Range, w.Region())}
		written, err := s.small.get(r.Context(), key, func(context.Context) (any, int, error) {
			html, err := s.pages.MadeRow(site, w)
			return html, 300 + len(html), err
		})
		if err != nil {
			return err
		}
		page.Sites[i].Written = written.(template.HTML)
	}
	return nil
}

// firstOpening is the date of the first opening; nil without one.
func firstOpening(site store.SiteDetail) (*usage.Date, error) {
	if site.Totals.FirstAt == 0 {
		return nil, nil
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return nil, err
	}
	first, _ := zone.Civil(site.Totals.FirstAt)
	return &first, nil
}

// judgedBy returns the season by which a box is judged: its latest with web.GlanceDays
// covered days, or the latest there is.
func judgedBy(site usage.Site, t *tally) (season usage.Season, figures usage.SeasonFigures, err error) {
	for i := len(t.seasons) - 1; i >= 0; i-- {
		f, err := t.in(site, t.seasons[i])
		if err != nil {
			return season, figures, err
		}
		enough := f.CoveredDays >= web.GlanceDays
		if enough || figures.Code == "" {
			season, figures = t.seasons[i], f
		}
		if enough {
			break
		}
	}
	return season, figures, nil
}

// addMap puts the sites on a map and says at first sight how they do. Finding room for
// the names of many takes long, so that a map is made once for all that it shows.
func (s *server) addMap(r *http.Request, page *web.NetworkPage, sites []store.SiteSummary) error {
	if len(page.Sites) == 0 {
		return nil
	}
	say := s.words(r.Context())
	page.Glance = web.GlanceLead(say, page.Sites)
	places := make([]usage.Point, len(sites))
	shows := sha256.New()
	for i, site := range sites {
		places[i] = usage.Point{Latitude: site.Latitude, Longitude: site.Longitude}
		fmt.Fprintf(shows, "%q %q %v %v %+v\n", site.Code, site.Name, places[i], page.Sites[i].Glance, estimateOr0(page.Sites[i].Weekly))
	}
	var err error
	page.Map, err = recall(r.Context(), s.small, "", fmt.Sprintf("map %x %v", shows.Sum(nil), say.Region()), func(context.Context) (*web.NetworkMap, int, error) {
		m, err := s.pages.MadeMap(*web.MapOf(say, page.Sites, places), say)
		return m, 2000 + len(m.Written), err
	})
	return err
}

func estimateOr0(e *usage.Estimate) usage.Estimate {
	if e == nil {
		return usage.Estimate{}
	}
	return *e
}

// oddShown is how many open findings a row of the network page shows.
const oddShown = 2

// addOdd adds the first open findings of a site, and how many there are.
func (s *server) addOdd(ctx context.Context, row *networkRow, code string) error {
	findings, err := s.Store.Findings(ctx, code)
	if err != nil {
		return err
	}
	found := openFindings(findings)
	row.open = len(found)
	for i, f := range found {
		if i < oddShown {
			row.odd = append(row.odd, f.Says)
		}
		if f.Pressing() {
			row.press++
		}
	}
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
