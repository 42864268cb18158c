package server

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/web"
)

// entriesShown is how many entries one page of the journal shows.
const entriesShown = 100

func (s *server) routeJournal(r chi.Router) {
	r.Get("/journal", s.do(s.journal))
}

// journal shows who changed what, the latest first.
func (s *server) journal(w http.ResponseWriter, r *http.Request) error {
	if s.Access == nil {
		return errNoAccess
	}
	before := int64(0)
	if given := r.URL.Query().Get("before"); given != "" {
		var err error
		if before, err = strconv.ParseInt(given, 10, 64); err != nil || before <= 0 {
			return invalid("there is no such page of the journal", "begin with its first page, /journal")
		}
	}
	entries, more, err := s.Access.Journal(r.Context(), before, entriesShown)
	if err != nil {
		return err
	}
	page := web.JournalPage{Earlier: before > 0}
	if page.Zone, err = s.networkZone(r.Context()); err != nil {
		return err
	}
	say := s.words(r.Context())
	for _, e := range entries {
		page.Entries = append(page.Entries, web.JournalEntry{
			At: e.At, Role: web.RoleWords(say, e.Actor.Role), Who: e.Actor.Who, Deed: say.Retell(string(e.Deed)), Site: e.Site, Says: say.Retell(e.Says), Undo: undoAddress(e),
		})
	}
	if more {
		page.Next = fmt.Sprintf("/journal?before=%d", entries[len(entries)-1].ID)
	}
	return s.send(w, r, http.StatusOK, page)
}

// undoAddress is the page on which an entry's change can be taken back; "" where
// it stands no more or cannot be.
func undoAddress(e store.Entry) string {
	if !e.Standing {
		return ""
	}
	switch e.Deed {
	case store.DeedCardKept:
		return "/cards/" + e.Subject + "/withdraw"
	case store.DeedCardTold:
		return "/cards/" + e.Subject
	case store.DeedSiteChanged:
		return "/sites/" + e.Site + "/change"
	case store.DeedNetworkChanged:
		return fmt.Sprintf("/set-up?before=%d", e.At)
	case store.DeedRuled:
		return "/sites/" + e.Site + "/questions"
	case store.DeedCallKept, store.DeedCallChanged:
		return "/sites/" + e.Site + "/calls#call-" + e.Subject
	}
	return ""
}
