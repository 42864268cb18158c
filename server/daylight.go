package server

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

// daylight shows visits against sunrise and sunset. It goes along all visits, once after
// each change of the site.
func (s *server) daylight(w http.ResponseWriter, r *http.Request) error {
	say, code := s.words(r.Context()), siteOf(r).Code
	year, err := strconv.Atoi(r.URL.Query().Get("year"))
	if err != nil || year < 1970 || year > 9999 {
		year = 0
	}
	page, err := recall(r.Context(), s.large, code, fmt.Sprint("daylight ", year, say.Region()), func(ctx context.Context) (web.DaylightPage, int, error) {
		return s.daylightPage(ctx, say, code, year)
	})
	if err != nil {
		return err
	}
	return s.send(w, r, http.StatusOK, page)
}

// daylightPage makes the page with the chart of a year, or of the last twelve months
// where year is 0 or has no data, and says about how many bytes it takes.
func (s *server) daylightPage(ctx context.Context, say *words.Words, code string, year int) (page web.DaylightPage, bytes int, err error) {
	site, err := s.Store.Site(ctx, code)
	if err != nil {
		return page, 0, err
	}
	page = web.DaylightPage{Base: web.Base{Trail: web.TrailToSite(say, heading(site.Site))}, Site: heading(site.Site)}
	outlook, err := s.Store.Outlook(ctx, code)
	if err != nil {
		return page, 0, err
	}
	shares, err := usage.DaylightShares(site.Site, outlook.Visits)
	if err != nil {
		return page, 0, err
	}
	all := shares[len(shares)-1]
	page.Lead = web.DaylightLead(say, all)
	if all.Visits > 0 {
		page.Mind = web.DaylightMinds(say, all)
		page.Rows = daylightRows(say, code, shares)
	}
	if len(outlook.Days) == 0 || s.Charts == nil {
		return page, pageBytes, nil
	}
	in := chart.DaylightIn{Site: site.Site, Visits: outlook.Visits, Days: outlook.Days}
	in.From, in.To, page.Years = daylightYear(say, outlook, "/sites/"+code+"/daylight", year)
	drawn := s.panel(say, code, "daylight", say.Say("Visits against the sun"), func() (chart.Figure, error) {
		return s.Charts.In(say).Daylight(ctx, "daylight", in)
	})
	drawn.Table.Links = visitLinks(code, drawn.Table.Visits, nil)
	if drawn.Problem != "" {
		page.Panel = drawn
		return page, -1, nil // it is tried again
	}
	made, err := s.pages.Made(*drawn, say)
	page.Panel = &made
	return page, pageBytes + len(made.Written), err
}

// pageBytes is about what a page takes beside its figures.
const pageBytes = 8000

// daylightRows writes the seasons, the latest first, and all time.
func daylightRows(say *words.Words, code string, shares []usage.DaylightShare) []web.DaylightRow {
	var rows []web.DaylightRow
	for i := len(shares) - 1; i >= 0; i-- {
		d := shares[i]
		row := web.DaylightRow{Season: say.Say(web.AllTime), Visits: d.Visits, Counts: d.Counts, Shares: d.Shares, EitherSide: d.EitherSide}
		q := url.Values{"light": {"dark"}}
		if d.Season != nil {
			row.Season = say.Season(*d.Season)
			q.Set("from", d.Season.First().String())
			q.Set("to", d.Season.Last().String())
		}
		row.Href = "/sites/" + code + "/visits?" + q.Encode()
		rows = append(rows, row)
	}
	return append(rows[1:], rows[0])
}

// daylightYear returns the dates that the chart shows: a calendar year that was asked
// for, or else the twelve months up to the last date with data; and links to others.
func daylightYear(say *words.Words, o store.Outlook, path string, asked int) (from, to usage.Date, links []web.Link) {
	first, last := o.Days[0].Date, o.Days[len(o.Days)-1].Date
	from, to = last-364, last
	firstYear, _, _ := first.YMD()
	lastYear, _, _ := last.YMD()
	if asked >= firstYear && asked <= lastYear {
		from, to = usage.DateOf(asked, time.January, 1), usage.DateOf(asked, time.December, 31)
	} else {
		asked = 0
	}
	links = []web.Link{{Href: path, Text: say.Say("The last twelve months"), Here: asked == 0}}
	for year := lastYear; year >= firstYear; year-- {
		links = append(links, web.Link{Href: fmt.Sprintf("%s?year=%d", path, year), Text: strconv.Itoa(year), Here: year == asked})
	}
	return from, to, links
}
