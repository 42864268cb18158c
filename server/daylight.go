package server

import (
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

// daylight shows visits against sunrise and sunset.
func (s *server) daylight(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site := siteOf(r)
	page := web.DaylightPage{Base: web.Base{Trail: web.TrailToSite(say, heading(site.Site))}, Site: heading(site.Site)}
	outlook, err := s.Store.Outlook(r.Context(), site.Code)
	if err != nil {
		return err
	}
	shares, err := usage.DaylightShares(site.Site, outlook.Visits)
	if err != nil {
		return err
	}
	all := shares[len(shares)-1]
	page.Lead = web.DaylightLead(say, all)
	if all.Visits > 0 {
		page.Mind = web.DaylightMinds(say, all)
		page.Rows = daylightRows(say, site.Code, shares)
	}
	if len(outlook.Days) > 0 && s.Charts != nil {
		in := chart.DaylightIn{Site: site.Site, Visits: outlook.Visits, Days: outlook.Days}
		in.From, in.To, page.Years = daylightYear(say, outlook, r.URL)
		page.Panel = s.panel(r, "daylight", say.Say("Visits against the sun"), func() (chart.Figure, error) {
			return s.Charts.In(say).Daylight(r.Context(), "daylight", in)
		})
		page.Panel.Table.Links = visitLinks(site.Code, page.Panel.Table.Visits, nil)
	}
	return s.send(w, r, http.StatusOK, page)
}

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
func daylightYear(say *words.Words, o store.Outlook, u *url.URL) (from, to usage.Date, links []web.Link) {
	first, last := o.Days[0].Date, o.Days[len(o.Days)-1].Date
	from, to = last-364, last
	firstYear, _, _ := first.YMD()
	lastYear, _, _ := last.YMD()
	asked, _ := strconv.Atoi(u.Query().Get("year"))
	if asked >= firstYear && asked <= lastYear {
		from, to = usage.DateOf(asked, time.January, 1), usage.DateOf(asked, time.December, 31)
	} else {
		asked = 0
	}
	links = []web.Link{{Href: u.EscapedPath(), Text: say.Say("The last twelve months"), Here: asked == 0}}
	for year := lastYear; year >= firstYear; year-- {
		links = append(links, web.Link{Href: fmt.Sprintf("%s?year=%d", u.EscapedPath(), year), Text: strconv.Itoa(year), Here: year == asked})
	}
	return from, to, links
}
