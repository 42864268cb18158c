package server

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

// shown is what the figures of a site's page are made from.
type shown struct {
	site   store.SiteDetail
	season *usage.Season // nil for all time
	months []usage.MonthTally
	days   []usage.Day
}

func (s *server) shownOf(ctx context.Context, code string, season *usage.Season) (shown, error) {
	out := shown{season: season}
	var err error
	if out.site, err = s.Store.Site(ctx, code); err != nil {
		return out, err
	}
	if out.months, err = s.Store.Months(ctx, code); err != nil {
		return out, err
	}
	data, err := s.Store.SeasonData(ctx, code)
	out.days = data.Days
	return out, err
}

// spread is the dispersion of the days that the page shows: of the season, or of all
// seasons, each by itself.
func (d *shown) spread() usage.Dispersion {
	days := d.days
	if d.season != nil {
		days = usage.DaysBetween(days, d.season.First(), d.season.Last())
	}
	return usage.DispersionOfSeasons(days, usage.HemisphereOf(d.site.Latitude))
}

// panels returns the figures of a site's page as they stand on it: drawn and written
// once after each change of the site, for each season and each region. One that cannot
// be drawn says so in its place, leaves the others alone and is tried again.
func (s *server) panels(ctx context.Context, code string, season *usage.Season, w *words.Words) ([]web.Panel, error) {
	if s.Charts == nil {
		return nil, nil
	}
	if chart.Wanted(ctx) != nil {
		data, err := s.shownOf(ctx, code, season)
		if err == nil {
			s.drawPanels(ctx, w, data)
		}
		return nil, err
	}
	what := "panels"
	if season != nil {
		what += " " + season.String()
	}
	return recall(ctx, s.large, code, fmt.Sprint(what, w.Region()), func(ctx context.Context) ([]web.Panel, int, error) {
		data, err := s.shownOf(ctx, code, season)
		if err != nil || len(data.months) == 0 {
			return nil, 100, err
		}
		panels := s.drawPanels(ctx, w, data)
		bytes := 0
		for i := range panels {
			problem := panels[i].Problem != ""
			if panels[i], err = s.pages.Made(panels[i], w); err != nil {
				return nil, 0, err
			}
			if bytes += 500 + len(panels[i].Written); problem {
				bytes = -1 << 40
			}
		}
		return panels, bytes, nil
	})
}

// sketch is a panel to be drawn.
type sketch struct {
	id, title string
	draw      func(id string) (chart.Figure, error)
	notes     []web.Note
}

// safely draws. What breaks down is an error: it runs beside the request, where nothing
// else would catch it.
func (k sketch) safely() (figure chart.Figure, err error) {
	defer func() {
		if broken := recover(); broken != nil {
			err = fmt.Errorf("drawing broke down: %v", broken)
		}
	}()
	return k.draw(k.id)
}

// drawPanels draws all panels side by side.
func (s *server) drawPanels(ctx context.Context, w *words.Words, data shown) []web.Panel {
	sketches := s.sketches(ctx, w, data)
	panels := make([]web.Panel, len(sketches))
	var all sync.WaitGroup
	for i, k := range sketches {
		all.Go(func() { panels[i] = s.drawn(w, data.site.Code, k) })
	}
	all.Wait()
	return panels
}

func (s *server) drawn(w *words.Words, code string, k sketch) web.Panel {
	figure, err := k.safely()
	panel := web.Panel{Figure: figure, Notes: append(slices.Clip(k.notes), web.AboutNote(w, web.AboutAddress(code)))}
	if err != nil {
		s.Log.Warn("draw chart", "chart", k.id, "site", code, "err", err)
		panel.ID, panel.Problem = k.id, w.Say(web.ChartMissing)
		if panel.Title == "" {
			panel.Title = k.title
		}
	}
	return panel
}

func (s *server) sketches(ctx context.Context, w *words.Words, data shown) []sketch {
	code := data.site.Code
	pattern := usage.PatternOf(code, data.season, data.months)
	charts := s.Charts.In(w).Dispersed(data.spread()).Linked(visitLink(code, data.season))
	south := usage.HemisphereOf(data.site.Latitude) == usage.South
	var all []sketch
	if pattern.ExposureH > 0 {
		all = append(all,
			sketch{"by-hour", w.Say(web.TitleByHour), func(id string) (chart.Figure, error) { return charts.ByHour(ctx, id, pattern) }, web.PatternNotes(w, pattern)},
			sketch{"by-weekday", w.Say(web.TitleByWeekday), func(id string) (chart.Figure, error) { return charts.ByWeekday(ctx, id, pattern) }, web.WeekdayNotes(w)},
			sketch{"week", w.Say(web.TitleWeek), func(id string) (chart.Figure, error) { return charts.HourByWeekday(ctx, id, pattern) }, web.WeekNotes(w)})
	}
	return append(all,
		sketch{"by-month", w.Say(web.TitleByMonth), func(id string) (chart.Figure, error) { return charts.ByMonth(ctx, id, data.months) }, web.MonthNotes(w, data.season != nil)},
		sketch{"by-season", w.Say(web.TitleBySeason), func(id string) (chart.Figure, error) { return charts.BySeason(ctx, id, data.months, south) }, web.SeasonNotes(w)},
		sketch{"timeline", w.Say(web.TitleTimeline), func(id string) (chart.Figure, error) { return charts.Timeline(ctx, id, data.days) }, web.TimelineNotes(w, code)})
}
