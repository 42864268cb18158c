package store

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
)

// table is a table of derived rows of sites: key K within the site, value V.
// All of its statements take the site's id as their first argument.
type table[K, V comparable] struct {
	name   string
	query  string // SELECT key, values … WHERE site = ?
	scan   func(*sql.Rows) (K, V, error)
	upsert string // INSERT … VALUES (site, …) ON CONFLICT … DO UPDATE
	bind   func(K, V) ([]any, error)
	remove string // DELETE … WHERE site = ? AND key = ?
}

// replace makes want the rows of a site, writing only what differs from what
// stands there already: rows that are alike are left alone and surplus ones
// deleted. bind is called for a row that is written before want moves on.
func (t table[K, V]) replace(ctx context.Context, tx *tx, site int64, want iter.Seq2[K, V]) error {
	have, err := t.load(ctx, tx, site)
	if err != nil {
		return fmt.Errorf("read %s: %w", t.name, err)
	}
	upsert, err := tx.PrepareContext(ctx, t.upsert)
	if err != nil {
		return fmt.Errorf("write %s: %w", t.name, err)
	}
	defer upsert.Close()
	seen := make(map[K]struct{}, len(have))
	for k, v := range want {
		if _, twice := seen[k]; twice {
			return fmt.Errorf("write %s: key %v derived twice", t.name, k)
		}
		seen[k] = struct{}{}
		if old, ok := have[k]; ok && old == v {
			continue
		}
		args, err := t.bind(k, v)
		if err == nil {
			_, err = upsert.ExecContext(ctx, append([]any{site}, args...)...)
		}
		if err != nil {
			return fmt.Errorf("write %s %v: %w", t.name, k, err)
		}
	}
	return t.prune(ctx, tx, site, have, seen)
}

func (t table[K, V]) load(ctx context.Context, tx *tx, site int64) (map[K]V, error) {
	have := map[K]V{}
	err := walk(ctx, tx, func(rows *sql.Rows) error {
		k, v, err := t.scan(rows)
		have[k] = v
		return err
	}, t.query, site)
	return have, err
}

func (t table[K, V]) prune(ctx context.Context, tx *tx, site int64, have map[K]V, seen map[K]struct{}) error {
	for k := range have {
		if _, ok := seen[k]; ok {
			continue
		}
		if _, err := tx.ExecContext(ctx, t.remove, site, k); err != nil {
			return fmt.Errorf("delete %s %v: %w", t.name, k, err)
		}
	}
	return nil
}

// seq2 yields the elements of a slice with keys from 0.
func seq2[V any](all []V) iter.Seq2[int64, V] {
	return func(yield func(int64, V) bool) {
		for i, v := range all {
			if !yield(int64(i), v) {
				return
			}
		}
	}
}
