package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"doorleaf/importer"
	"doorleaf/usage"
)

// CardSetting returns how the cards of a site are prepared; nil where nobody has said.
func (s *Store) CardSetting(ctx context.Context, code string) (*usage.CardSetting, error) {
	var setting *usage.CardSetting
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		setting, err = standingCardSetting(ctx, q, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("card setting of %s: %w", code, err)
	}
	return setting, nil
}

// SetCardSetting keeps how the cards of a site are prepared, in the place of what
// stands, which stays on record. The same again changes nothing; nil takes back what
// stands. A setting that makes no sense is Invalid.
func (s *Store) SetCardSetting(ctx context.Context, code string, setting *usage.CardSetting) error {
	if setting != nil {
		if err := setting.Check(importer.TagName); err != nil {
			return err
		}
	}
	body, err := json.Marshal(setting)
	if err != nil {
		return fmt.Errorf("card setting of %s: %w", code, err)
	}
	return s.writeAside(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		old, err := standingCardSetting(ctx, tx, site.id)
		if err != nil {
			return err
		}
		if same, err := json.Marshal(old); err == nil && string(same) == string(body) {
			return nil
		}
		_, err = tx.ExecContext(ctx, `
			UPDATE card_setting
			SET ended_at = ?
			WHERE site = ? AND ended_at IS NULL`, tx.now, site.id)
		if err == nil && setting != nil {
			_, err = tx.ExecContext(ctx, `
				INSERT INTO card_setting (site, body, said_at)
				VALUES (?, ?, ?)`, site.id, string(body), tx.now)
		}
		if err != nil {
			return fmt.Errorf("keep card setting of %s: %w", code, err)
		}
		says := "cards are prepared as usual"
		if setting != nil {
			says = fmt.Sprintf("cards are prepared with log %s, clock-set file %q", setting.LogFile, setting.ClockFile)
		}
		return tx.journal(ctx, Entry{Deed: DeedSiteChanged, Site: site.Code, Says: says})
	})
}

// standingCardSetting returns the setting of a site that stands, nil for none.
func standingCardSetting(ctx context.Context, q querier, site int64) (*usage.CardSetting, error) {
	found, err := collect(ctx, q, func(rows *sql.Rows) (*usage.CardSetting, error) {
		var body []byte
		if err := rows.Scan(&body); err != nil {
			return nil, err
		}
		setting := &usage.CardSetting{}
		return setting, json.Unmarshal(body, setting)
	}, `
		SELECT body
		FROM card_setting
		WHERE site = ? AND ended_at IS NULL`, site)
	if err != nil || len(found) == 0 {
		return nil, err
	}
	return found[0], nil
}

// PreparedCard is a card that was prepared: its clock-set file names a moment.
type PreparedCard struct {
	ID      int64
	At      int64 // true instant, Unix s
	Reading int64 // wall seconds: the digits in the file
	MadeAt  int64 // Unix s; not read by AddPrepared
}

// AddPrepared notes that a card was prepared for a site. The same moment again is
// noted once.
func (s *Store) AddPrepared(ctx context.Context, code string, card PreparedCard) error {
	return s.writeAside(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		done, err := tx.ExecContext(ctx, `
			INSERT INTO prepared_card (site, at, reading, made_at)
			SELECT ?, ?, ?, ?
			WHERE NOT EXISTS (SELECT 1 FROM prepared_card WHERE site = ?1 AND at = ?2 AND reading = ?3)`,
			site.id, card.At, card.Reading, tx.now)
		if err != nil {
			return fmt.Errorf("note prepared card of %s: %w", code, err)
		}
		if n, err := done.RowsAffected(); n == 0 || err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedSiteChanged, Site: site.Code, Says: "prepared a card that sets the clock at " + instantWords(card.At)})
	})
}

// Prepared returns the cards that were prepared for a site since an instant, Unix s,
// the latest moment first.
func (s *Store) Prepared(ctx context.Context, code string, since int64) ([]PreparedCard, error) {
	var all []PreparedCard
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		all, err = collect(ctx, q, func(rows *sql.Rows) (c PreparedCard, err error) {
			err = rows.Scan(&c.ID, &c.At, &c.Reading, &c.MadeAt)
			return c, err
		}, `
			SELECT id, at, reading, made_at
			FROM prepared_card
			WHERE site = ? AND made_at >= ?
			ORDER BY at DESC, id DESC`, site.id, since)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("prepared cards of %s: %w", code, err)
	}
	return all, nil
}
