package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"

	"doorleaf/usage"
)

// Days returns the tallies of the civil dates from and to, both included, that
// have exposure or an opening.
func (s *Store) Days(ctx context.Context, code string, from, to usage.Date) ([]usage.Day, error) {
	var days []usage.Day
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		days, err = collect(ctx, q, func(rows *sql.Rows) (usage.Day, error) {
			_, d, err := dayTable.scan(rows)
			return d, err
		}, dayTable.query+`
			AND date BETWEEN ? AND ?
			ORDER BY date`, site.id, int64(from), int64(to))
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("days of %s: %w", code, err)
	}
	return days, nil
}

// Months returns every month tally of a site, ascending.
func (s *Store) Months(ctx context.Context, code string) ([]usage.MonthTally, error) {
	var months []usage.MonthTally
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		months, err = collect(ctx, q, func(rows *sql.Rows) (usage.MonthTally, error) {
			_, m, err := monthTable.scan(rows)
			return m, err
		}, monthTable.query+`
			ORDER BY month`, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("months of %s: %w", code, err)
	}
	return months, nil
}

var dayTable = table[int64, usage.Day]{
	name: "day",
	query: `
		SELECT date, openings, visits, open_s, unknown_s, dark, twilight, exposure_s
		FROM day
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (date int64, d usage.Day, err error) {
		err = rows.Scan(&date, &d.Openings, &d.Visits, &d.OpenS, &d.UnknownS, &d.Dark, &d.Twilight, &d.ExposureS)
		d.Date = usage.Date(date)
		return date, d, err
	},
	upsert: `
		INSERT INTO day (site, date, openings, visits, open_s, unknown_s, dark, twilight, exposure_s)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET openings = excluded.openings, visits = excluded.visits, open_s = excluded.open_s, unknown_s = excluded.unknown_s,
			dark = excluded.dark, twilight = excluded.twilight, exposure_s = excluded.exposure_s`,
	bind: func(date int64, d usage.Day) ([]any, error) {
		return []any{date, d.Openings, d.Visits, d.OpenS, d.UnknownS, d.Dark, d.Twilight, d.ExposureS}, nil
	},
	remove: `DELETE FROM day WHERE site = ? AND date = ?`,
}

func keptDays(days []usage.Day) iter.Seq2[int64, usage.Day] {
	return func(yield func(int64, usage.Day) bool) {
		for _, d := range days {
			if !yield(int64(d.Date), d) {
				return
			}
		}
	}
}

var monthTable = table[int64, usage.MonthTally]{
	name: "month",
	query: `
		SELECT month, cells
		FROM month
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (month int64, m usage.MonthTally, err error) {
		var cells sql.RawBytes
		if err = rows.Scan(&month, &cells); err != nil {
			return month, m, err
		}
		m, err = decodeCells(cells)
		m.Month = usage.Month(month)
		return month, m, err
	},
	upsert: `
		INSERT INTO month (site, month, cells)
		VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE
		SET cells = excluded.cells`,
	bind:   func(month int64, m usage.MonthTally) ([]any, error) { return []any{month, encodeCells(m)}, nil },
	remove: `DELETE FROM month WHERE site = ? AND month = ?`,
}

func keptMonths(months []usage.MonthTally) iter.Seq2[int64, usage.MonthTally] {
	return func(yield func(int64, usage.MonthTally) bool) {
		for _, m := range months {
			if !yield(int64(m.Month), m) {
				return
			}
		}
	}
}

// encodeCells packs the cells of a month: 168 visits, then 168 exposures as
// differences to the cell before, which are mostly nought. Zigzag varints.
func encodeCells(m usage.MonthTally) []byte {
	out := make([]byte, 0, 3*usage.HoursOfWeek)
	for _, v := range m.Visits {
		out = binary.AppendVarint(out, int64(v))
	}
	last := int64(0)
	for _, v := range m.ExposureS {
		out = binary.AppendVarint(out, int64(v)-last)
		last = int64(v)
	}
	return out
}

var errCells = errors.New("cells of a month are damaged")

func decodeCells(b []byte) (usage.MonthTally, error) {
	var m usage.MonthTally
	var all [2 * usage.HoursOfWeek]int64
	for i := range all {
		v, n := binary.Varint(b)
		if n <= 0 {
			return m, errCells
		}
		all[i], b = v, b[n:]
	}
	last := int64(0)
	for i := range usage.HoursOfWeek {
		last += all[usage.HoursOfWeek+i]
		m.Visits[i], m.ExposureS[i] = int32(all[i]), int32(last)
	}
	return m, nil
}
