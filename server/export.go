package server

import (
	"context"
	"time"

	"doorleaf/web"
	"doorleaf/web/report"
)

// SeasonFigures returns the figures of the named seasons of a network, or of all
// that have any, the latest first: the same as those of the season pages. What
// else a report.Season can hold is left empty. The error for a name that is no
// season is a usage.Fault.
func SeasonFigures(ctx context.Context, network Network, now func() time.Time, names ...string) ([]report.Season, error) {
	s := &server{Config: Config{Store: network, Now: now}}
	all, err := s.allSeasons(ctx)
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		names = seasonNames(all)
	}
	seasons := make([]report.Season, len(names))
	for i, name := range names {
		n, err := s.seasonNamed(name, all)
		if err != nil {
			return nil, err
		}
		seasons[i] = figuresFor(n)
	}
	return seasons, nil
}

func figuresFor(n networkSeason) report.Season {
	out := report.Season{Name: n.name, Title: web.SeasonWords(n.season), Network: n.figures}
	for _, site := range n.sites {
		out.Sites = append(out.Sites, report.Site{Site: site.Site, Figures: site.figures})
	}
	return out
}
