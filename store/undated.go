package store

import (
	"context"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
)

// CardID returns the ID of a card file: the SHA-256 of its bytes in lower-case hex.
func CardID(data []byte) string { return cardID(data) }

// Undated tells, for each card that is to be kept, whether nothing says in
// which order its dates are written: not the card itself, not who brought it,
// not the site's profile, not the other cards of the site, those that come with
// it included.
func (s *Store) Undated(ctx context.Context, code string, cards []CardIn) ([]bool, error) {
	out := make([]bool, len(cards))
	files := make([]*cardfile.File, len(cards))
	asked := false
	for i, c := range cards {
		f, err := s.engine.file(c)
		if err != nil {
			return nil, err
		}
		files[i], out[i] = f, f.Ambiguous
		asked = asked || f.Ambiguous
	}
	if !asked {
		return out, nil
	}
	site, err := findSite(ctx, s.reader, code)
	if err != nil {
		return nil, err
	}
	order, err := siteOrder(ctx, s.reader, site)
	if err != nil {
		return nil, err
	}
	if order != "" || importer.DateOrder(site.Site, files) != "" {
		clear(out)
	}
	return out, nil
}
