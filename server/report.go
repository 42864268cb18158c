package server

import (
	"context"
	"fmt"
	"time"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/report"
)

// SeasonReport returns all that a season report says, for the whole network or,
// if code is not "", for one site. Errors: a name that is no season, or a site
// that is not there, as usage.Fault.
func SeasonReport(ctx context.Context, network Network, now func() time.Time, season, code string) (report.Season, error) {
	s := &server{Config: Config{Store: network, Now: now}}
	all, err := s.allSeasons(ctx)
	if err != nil {
		return report.Season{}, err
	}
	if code != "" {
		if _, err := network.Site(ctx, code); err != nil {
			return report.Season{}, err
		}
	}
	n, err := s.seasonNamed(season, all)
	if err != nil {
		return report.Season{}, err
	}
	out := figuresFor(n)
	out.OneSite = code != ""
	out.Made = usage.DateOf(s.Now().UTC().Date())
	out.Sites = nil
	var months []usage.MonthTally
	for _, site := range n.sites {
		if code != "" && site.Code != code {
			continue
		}
		r, tallies, err := s.siteReport(ctx, site)
		if err != nil {
			return report.Season{}, fmt.Errorf("report on %s: %w", site.Code, err)
		}
		out.Sites = append(out.Sites, r)
		months = append(months, tallies...)
	}
	if out.OneSite && len(out.Sites) == 1 {
		out.Network = out.Sites[0].Figures
	}
	out.Pattern = usage.PatternOf("", nil, months)
	out.Sentence = web.SeasonSentences(out.Title, out.Network, len(out.Sites))
	return out, nil
}

// siteReport is one site's part of a season report, with its tallies of the season.
func (s *server) siteReport(ctx context.Context, site siteFigures) (report.Site, []usage.MonthTally, error) {
	r := report.Site{Site: site.Site, Figures: site.figures}
	all, err := s.Store.Months(ctx, site.Code)
	if err != nil {
		return r, nil, err
	}
	months := usage.InSeason(all, site.season)
	r.Pattern = usage.PatternOf(site.Code, nil, months)
	if r.Days, err = s.Store.Days(ctx, site.Code, site.season.First(), site.season.Last()); err != nil {
		return r, nil, err
	}
	findings, err := s.Store.Findings(ctx, site.Code)
	if err != nil {
		return r, nil, err
	}
	for _, f := range findings {
		touches, err := touchingSeason(site.Site, []usage.Finding{f}, site.season)
		if err != nil {
			return r, nil, err
		}
		if touches > 0 {
			r.Findings = append(r.Findings, f)
		}
	}
	return r, months, s.addCalls(ctx, &r, site.season)
}

// addCalls enters the service calls and the coverage of the season.
func (s *server) addCalls(ctx context.Context, r *report.Site, season usage.Season) error {
	zone, err := usage.LoadZone(r.Zone)
	if err != nil {
		return err
	}
	from, to := zone.StartOfDay(season.First()), zone.StartOfDay(season.Last()+1)
	calls, err := s.Store.Calls(ctx, r.Code)
	if err != nil {
		return err
	}
	for _, c := range calls {
		if c.At >= from && c.At < to {
			r.Calls = append(r.Calls, c)
		}
	}
	detail, err := s.Store.Site(ctx, r.Code)
	if err != nil {
		return err
	}
	for _, st := range detail.Coverage {
		if st.From < to && st.To > from {
			r.Coverage = append(r.Coverage, st)
		}
	}
	return nil
}
