package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"iter"

	"doorleaf/usage"
)

// SeasonData returns what the figures of any season of a site are made from. It
// reads no opening.
func (s *Store) SeasonData(ctx context.Context, code string) (usage.SeasonData, error) {
	var data usage.SeasonData
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		if data.Days, err = values(ctx, q, dayTable, `date`, site.id); err != nil {
			return err
		}
		if data.Opens, err = values(ctx, q, monthOpenTable, `month`, site.id); err != nil {
			return err
		}
		data.Untimed, err = values(ctx, q, bracketTable, `number`, site.id)
		return err
	})
	if err != nil {
		return usage.SeasonData{}, fmt.Errorf("seasons of %s: %w", code, err)
	}
	return data, nil
}

// values returns the rows of a site, by the column order.
func values[K, V comparable](ctx context.Context, q querier, t table[K, V], order string, site int64) ([]V, error) {
	all, err := collect(ctx, q, func(rows *sql.Rows) (V, error) {
		_, v, err := t.scan(rows)
		return v, err
	}, t.query+`
		ORDER BY `+order, site)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", t.name, err)
	}
	return all, nil
}

var monthOpenTable = table[int64, usage.MonthOpen]{
	name: "month_open",
	query: `
		SELECT month, bins
		FROM month_open
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (month int64, m usage.MonthOpen, err error) {
		var bins sql.RawBytes
		if err = rows.Scan(&month, &bins); err != nil {
			return month, m, err
		}
		m, err = decodeBins(bins)
		m.Month = usage.Month(month)
		return month, m, err
	},
	upsert: `
		INSERT INTO month_open (site, month, bins)
		VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE
		SET bins = excluded.bins`,
	bind:   func(month int64, m usage.MonthOpen) ([]any, error) { return []any{month, encodeBins(m)}, nil },
	remove: `DELETE FROM month_open WHERE site = ? AND month = ?`,
}

func keptOpens(opens []usage.MonthOpen) iter.Seq2[int64, usage.MonthOpen] {
	return func(yield func(int64, usage.MonthOpen) bool) {
		for _, m := range opens {
			if !yield(int64(m.Month), m) {
				return
			}
		}
	}
}

// encodeBins packs a month's visits by how long the door stood open: those of
// unknown seconds, then the bins up to the last that is not nought. Varints.
func encodeBins(m usage.MonthOpen) []byte {
	used := len(m.Visits)
	for used > 0 && m.Visits[used-1] == 0 {
		used--
	}
	out := binary.AppendUvarint(nil, uint64(m.Unknown))
	for _, n := range m.Visits[:used] {
		out = binary.AppendUvarint(out, uint64(n))
	}
	return out
}

func decodeBins(b []byte) (usage.MonthOpen, error) {
	var m usage.MonthOpen
	for i := -1; i < 0 || len(b) > 0; i++ {
		v, n := binary.Uvarint(b)
		if n <= 0 || i >= len(m.Visits) {
			return m, errCells
		}
		b = b[n:]
		if i < 0 {
			m.Unknown = int32(v)
		} else {
			m.Visits[i] = int32(v)
		}
	}
	return m, nil
}

var bracketTable = table[int64, usage.Bracket]{
	name: "bracket",
	query: `
		SELECT number, from_at, to_at, openings, visits
		FROM bracket
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (number int64, b usage.Bracket, err error) {
		err = rows.Scan(&number, &b.From, &b.To, &b.Openings, &b.Visits)
		return number, b, err
	},
	upsert: `
		INSERT INTO bracket (site, number, from_at, to_at, openings, visits)
		VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET from_at = excluded.from_at, to_at = excluded.to_at, openings = excluded.openings, visits = excluded.visits`,
	bind: func(number int64, b usage.Bracket) ([]any, error) {
		return []any{number, b.From, b.To, b.Openings, b.Visits}, nil
	},
	remove: `DELETE FROM bracket WHERE site = ? AND number = ?`,
}
