package main

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// result is what the pipeline makes of a site's cards, beside its truth.
type result struct {
	truth   *forge.Site
	site    usage.Site
	zone    *usage.Zone
	book    usage.Logbook
	derived usage.Derived
	cards   map[string]*card // by ID
}

// card is a card file as forged and as read.
type card struct {
	path   string
	places []forge.Place
	file   *cardfile.File
}

// derive takes a site through the pipeline, with all that people noted of it.
func derive(s *forge.Site) (*result, error) {
	r := &result{truth: s, site: s.Spec.Site(), cards: map[string]*card{}}
	r.site.Profile.DateOrder = s.Spec.Dialect.Order() // what is measured here is not how dates are told apart
	var err error
	if r.zone, err = usage.LoadZone(r.site.Zone); err != nil {
		return nil, err
	}
	kept := importer.Kept{Calls: s.Noted}
	for _, c := range s.Cards {
		k, err := r.keep(c)
		if err != nil {
			return nil, err
		}
		kept.Cards = append(kept.Cards, k)
	}
	return r, r.run(kept)
}

// crash is a panic of the pipeline.
type crash struct{ says any }

func (c crash) Error() string { return fmt.Sprintf("panic: %v", c.says) }

// run derives the site. Its error is a crash where the pipeline panics, so that
// the other sites are measured all the same.
func (r *result) run(kept importer.Kept) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = crash{p}
		}
	}()
	if r.book, err = importer.Derive(r.site, kept); err != nil {
		return fmt.Errorf("site %s: %w", r.site.Code, err)
	}
	r.derived, err = usage.Derive(r.site, r.book)
	return err
}

func (r *result) keep(c forge.Card) (importer.Card, error) {
	data, err := c.Bytes()
	if err != nil {
		return importer.Card{}, err
	}
	sum := sha256.Sum256(data)
	k := importer.Card{ID: hex.EncodeToString(sum[:]), Name: c.Name, Bytes: data, RemovedAt: c.NotedAt, Hint: cardfile.Hint{DateOrder: r.site.Profile.DateOrder}}
	if k.File, err = cardfile.Read(data, k.Hint); err != nil {
		return importer.Card{}, fmt.Errorf("card %s: %w", c.Path(), err)
	}
	r.cards[k.ID] = &card{path: c.Path(), places: c.Places(), file: k.File}
	return k, nil
}

// noTruth is the match of an opening that is nobody's.
const noTruth = -1

// match finds the true opening of each opening of the logbook, by its card and
// byte offset: a position among the true ones, or noTruth.
func (r *result) match() []int {
	out := make([]int, len(r.book.Openings))
	for i := range r.book.Openings {
		o := &r.book.Openings[i]
		out[i] = noTruth
		c := r.cards[r.book.Cards[o.Card].ID]
		if c == nil {
			continue
		}
		best := int64(-1)
		for _, p := range c.at(o.Offset) {
			if p.Row.Opening < 0 || int(p.Row.Opening) >= len(r.truth.Openings) {
				continue
			}
			if d := far(o.At, r.truth.Openings[p.Row.Opening].At); best < 0 || o.Timed && d < best {
				out[i], best = int(p.Row.Opening), d
			}
		}
	}
	return out
}

// at returns the rows on the line at a byte offset: one, or several where rows
// are glued to one that was cut.
func (c *card) at(offset int64) []forge.Place {
	i, found := slices.BinarySearchFunc(c.places, offset, func(p forge.Place, at int64) int { return cmp.Compare(p.Offset, at) })
	if !found {
		return nil
	}
	j := i
	for j < len(c.places) && c.places[j].Offset == offset {
		j++
	}
	return c.places[i:j]
}

// unread returns the true openings on whose line some card has a complaint: lost
// perhaps, but not in silence.
func (r *result) unread() map[int]bool {
	out := map[int]bool{}
	for _, c := range r.cards {
		for _, x := range c.file.Complaints {
			for _, p := range c.at(x.Offset) {
				out[int(p.Row.Opening)] = true
			}
		}
	}
	return out
}

func far(a, b int64) int64 { return max(a-b, b-a) }
