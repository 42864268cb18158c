package server

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// opening shows one opening: its line, and how it came to its time and class.
func (s *server) opening(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site := siteOf(r)
	row, more, err := s.openingAt(r.Context(), site.Code, chi.URLParam(r, "position"))
	if err != nil {
		return err
	}
	card, err := s.Store.Card(r.Context(), row.CardID)
	if err != nil {
		return err
	}
	page := web.OpeningPage{
		Base: web.Base{Trail: append(web.TrailToSite(say, heading(site.Site)), web.Link{Href: "/sites/" + site.Code + "/openings", Text: say.Say("Openings")})},
		Site: heading(site.Site), Opening: openingShown(site.Code, row),
		Position: row.Position, Card: row.CardID, CardName: card.Name,
		Notes: []web.Note{web.AboutNote(say, web.AboutAddress(site.Code))},
	}
	if row.Visit != usage.Unknown {
		page.VisitHref = visitAddress(site.Code, row.Visit)
	}
	if row.Position > 0 {
		page.Before = openingAddress(site.Code, row.Position-1)
	}
	if more {
		page.After = openingAddress(site.Code, row.Position+1)
	}
	if page.Reading, err = s.readingOf(r.Context(), keptCard{Card: card, site: site.Site}, row.Line); err != nil {
		return err
	}
	if err := addClock(say, &page, site); err != nil {
		return err
	}
	if page.ClassWhy, err = s.classWhy(r.Context(), site.Site, row.Opening); err != nil {
		return err
	}
	noticed, err := s.noticed(r.Context(), site.Code, row)
	if err != nil {
		return err
	}
	page.Notes = append(noticed, page.Notes...)
	return s.send(w, r, http.StatusOK, page)
}

// openingAt returns an opening by its position in the logbook, and whether there
// are later ones.
func (s *server) openingAt(ctx context.Context, code, text string) (row store.OpeningRow, more bool, err error) {
	position, err := strconv.ParseInt(text, 10, 64)
	if err == nil {
		var rows []store.OpeningRow
		var next int64
		if rows, next, err = s.Store.Openings(ctx, code, store.Page{After: position - 1, Limit: 1}); err != nil {
			return row, false, err
		}
		if len(rows) == 1 && rows[0].Position == position {
			return rows[0], next >= 0, nil
		}
	}
	return row, false, notFound(fmt.Sprintf("there is no opening %s at %s", shortText(text), code), "Look it up in the list of openings.")
}

func shortText(s string) string { return s[:min(len(s), 20)] }

// readingOf returns what the logger's clock showed on a line of a card, wall
// seconds; nil where the line holds no time.
func (s *server) readingOf(ctx context.Context, card keptCard, line int32) (*int64, error) {
	data, err := s.Store.CardBytes(ctx, card.ID)
	if err != nil {
		return nil, err
	}
	file, err := s.readKept(ctx, &card, data)
	if err != nil {
		return nil, err
	}
	for _, row := range file.Rows {
		if row.Line == line && row.Timed {
			return &row.Reading, nil
		}
	}
	return nil, nil
}

// addClock tells how the reading became a time.
func addClock(say *words.Words, page *web.OpeningPage, site *store.SiteDetail) error {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return err
	}
	o := page.Opening.Opening
	if o.Timed && page.Reading != nil {
		page.Clock = append(page.Clock, web.Corrected(say, *page.Reading, o.At, zone))
	}
	if !o.Timed {
		page.Clock = append(page.Clock, say.Say(web.TimeLost))
	}
	if o.Run < 0 || int(o.Run) >= len(site.Runs) {
		return nil
	}
	run := site.Runs[o.Run]
	page.Run, page.Runs = int(o.Run)+1, len(site.Runs)
	page.Clock = append(page.Clock, web.RunWhy(say, run, page.Run, page.Runs)...)
	for _, a := range run.Anchors {
		page.Anchors = append(page.Anchors, web.Anchor{Kind: a.Kind, Reading: a.Reading, True: a.True, ErrorS: a.ErrorS})
	}
	return nil
}

// noticedMost is how many findings stand beside an opening.
const noticedMost = 3

// noticed are the findings that name the line of an opening or, where its time is
// not known, that are of the time in which it must lie.
func (s *server) noticed(ctx context.Context, code string, row store.OpeningRow) ([]web.Note, error) {
	say := s.words(ctx)
	findings, err := s.Store.Findings(ctx, code)
	if err != nil {
		return nil, err
	}
	var notes []web.Note
	for _, f := range findings {
		names := slices.ContainsFunc(f.Evidence, func(e usage.RowRef) bool { return e.Card == row.Card && e.Line == row.Line })
		about := !row.Timed && f.From > 0 && f.From <= row.Latest && max(f.From, f.To) >= row.Earliest
		if (names || about) && len(notes) < noticedMost {
			notes = append(notes, web.Note{Term: say.Say(web.NoticedHere), Text: capital(say.Retell(f.Says)) + ".", Link: &web.Link{Href: "/sites/" + code + "/questions", Text: say.Say(web.NoticedMore)}})
		}
	}
	return notes, nil
}

// classWhy says why an opening is of its class.
func (s *server) classWhy(ctx context.Context, site usage.Site, o usage.Opening) (string, error) {
	say := s.words(ctx)
	if o.Class != usage.Service || o.Removal {
		return web.ClassWhy(say, o, site.Thresholds, ""), nil
	}
	calls, err := s.Store.Calls(ctx, site.Code)
	if err != nil {
		return "", err
	}
	near := ""
	for best, i := int64(-1), 0; i < len(calls); i++ {
		if gap := max(calls[i].At-o.At, o.At-calls[i].At); calls[i].At > 0 && (best < 0 || gap < best) {
			best, near = gap, say.When(calls[i].At, site.Zone)
		}
	}
	return web.ClassWhy(say, o, site.Thresholds, near), nil
}
