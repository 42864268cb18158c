package server

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// visitsShown is how many visits one page of the list shows.
const visitsShown = 100

// visits lists the visits of a site that the address asks for.
func (s *server) visits(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site, q := siteOf(r), r.URL.Query()
	page := web.VisitsPage{
		Base: web.Base{Trail: web.TrailToSite(say, heading(site.Site))}, Site: heading(site.Site),
		Form:     web.VisitForm{From: q.Get("from"), To: q.Get("to"), Weekday: q.Get("weekday"), Hour: q.Get("hour"), Light: q.Get("light")},
		Weekdays: web.WeekdayOptions(say, q.Get("weekday")), Hours: web.HourOptions(say, q.Get("hour")), Lights: web.LightOptions(say, q.Get("light")),
		Notes: web.VisitsNotes(say, site.Site),
	}
	var ask store.VisitPage
	ask, page.Faults = visitsAsked(say, q)
	if len(page.Faults) > 0 {
		return s.send(w, r, http.StatusBadRequest, page)
	}
	ask.Limit = visitsShown
	var err error
	if ask.After, err = afterVisit(q); err != nil {
		return err
	}
	rows, next, count, err := s.Store.Visits(r.Context(), site.Code, ask)
	if err != nil {
		return err
	}
	exposed, err := s.exposedIn(r.Context(), site.Code, ask)
	if err != nil {
		return err
	}
	page.Says = web.VisitsSay(say, count.Timed, count.Untimed, web.Asked{
		From: ask.From, To: ask.To, Weekday: ask.Weekday, Hour: ask.Hour, Light: ask.Light, ExposedS: exposed,
	})
	for _, row := range rows {
		page.Visits = append(page.Visits, visitShown(site.Code, row))
	}
	if next >= 0 {
		page.Next = nextAddress(r.URL, next)
	}
	return s.send(w, r, http.StatusOK, page)
}

// exposedIn returns the recording time over which a list of visits counts, s: that of
// the days asked for, of the weekday asked for. It is 0 where an hour or a light is
// asked for, of which no days tell.
func (s *server) exposedIn(ctx context.Context, code string, ask store.VisitPage) (exposed int64, err error) {
	if ask.Hour != nil || ask.Light != nil {
		return 0, nil
	}
	first, last := firstDate, lastDate
	if ask.From != nil {
		first = *ask.From
	}
	if ask.To != nil {
		last = *ask.To
	}
	days, err := s.Store.Days(ctx, code, first, last)
	for _, d := range days {
		if ask.Weekday == 0 || d.Date.Weekday() == ask.Weekday {
			exposed += int64(d.ExposureS)
		}
	}
	return exposed, err
}

func visitShown(code string, row store.VisitRow) web.Visit {
	v := web.Visit{
		Visit: row.Visit, Href: visitAddress(code, row.Visit), Timed: row.Timed, At: row.At, Earliest: row.Earliest, Latest: row.Latest,
		ErrorS: row.ErrorS, Openings: row.Openings, OpenS: int32(min(row.OpenS, math.MaxInt32)), Unknown: row.Unknown,
	}
	if row.Timed {
		v.Light = row.Light.String()
	}
	return v
}

// visitAddress is where one visit of a site is shown.
func visitAddress(code string, visit int32) string {
	return fmt.Sprintf("/sites/%s/visits/%d", code, visit)
}

// visitsAsked reads which visits an address asks for. A field that is empty asks
// for nothing.
func visitsAsked(say *words.Words, q url.Values) (ask store.VisitPage, faults web.FieldFaults) {
	ask.From, faults = dateField(say, q, "from", faults)
	ask.To, faults = dateField(say, q, "to", faults)
	if ask.From != nil && ask.To != nil && *ask.To < *ask.From {
		faults = append(faults, web.FieldFault{Field: "to", Says: say.Say(web.DatesTurned)})
	}
	if text := q.Get("weekday"); text != "" {
		var err error
		if ask.Weekday, err = strconv.Atoi(text); err != nil || ask.Weekday < 1 || ask.Weekday > 7 {
			faults = append(faults, web.FieldFault{Field: "weekday", Says: say.Say(web.WeekdayUnread)})
		}
	}
	if text := q.Get("hour"); text != "" {
		hour, err := strconv.Atoi(text)
		if err != nil || hour < 0 || hour > 23 {
			faults = append(faults, web.FieldFault{Field: "hour", Says: say.Say(web.HourUnread)})
		}
		ask.Hour = &hour
	}
	if text := q.Get("light"); text != "" {
		light, ok := lightNamed(text)
		if !ok {
			faults = append(faults, web.FieldFault{Field: "light", Says: say.Say(web.LightUnread)})
		}
		ask.Light = &light
	}
	return ask, faults
}

func lightNamed(name string) (usage.Light, bool) {
	for _, light := range []usage.Light{usage.Daylight, usage.Twilight, usage.Dark} {
		if light.String() == name {
			return light, true
		}
	}
	return usage.Daylight, false
}

// afterVisit reads after which visit a page begins; 0 for the first page.
func afterVisit(q url.Values) (int64, error) {
	after, err := afterOf(q)
	return max(after, 0), err
}

// visit shows the openings of one visit.
func (s *server) visit(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site := siteOf(r)
	number, err := strconv.ParseInt(chi.URLParam(r, "visit"), 10, 32)
	if err != nil {
		return notFound("there is no such visit", "Look it up in the list of visits.")
	}
	rows, err := s.Store.VisitOpenings(r.Context(), site.Code, int32(number))
	if err != nil {
		return err
	}
	page := web.VisitPage{
		Base: web.Base{Trail: web.TrailToVisits(say, heading(site.Site))}, Site: heading(site.Site), Visit: int32(number),
		Notes: []web.Note{web.VisitsNotes(say, site.Site)[0], web.AboutNote(say, web.AboutAddress(site.Code))},
	}
	open, unknown, light := int64(0), 0, (*usage.Light)(nil)
	for _, row := range rows {
		page.Openings = append(page.Openings, openingShown(site.Code, row))
		open += usage.EngagedS(row.Opening, site.Thresholds)
		if row.OpenS == usage.Unknown {
			unknown++
		}
	}
	if rows[0].Timed {
		at := usage.NewSun(site.Latitude, site.Longitude).Light(rows[0].At)
		light = &at
	}
	page.Says = web.VisitSays(say, len(rows), open, unknown, light)
	return s.send(w, r, http.StatusOK, page)
}

// visitJSON is one visit. One without a time has no At, ErrorS and Light, and has
// Earliest and Latest instead, null where nothing bounds it.
type visitJSON struct {
	Visit    int32   `json:"visit"`
	At       *string `json:"at"`
	ErrorS   *int32  `json:"error_s"`
	Openings int     `json:"openings"`
	OpenS    *int64  `json:"open_s"` // null where the seconds of an opening are not known
	Light    *string `json:"light"`
	Earliest bound   `json:"earliest,omitzero"`
	Latest   bound   `json:"latest,omitzero"`
}

// apiVisits is a page of visits, with the address of the next in a Link header
// (RFC 8288).
func (s *server) apiVisits(w http.ResponseWriter, r *http.Request) error {
	site, q := siteOf(r), r.URL.Query()
	ask, err := apiVisitsAsked(q)
	if err != nil {
		return err
	}
	face, err := faceOf(site.Site)
	if err != nil {
		return err
	}
	rows, next, _, err := s.Store.Visits(r.Context(), site.Code, ask)
	if err != nil {
		return err
	}
	if next >= 0 {
		w.Header().Set("Link", "<"+nextAddress(r.URL, next)+`>; rel="next"`)
	}
	out := make([]visitJSON, len(rows))
	for i, row := range rows {
		out[i] = visitAsJSON(row, face)
	}
	return sendJSON(w, r, out)
}

// apiVisitsAsked is visitsAsked for a program, which is told at once what is wrong.
func apiVisitsAsked(q url.Values) (store.VisitPage, error) {
	if _, _, err := periodOf(q); err != nil {
		return store.VisitPage{}, err
	}
	ask, faults := visitsAsked(words.English, q)
	if len(faults) > 0 {
		return ask, invalid(fmt.Sprintf("%s=%q cannot be read", faults[0].Field, q.Get(faults[0].Field)), faults[0].Says)
	}
	var err error
	if ask.Limit, err = limitOf(q); err != nil {
		return ask, err
	}
	ask.After, err = afterVisit(q)
	return ask, err
}

func visitAsJSON(row store.VisitRow, face clockface) visitJSON {
	out := visitJSON{Visit: row.Visit, Openings: row.Openings}
	if row.Unknown == 0 {
		out.OpenS = &row.OpenS
	}
	if !row.Timed {
		out.Earliest, out.Latest = bound{true, face.known(row.Earliest)}, bound{true, face.known(row.Latest)}
		return out
	}
	light := row.Light.String()
	out.At, out.ErrorS, out.Light = face.at(row.At), &row.ErrorS, &light
	return out
}
