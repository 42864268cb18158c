package server

import (
	"context"
	"strings"
	"time"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// Pages are made ahead of their readers: after a start and after each change of a site
// its drawings are made one by one, while nobody waits for a page. aheadMost bounds how
// many sites that is after a start or a change of all, so that a large network does not
// keep a small machine busy for long.
const (
	aheadMost = 40
	aheadStep = 300 * time.Millisecond
)

// ahead draws until ctx ends.
func (s *server) ahead(ctx context.Context) {
	tick := time.NewTicker(aheadStep)
	defer tick.Stop()
	done, seen := map[string]uint64{}, uint64(0)
	for {
		if now := s.small.version(""); now != seen {
			seen = now
			if err := s.drawAhead(ctx, done); err != nil && ctx.Err() == nil {
				s.Log.Warn("draw ahead", "err", strings.TrimSpace(err.Error()))
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// drawAhead makes what the network's page and the pages of the sites show that have
// changed since done, in which it notes what it has made.
func (s *server) drawAhead(ctx context.Context, done map[string]uint64) error {
	sites, err := s.Store.Sites(ctx)
	if err != nil {
		return err
	}
	network, err := s.Store.Network(ctx)
	if err != nil {
		return err
	}
	w, made := words.Of(network.Region), 0
	for _, site := range sites {
		version := s.small.version(site.Code)
		if done[site.Code] == version {
			continue
		}
		if made++; made > aheadMost {
			return nil
		}
		if err := s.drawSiteAhead(ctx, site.Code, w); err != nil {
			return err
		}
		done[site.Code] = version
	}
	return nil
}

func (s *server) drawSiteAhead(ctx context.Context, code string, w *words.Words) error {
	s.Readers.Wait(ctx)
	if _, err := s.networkRow(ctx, code); usage.KindOf(err) == usage.NotFound {
		return ctx.Err() // it has another code now
	} else if err != nil {
		return err
	}
	data, err := s.shownOf(ctx, code, nil)
	if err != nil || len(data.months) == 0 {
		return err
	}
	for _, k := range s.sketches(ctx, w, data) {
		s.Readers.Wait(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		s.drawn(w, code, k) // into the cache of drawings
	}
	_, err = s.panels(ctx, code, nil, w)
	return err
}
