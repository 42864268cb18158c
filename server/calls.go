package server

import (
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

func (s *server) routeCalls(r chi.Router) {
	r.Get("/calls", s.do(s.calls))
	r.Post("/calls", s.do(s.addCall))
	r.Get("/calls/{call:[0-9]{1,18}}", s.do(s.callForm))
	r.Post("/calls/{call:[0-9]{1,18}}", s.do(s.changeCall))
	r.Post("/calls/{call:[0-9]{1,18}}/withdraw", s.do(s.dropCall))
	r.Post("/calls/{call:[0-9]{1,18}}/restore", s.do(s.restoreCall))
}

// The forms of local times in forms of a page: to the minute and to the second.
const (
	localMinute = "2006-01-02T15:04"
	localSecond = "2006-01-02T15:04:05"
)

// calls lists the service calls of a site, with a form for one that is made now.
func (s *server) calls(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	form := web.CallForm{Kinds: web.KindBoxes(say, nil), Withins: web.Withins(say, "60", 60)}
	form.At = localTime(siteOf(r).Zone, s.Now().Unix(), localMinute)
	offers, err := s.offers(r)
	if err != nil {
		return err
	}
	for _, o := range offers {
		if strconv.FormatInt(o.ID, 10) == r.URL.Query().Get("prepared") {
			form = offered(say, o, siteOf(r).Zone)
		}
	}
	return s.sendCalls(w, r, http.StatusOK, form, nil)
}

// offersDays is how long the clock set of a prepared card is offered, and offerNearS how
// far from its moment a logged clock set is held to be the same. Common practice, no
// source.
const (
	offersDays = 60
	offerNearS = 12 * 3600
)

// offers are the prepared cards whose clock set nobody has logged yet.
func (s *server) offers(r *http.Request) ([]store.PreparedCard, error) {
	now, code := s.Now().Unix(), siteOf(r).Code
	prepared, err := s.Store.Prepared(r.Context(), code, now-offersDays*86400)
	if err != nil || len(prepared) == 0 {
		return nil, err
	}
	calls, err := s.Store.Calls(r.Context(), code)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(prepared, func(p store.PreparedCard) bool {
		return p.At > now+86400 || slices.ContainsFunc(calls, func(c usage.ServiceCall) bool {
			return c.Did(usage.CallClockSet) && max(c.At-p.At, p.At-c.At) <= offerNearS
		})
	}), nil
}

// offered fills the form with the clock set of a prepared card.
func offered(say *words.Words, p store.PreparedCard, zone string) web.CallForm {
	return formOf(say, usage.ServiceCall{At: p.At, ErrorS: 60, Kinds: []usage.CallKind{usage.CallCardIn, usage.CallClockSet}, Reading: &p.Reading}, zone)
}

func (s *server) sendCalls(w http.ResponseWriter, r *http.Request, status int, form web.CallForm, faults web.FieldFaults) error {
	say := s.words(r.Context())
	site := siteOf(r).Site
	all, err := s.Store.Calls(r.Context(), site.Code)
	if err != nil {
		return err
	}
	page := web.CallsPage{Base: web.Base{Trail: web.TrailToSite(say, heading(site))}, Site: heading(site), Form: form, Faults: faults}
	for _, c := range slices.Backward(all) {
		page.Calls = append(page.Calls, callWords(say, c))
	}
	gone, err := s.Store.WithdrawnCalls(r.Context(), site.Code)
	if err != nil {
		return err
	}
	for _, c := range gone {
		page.Gone = append(page.Gone, callWords(say, c))
	}
	offers, err := s.offers(r)
	if err != nil {
		return err
	}
	for _, o := range offers {
		id := strconv.FormatInt(o.ID, 10)
		page.Offers = append(page.Offers, web.Link{
			Href: "/sites/" + site.Code + "/calls?prepared=" + id, Text: web.OfferWords(say, o.At, o.Reading, site.Zone), Here: r.URL.Query().Get("prepared") == id,
		})
	}
	return s.send(w, r, status, page)
}

func callWords(say *words.Words, c usage.ServiceCall) web.Call {
	return web.Call{
		ID: c.ID, At: c.At, Give: web.GiveWords(say, c.ErrorS), Did: web.KindWords(say, c.Kinds),
		Reading: c.Reading, Set: c.Did(usage.CallClockSet), BooksIn: c.BooksIn, BooksNow: c.BooksNow, Note: c.Note,
	}
}

// addCall keeps a new service call.
func (s *server) addCall(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if err := readForm(w, r); err != nil {
		return err
	}
	code := siteOf(r).Code
	form, call, faults := readCall(say, r.PostForm, siteOf(r).Zone, nil)
	if len(faults) == 0 {
		moreTime(w, slowWork)
		id, err := s.Store.AddCall(r.Context(), code, call)
		if err == nil {
			return seeOther(w, r, fmt.Sprintf("/sites/%s/calls#call-%d", code, id))
		}
		if usage.KindOf(err) != usage.Invalid {
			return err
		}
		faults = callFault(say, err)
	}
	return s.sendCalls(w, r, http.StatusBadRequest, form, faults)
}

// callFault puts what the store says of a call above the form.
func callFault(say *words.Words, err error) web.FieldFaults {
	return web.FieldFaults{{Field: "did", Says: strings.TrimSpace(web.Problem(say, err) + " " + web.Try(say, err))}}
}

// callForm shows a service call that is to be changed.
func (s *server) callForm(w http.ResponseWriter, r *http.Request) error {
	call, err := s.callOf(r)
	if err != nil {
		return err
	}
	return s.sendCall(w, r, http.StatusOK, call.ID, formOf(s.words(r.Context()), call, siteOf(r).Zone), nil)
}

func (s *server) sendCall(w http.ResponseWriter, r *http.Request, status int, id int64, form web.CallForm, faults web.FieldFaults) error {
	say := s.words(r.Context())
	site := heading(siteOf(r).Site)
	trail := append(web.TrailToSite(say, site), web.Link{Href: "/sites/" + site.Code + "/calls", Text: say.Say(web.CallsTitle)})
	return s.send(w, r, status, web.CallPage{Base: web.Base{Trail: trail}, Site: site, ID: id, Form: form, Faults: faults})
}

func (s *server) changeCall(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	old, err := s.callOf(r)
	if err != nil {
		return err
	}
	if err := readForm(w, r); err != nil {
		return err
	}
	code := siteOf(r).Code
	form, call, faults := readCall(say, r.PostForm, siteOf(r).Zone, &old)
	if len(faults) == 0 {
		moreTime(w, slowWork)
		id, err := s.Store.ChangeCall(r.Context(), code, call)
		if err == nil {
			return seeOther(w, r, fmt.Sprintf("/sites/%s/calls#call-%d", code, id))
		}
		if usage.KindOf(err) != usage.Invalid {
			return err
		}
		faults = callFault(say, err)
	}
	return s.sendCall(w, r, http.StatusBadRequest, old.ID, form, faults)
}

func (s *server) dropCall(w http.ResponseWriter, r *http.Request) error {
	call, err := s.callOf(r)
	if err != nil {
		return err
	}
	moreTime(w, slowWork)
	if err := s.Store.DropCall(r.Context(), siteOf(r).Code, call.ID); err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+siteOf(r).Code+"/calls")
}

// restoreCall keeps a withdrawn call again.
func (s *server) restoreCall(w http.ResponseWriter, r *http.Request) error {
	id, err := strconv.ParseInt(chi.URLParam(r, "call"), 10, 64)
	if err != nil {
		return fmt.Errorf("number of a service call: %w", err)
	}
	moreTime(w, slowWork)
	code := siteOf(r).Code
	again, err := s.Store.RestoreCall(r.Context(), code, id)
	if err != nil {
		return err
	}
	return seeOther(w, r, fmt.Sprintf("/sites/%s/calls#call-%d", code, again))
}

// callOf returns the service call that the address names.
func (s *server) callOf(r *http.Request) (usage.ServiceCall, error) {
	id, err := strconv.ParseInt(chi.URLParam(r, "call"), 10, 64)
	if err != nil {
		return usage.ServiceCall{}, fmt.Errorf("number of a service call: %w", err)
	}
	all, err := s.Store.Calls(r.Context(), siteOf(r).Code)
	if err != nil {
		return usage.ServiceCall{}, err
	}
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return usage.ServiceCall{}, notFound(fmt.Sprintf("there is no service call %d at this site", id), "Look at the list again: it may have been changed or withdrawn.")
}

// formOf fills the form with a kept call.
func formOf(say *words.Words, c usage.ServiceCall, zone string) web.CallForm {
	form := web.CallForm{
		At: localTime(zone, c.At, localMinute), Within: strconv.Itoa(int(c.ErrorS)), Note: c.Note,
		BooksIn: bookField(c.BooksIn), BooksNow: bookField(c.BooksNow), Kinds: web.KindBoxes(say, c.Kinds),
	}
	form.Withins = web.Withins(say, form.Within, c.ErrorS)
	if c.Reading != nil {
		form.Reading = wallReading(*c.Reading)
	}
	return form
}

// localTime writes an instant in the civil time of a zone; "" where the zone is
// not known.
func localTime(zone string, at int64, layout string) string {
	z, err := usage.LoadZone(zone)
	if err != nil {
		return ""
	}
	return time.Unix(at+int64(z.OffsetAt(at)), 0).UTC().Format(layout)
}

func bookField(n *int32) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(int(*n))
}

// readCall reads the form of a service call and says what is wrong with it. A
// time that stands in the form as it was filled from old keeps old's instant:
// the form shows neither its seconds nor which pass of an hour that comes twice.
func readCall(say *words.Words, f url.Values, zone string, old *usage.ServiceCall) (web.CallForm, usage.ServiceCall, web.FieldFaults) {
	get := func(name string) string { return strings.TrimSpace(f.Get(name)) }
	form := web.CallForm{At: get("at"), Within: get("within"), Reading: get("reading"), BooksIn: get("books-in"), BooksNow: get("books-now"), Note: get("note")}
	call := usage.ServiceCall{Note: form.Note}
	for _, box := range web.KindBoxes(say, nil) {
		if f.Get(box.Field) != "" {
			call.Kinds = append(call.Kinds, box.Kind)
		}
	}
	form.Kinds = web.KindBoxes(say, call.Kinds)
	var faults web.FieldFaults
	check := func(field, says string) {
		if says != "" {
			faults = append(faults, web.FieldFault{Field: field, Says: says})
		}
	}
	var says string
	call.At, says = localInstant(say, form.At, zone)
	if old != nil {
		call.ID = old.ID
		if form.At == localTime(zone, old.At, localMinute) {
			call.At, says = old.At, ""
		}
	}
	check("at", says)
	call.ErrorS, says = withinField(say, form.Within)
	check("within", says)
	form.Withins = web.Withins(say, form.Within, call.ErrorS)
	readNoted(say, &call, form.BooksIn, form.BooksNow, form.Reading, check)
	return form, call, faults
}

// readNoted reads what was counted and read at a call; check takes what is wrong with
// a field.
func readNoted(say *words.Words, call *usage.ServiceCall, booksIn, booksNow, reading string, check func(field, says string)) {
	var says string
	call.BooksIn, says = booksField(say, booksIn)
	check("books-in", says)
	call.BooksNow, says = booksField(say, booksNow)
	check("books-now", says)
	call.Reading, says = readingField(say, reading)
	check("reading", says)
	if call.Reading != nil && !call.Did(usage.CallClockSet) {
		call.Kinds = append(call.Kinds, usage.CallTimeNoted)
	}
}

func withinField(say *words.Words, s string) (int32, string) {
	n, err := strconv.ParseInt(s, 10, 32)
	if err != nil || n < 0 {
		return 0, say.Say(web.WithinUnread)
	}
	return int32(n), ""
}

func booksField(say *words.Words, s string) (*int32, string) {
	if s == "" {
		return nil, ""
	}
	v, err := strconv.ParseInt(s, 10, 32)
	if err != nil || v < 0 {
		return nil, say.Say(web.BooksUnread)
	}
	n := int32(v)
	return &n, ""
}

// readingField reads what a logger's clock showed, in wall seconds.
func readingField(say *words.Words, s string) (*int64, string) {
	if s == "" {
		return nil, ""
	}
	for _, layout := range []string{localMinute, localSecond} {
		if t, err := time.Parse(layout, s); err == nil {
			reading := t.Unix()
			return &reading, ""
		}
	}
	return nil, say.Say(web.ReadingUnread)
}
