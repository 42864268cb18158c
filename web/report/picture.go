package report

import (
	"context"
	"fmt"
	"html/template"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
)

// Drawing is what a report needs to be drawn.
type Drawing struct {
	Charts *chart.Maker // draws the pictures, the same as those of the pages

	// Progress is told how many pictures of how many are drawn; nil: nobody is.
	// It is called by one goroutine at a time.
	Progress func(done, all int)
}

// picture is a chart with what it says.
type picture struct {
	Title, Says string
	SVG         template.HTML
}

// The most boxes of which the rates are drawn side by side: as many rows as one
// page holds in letters that can be read. Of more the table tells.
const mostSideBySide = 24

// sketch is a picture that is still to be drawn.
type sketch struct {
	to   *picture
	what string
	draw func(ctx context.Context) (chart.Figure, error)
	wide bool
}

// illustrated is the document of a season with its pictures.
func (d Drawing) illustrated(ctx context.Context, s Season) (*document, error) {
	doc := documentOf(s)
	if d.Charts == nil {
		return nil, &usage.Fault{Kind: usage.Conflict, What: "a season report cannot be drawn: charts are missing", Try: "make build"}
	}
	sketches := d.sketches(doc, s)
	var mu sync.Mutex
	done := 0
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for _, k := range sketches {
		group.Go(func() error {
			if err := k.finish(ctx); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			if done++; d.Progress != nil {
				d.Progress(done, len(sketches))
			}
			return nil
		})
	}
	return doc, group.Wait()
}

func (k sketch) finish(ctx context.Context) error {
	f, err := k.draw(ctx)
	if err != nil {
		return fmt.Errorf("draw %s: %w", k.what, err)
	}
	k.to.Title, k.to.Says, k.to.SVG = f.Title, f.Says, f.Narrow
	if k.wide {
		k.to.SVG = f.Wide
	}
	return nil
}

// sketches are the pictures of a document, which gets room for them.
func (d Drawing) sketches(doc *document, s Season) (out []sketch) {
	charts := d.Charts.In(s.words())
	wide, narrow := charts.OnPaper(chart.WideOnly), charts.OnPaper(chart.NarrowOnly)
	if s.Pattern.ExposureH > 0 {
		doc.Picture = &picture{}
		out = append(out, sketch{doc.Picture, "hours of the week", func(ctx context.Context) (chart.Figure, error) {
			return wide.HourByWeekday(ctx, "week", s.Pattern)
		}, true})
	}
	sites := s.reported()
	if s.OneSite && len(sites) == 1 {
		doc.Own = make([]picture, 2)
		return append(out, siteSketches(sites[0], doc.Own, wide, true)...)
	}
	if n := len(sites); n > 1 && n <= mostSideBySide && s.boxes() > 0 {
		doc.SideBy = &picture{}
		out = append(out, sketch{doc.SideBy, "boxes side by side", func(ctx context.Context) (chart.Figure, error) {
			return wide.BySite(ctx, "by-site", s.Title, siteRates(sites))
		}, true})
	}
	for i := range doc.Each {
		if doc.Each[i].Key == nil {
			continue
		}
		doc.Each[i].Pictures = make([]picture, 2)
		out = append(out, siteSketches(sites[i], doc.Each[i].Pictures, narrow, false)...)
	}
	return out
}

func siteRates(sites []Site) []chart.SiteRate {
	rates := make([]chart.SiteRate, len(sites))
	for i, site := range sites {
		f := site.Figures
		rates[i] = chart.SiteRate{Name: web.Visible(site.Name), Visits: f.Counted, ExposureH: f.CoveredDays * 24, Weekly: web.Weekly(f.PerDay)}
	}
	return rates
}

// siteSketches are the two pictures of a site: the hours of the day, and the weeks
// of the season with their gaps.
func siteSketches(site Site, to []picture, m *chart.Maker, wide bool) []sketch {
	m = m.Dispersed(usage.DispersionOfSeasons(site.Days, usage.HemisphereOf(site.Latitude)))
	return []sketch{
		{&to[0], site.Code + " by hour", func(ctx context.Context) (chart.Figure, error) {
			return m.ByHour(ctx, "by-hour", site.Pattern)
		}, wide},
		{&to[1], site.Code + " by week", func(ctx context.Context) (chart.Figure, error) {
			return m.Timeline(ctx, "timeline", site.framed())
		}, wide},
	}
}

// framed are the days of a site with the first and the last of its window, so that
// gaps at the ends are drawn too.
func (s Site) framed() []usage.Day {
	w, ok := s.window()
	if !ok {
		return s.Days
	}
	days := []usage.Day{{Date: w.from}}
	for _, d := range s.Days {
		if d.Date >= w.from && d.Date <= w.to {
			days = append(days, d)
		}
	}
	return append(days, usage.Day{Date: w.to}) // the same date twice adds up
}
