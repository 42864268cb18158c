package store

import (
	"cmp"
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"

	"github.com/klauspost/compress/zstd"

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
	Packed []byte // what PackCard made of its bytes; only on the way to the tray, see TrayBytes
}

// PackCard compresses the bytes of a card as a tray holds them, and UnpackCard gives
// them back.
func PackCard(data []byte) ([]byte, error) { return compress(data) }

// UnpackCard is the other way of PackCard.
func UnpackCard(packed []byte) ([]byte, error) { return decompress(packed, 0) }

// trayLifeS is how long a tray lasts, s.
const trayLifeS = 24 * 3600

// FillTray puts cards on a new tray and returns the tray's unguessable name.
// The IDs of the cards are given by the tray. Trays that are over a day old
// are thrown away.
func (s *Store) FillTray(ctx context.Context, cards []TrayCard) (string, error) {
	tray := rand.Text() // 128 bits or more
	err := s.writeAside(ctx, func(tx *tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM tray WHERE filled_at <= ?`, tx.now-trayLifeS); err != nil {
			return fmt.Errorf("throw old trays: %w", err)
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO tray (name, filled_at) VALUES (?, ?)`, tray, tx.now); err != nil {
			return fmt.Errorf("fill tray: %w", err)
		}
		return layOnTray(ctx, tx, tray, cards)
	})
	if err != nil {
		return "", err
	}
	return tray, nil
}

// AddToTray lays more cards on a tray, behind those that lie there, and gives it
// another day. A tray that is not there any more is NotFound.
func (s *Store) AddToTray(ctx context.Context, tray string, cards []TrayCard) error {
	return s.writeAside(ctx, func(tx *tx) error {
		done, err := tx.ExecContext(ctx, `UPDATE tray SET filled_at = ? WHERE name = ? AND filled_at > ?`, tx.now, tray, tx.now-trayLifeS)
		if err != nil {
			return fmt.Errorf("find tray: %w", err)
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return cmp.Or(err, error(trayGone()))
		}
		return layOnTray(ctx, tx, tray, cards)
	})
}

func layOnTray(ctx context.Context, tx *tx, tray string, cards []TrayCard) error {
	for _, c := range cards {
		_, err := tx.ExecContext(ctx, `
			INSERT INTO tray_card (tray, name, folder, tag, body)
			VALUES (?, ?, ?, ?, ?)`, tray, cleanName(c.Name), cleanName(c.Folder), cleanName(c.Tag), c.Packed)
		if err != nil {
			return fmt.Errorf("fill tray with %s: %w", c.Name, err)
		}
	}
	return nil
}

func trayGone() *usage.Fault {
	return &usage.Fault{
		Kind: usage.NotFound,
		What: "these cards are no longer waiting",
		Try:  "bring them in again; cards that are not kept within a day are thrown away",
	}
}

// TrayLoad returns how many cards lie on a tray and their bytes together, not
// compressed; 0, 0 for a tray that is not there.
func (s *Store) TrayLoad(ctx context.Context, tray string) (cards int, bytes int64, err error) {
	err = walk(ctx, s.reader, func(rows *sql.Rows) error {
		var head []byte
		if err := rows.Scan(&head); err != nil {
			return err
		}
		size, err := plainSize(head)
		cards, bytes = cards+1, bytes+size
		return err
	}, `
		SELECT CASE WHEN length(body) <= ?1 THEN body ELSE substr(body, 1, ?1) END
		FROM tray_card
		WHERE tray = ?2`, sizedFrom+zstd.HeaderMaxSize, tray)
	if err != nil {
		return 0, 0, busyFault(fmt.Errorf("weigh tray: %w", err))
	}
	return cards, bytes, nil
}

// sizedFrom is from how many plain bytes on a frame says how many there are; a shorter
// one may leave it out (RFC 8878, 3.1.1.1.1).
const sizedFrom = 256

// plainSize returns how many bytes decompress would make of a body of which head is
// the beginning, or all where it is short.
func plainSize(head []byte) (int64, error) {
	var h zstd.Header
	if err := h.Decode(head); err != nil {
		return 0, fmt.Errorf("read zstd header: %w", err)
	}
	if h.HasFCS {
		return int64(h.FrameContentSize), nil
	}
	plain, err := decompress(head, 0)
	return int64(len(plain)), err
}

// Tray returns the cards on a tray in the order in which they were put there,
// without their bytes, or NotFound.
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
			return trayGone()
		}
		cards, err = collect(ctx, q, scanTrayCard, `
			SELECT id, name, folder, tag
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
	err := rows.Scan(&c.ID, &c.Name, &c.Folder, &c.Tag)
	return c, err
}

// TrayBytes returns the bytes of a card on a tray, or NotFound. All cards of a tray
// together may be more than the memory is meant to hold.
func (s *Store) TrayBytes(ctx context.Context, tray string, id int64) (data []byte, err error) {
	there := false
	err = walk(ctx, s.reader, func(rows *sql.Rows) error {
		var packed sql.RawBytes
		err := rows.Scan(&packed)
		if err == nil {
			there = true
			data, err = decompress(packed, 0)
		}
		return err
	}, `
		SELECT body
		FROM tray_card
		WHERE tray = ? AND id = ?`, tray, id)
	switch {
	case err != nil:
		return nil, busyFault(fmt.Errorf("card on the tray: %w", err))
	case !there:
		return nil, trayGone()
	}
	return data, nil
}

// ThrowTray empties a tray. One that is not there is as good as thrown.
func (s *Store) ThrowTray(ctx context.Context, tray string) error {
	return s.writeAside(ctx, func(tx *tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM tray WHERE name = ?`, tray); err != nil {
			return fmt.Errorf("throw tray: %w", err)
		}
		return nil
	})
}
