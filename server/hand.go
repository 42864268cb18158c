package server

import (
	"context"
	"fmt"
	"strings"

	"doorleaf/importer/cardfile"
)

// hand is how a logger writes its cards, as a card itself tells: two loggers of one
// make have the same, and a new firmware may bring another.
type hand struct {
	form, order string // order is the date order, "" where the card cannot tell
}

func handOf(f *cardfile.File) hand {
	d := f.Dialect
	h := hand{form: fmt.Sprint(d.Delimiter, d.Header, d.Columns, d.Hours, d.WeekdayNames, d.WeekdayShift, f.LineEnd, strings.TrimSuffix(f.Encoding, " bom"), f.Pairs, f.Resolution >= 60)}
	if d.DateOrder != nil {
		h.order = *d.DateOrder
	}
	return h
}

func (h hand) is(o hand) bool {
	return h.form == o.form && (h.order == o.order || h.order == "" || o.order == "")
}

// hands returns how the latest card of each site is written, by code. A site without
// a card that can be read is not there.
func (s *server) hands(ctx context.Context, d *desk) (map[string]hand, error) {
	all := map[string]hand{}
	for _, site := range d.sites {
		cards, err := s.Store.Cards(ctx, site.Code)
		if err != nil {
			return nil, err
		}
		if len(cards) == 0 {
			continue
		}
		data, err := s.Store.CardBytes(ctx, cards[len(cards)-1].ID)
		if err != nil {
			return nil, err
		}
		if file, err := cardfile.Read(data, cardfile.Hint{}); err == nil && len(file.Rows) > 0 {
			all[site.Code] = handOf(file)
		}
	}
	return all, nil
}

// byHand finds the one site whose cards are written as a card is; "" where there are
// several, or a site of which it is not known.
func (d *desk) byHand(c *readCard) string {
	if len(d.hands) < len(d.sites) || len(d.sites) < 2 || c.read.rows == 0 {
		return ""
	}
	found := ""
	for code, h := range d.hands {
		if !h.is(handOf(&c.read.File)) {
			continue
		}
		if found != "" {
			return ""
		}
		found = code
	}
	return found
}
