package main

import (
	"context"
	"fmt"
	"os"
	"slices"

	"doorleaf/importer"
	"doorleaf/importer/forge"
	"doorleaf/store"
	"doorleaf/usage"
)

// swaps is what became of cards brought under the wrong site.
type swaps struct {
	brought int // cards
	telling int // that share rows enough with a kept card of their own site
	held    int // of those, held back with a question, by whatever clue the wrong site came
	falsely int // cards brought under their own site and held back
	says    []string
}

func (s *swaps) add(o swaps) {
	s.brought, s.telling, s.held, s.falsely = s.brought+o.brought, s.telling+o.telling, s.held+o.held, s.falsely+o.falsely
	s.says = append(s.says, o.says...)
}

// tellingRows are the rows that a card must share with a kept card of its own
// site so that the logbook could tell.
const tellingRows = 3

// bringSwaps keeps a network in a store, all cards but those that are to be
// swapped, and brings these under the wrong site.
func (b *book) bringSwaps(ctx context.Context, n *forge.Network) (err error) {
	dir, err := os.MkdirTemp("", "doorleaf-truth-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	s, err := store.Open(ctx, dir, store.Options{})
	if err != nil {
		return err
	}
	defer func() {
		if e := s.Close(); err == nil {
			err = e
		}
	}()
	var sites []usage.Site
	for i, site := range n.Sites {
		u, err := keepBut(ctx, s, site, swapped(n, i))
		if err != nil {
			return err
		}
		sites = append(sites, u)
	}
	for _, swap := range n.Swaps {
		if err := b.bring(ctx, s, n, sites, swap); err != nil {
			return err
		}
	}
	return nil
}

// swapped returns the cards of a site that are to be swapped.
func swapped(n *forge.Network, site int) (out []int) {
	for _, s := range n.Swaps {
		if s.Site == site {
			out = append(out, s.Card)
		}
	}
	return out
}

func keepBut(ctx context.Context, s *store.Store, site *forge.Site, but []int) (usage.Site, error) {
	u := site.Spec.Site()
	u.Profile.DateOrder = site.Spec.Dialect.Order()
	if err := s.AddSite(ctx, u); err != nil {
		return u, err
	}
	var cards []store.CardIn
	for i, c := range site.Cards {
		if slices.Contains(but, i) {
			continue
		}
		in, err := cardIn(c, u.Profile.DateOrder)
		if err != nil {
			return u, err
		}
		cards = append(cards, in)
	}
	_, err := s.Keep(ctx, u.Code, cards)
	return u, err
}

func cardIn(c forge.Card, order string) (store.CardIn, error) {
	data, err := c.Bytes()
	return store.CardIn{Name: c.Name, Bytes: data, RemovedAt: c.NotedAt, DateOrder: order}, err
}

// bring brings a card under the wrong site in each way in which that happens:
// chosen by hand, by a tag left on the card, by the folder that it lies in.
func (b *book) bring(ctx context.Context, s *store.Store, n *forge.Network, sites []usage.Site, swap forge.Swap) error {
	home := n.Sites[swap.Site]
	in, err := cardIn(home.Cards[swap.Card], home.Spec.Dialect.Order())
	if err != nil {
		return err
	}
	found, err := s.Elsewhere(ctx, in)
	if err != nil {
		return err
	}
	var overlaps []importer.Overlap
	for _, o := range found {
		overlaps = append(overlaps, importer.Overlap{Site: o.Site, Rows: o.Rows})
	}
	wrong := n.Sites[swap.To].Spec.Code
	right := importer.Advise(sites, importer.Clues{Overlaps: overlaps, Choice: home.Spec.Code})
	b.swaps.falsely += one(right.Other != nil)
	b.swaps.brought++
	if !telling(home, swap.Card, swapped(n, swap.Site)) {
		return nil
	}
	b.swaps.telling++
	for _, c := range []importer.Clues{{Choice: wrong}, {Tag: wrong}, {Folder: wrong}} {
		c.Overlaps = overlaps
		a := importer.Advise(sites, c)
		if a.Site == wrong && a.Other == nil {
			b.swaps.says = append(b.swaps.says, fmt.Sprintf("%s: card %s passed under %s", n.Name, home.Cards[swap.Card].Path(), wrong))
			return nil
		}
	}
	b.swaps.held++
	return nil
}

// telling says whether a card shares rows enough with a kept card of its site.
func telling(s *forge.Site, card int, but []int) bool {
	mine := map[int32]bool{}
	for _, r := range s.Cards[card].Rows() {
		mine[r.Opening] = mine[r.Opening] || r.Event != forge.Close
	}
	for i, c := range s.Cards {
		if slices.Contains(but, i) {
			continue
		}
		n := 0
		for _, r := range c.Rows() {
			n += one(r.Event != forge.Close && mine[r.Opening])
		}
		if n >= tellingRows {
			return true
		}
	}
	return false
}
