package server

import (
	"context"
	"net/http"
	"strings"
	"sync"

	"doorleaf/web/words"
)

// words are those of the network's region, with which its pages and reports are
// written; the same through one request. Where the region cannot be had they are
// English: the page is worth more.
func (s *server) words(ctx context.Context) *words.Words {
	if once, ok := ctx.Value(wordsKey{}).(func() *words.Words); ok {
		return once()
	}
	n, err := s.Store.Network(ctx)
	if err != nil {
		s.Log.Warn("read the network's region", "err", strings.TrimSpace(err.Error()))
		return words.English
	}
	return words.Of(n.Region)
}

type wordsKey struct{}

// oneLanguage asks for the network's region at most once in a request, and not at all
// where nothing is said.
func (s *server) oneLanguage(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx := r.Context()
		once := sync.OnceValue(func() *words.Words { return s.words(ctx) })
		next.ServeHTTP(w, r.WithContext(context.WithValue(ctx, wordsKey{}, once)))
	})
}
