package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeTray(r chi.Router) {
	r.Route("/tray/{tray}", func(r chi.Router) {
		r.Get("/", s.do(s.tray))
		r.Post("/keep", s.do(s.keep))
		r.Post("/throw", s.do(s.throw))
		r.Get("/receipt", s.do(s.receipt))
	})
}

// desk is a tray with all that its page and its form are judged by.
type desk struct {
	name  string
	sites []store.SiteSummary
	kept  keptSpans
	hands map[string]hand // by site; empty where every card has its site without
	cards []readCard
}

// readCard is a card on a tray as read, with what the coordinator says of it.
type readCard struct {
	store.TrayCard
	key     string
	label   string  // names it among the others
	id      string  // SHA-256, hex
	size    int64   // bytes
	read    *glance // nil where it cannot be read
	problem string
	kept    string // code of the site that keeps the same bytes, ""
	overlap []store.Overlap
	advice
	twin  string // label of the card before it that has the same bytes; ""
	told  string // site proposed by clues that must be confirmed; ""
	by    string // the question that they raise
	asked bool   // the date order must be told
	given given
}

// given is what the form says of a card.
type given struct {
	keep, sure           bool
	site, order, removed string
	removedAt            *int64
	exact                bool // removedAt is to the second
}

// desk reads the cards on a tray.
func (s *server) desk(r *http.Request) (*desk, error) {
	say := s.words(r.Context())
	d := &desk{name: chi.URLParam(r, "tray")}
	cards, err := s.Store.Tray(r.Context(), d.name)
	if err != nil {
		return nil, err
	}
	if d.sites, err = s.Store.Sites(r.Context()); err != nil {
		return nil, err
	}
	if d.kept, err = s.keptSpans(r.Context(), d.sites); err != nil {
		return nil, err
	}
	for i, c := range cards {
		card, err := s.readCard(r.Context(), d, c)
		if err != nil {
			return nil, err
		}
		card.label = web.CardLabel(say, i+1, len(cards), c.Name)
		d.cards = append(d.cards, card)
	}
	if slices.ContainsFunc(d.cards, func(c readCard) bool { return c.read != nil && c.given.site == "" }) {
		if d.hands, err = s.hands(r.Context(), d); err != nil {
			return nil, err
		}
	}
	d.place(say)
	return d, s.orders(r.Context(), d)
}

// orders finds the date order of each card that cannot tell it, by its site.
func (s *server) orders(ctx context.Context, d *desk) error {
	for i := range d.cards {
		c := &d.cards[i]
		if !c.asked {
			continue
		}
		var err error
		if c.given.order, c.orderWhy, err = s.earlierOrder(ctx, c.given.site); err != nil {
			return err
		}
	}
	return nil
}

func (s *server) readCard(ctx context.Context, d *desk, t store.TrayCard) (readCard, error) {
	say := s.words(ctx)
	data, err := s.Store.TrayBytes(ctx, d.name, t.ID)
	if err != nil {
		return readCard{}, err
	}
	sum := sha256.Sum256(data)
	c := readCard{TrayCard: t, key: strconv.FormatInt(t.ID, 10), id: hex.EncodeToString(sum[:]), size: int64(len(data))}
	if len(data) == 0 {
		c.problem = say.Say(web.ProblemEmpty)
		return c, nil
	}
	file, err := cardfile.Read(data, cardfile.Hint{})
	if err != nil {
		if usage.KindOf(err) == 0 {
			return c, err
		}
		c.problem = web.Problem(say, err)
		return c, nil
	}
	kept, err := s.Store.Card(ctx, c.id)
	if err != nil && usage.KindOf(err) != usage.NotFound {
		return c, err
	}
	c.kept = kept.Site
	if c.overlap, err = s.Store.Elsewhere(ctx, store.CardIn{Name: c.Name, Bytes: data, File: file}); err != nil {
		return c, err
	}
	c.read = glanceOf(file)
	c.advice = advise(say, d.sites, &c)
	c.given = given{keep: c.read.rows > 0, site: c.advice.site}
	c.asked = c.read.Ambiguous
	return c, nil
}

// earlierOrder finds the date order of a site's cards where a card alone
// cannot tell: from the site's settings, from what was told with an earlier
// card, or from what the latest card that can tell says.
func (s *server) earlierOrder(ctx context.Context, code string) (order, why string, err error) {
	say := s.words(ctx)
	if code == "" {
		return "", "", nil
	}
	site, err := s.Store.Site(ctx, code)
	if err != nil {
		return "", "", err
	}
	if site.Profile.DateOrder != "" {
		return site.Profile.DateOrder, say.Say(web.OrderFromSite), nil
	}
	cards, err := s.Store.Cards(ctx, code)
	if err != nil {
		return "", "", err
	}
	for i := len(cards) - 1; i >= 0; i-- {
		if order, err = s.orderOfCard(ctx, cards[i]); order != "" || err != nil {
			return order, say.Say(web.OrderFromCards), err
		}
	}
	return "", "", nil
}

// orderOfCard is the date order of a kept card, "" where it cannot tell.
func (s *server) orderOfCard(ctx context.Context, c store.Card) (string, error) {
	if c.DateOrder != "" {
		return c.DateOrder, nil
	}
	data, err := s.Store.CardBytes(ctx, c.ID)
	if err != nil {
		return "", err
	}
	file, err := cardfile.Read(data, cardfile.Hint{})
	if err != nil || file.Dialect.DateOrder == nil {
		return "", nil // a card that cannot be read tells nothing
	}
	return *file.Dialect.DateOrder, nil
}

// cardIn is a card as it is to be kept.
func (s *server) cardIn(ctx context.Context, tray string, c *readCard) (store.CardIn, error) {
	data, err := s.Store.TrayBytes(ctx, tray, c.ID)
	in := store.CardIn{Name: c.Name, Bytes: data, RemovedAt: c.given.removedAt, RemovedExact: c.given.exact}
	if c.asked {
		in.DateOrder = c.given.order
	}
	return in, err
}

// tray shows what was read from the cards on a tray.
func (s *server) tray(w http.ResponseWriter, r *http.Request) error {
	defer lean()()
	d, err := s.desk(r)
	if usage.KindOf(err) == usage.NotFound && s.slips.get(chi.URLParam(r, "tray")).receipts != nil {
		return seeOther(w, r, "/tray/"+chi.URLParam(r, "tray")+"/receipt")
	}
	if err != nil {
		return err
	}
	return s.sendTray(w, r, http.StatusOK, d, nil)
}

func (s *server) sendTray(w http.ResponseWriter, r *http.Request, status int, d *desk, faults web.FieldFaults) error {
	page := web.TrayPage{
		Base: web.Base{Here: web.PlaceBring},
		Tray: d.name, Skipped: s.slips.get(d.name).skipped, Faults: faults,
	}
	for _, site := range d.sites {
		page.Sites = append(page.Sites, heading(site.Site))
	}
	for i := range d.cards {
		card, err := s.trayCard(r.Context(), d, &d.cards[i])
		if err != nil {
			return err
		}
		card.Number = i + 1
		page.Cards = append(page.Cards, card)
	}
	w.Header().Set("Cache-Control", "no-store")
	return s.send(w, r, status, page)
}

// trayComplaints is how many complaints the tray shows of a card.
const trayComplaints = 8

// trayCard says what was read from a card.
func (s *server) trayCard(ctx context.Context, d *desk, c *readCard) (web.TrayCard, error) {
	say := s.words(ctx)
	card := web.TrayCard{
		Key: c.key, Name: c.Name, Folder: c.Folder, Size: c.size, Problem: c.problem,
		Keep: c.given.keep, Site: c.given.site, Sure: c.given.sure, Order: c.given.order, Removed: c.given.removed,
		Why: c.why, Held: c.held, Twin: c.twin, Already: c.kept, AskOrder: c.asked, OrderWhy: c.orderWhy,
	}
	if c.read == nil {
		return card, nil
	}
	f := c.read
	card.Lines, card.Rows, card.Headers, card.Blanks = f.Lines, f.rows, f.Headers, f.Blanks
	card.First, card.Last, card.Untimed, card.NoSeconds = f.first, f.last, f.untimed, f.noSeconds
	card.AllFaults = f.complaints
	card.Reads, card.Evidence = web.Reads(say, f.Encoding, f.LineEnd, dialectWords(&f.File)), f.Dialect.Evidence
	for _, complaint := range f.Complaints {
		card.Complaints = append(card.Complaints, web.Complaint{Line: complaint.Line, Reason: complaint.Reason, Raw: complaint.Raw})
	}
	if !c.asked {
		return card, nil
	}
	data, err := s.Store.TrayBytes(ctx, d.name, c.ID)
	card.Untimed, card.Dates = 0, dateReadings(say, data)
	return card, err
}

// dateReadings says for each date order what the card's first and last dates
// would be, so that the right one is easy to tell. Of orders that come to the same
// it says one.
func dateReadings(say *words.Words, data []byte) []web.DateReading {
	var readings []web.DateReading
	seen := map[string]bool{}
	for _, order := range []string{"dmy", "mdy", "ymd"} {
		f, err := cardfile.Read(data, cardfile.Hint{DateOrder: order})
		if err != nil {
			continue
		}
		first, last := span(f)
		if first == nil {
			continue
		}
		if says := web.SpanWords(say, *first, *last); !seen[says] {
			seen[says] = true
			readings = append(readings, web.DateReading{Order: order, Says: says})
		}
	}
	return readings
}

func dialectWords(f *cardfile.File) web.Dialect {
	d := f.Dialect
	words := web.Dialect{Delimiter: d.Delimiter, Header: d.Header, Columns: d.Columns, Hours: d.Hours, WeekdayShift: d.WeekdayShift}
	if d.DateOrder != nil {
		words.DateOrder = *d.DateOrder
	}
	return words
}

// throw throws a tray away.
func (s *server) throw(w http.ResponseWriter, r *http.Request) error {
	err := s.Store.ThrowTray(r.Context(), chi.URLParam(r, "tray"))
	if err != nil && usage.KindOf(err) != usage.NotFound {
		return err
	}
	return seeOther(w, r, "/cards")
}

// receipt shows what became of the cards of a tray.
func (s *server) receipt(w http.ResponseWriter, r *http.Request) error {
	name := chi.URLParam(r, "tray")
	receipts := s.slips.get(name).receipts
	if receipts == nil {
		return notFound("there is no receipt of this tray any more", "What was kept stands with the cards of each site.")
	}
	left, err := s.Store.Tray(r.Context(), name)
	if err != nil && usage.KindOf(err) != usage.NotFound {
		return err
	}
	return s.send(w, r, http.StatusOK, web.ReceiptPage{
		Base: web.Base{Here: web.PlaceBring}, Tray: name, Receipts: receipts, Left: len(left),
	})
}
