package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"

	"doorleaf/usage"
)

// TrayCard is an uploaded card file that lies on the tray: read and shown, but
// not kept until somebody says so. A tray is emptied when its cards are kept,
// when it is thrown away, or a day after it was filled.
type TrayCard struct {
	ID     int64
	Name   string
	Folder string // name of the folder it lay in; ""
	Tag    string // site code of a tag file beside it; ""
	Bytes  []byte
}

// trayLifeS is how long a tray lasts, s.
const trayLifeS = 24 * 3600

// FillTray puts cards on a new tray and returns the tray's unguessable name.
// The IDs of the cards are given by the tray. Trays that are over a day old
// are thrown away.
func (s *Store) FillTray(ctx context.Context, cards []TrayCard) (string, error) {
	bodies := make([][]byte, len(cards))
	for i, c := range cards {
		var err error
		if bodies[i], err = compress(c.Bytes); err != nil {
			return "", fmt.Errorf("tray card %s: %w", c.Name, err)
		}
	}
	tray := rand.Text() // 128 bits or more
	err := s.write(ctx, func(tx *tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM tray WHERE filled_at <= ?`, tx.now-trayLifeS); err != nil {
			return fmt.Errorf("throw old trays: %w", err)
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO tray (name, filled_at) VALUES (?, ?)`, tray, tx.now); err != nil {
			return fmt.Errorf("fill tray: %w", err)
		}
		for i, c := range cards {
			_, err := tx.ExecContext(ctx, `
				INSERT INTO tray_card (tray, name, folder, tag, body)
				VALUES (?, ?, ?, ?, ?)`, tray, cleanName(c.Name), cleanName(c.Folder), cleanName(c.Tag), bodies[i])
			if err != nil {
				return fmt.Errorf("fill tray with %s: %w", c.Name, err)
			}
		}
		return nil
	})
	if err != nil {
		return "", err
	}
	return tray, nil
}

// Tray returns the cards on a tray in the order in which they were put there,
// or NotFound.
func (s *Store) Tray(ctx context.Context, tray string) ([]TrayCard, error) {
	oldest := s.now().Unix() - trayLifeS
	var cards []TrayCard
	err := s.read(ctx, func(q querier) error {
		var there bool
		err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM tray WHERE name = ? AND filled_at > ?)`, tray, oldest).Scan(&there)
		if err != nil {
			return err
		}
		if !there {
			return &usage.Fault{
				Kind: usage.NotFound,
				What: "these cards are no longer waiting",
				Try:  "bring them in again; cards that are not kept within a day are thrown away",
			}
		}
		cards, err = collect(ctx, q, scanTrayCard, `
			SELECT id, name, folder, tag, body
			FROM tray_card
			WHERE tray = ?
			ORDER BY id`, tray)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("tray: %w", err)
	}
	return cards, nil
}

func scanTrayCard(rows *sql.Rows) (TrayCard, error) {
	var c TrayCard
	var packed sql.RawBytes
	if err := rows.Scan(&c.ID, &c.Name, &c.Folder, &c.Tag, &packed); err != nil {
		return c, err
	}
	var err error
	c.Bytes, err = decompress(packed, 0)
	return c, err
}

// ThrowTray empties a tray. One that is not there is as good as thrown.
func (s *Store) ThrowTray(ctx context.Context, tray string) error {
	return s.write(ctx, func(tx *tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM tray WHERE name = ?`, tray); err != nil {
			return fmt.Errorf("throw tray: %w", err)
		}
		return nil
	})
}
