package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"doorleaf/usage"
)

// SiteCall is a service call with the code of its site.
type SiteCall struct {
	Site string
	Call usage.ServiceCall
}

// AddCalls keeps service calls of several sites and derives these sites again, all in
// one transaction, and returns the calls' IDs in their order. IDs are not read. One
// call that makes no sense is Invalid and keeps all of them out.
func (s *Store) AddCalls(ctx context.Context, calls []SiteCall) ([]int64, error) {
	ids := make([]int64, len(calls))
	err := s.changeSites(ctx, calls, func(tx *tx, site keptSite, i int) error {
		call, err := tidyCall(calls[i].Call, tx.now)
		if err != nil {
			return err
		}
		if ids[i], err = insertCall(ctx, tx, site.id, call, nil); err != nil {
			return err
		}
		return tx.journal(ctx, callEntry(DeedCallKept, site, ids[i], call))
	})
	return ids, err
}

// DropCalls withdraws service calls of several sites, named by site and ID, in one
// transaction. They stay on record. One that does not stand is NotFound and leaves
// all of them as they are.
func (s *Store) DropCalls(ctx context.Context, calls []SiteCall) error {
	return s.changeSites(ctx, calls, func(tx *tx, site keptSite, i int) error {
		call, err := findCall(ctx, tx, site, calls[i].Call.ID)
		if err != nil {
			return err
		}
		if err := withdrawCall(ctx, tx, site, call.ID); err != nil {
			return err
		}
		return tx.journal(ctx, callEntry(DeedCallDropped, site, call.ID, call))
	})
}

// changeSites changes one call after the other and derives each site once.
func (s *Store) changeSites(ctx context.Context, calls []SiteCall, change func(tx *tx, site keptSite, i int) error) error {
	return s.write(ctx, func(tx *tx) error {
		var sites []keptSite
		for i, c := range calls {
			at := slices.IndexFunc(sites, func(k keptSite) bool { return k.Code == c.Site })
			if at < 0 {
				site, err := findSite(ctx, tx, c.Site)
				if err != nil {
					return err
				}
				at, sites = len(sites), append(sites, site)
				tx.touch(site.Code)
			}
			if err := change(tx, sites[at], i); err != nil {
				return fmt.Errorf("service call at %s: %w", c.Site, err)
			}
		}
		for _, site := range sites {
			if _, err := s.deriveSite(ctx, tx, site); err != nil {
				return err
			}
		}
		return nil
	})
}

// WithdrawnCalls returns the service calls of a site that were withdrawn and that no
// other has taken the place of, the latest withdrawn first.
func (s *Store) WithdrawnCalls(ctx context.Context, code string) ([]usage.ServiceCall, error) {
	var all []usage.ServiceCall
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		all, err = collect(ctx, q, scanCall, `
			SELECT `+callColumns+`
			FROM service_call
			WHERE site = ? AND withdrawn_at IS NOT NULL AND `+notReplaced+`
			ORDER BY withdrawn_at DESC, id DESC`, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("withdrawn service calls of %s: %w", code, err)
	}
	return all, nil
}

// notReplaced holds for a call that no change and no restoring has put another in the
// place of.
const notReplaced = `NOT EXISTS (SELECT 1 FROM service_call AS later WHERE later.instead_of = service_call.id)`

// RestoreCall keeps a withdrawn service call again, in the place of the withdrawn one,
// derives the site with it and returns its new ID. A call that was not withdrawn, or
// that another has taken the place of, is NotFound.
func (s *Store) RestoreCall(ctx context.Context, code string, id int64) (int64, error) {
	again := int64(0)
	err := s.changeSite(ctx, code, func(tx *tx, site keptSite) (bool, error) {
		found, err := collect(ctx, tx, scanCall, `
			SELECT `+callColumns+`
			FROM service_call
			WHERE site = ? AND id = ? AND withdrawn_at IS NOT NULL AND `+notReplaced, site.id, id)
		if err != nil {
			return false, fmt.Errorf("find withdrawn service call %d: %w", id, err)
		}
		if len(found) == 0 {
			return false, &usage.Fault{
				Kind: usage.NotFound,
				What: fmt.Sprintf("%s has no withdrawn service call %d", site.Code, id),
				Try:  "look at the list again: somebody may have brought it back already",
			}
		}
		if again, err = insertCall(ctx, tx, site.id, found[0], &id); err != nil {
			return false, err
		}
		return true, tx.journal(ctx, callEntry(DeedCallKept, site, again, found[0]))
	})
	return again, err
}

// ClockError returns how far the clock of a site may have been off at the last opening
// whose time is known; nil without one.
func (s *Store) ClockError(ctx context.Context, code string) (*usage.ClockError, error) {
	var known *usage.ClockError
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		return walk(ctx, q, func(rows *sql.Rows) error {
			_, b, err := scanBlock(rows)
			if err != nil {
				return err
			}
			for _, o := range slices.Backward(b.openings) {
				if o.Timed {
					known = &usage.ClockError{At: o.At, ErrorS: o.ErrorS}
					return errStop
				}
			}
			return nil
		}, `
			SELECT number, count, body
			FROM block
			WHERE site = ?
			ORDER BY number DESC`, site.id)
	})
	if err != nil {
		return nil, fmt.Errorf("clock of %s: %w", code, err)
	}
	return known, nil
}
