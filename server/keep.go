package server

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// keep keeps the ticked cards, or shows the tray again with what stands in
// the way.
func (s *server) keep(w http.ResponseWriter, r *http.Request) error {
	defer lean()()
	moreTime(w, slowWork)
	if err := readForm(w, r); err != nil {
		return err
	}
	d, err := s.desk(r)
	if usage.KindOf(err) == usage.NotFound && s.slips.get(chi.URLParam(r, "tray")).receipts != nil {
		return seeOther(w, r, "/tray/"+chi.URLParam(r, "tray")+"/receipt") // the button was pressed twice
	}
	if err != nil {
		return err
	}
	if faults := d.take(s.words(r.Context()), r.PostForm); len(faults) > 0 {
		return s.sendTray(w, r, http.StatusConflict, d, faults)
	}
	s.Readers.Wait(r.Context())
	receipts, refused := s.keepDesk(r.Context(), d)
	if refused && s.keptBefore(r.Context(), d.name) {
		return seeOther(w, r, "/tray/"+d.name+"/receipt") // the button was pressed twice
	}
	s.slips.put(d.name, slip{skipped: s.slips.get(d.name).skipped, receipts: receipts})
	if !refused {
		if err := s.Store.ThrowTray(r.Context(), d.name); err != nil && usage.KindOf(err) != usage.NotFound {
			return err
		}
	}
	return seeOther(w, r, "/tray/"+d.name+"/receipt")
}

// keptBefore reports whether a tray is gone because its cards were kept.
func (s *server) keptBefore(ctx context.Context, tray string) bool {
	_, err := s.Store.Tray(ctx, tray)
	return usage.KindOf(err) == usage.NotFound && s.slips.get(tray).receipts != nil
}

// take reads the form of a tray into its cards and says what is wrong or
// missing.
func (d *desk) take(say *words.Words, form url.Values) web.FieldFaults {
	var faults web.FieldFaults
	ticked := 0
	for i := range d.cards {
		c := &d.cards[i]
		c.given = given{
			keep: form.Get("keep-"+c.key) != "" && c.problem == "", sure: form.Get("sure-"+c.key) != "",
			site: form.Get("site-" + c.key), order: form.Get("order-" + c.key), removed: form.Get("removed-" + c.key),
		}
	}
	for i := range d.cards { // what is given of all is known now
		if c := &d.cards[i]; c.given.keep {
			ticked++
			faults = append(faults, d.check(say, c)...)
		}
	}
	if ticked == 0 && len(d.cards) > 0 {
		faults = append(faults, web.FieldFault{Field: "keep-" + d.cards[0].key, Says: say.Say(web.NothingTicked)})
	}
	return faults
}

// check says what stands in the way of keeping one card.
func (d *desk) check(say *words.Words, c *readCard) web.FieldFaults {
	var faults web.FieldFaults
	fault := func(field, says string) {
		faults = append(faults, web.FieldFault{Field: field + "-" + c.key, Says: capital(c.label) + ": " + says})
	}
	site := d.site(c.given.site)
	if site == nil {
		fault("site", say.Say(web.ChooseSite))
		return faults
	}
	if c.held = d.doubt(say, c, site.Code); c.held != "" && !c.given.sure {
		fault("sure", c.held)
	}
	if c.asked && (c.given.order == "" || !dateOrders[c.given.order]) {
		fault("order", say.Say(web.ChooseOrder))
	}
	if c.given.removed != "" {
		at, says := localInstant(say, c.given.removed, site.Zone)
		if says != "" {
			fault("removed", says)
		}
		c.given.removedAt, c.given.exact = &at, toTheSecond(c.given.removed)
	}
	return faults
}

func (d *desk) site(code string) *store.SiteSummary {
	for i := range d.sites {
		if d.sites[i].Code == code {
			return &d.sites[i]
		}
	}
	return nil
}

// localInstant reads a true time that somebody gives in the civil time of a
// zone. In the hour that comes twice it takes the first; a time in the hour that
// is missing is refused in words.
func localInstant(say *words.Words, local, zone string) (at int64, says string) {
	z, err := usage.LoadZone(zone)
	if err != nil {
		return 0, web.Problem(say, err)
	}
	for _, layout := range []string{localMinute, localSecond} {
		t, err := time.Parse(layout, local)
		if err != nil {
			continue
		}
		first, _, kind := z.Resolve(t.Unix())
		if kind == usage.Gap {
			return 0, say.Say(web.TimeMissing)
		}
		return first, ""
	}
	return 0, say.Say(web.TimeUnread)
}

// keepDesk keeps the ticked cards, site by site. A site's cards stand or fall
// together; only when they fall are they tried one by one, so that one bad
// card does not hold up the others.
func (s *server) keepDesk(ctx context.Context, d *desk) (receipts []web.Receipt, refused bool) {
	receipts = make([]web.Receipt, len(d.cards))
	groups := map[string][]int{}
	for i := range d.cards {
		c := &d.cards[i]
		receipts[i] = web.Receipt{Number: i + 1, Name: c.Name, Folder: c.Folder, Outcome: web.Left}
		if c.problem != "" {
			receipts[i].Outcome, receipts[i].Why = web.Refused, c.problem
		}
		if c.given.keep {
			groups[c.given.site] = append(groups[c.given.site], i)
		}
	}
	for _, site := range d.sites {
		group := groups[site.Code]
		if len(group) == 0 {
			continue
		}
		if s.keepGroup(ctx, d, site.Site, group, receipts) {
			continue
		}
		for _, i := range group {
			if len(group) == 1 || !s.keepGroup(ctx, d, site.Site, []int{i}, receipts) {
				refused = true
			}
		}
	}
	return receipts, refused
}

// keepGroup keeps cards of one site in one go and writes their receipts.
func (s *server) keepGroup(ctx context.Context, d *desk, site usage.Site, group []int, receipts []web.Receipt) bool {
	kept, err := s.keepCards(ctx, d, site.Code, group)
	if err != nil {
		why, try := s.refusal(s.words(ctx), err)
		for _, i := range group {
			receipts[i].Outcome, receipts[i].Why, receipts[i].Try = web.Refused, why, try
		}
		return false
	}
	fresh := 0
	for _, k := range kept {
		if !k.Already {
			fresh++
		}
	}
	for n, i := range group {
		receipts[i] = keptReceipt(receipts[i], kept[n], site, fresh)
	}
	return true
}

func (s *server) keepCards(ctx context.Context, d *desk, site string, group []int) ([]store.Receipt, error) {
	var cards []store.CardIn
	for _, i := range group {
		card, err := s.cardIn(ctx, d.name, &d.cards[i])
		if err != nil {
			return nil, err
		}
		cards = append(cards, card)
	}
	return s.Store.Keep(ctx, site, cards)
}

func keptReceipt(r web.Receipt, k store.Receipt, site usage.Site, fresh int) web.Receipt {
	r.Outcome, r.CardID, r.Site = web.Kept, k.Card.ID, heading(site)
	r.Rows, r.Complaints, r.New, r.With = k.Card.Rows, k.Card.Complaints, k.New, fresh
	r.Why, r.Try = "", ""
	if k.Already {
		r.Outcome = web.Already
	}
	return r
}

// refusal says why cards were not kept.
func (s *server) refusal(say *words.Words, err error) (why, try string) {
	if usage.KindOf(err) != 0 {
		return web.Problem(say, err), web.Try(say, err)
	}
	id := errorID()
	s.Log.Error("keep cards", "id", id, "err", err)
	return say.Say(web.ProblemUnforeseen), "The log has it under " + id + "."
}
