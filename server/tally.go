package server

import (
	"context"
	"unsafe"

	"golang.org/x/sync/errgroup"

	"doorleaf/store"
	"doorleaf/usage"
)

// tally is what the pages of all boxes say of one box: small, where the days that it is
// made from are many.
type tally struct {
	seasons []usage.Season // in which it recorded anything, ascending
	exposed []int64        // recording in each, s
	figures map[usage.Season]usage.SeasonFigures
	told    []usage.Season // of which months tell anything
	weekly  usage.Sum      // visits a week of all time
	first   *usage.Date    // of its days; nil without any
	last    *usage.Date
}

// figuresBytes is about how much memory the figures of a season take.
const figuresBytes = int(unsafe.Sizeof(usage.SeasonFigures{})) + 700

// tally returns the tally of a site. All that it is made from is read anew, since what
// the caller has read may be older than the number under which it is kept.
func (s *server) tally(ctx context.Context, code string) (*tally, error) {
	return recall(ctx, s.small, code, "tally", func(ctx context.Context) (*tally, int, error) {
		site, err := s.Store.Site(ctx, code)
		if err != nil {
			return nil, 0, err
		}
		data, err := s.Store.SeasonData(ctx, code)
		if err != nil {
			return nil, 0, err
		}
		months, err := s.Store.Months(ctx, code)
		if err != nil {
			return nil, 0, err
		}
		t, err := tallyOf(site.Site, data, months)
		return t, 500 + len(t.figures)*figuresBytes, err
	})
}

func tallyOf(site usage.Site, data usage.SeasonData, months []usage.MonthTally) (*tally, error) {
	half := usage.HemisphereOf(site.Latitude)
	t := &tally{figures: map[usage.Season]usage.SeasonFigures{}}
	for _, d := range data.Days {
		n := len(t.seasons)
		if d.ExposureS == 0 {
			continue
		}
		if n == 0 || d.Date > t.seasons[n-1].Last() {
			t.seasons, t.exposed = append(t.seasons, usage.SeasonOf(d.Date, half)), append(t.exposed, 0)
			n++
		}
		t.exposed[n-1] += int64(d.ExposureS)
	}
	for _, season := range t.seasons {
		var err error
		if t.figures[season], err = usage.SeasonFiguresOf(site, season, data); err != nil {
			return t, err
		}
	}
	for _, sum := range usage.BySeason(months, half) {
		t.told = append(t.told, sum.Season)
	}
	t.weekly = usage.DispersionOfSeasons(data.Days, half).Weekly(months)
	if n := len(data.Days); n > 0 {
		first, last := data.Days[0].Date, data.Days[n-1].Date // no pointers into the days, which would hold them all
		t.first, t.last = &first, &last
	}
	return t, nil
}

// in returns the figures of a season. Where nothing was recorded they are those of no
// data.
func (t *tally) in(site usage.Site, season usage.Season) (usage.SeasonFigures, error) {
	if f, ok := t.figures[season]; ok {
		return f, nil
	}
	return usage.SeasonFiguresOf(site, season, usage.SeasonData{})
}

// sitesAtOnce is how many sites are worked out at the same time where a page shows all.
const sitesAtOnce = 4

// forEach works something out for each site, several at a time.
func forEach(ctx context.Context, sites []store.SiteSummary, work func(ctx context.Context, i int, code string) error) error {
	all, ctx := errgroup.WithContext(ctx)
	all.SetLimit(sitesAtOnce)
	for i, site := range sites {
		all.Go(func() error { return work(ctx, i, site.Code) })
	}
	return all.Wait()
}
