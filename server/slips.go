package server

import (
	"sync"

	"doorleaf/web"
)

// slipsMost is how many slips are remembered.
const slipsMost = 64

// slip is what is remembered of a tray beside its cards: the files that were
// left out, and once its cards are kept, the receipts.
type slip struct {
	skipped  []web.Skipped
	receipts []web.Receipt
	merged   *web.MergePage
}

// slips remembers the slips of the latest trays. Its zero value is ready. It is
// a courtesy for who reloads a page or presses a button twice: what was kept
// stands in the store.
type slips struct {
	mu    sync.Mutex
	of    map[string]slip
	order []string // oldest first
}

func (s *slips) put(tray string, what slip) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.of == nil {
		s.of = make(map[string]slip)
	}
	if _, ok := s.of[tray]; !ok {
		s.order = append(s.order, tray)
	}
	s.of[tray] = what
	if len(s.order) > slipsMost {
		delete(s.of, s.order[0])
		s.order = s.order[1:]
	}
}

func (s *slips) get(tray string) slip {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.of[tray]
}
