package store

import (
	"context"
	"fmt"
)

// refresh derives the sites again that a migration has marked as stale. Each is
// a transaction of its own, its mark included: cut off, it goes on with the rest
// the next time.
func (s *Store) refresh(ctx context.Context) error {
	codes, err := collect(ctx, s.reader, scanCode, `
		SELECT code
		FROM stale
		JOIN site ON site.id = stale.site
		ORDER BY code`)
	if err != nil {
		return fmt.Errorf("list stale sites: %w", err)
	}
	for _, code := range codes {
		if err := s.rebuildSite(ctx, code); err != nil {
			return fmt.Errorf("bring %s up to date: %w", code, err)
		}
	}
	return nil
}

// unmark takes the mark of a stale site off.
func unmark(ctx context.Context, tx *tx, site int64) error {
	if _, err := tx.ExecContext(ctx, `DELETE FROM stale WHERE site = ?`, site); err != nil {
		return fmt.Errorf("take the mark off: %w", err)
	}
	return nil
}
