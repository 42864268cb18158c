package server

import (
	"net/http"
	"strings"

	"doorleaf/web/words"
)

// words are those of the network's region, with which its pages and reports are
// written. Where the region cannot be had they are English: the page is worth more.
func (s *server) words(r *http.Request) *words.Words {
	n, err := s.Store.Network(r.Context())
	if err != nil {
		s.Log.Warn("read the network's region", "err", strings.TrimSpace(err.Error()))
		return words.English
	}
	return words.Of(n.Region)
}
