package server

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeRound(r chi.Router) {
	r.Get("/round", s.do(s.round))
	r.Get("/round.ics", s.do(s.roundCalendar))
	r.Get("/round/done", s.do(s.roundForm))
	r.Post("/round/done", s.do(s.keepRound))
	r.Get("/round/kept", s.do(s.roundKept))
	r.Post("/round/undo", s.do(s.undoRound))
}

// RoundAsk says which round is to be planned.
type RoundAsk struct {
	Rule  usage.RoundRule
	From  string   // where it starts: a site's code, or "latitude,longitude"; "": wherever is best
	Back  bool     // and ends
	Sites []string // codes; nil: those at which something is due
}

// RoundPlan is a round: the sites in the order worth walking.
type RoundPlan struct {
	Start  *usage.Point // nil: wherever makes it shortest
	Back   bool
	Stops  []RoundStop
	Others []RoundStop // sites that are not on it
	Metres float64     // along great circles, the way from Start and back included
	Exact  bool        // no order is shorter
	Rule   usage.RoundRule
	At     int64 // Unix s at which it was planned
}

// RoundStop is one site of a round.
type RoundStop struct {
	Site  usage.Site
	Today usage.Date  // at the site
	Dues  []usage.Due // of all time, ascending by date
	Take  []usage.Due // those that this round takes along
	LegM  float64     // straight metres from the stop before, or the start; 0 for the first without one
}

// Point is where the site stands.
func (s RoundStop) Point() usage.Point {
	return usage.Point{Latitude: s.Site.Latitude, Longitude: s.Site.Longitude}
}

// PlanRound plans a round. Errors: a start that is neither a site nor a position, a
// site that there is not, or a rule that makes no sense, as usage.Fault.
func PlanRound(ctx context.Context, network Network, now func() time.Time, ask RoundAsk) (RoundPlan, error) {
	plan := RoundPlan{Back: ask.Back, Rule: ask.Rule, At: now().Unix()}
	sites, err := network.Sites(ctx)
	if err != nil {
		return plan, err
	}
	if err := checkChosen(sites, ask.Sites); err != nil {
		return plan, err
	}
	if plan.Start, err = startOf(sites, ask.From); err != nil {
		return plan, err
	}
	var stops []RoundStop
	for _, site := range sites {
		stop, err := roundStop(ctx, network, site, plan.At, ask.Rule)
		if err != nil {
			return plan, err
		}
		if ask.Sites == nil && len(stop.Take) > 0 || slices.Contains(ask.Sites, site.Code) {
			stops = append(stops, stop)
		} else {
			plan.Others = append(plan.Others, stop)
		}
	}
	plan.walk(stops)
	return plan, nil
}

// walk puts the stops in the order of a short walk.
func (p *RoundPlan) walk(stops []RoundStop) {
	points := make([]usage.Point, len(stops))
	for i := range stops {
		points[i] = stops[i].Point()
	}
	route := usage.ShortestRoute(p.Start, points, p.Back)
	p.Metres, p.Exact, p.Stops = route.Metres, route.Exact, []RoundStop{}
	before := p.Start
	for _, i := range route.Order {
		stop := stops[i]
		if before != nil {
			stop.LegM = usage.Distance(*before, points[i])
		}
		before = &points[i]
		p.Stops = append(p.Stops, stop)
	}
}

func checkChosen(sites []store.SiteSummary, chosen []string) error {
	for _, code := range chosen {
		if !slices.ContainsFunc(sites, func(s store.SiteSummary) bool { return s.Code == code }) {
			return notFound(fmt.Sprintf("there is no site %q to go to", code), "Choose the sites again.")
		}
	}
	return nil
}

// startOf reads where a round starts; nil for "".
func startOf(sites []store.SiteSummary, from string) (*usage.Point, error) {
	if from == "" {
		return nil, nil
	}
	for _, s := range sites {
		if strings.EqualFold(s.Code, from) {
			return &usage.Point{Latitude: s.Latitude, Longitude: s.Longitude}, nil
		}
	}
	north, east, both := strings.Cut(from, ",")
	latitude, ok := degrees(strings.TrimSpace(north), 90)
	longitude, too := degrees(strings.TrimSpace(east), 180)
	if !both || !ok || !too {
		return nil, invalid(fmt.Sprintf("a round cannot start at %q", from), "Give the code of a site, or latitude and longitude in degrees with a comma between, such as 52.1,-8.2.")
	}
	return &usage.Point{Latitude: latitude, Longitude: longitude}, nil
}

// roundStop works out what is due at a site.
func roundStop(ctx context.Context, network Network, site store.SiteSummary, now int64, rule usage.RoundRule) (RoundStop, error) {
	stop := RoundStop{Site: site.Site}
	in := usage.RoundIn{Site: site.Site, ReadAt: site.LastCardAt, Questions: site.OpenFindings, Now: now}
	ask := network.Outlook
	if kept, ok := network.(remembering); ok {
		ask = kept.roundOutlook
	}
	outlook, err := ask(ctx, site.Code)
	if err != nil {
		return stop, err
	}
	in.Calls = outlook.Calls
	if in.Clock, err = network.ClockError(ctx, site.Code); err != nil {
		return stop, err
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return stop, err
	}
	if err := addPower(&in, outlook, zone); err != nil {
		return stop, err
	}
	if err := addShelf(&in, outlook); err != nil {
		return stop, err
	}
	if stop.Dues, err = usage.Dues(in, rule); err != nil {
		return stop, err
	}
	stop.Today, _ = zone.Civil(now)
	stop.Take = rule.Within(stop.Dues, stop.Today)
	return stop, nil
}

// addPower adds the dates by which batteries, coin cell and memory want a hand.
func addPower(in *usage.RoundIn, outlook store.Outlook, zone *usage.Zone) error {
	power, err := powerBy(outlook, in.Now)
	if err != nil || power.pack == nil {
		return err
	}
	if in.Batteries = power.pack.ActBy; power.pack.Stopped != nil {
		stopped, _ := zone.Civil(*power.pack.Stopped)
		in.Batteries = &stopped
	}
	in.Coin = power.coin.ActBy
	if power.wear.Wears {
		in.Counter = power.wear.ActBy
	}
	return nil
}

// addShelf adds the date on which the shelf is likely to be empty, where books were
// counted twice.
func addShelf(in *usage.RoundIn, outlook store.Outlook) error {
	if !countedTwice(outlook.Calls) {
		return nil
	}
	f, err := usage.RestockOutlook(outlook.Restock(in.Now, 0, 0))
	if err == nil && f.Books != nil {
		in.Shelf = f.Books.Empty.Likely
	}
	return err
}

// countedTwice reports whether the books on the shelf were counted at two calls or more.
func countedTwice(calls []usage.ServiceCall) bool {
	counted := 0
	for _, c := range calls {
		if c.BooksNow != nil {
			counted++
		}
	}
	return counted >= 2
}

// readRoundAsk reads the address of a round.
func readRoundAsk(q url.Values) (RoundAsk, error) {
	ask := RoundAsk{Rule: usage.DefaultRoundRule, From: strings.TrimSpace(q.Get("from")), Back: q.Get("back") != ""}
	for _, f := range []struct {
		name string
		to   *int32
		unit int32
	}{{"days", &ask.Rule.CardDays, 1}, {"clock", &ask.Rule.ClockS, 60}, {"ahead", &ask.Rule.AheadDays, 1}} {
		if q.Get(f.name) == "" {
			continue
		}
		v, err := strconv.ParseInt(strings.TrimSpace(q.Get(f.name)), 10, 16)
		if err != nil {
			return ask, invalid(fmt.Sprintf("%q is no number of %s", q.Get(f.name), map[int32]string{1: "days", 60: "minutes"}[f.unit]), "Give a whole number.")
		}
		*f.to = int32(v) * f.unit
	}
	if q.Get("chosen") != "" || len(q["site"]) > 0 {
		ask.Sites = append([]string{}, q["site"]...)
	}
	return ask, ask.Rule.Check()
}

// round shows the boxes in the order worth walking.
func (s *server) round(w http.ResponseWriter, r *http.Request) error {
	ask, err := readRoundAsk(r.URL.Query())
	if err != nil {
		return err
	}
	plan, err := PlanRound(r.Context(), s.Store, s.Now, ask)
	if err != nil {
		return err
	}
	return s.send(w, r, http.StatusOK, roundPage(s.words(r.Context()), plan, ask))
}

func roundPage(say *words.Words, plan RoundPlan, ask RoundAsk) web.RoundPage {
	page := web.RoundPage{
		Base: web.Base{Here: web.PlaceRound},
		Form: web.RoundForm{From: ask.From, Back: ask.Back, Days: ask.Rule.CardDays, ClockMin: ask.Rule.ClockS / 60, Ahead: ask.Rule.AheadDays},
	}
	coin := false
	for _, stop := range plan.Stops {
		shown := webStop(say, stop)
		coin = coin || slices.ContainsFunc(stop.Take, func(d usage.Due) bool { return d.Kind == usage.DueCoin })
		page.Stops = append(page.Stops, shown)
		page.Codes = append(page.Codes, stop.Site.Code)
		page.Form.Sites = append(page.Form.Sites, web.Option{Value: stop.Site.Code, Says: stop.Site.Name, Chosen: true})
	}
	for _, stop := range plan.Others {
		page.Others = append(page.Others, webStop(say, stop))
		page.Form.Sites = append(page.Form.Sites, web.Option{Value: stop.Site.Code, Says: stop.Site.Name})
	}
	slices.SortFunc(page.Form.Sites, func(a, b web.Option) int { return strings.Compare(a.Value, b.Value) })
	page.Lead = web.RoundLead(say, len(plan.Stops), len(plan.Stops)+len(plan.Others), plan.Metres, ask.Rule.AheadDays, ask.Sites != nil)
	page.Mind = web.RoundMinds(say, len(plan.Stops), plan.Exact, plan.Start != nil, plan.Back)
	if len(plan.Stops) > 0 {
		page.Planned = say.When(plan.At, plan.Stops[0].Site.Zone)
	}
	page.Cautions = web.RoundCautions(say, coin)
	return page
}

// webStop is a stop in words.
func webStop(say *words.Words, stop RoundStop) web.RoundStop {
	out := web.RoundStop{Site: heading(stop.Site), Leg: web.MetresWords(say, stop.LegM), First: stop.LegM == 0}
	taken := stop.Take
	if len(taken) == 0 && len(stop.Dues) > 0 {
		next := stop.Dues[0]
		out.Next = web.DueWords(say, next, stop.Site.Code)
	}
	for _, d := range taken {
		out.Dues = append(out.Dues, web.DueWords(say, d, stop.Site.Code))
	}
	return out
}

// roundCalendar is the feed of what falls due when.
func (s *server) roundCalendar(w http.ResponseWriter, r *http.Request) error {
	ask, err := readRoundAsk(r.URL.Query())
	if err != nil {
		return err
	}
	calendar, err := RoundCalendar(r.Context(), s.words(r.Context()), s.Store, s.Now, ask)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `inline; filename="round.ics"`)
	sendBytes(w, r, http.StatusOK, []byte(calendar))
	return nil
}

// RoundCalendar returns what falls due at each site, or at those asked for, as an
// iCalendar file (RFC 5545). Open questions have no date and are left out.
func RoundCalendar(ctx context.Context, say *words.Words, network Network, now func() time.Time, ask RoundAsk) (string, error) {
	plan, err := PlanRound(ctx, network, now, ask)
	if err != nil {
		return "", err
	}
	stops := plan.Stops
	if ask.Sites == nil {
		stops = append(stops, plan.Others...)
	}
	slices.SortFunc(stops, func(a, b RoundStop) int { return strings.Compare(a.Site.Code, b.Site.Code) })
	var entries []web.CalendarEntry
	for _, stop := range stops {
		for _, d := range stop.Dues {
			if d.Kind != usage.DueQuestions {
				entries = append(entries, web.DueEntry(say, stop.Site, d, ask.Rule))
			}
		}
	}
	return web.Calendar(say, entries, time.Unix(plan.At, 0)), nil
}
