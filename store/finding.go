package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"doorleaf/usage"
)

// Findings returns the findings of a site, oldest first, each with the ruling on
// it that stands. The Card of their evidence is the index of a card in what Cards
// returns for the site.
func (s *Store) Findings(ctx context.Context, code string) ([]usage.Finding, error) {
	var found []usage.Finding
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		place, err := cardPlaces(ctx, q, site.id)
		if err != nil {
			return err
		}
		standing, err := rulings(ctx, q, site.id)
		if err != nil {
			return err
		}
		found, err = collect(ctx, q, func(rows *sql.Rows) (usage.Finding, error) {
			f, err := scanFinding(rows, place)
			f.Ruling = usage.RulingFor(standing, f.Key)
			return f, err
		}, findingTable.query+`
			ORDER BY from_at, key`, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("findings of %s: %w", code, err)
	}
	return found, nil
}

// OpenFindings returns how many findings of the whole network have no ruling.
func (s *Store) OpenFindings(ctx context.Context) (int, error) {
	var n int
	err := s.reader.QueryRowContext(ctx, `
		SELECT count(*)
		FROM finding
		WHERE `+unruled).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count open findings: %w", err)
	}
	return n, nil
}

// unruled holds for a finding to which no answer stands.
const unruled = `NOT EXISTS (
		SELECT 1
		FROM ruling
		WHERE ruling.site = finding.site AND ruling.finding = finding.key AND ruling.undone_at IS NULL)`

// keptFinding is a finding without its key and its ruling, and with its choices
// and its evidence as JSON.
type keptFinding struct {
	kind     string
	from, to int64
	says     string
	changes  string
	choices  string
	evidence string
}

// keptRow is a piece of evidence. It names its card by its id, since the index
// of a card in the logbook moves when other cards come.
type keptRow struct {
	Card   string `json:"card"`
	Line   int32  `json:"line"`
	Offset int64  `json:"offset"`
}

var findingTable = table[string, keptFinding]{
	name: "finding",
	query: `
		SELECT key, kind, from_at, to_at, says, changes, choices, evidence
		FROM finding
		WHERE site = ?`,
	scan: func(rows *sql.Rows) (key string, f keptFinding, err error) {
		err = rows.Scan(&key, &f.kind, &f.from, &f.to, &f.says, &f.changes, &f.choices, &f.evidence)
		return key, f, err
	},
	upsert: `
		INSERT INTO finding (site, key, kind, from_at, to_at, says, changes, choices, evidence)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE
		SET kind = excluded.kind, from_at = excluded.from_at, to_at = excluded.to_at, says = excluded.says,
			changes = excluded.changes, choices = excluded.choices, evidence = excluded.evidence`,
	bind: func(key string, f keptFinding) ([]any, error) {
		return []any{key, f.kind, f.from, f.to, f.says, f.changes, f.choices, f.evidence}, nil
	},
	remove: `DELETE FROM finding WHERE site = ? AND key = ?`,
}

// keptFindings returns findings as they are stored. cards are the logbook's.
func keptFindings(findings []usage.Finding, cards []usage.CardRef) (map[string]keptFinding, error) {
	kept := make(map[string]keptFinding, len(findings))
	for _, f := range findings {
		if _, twice := kept[f.Key]; twice {
			return nil, fmt.Errorf("finding %s derived twice", f.Key)
		}
		rows := make([]keptRow, len(f.Evidence))
		for i, e := range f.Evidence {
			if e.Card < 0 || int(e.Card) >= len(cards) {
				return nil, fmt.Errorf("finding %s: there is no card %d in the logbook", f.Key, e.Card)
			}
			rows[i] = keptRow{cards[e.Card].ID, e.Line, e.Offset}
		}
		evidence, err := json.Marshal(rows)
		if err != nil {
			return nil, fmt.Errorf("finding %s: %w", f.Key, err)
		}
		choices, err := encodeChoices(f.Choices)
		if err != nil {
			return nil, fmt.Errorf("finding %s: %w", f.Key, err)
		}
		kept[f.Key] = keptFinding{f.Kind, f.From, f.To, f.Says, f.Changes, choices, string(evidence)}
	}
	return kept, nil
}

// encodeChoices writes the answers that a finding takes as JSON.
func encodeChoices(choices []usage.Choice) (string, error) {
	if len(choices) == 0 {
		return "[]", nil
	}
	text, err := json.Marshal(choices)
	if err != nil {
		return "", fmt.Errorf("choices: %w", err)
	}
	return string(text), nil
}

func decodeChoices(text string) ([]usage.Choice, error) {
	var choices []usage.Choice
	if err := json.Unmarshal([]byte(text), &choices); err != nil {
		return nil, fmt.Errorf("choices: %w", err)
	}
	if len(choices) == 0 {
		return nil, nil
	}
	return choices, nil
}

func scanFinding(rows *sql.Rows, place map[string]int32) (usage.Finding, error) {
	key, kept, err := findingTable.scan(rows)
	if err != nil {
		return usage.Finding{}, err
	}
	f := usage.Finding{Key: key, Kind: kept.kind, From: kept.from, To: kept.to, Says: kept.says, Changes: kept.changes}
	if f.Choices, err = decodeChoices(kept.choices); err != nil {
		return f, fmt.Errorf("finding %s: %w", key, err)
	}
	var evidence []keptRow
	if err := json.Unmarshal([]byte(kept.evidence), &evidence); err != nil {
		return f, fmt.Errorf("evidence of %s: %w", key, err)
	}
	for _, e := range evidence {
		f.Evidence = append(f.Evidence, usage.RowRef{Card: place[e.Card], Line: e.Line, Offset: e.Offset})
	}
	return f, nil
}
