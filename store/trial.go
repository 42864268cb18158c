package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"doorleaf/usage"
)

// TryThresholds returns for each of some thresholds what the openings of a site come to
// from the civil date first to last, both included. Nothing is changed.
func (s *Store) TryThresholds(ctx context.Context, code string, first, last usage.Date, limits ...usage.Thresholds) ([]usage.Trial, error) {
	var trials []usage.Trial
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		zone, err := usage.LoadZone(site.Zone)
		if err != nil {
			return err
		}
		var openings []usage.Opening
		err = walk(ctx, q, func(rows *sql.Rows) error {
			_, b, err := scanBlock(rows)
			openings = append(openings, b.openings...)
			return err
		}, `
			SELECT number, count, body
			FROM block
			WHERE site = ?
			ORDER BY number`, site.id)
		if err != nil {
			return err
		}
		for _, l := range limits {
			trials = append(trials, usage.TryThresholds(zone, slices.Values(openings), l, first, last))
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("try thresholds of %s: %w", code, err)
	}
	return trials, nil
}
