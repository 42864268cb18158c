package server

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"github.com/go-chi/chi/v5"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

func (s *server) routeCompare(r chi.Router) {
	r.Get("/compare", s.do(s.compare))
}

// compare sets seasons of sites side by side: every season that the address names of
// every site that it names, the first of them being what the others are set against.
// An address of several sites and no season is sent on to the one with the latest
// season that they have in common, so that it shows the same next year.
func (s *server) compare(w http.ResponseWriter, r *http.Request) error {
	all, err := s.allSeasons(r.Context())
	if err != nil {
		return err
	}
	q := r.URL.Query()
	sites, err := sitesAsked(q["site"], all)
	if err != nil {
		return err
	}
	seasons := unique(q["season"])
	if len(sites) > 1 && len(seasons) == 0 {
		if name := commonSeason(sites); name != "" {
			http.Redirect(w, r, compareAddress(sites, name), http.StatusSeeOther)
			return nil
		}
	}
	sides, err := s.sidesOf(r.Context(), sites, seasons, all)
	if err != nil {
		return err
	}
	page, err := s.comparePage(r.Context(), sides)
	if err != nil {
		return err
	}
	page.Sites, page.Seasons = siteTicks(all, sites), seasonTicks(s.words(r.Context()), all, sites, seasons)
	return s.send(w, r, http.StatusOK, page)
}

func unique(words []string) (once []string) {
	for _, w := range words {
		if w != "" && !slices.Contains(once, w) {
			once = append(once, w)
		}
	}
	return once
}

func compareAddress(sites []siteSeasons, season string) string {
	q := url.Values{"season": {season}}
	for _, site := range sites {
		q.Add("site", site.Code)
	}
	return "/compare?" + q.Encode()
}

// sitesAsked returns the sites of the given codes, in their order.
func sitesAsked(codes []string, all []siteSeasons) (sites []siteSeasons, err error) {
	for _, code := range unique(codes) {
		i := slices.IndexFunc(all, func(site siteSeasons) bool { return site.Code == code })
		if i < 0 {
			return nil, notFound(fmt.Sprintf("there is no site %q to compare", shortText(code)), "Choose the boxes again.")
		}
		sites = append(sites, all[i])
	}
	return sites, nil
}

// commonSeason is the latest season in which the most of the sites recorded
// web.GlanceDays or more, or where there is none, anything at all; "" where none did.
func commonSeason(sites []siteSeasons) (name string) {
	for _, least := range []int64{web.GlanceDays * 86400, 1} {
		count := map[string]int{}
		for _, site := range sites {
			for season, exposureS := range exposureBySeason(site) {
				if exposureS >= least {
					count[season]++
				}
			}
		}
		for _, n := range seasonNames(sites) { // the latest first
			if count[n] > count[name] {
				name = n
			}
		}
		if name != "" {
			return name
		}
	}
	return ""
}

// exposureBySeason sums a site's exposure, s, by the name of the season.
func exposureBySeason(site siteSeasons) map[string]int64 {
	sums := map[string]int64{}
	for i, season := range site.tally.seasons {
		sums[season.String()] = site.tally.exposed[i]
	}
	return sums
}

// comparedSide is one side with the figures of its season.
type comparedSide struct {
	usage.Side
	figures usage.SeasonFigures
}

// sidesOf returns the given seasons of the sites, the earliest first. A season that
// is not of a site's half of the world is left out there.
func (s *server) sidesOf(ctx context.Context, sites []siteSeasons, names []string, all []siteSeasons) ([]comparedSide, error) {
	for _, name := range names {
		if err := checkSeason(name, all); err != nil {
			return nil, err
		}
	}
	if n := len(sites) * len(names); n > web.CompareMost {
		return nil, invalid(fmt.Sprintf("%d sides are too many to set side by side", n), fmt.Sprintf("Choose %d at most: boxes times seasons.", web.CompareMost))
	}
	var sides []comparedSide
	for _, site := range sites {
		data, err := s.Store.SeasonData(ctx, site.Code)
		if err != nil {
			return nil, err
		}
		var seasons []usage.Season
		for _, name := range names {
			if season, err := usage.ParseSeason(name, site.hemisphere()); err == nil {
				seasons = append(seasons, season)
			}
		}
		slices.SortFunc(seasons, func(a, b usage.Season) int { return cmp.Compare(a.Start, b.Start) })
		for _, season := range seasons {
			f, err := site.tally.in(site.Site, season)
			if err != nil {
				return nil, err
			}
			sides = append(sides, comparedSide{usage.Side{Site: site.Site, Season: season, Data: data}, f})
		}
	}
	return sides, nil
}

// comparePage is the page without its form.
func (s *server) comparePage(ctx context.Context, sides []comparedSide) (web.ComparePage, error) {
	say := s.words(ctx)
	page := web.ComparePage{Base: web.Base{Trail: web.TrailToNetwork(say)}}
	if len(sides) < 2 {
		page.Lead = web.CompareLead(say, nil)
		return page, nil
	}
	names := sideNames(s.words(ctx), sides)
	for i, side := range sides {
		row := web.CompareSide{
			Site: heading(side.Site), Name: names[i], First: i == 0, Figures: side.figures,
			Href:   "/sites/" + side.Site.Code + "?season=" + side.Season.String(),
			Visits: seasonVisits(side.Site.Code, side.Season),
		}
		if i > 0 {
			var err error
			if row.Ratio, row.Shared, err = usage.RatioBetween(side.Side, sides[0].Side); err != nil {
				return page, err
			}
			row.Says = web.RatioSays(say, names[i], names[0], row.Ratio, row.Shared)
		}
		page.Sides = append(page.Sides, row)
	}
	page.Lead, page.Notes = web.CompareLead(say, page.Sides), web.CompareNotes(say, page.Sides)
	return page, s.addHours(ctx, &page, sides)
}

func sideNames(say *words.Words, sides []comparedSide) []string {
	sites, seasons := make([]string, len(sides)), make([]string, len(sides))
	for i, side := range sides {
		sites[i], seasons[i] = side.Site.Name, say.Season(side.Season)
	}
	return web.SideNames(sites, seasons)
}

// addHours draws the hours of the day of all sides on one scale.
func (s *server) addHours(ctx context.Context, page *web.ComparePage, sides []comparedSide) error {
	say := s.words(ctx)
	if s.Charts == nil {
		page.Problem = say.Say(web.ChartMissing)
		return nil
	}
	hours := make([]chart.HourSide, len(sides))
	for i, side := range sides {
		months, err := s.Store.Months(ctx, side.Site.Code)
		if err != nil {
			return err
		}
		hours[i] = chart.HourSide{
			ID: fmt.Sprintf("side-%d", i+1), Name: web.Visible(page.Sides[i].Name),
			Pattern: usage.PatternOf(side.Site.Code, &side.Season, months),
			Days:    usage.DispersionOf(daysIn(side)),
			Link:    visitLink(side.Site.Code, &side.Season),
		}
	}
	figures, err := s.Charts.In(say).HoursTogether(ctx, hours)
	if err != nil {
		s.Log.Warn("draw chart", "chart", "hours side by side", "err", err)
		page.Problem = say.Say(web.ChartMissing)
		return nil
	}
	for _, f := range figures {
		page.Panels = append(page.Panels, web.Panel{Figure: f})
	}
	return nil
}

// daysIn are the days of a side's season.
func daysIn(side comparedSide) (days []usage.Day) {
	for _, d := range side.Data.Days {
		if d.Date >= side.Season.First() && d.Date <= side.Season.Last() {
			days = append(days, d)
		}
	}
	return days
}

func siteTicks(all, chosen []siteSeasons) []web.Option {
	options := make([]web.Option, len(all))
	for i, site := range all {
		options[i] = web.Option{Value: site.Code, Says: site.Name,
			Chosen: slices.ContainsFunc(chosen, func(c siteSeasons) bool { return c.Code == site.Code })}
	}
	return options
}

// seasonTicks are the seasons in which the chosen sites, or all where none is
// chosen, recorded anything, and those asked for, the latest first.
func seasonTicks(say *words.Words, all, chosen []siteSeasons, asked []string) (options []web.Option) {
	from := chosen
	if len(from) == 0 {
		from = all
	}
	names := seasonNames(from)
	for _, name := range asked {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	for _, name := range names {
		options = append(options, web.Option{Value: name, Says: seasonWordsOf(say, name), Chosen: slices.Contains(asked, name)})
	}
	return options
}
