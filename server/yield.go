package server

import (
	"context"
	"net/http"
	"sync/atomic"
	"time"
)

// Keeping cards makes every drawing of their box anew, for whoever reads next. Where
// cards come in without a pause while many read, each reader would wait for drawings of
// their own and the waiting would have no end. So cards wait a moment for readers;
// readers do not wait for cards.
const (
	yieldMost = 5 * time.Second
	yieldStep = 10 * time.Millisecond
)

// Readers counts the pages that are being made, for work that can wait until they are.
// The zero Readers has none yet.
type Readers struct{ pages atomic.Int64 }

// Wait waits until no page is being made, or ctx ends, at most a few seconds.
func (r *Readers) Wait(ctx context.Context) { r.wait(ctx, yieldMost) }

// reading counts the pages that are being made.
func (s *server) reading(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			s.Readers.pages.Add(1)
			defer s.Readers.pages.Add(-1)
		}
		next.ServeHTTP(w, r)
	})
}

func (r *Readers) wait(ctx context.Context, patience time.Duration) {
	step := time.NewTicker(yieldStep)
	defer step.Stop()
	most := time.NewTimer(patience)
	defer most.Stop()
	for r.pages.Load() > 0 {
		select {
		case <-step.C:
		case <-most.C:
			return
		case <-ctx.Done():
			return
		}
	}
}
