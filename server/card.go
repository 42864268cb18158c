package server

import (
	"context"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeCard(r chi.Router) {
	r.Route("/cards/{id:[0-9a-f]{64}}", func(r chi.Router) {
		r.Use(s.withCard)
		r.Get("/", s.do(s.card))
		r.Get("/file", s.do(s.cardFile))
		r.Get("/withdraw", s.do(s.withdrawForm))
		r.Post("/withdraw", s.do(s.withdraw))
		r.Post("/removed", s.do(s.setRemoval))
	})
}

// keptCard is a card with its site.
type keptCard struct {
	store.Card
	site usage.Site
}

// cardKey is the key of the card in a request's context.
type cardKey struct{}

// withCard loads the card that the address names, and its site.
func (s *server) withCard(next http.Handler) http.Handler {
	return s.do(func(w http.ResponseWriter, r *http.Request) error {
		card, err := s.Store.Card(r.Context(), chi.URLParam(r, "id"))
		if err != nil {
			return err
		}
		site, err := s.Store.Site(r.Context(), card.Site)
		if err != nil {
			return err
		}
		kept := &keptCard{Card: card, site: site.Site}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), cardKey{}, kept)))
		return nil
	})
}

func cardOf(r *http.Request) *keptCard { return r.Context().Value(cardKey{}).(*keptCard) }

func cardRow(c store.Card) web.CardRow {
	return web.CardRow{
		ID: c.ID, Name: c.Name, Size: c.Size, Rows: c.Rows, Lines: c.Lines, Complaints: c.Complaints,
		First: c.First, Last: c.Last, ImportedAt: c.ImportedAt, RemovedAt: c.RemovedAt, DateOrder: c.DateOrder,
	}
}

// siteCards lists the kept cards of a site.
func (s *server) siteCards(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r)
	cards, err := s.Store.Cards(r.Context(), site.Code)
	if err != nil {
		return err
	}
	page := web.CardsPage{Base: web.Base{Trail: web.TrailToSite(s.words(r.Context()), heading(site.Site))}, Site: heading(site.Site)}
	for _, c := range cards {
		page.Cards = append(page.Cards, cardRow(c))
	}
	return s.send(w, r, http.StatusOK, page)
}

// linesShown is how many lines of a card one page shows, lineShown how many
// bytes of a line, and complaintsShown how many complaints stand above them.
const (
	linesShown      = 500
	lineShown       = 1000
	complaintsShown = 20
)

// card shows the lines of a card, those that could not be read marked.
func (s *server) card(w http.ResponseWriter, r *http.Request) error {
	removed := ""
	if kept := cardOf(r); kept.RemovedAt != nil {
		removed = localTime(kept.site.Zone, *kept.RemovedAt, localSecond)
	}
	return s.sendCard(w, r, http.StatusOK, removed, nil)
}

func (s *server) sendCard(w http.ResponseWriter, r *http.Request, status int, removed string, faults web.FieldFaults) error {
	say := s.words(r.Context())
	kept := cardOf(r)
	data, err := s.Store.CardBytes(r.Context(), kept.ID)
	if err != nil {
		return err
	}
	file, err := s.readKept(r.Context(), kept, data)
	if err != nil {
		return err
	}
	at, err := lineOf(r, file.Lines)
	if err != nil {
		return err
	}
	page := web.CardPage{
		Base: web.Base{Trail: web.TrailToCards(say, heading(kept.site))},
		Site: heading(kept.site), Card: cardRow(kept.Card),
		Reads: web.Reads(say, file.Encoding, file.LineEnd, dialectWords(file)), Evidence: file.Dialect.Evidence,
		From: (at-1)/linesShown*linesShown + 1, Removed: removed, Form: faults,
	}
	page.To = min(page.From+linesShown-1, file.Lines)
	page.Lines = cardLines(say, data, file, page.From, page.To)
	page.Pages = linePages(say, kept.ID, page.From, file.Lines)
	for _, c := range file.Complaints[:min(len(file.Complaints), complaintsShown)] {
		page.Faults = append(page.Faults, web.CardFault{Line: c.Line, Reason: c.Reason, Href: lineAddress(kept.ID, int32(c.Line))})
	}
	page.MoreBad = len(file.Complaints) - len(page.Faults)
	return s.send(w, r, status, page)
}

// setRemoval sets the true time at which a card came out, or takes it away. The
// time as it was filled in keeps its instant, which in an hour that comes twice
// may be the second.
func (s *server) setRemoval(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if err := readForm(w, r); err != nil {
		return err
	}
	kept := cardOf(r)
	given := strings.TrimSpace(r.PostForm.Get("removed"))
	var at *int64
	says, exact := "", toTheSecond(given)
	switch {
	case r.PostForm.Get("away") != "":
	case given == "":
		says = say.Say(web.TimeUnread)
	case kept.RemovedAt != nil && given == localTime(kept.site.Zone, *kept.RemovedAt, localSecond):
		at, exact = kept.RemovedAt, kept.Exact
	default:
		var instant int64
		instant, says = localInstant(say, given, kept.site.Zone)
		at = &instant
	}
	if says == "" {
		moreTime(w, slowWork)
		err := s.Store.Removal(r.Context(), kept.ID, at, exact)
		if err == nil {
			return seeOther(w, r, "/cards/"+kept.ID)
		}
		if usage.KindOf(err) != usage.Invalid {
			return err
		}
		says = strings.TrimSpace(web.Problem(say, err) + " " + web.Try(say, err))
	}
	return s.sendCard(w, r, http.StatusBadRequest, given, web.FieldFaults{{Field: "removed", Says: says}})
}

// toTheSecond reports whether a time of day was filled in with its seconds.
func toTheSecond(given string) bool { return strings.Count(given, ":") == 2 }

// readKept reads the bytes of a kept card, one that cannot tell its date order in
// that of the site's other cards.
func (s *server) readKept(ctx context.Context, kept *keptCard, data []byte) (*cardfile.File, error) {
	file, err := cardfile.Read(data, cardfile.Hint{DateOrder: orderOf(kept)})
	if err == nil && file.Ambiguous {
		var order string
		if order, _, err = s.earlierOrder(ctx, kept.Site); err != nil {
			return nil, err
		}
		file, err = cardfile.Read(data, cardfile.Hint{DateOrder: order})
	}
	if err != nil {
		return nil, fmt.Errorf("read kept card %s: %w", kept.ID, err)
	}
	return file, nil
}

// orderOf is the date order that a kept card is read in: as told with the
// card, else as told for its site.
func orderOf(c *keptCard) string {
	if c.DateOrder != "" {
		return c.DateOrder
	}
	return c.site.Profile.DateOrder
}

// lineOf reads the line that a page of a card must hold.
func lineOf(r *http.Request, lines int) (int, error) {
	asked := r.URL.Query().Get("line")
	if asked == "" || lines == 0 {
		return 1, nil
	}
	line, err := strconv.Atoi(asked)
	if err != nil || line < 1 || line > lines {
		return 0, notFound(fmt.Sprintf("the card has no line %q", asked), fmt.Sprintf("Its lines are 1 to %d.", lines))
	}
	return line, nil
}

// cardLines are the lines from to to with what was made of each.
func cardLines(say *words.Words, data []byte, file *cardfile.File, from, to int) []web.CardLine {
	lines := make([]web.CardLine, 0, to-from+1)
	for i, text := range cardfile.LineTexts(data, from, to) {
		line := web.CardLine{Line: from + i, Raw: text, What: "header"}
		if strings.TrimSpace(text) == "" {
			line.What = "blank"
		}
		if len(text) > lineShown {
			line.Raw, line.Shortened = strings.ToValidUTF8(text[:lineShown], ""), true
		}
		lines = append(lines, line)
	}
	for _, row := range file.Rows {
		if i := int(row.Line) - from; i >= 0 && i < len(lines) {
			lines[i].What, lines[i].Reason, lines[i].Open = "row", web.RowDoubt(say, row.Timed, row.Suspect), rowWords(say, row)
		}
	}
	for _, c := range file.Complaints {
		if i := c.Line - from; i >= 0 && i < len(lines) {
			lines[i].What, lines[i].Reason = "complaint", c.Reason
		}
	}
	return lines
}

// rowWords says what a row was read as.
func rowWords(say *words.Words, row cardfile.Row) string {
	when := ""
	if row.Timed {
		when = say.WallSeconds(row.Reading)
	}
	switch row.Event {
	case cardfile.Open:
		return web.RowOpened(say, when)
	case cardfile.Close:
		return web.RowShut(say, when)
	}
	return web.RowWhole(say, when, row.OpenS)
}

// linePages links to the first, last and neighbouring pages of lines.
func linePages(say *words.Words, id string, from, lines int) []web.Link {
	if lines <= linesShown {
		return nil
	}
	last := (lines-1)/linesShown*linesShown + 1
	var links []web.Link
	add := func(text string, line int) {
		links = append(links, web.Link{Href: fmt.Sprintf("/cards/%s?line=%d#lines", id, line), Text: text})
	}
	if from > 1 {
		add(say.Say(web.FirstLines), 1)
		add(say.Say(web.EarlierLines), from-linesShown)
	}
	if from < last {
		add(say.Say(web.LaterLines), from+linesShown)
		add(say.Say(web.LastLines), last)
	}
	return links
}

// cardFile sends a card exactly as it came.
func (s *server) cardFile(w http.ResponseWriter, r *http.Request) error {
	kept := cardOf(r)
	data, err := s.Store.CardBytes(r.Context(), kept.ID)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", attachment(kept.Name))
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	sendBytes(w, r, http.StatusOK, data)
	return nil
}

// attachment names a download. Characters that file systems take to mean
// something are replaced.
func attachment(name string) string {
	name = strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f || strings.ContainsRune(`/\:*?"<>|`, c) {
			return '_'
		}
		return c
	}, name)
	if header := mime.FormatMediaType("attachment", map[string]string{"filename": name}); header != "" {
		return header
	}
	return "attachment"
}

func (s *server) withdrawForm(w http.ResponseWriter, r *http.Request) error {
	kept := cardOf(r)
	return s.send(w, r, http.StatusOK, web.WithdrawPage{
		Base: web.Base{Trail: web.TrailToCards(s.words(r.Context()), heading(kept.site))},
		Site: heading(kept.site), Card: cardRow(kept.Card),
	})
}

func (s *server) withdraw(w http.ResponseWriter, r *http.Request) error {
	kept := cardOf(r)
	moreTime(w, slowWork)
	s.Readers.Wait(r.Context())
	if err := s.Store.Withdraw(r.Context(), kept.ID); err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+kept.Site+"/cards")
}
