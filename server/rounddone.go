package server

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// localDate is the form of a date in forms.
const localDate = "2006-01-02"

// roundTook says which things a tick on the list of a round stands for.
var roundTook = map[usage.DueKind][]usage.CallKind{
	usage.DueCard:      {usage.CallCardOut, usage.CallCardIn},
	usage.DueClock:     {usage.CallClockSet},
	usage.DueBatteries: {usage.CallBatteries},
	usage.DueCoin:      {usage.CallCoinCell},
	usage.DueCounter:   {usage.CallRepair},
	usage.DueShelf:     {usage.CallRestock},
}

// roundForm asks for all that was done on a round, the things ticked on its list
// ticked.
func (s *server) roundForm(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	q := r.URL.Query()
	page := web.RoundDonePage{Withins: web.Withins(say, "300", 300)}
	sites, err := s.roundSites(r, q["site"])
	if err != nil {
		return err
	}
	for _, site := range sites {
		var did []usage.CallKind
		for _, tick := range q["done"] {
			if code, kind, ok := strings.Cut(tick, ":"); ok && code == site.Code {
				did = append(did, roundTook[usage.DueKind(kind)]...)
			}
		}
		page.Stops = append(page.Stops, web.DoneStop{Site: heading(site.Site), Kinds: kindsAt(say, site.Code, did)})
	}
	if len(sites) > 0 {
		page.Date = localTime(sites[0].Zone, s.Now().Unix(), localDate)
	}
	return s.sendRoundForm(w, r, http.StatusOK, page)
}

// kindsAt are the things to tick at one box of the form.
func kindsAt(say *words.Words, code string, did []usage.CallKind) []web.KindBox {
	boxes := web.KindBoxes(say, did)
	for i := range boxes {
		boxes[i].Field += "-" + code
		boxes[i].Hint = "" // once a page is enough
	}
	return boxes
}

func (s *server) sendRoundForm(w http.ResponseWriter, r *http.Request, status int, page web.RoundDonePage) error {
	say := s.words(r.Context())
	page.Trail, page.Cautions = web.TrailToRound(say), web.RoundCautions(say, true)
	return s.send(w, r, status, page)
}

// roundSites returns the sites named, in that order; all where none is.
func (s *server) roundSites(r *http.Request, codes []string) ([]store.SiteSummary, error) {
	all, err := s.Store.Sites(r.Context())
	if err != nil || len(codes) == 0 {
		return all, err
	}
	if err := checkChosen(all, codes); err != nil {
		return nil, err
	}
	var chosen []store.SiteSummary
	for _, code := range codes {
		at := slices.IndexFunc(all, func(s store.SiteSummary) bool { return s.Code == code })
		if !slices.ContainsFunc(chosen, func(s store.SiteSummary) bool { return s.Code == code }) {
			chosen = append(chosen, all[at])
		}
	}
	return chosen, nil
}

// keepRound keeps all that was done on a round, or nothing.
func (s *server) keepRound(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if err := readForm(w, r); err != nil {
		return err
	}
	sites, err := s.roundSites(r, r.PostForm["site"])
	if err != nil {
		return err
	}
	page, calls := readRound(say, r.PostForm, sites)
	if len(page.Faults) == 0 && len(calls) == 0 && len(page.Stops) > 0 {
		page.Faults = web.FieldFaults{{Field: page.Stops[0].Kinds[0].Field, Says: say.Say(web.RoundNothing)}}
	}
	if len(page.Faults) > 0 {
		return s.sendRoundForm(w, r, http.StatusBadRequest, page)
	}
	moreTime(w, slowWork)
	ids, err := s.Store.AddCalls(r.Context(), calls)
	if usage.KindOf(err) == usage.Invalid {
		page.Faults = web.FieldFaults{{Field: "date", Says: strings.TrimSpace(web.Problem(say, err) + " " + web.Try(say, err))}}
		return s.sendRoundForm(w, r, http.StatusBadRequest, page)
	}
	if err != nil {
		return err
	}
	kept := url.Values{}
	for i, id := range ids {
		kept.Add("call", callRef(calls[i].Site, id))
	}
	return seeOther(w, r, "/round/kept?"+kept.Encode())
}

// callRef names a call of a site in addresses and forms.
func callRef(site string, id int64) string { return fmt.Sprintf("%s:%d", site, id) }

// readRound reads the form of a round: a call at each box where something was ticked,
// counted or noted.
func readRound(say *words.Words, f url.Values, sites []store.SiteSummary) (web.RoundDonePage, []store.SiteCall) {
	page := web.RoundDonePage{Date: strings.TrimSpace(f.Get("date"))}
	within, says := withinField(say, strings.TrimSpace(f.Get("within")))
	page.Withins = web.Withins(say, strings.TrimSpace(f.Get("within")), within)
	if says != "" {
		page.Faults = append(page.Faults, web.FieldFault{Field: "within", Says: says})
	}
	if _, err := usage.ParseDate(page.Date); err != nil {
		page.Faults = append(page.Faults, web.FieldFault{Field: "date", Says: say.Say(web.RoundDateUnread)})
	}
	var calls []store.SiteCall
	for _, site := range sites {
		stop, call, faults := readStop(say, f, site.Site, page.Date)
		page.Stops = append(page.Stops, stop)
		page.Faults = append(page.Faults, faults...)
		if call != nil {
			call.ErrorS = within
			calls = append(calls, store.SiteCall{Site: site.Code, Call: *call})
		}
	}
	return page, calls
}

// readStop reads what the form of a round says of one box; no call where it says
// nothing.
func readStop(say *words.Words, f url.Values, site usage.Site, date string) (web.DoneStop, *usage.ServiceCall, web.FieldFaults) {
	get := func(name string) string { return strings.TrimSpace(f.Get(name + "-" + site.Code)) }
	stop := web.DoneStop{Site: heading(site), Time: get("time"), BooksIn: get("books-in"), BooksNow: get("books-now"), Reading: get("reading"), Note: get("note")}
	call := &usage.ServiceCall{Note: stop.Note}
	for _, box := range web.KindBoxes(say, nil) {
		if get(box.Field) != "" {
			call.Kinds = append(call.Kinds, box.Kind)
		}
	}
	stop.Kinds = kindsAt(say, site.Code, call.Kinds)
	if len(call.Kinds) == 0 && stop.BooksIn+stop.BooksNow+stop.Reading+stop.Note == "" {
		return stop, nil, nil
	}
	var faults web.FieldFaults
	check := func(field, says string) {
		if says != "" {
			faults = append(faults, web.FieldFault{Field: field + "-" + site.Code, Says: web.AtBox(site.Name, says)})
		}
	}
	var says string
	if stop.Time == "" {
		faults = append(faults, web.FieldFault{Field: "time-" + site.Code, Says: web.RoundTimeMissing(say, site.Name)})
	} else if _, err := usage.ParseDate(date); err == nil {
		call.At, says = localInstant(say, date+"T"+stop.Time, site.Zone)
		check("time", says)
	}
	readNoted(say, call, stop.BooksIn, stop.BooksNow, stop.Reading, check)
	if len(call.Kinds) == 0 && (call.BooksIn != nil || call.BooksNow != nil) {
		call.Kinds = []usage.CallKind{usage.CallNote} // books were counted, no more
	}
	return stop, call, faults
}

// roundKept shows what was kept of a round.
func (s *server) roundKept(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	refs, err := readCallRefs(r.URL.Query()["call"])
	if err != nil {
		return err
	}
	page := web.RoundKeptPage{Base: web.Base{Trail: web.TrailToRound(say)}}
	for _, ref := range refs {
		site, err := s.Store.Site(r.Context(), ref.Site)
		if err != nil {
			return err
		}
		all, err := s.Store.Calls(r.Context(), ref.Site)
		if err != nil {
			return err
		}
		kept := web.KeptCall{Site: heading(site.Site), Ref: callRef(ref.Site, ref.Call.ID), Gone: true}
		for _, c := range all {
			if c.ID == ref.Call.ID {
				kept.At, kept.Did, kept.Gone = c.At, web.KindWords(say, c.Kinds), false
			}
		}
		page.Calls = append(page.Calls, kept)
	}
	return s.send(w, r, http.StatusOK, page)
}

// undoRound takes back what was kept of a round, all of it or nothing.
func (s *server) undoRound(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	refs, err := readCallRefs(r.PostForm["call"])
	if err != nil {
		return err
	}
	moreTime(w, slowWork)
	if err := s.Store.DropCalls(r.Context(), refs); err != nil {
		return err
	}
	return seeOther(w, r, "/round")
}

// mostRefs is how many calls one address or form may name.
const mostRefs = 500

func readCallRefs(refs []string) ([]store.SiteCall, error) {
	if len(refs) == 0 || len(refs) > mostRefs {
		return nil, invalid("no service call of a round is named", "Look at the service calls of each site.")
	}
	var calls []store.SiteCall
	for _, ref := range refs {
		site, number, _ := strings.Cut(ref, ":")
		id, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			return nil, invalid(fmt.Sprintf("%q names no service call", ref), "Look at the service calls of each site.")
		}
		calls = append(calls, store.SiteCall{Site: site, Call: usage.ServiceCall{ID: id}})
	}
	return calls, nil
}
