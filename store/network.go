package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strings"

	"doorleaf/usage"
)

// Network returns what the network says of itself; where nobody has said anything it
// has no name and writes in usage.DefaultRegion.
func (s *Store) Network(ctx context.Context) (usage.Network, error) {
	n, _, err := standingNetwork(ctx, s.reader)
	if err != nil {
		return usage.Network{}, busyFault(err)
	}
	return n, nil
}

// NetworkBefore returns what the network said of itself until it was changed at an
// instant, Unix s: what comes in the place of that change when it is taken back; the
// usual where it was the first. An instant at which nothing was said is NotFound.
func (s *Store) NetworkBefore(ctx context.Context, at int64) (usage.Network, error) {
	both, err := collect(ctx, s.reader, scanNetwork, `
		SELECT body
		FROM network
		WHERE said_at = ?1 OR ended_at = ?1
		ORDER BY id DESC
		LIMIT 2`, at)
	switch {
	case err != nil:
		return usage.Network{}, busyFault(fmt.Errorf("find the network's setting: %w", err))
	case len(both) == 0:
		return usage.Network{}, &usage.Fault{Kind: usage.NotFound, What: "the network's setting was not changed then", Try: "see the journal for when it was"}
	case len(both) == 1: // the change alone
		return usage.Network{Region: usage.DefaultRegion}, nil
	}
	return both[1], nil
}

// SetNetwork keeps what the network says of itself in the place of what stands, which
// stays on record. The same again changes nothing. What makes no sense is Invalid.
func (s *Store) SetNetwork(ctx context.Context, n usage.Network) error {
	n = n.Tidy()
	if err := n.Valid(); err != nil {
		return err
	}
	body, err := json.Marshal(n)
	if err != nil {
		return fmt.Errorf("network: %w", err)
	}
	return s.write(ctx, func(tx *tx) error {
		old, said, err := standingNetwork(ctx, tx)
		if err != nil || said && old == n {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			UPDATE network
			SET ended_at = ?
			WHERE ended_at IS NULL`, tx.now)
		if err == nil {
			_, err = tx.ExecContext(ctx, `
				INSERT INTO network (body, said_at)
				VALUES (?, ?)`, string(body), tx.now)
		}
		if err != nil {
			return fmt.Errorf("keep the network's setting: %w", err)
		}
		return tx.journal(ctx, Entry{Deed: DeedNetworkChanged, Says: networkChange(old, n)})
	})
}

// standingNetwork returns the setting that stands; said is false where there is none.
func standingNetwork(ctx context.Context, q querier) (n usage.Network, said bool, err error) {
	found, err := collect(ctx, q, scanNetwork, `
		SELECT body
		FROM network
		WHERE ended_at IS NULL`)
	switch {
	case err != nil:
		return n, false, fmt.Errorf("find the network's setting: %w", err)
	case len(found) == 0:
		return usage.Network{Region: usage.DefaultRegion}, false, nil
	}
	return found[0], true, nil
}

func scanNetwork(rows *sql.Rows) (n usage.Network, err error) {
	var body []byte
	if err = rows.Scan(&body); err == nil {
		err = json.Unmarshal(body, &n)
	}
	return n, err
}

// networkChange says what differs between two settings.
func networkChange(was, is usage.Network) string {
	a, b := was.Region, is.Region
	var said []string
	for _, f := range []struct{ name, was, is string }{
		{"name", was.Name, is.Name},
		{"language", a.Language, b.Language},
		{"dates", a.Dates, b.Dates},
		{"decimal mark", a.Decimal, b.Decimal},
		{"first day of the week", fmt.Sprint(a.FirstDay), fmt.Sprint(b.FirstDay)},
		{"clock", fmt.Sprint(a.Clock), fmt.Sprint(b.Clock)},
	} {
		if f.was != f.is {
			said = append(said, fmt.Sprintf("%s: %s → %s", f.name, orNone(f.was), orNone(f.is)))
		}
	}
	if len(said) == 0 {
		return "the usual ways of writing were confirmed"
	}
	return strings.Join(said, "; ")
}

// mergeNetwork takes over what their network said of itself where ours is new and
// holds nothing, as when a bundle is restored. Any other keeps its own name and ways.
func (m *merger) mergeNetwork(l *layout) error {
	if len(m.ours["network"])+len(m.ours["site"]) > 0 {
		return nil
	}
	for i := range m.theirs["network"] {
		if _, err := m.insert(l, m.theirs["network"][i].values); err != nil {
			return err
		}
	}
	n, said, err := standingNetwork(m.ctx, m.tx)
	if err == nil && said {
		err = n.Valid()
	}
	return m.readBack(err)
}
