package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"doorleaf/usage"
)

// Actor is who changes something.
type Actor struct {
	Role string // a Role, AtTheMachine or CommandLine
	Who  string // the name given at sign-in; "" where nobody said
}

// What stands in the place of a role where nobody had to sign in.
const (
	CommandLine  = "command line"
	AtTheMachine = "at the machine"
)

type actorKey struct{}

// WithActor returns a context in which changes are journalled as a's. Without
// one they are the command line's.
func WithActor(ctx context.Context, a Actor) context.Context {
	return context.WithValue(ctx, actorKey{}, a)
}

func actorOf(ctx context.Context) Actor {
	if a, ok := ctx.Value(actorKey{}).(Actor); ok {
		return a
	}
	return Actor{Role: CommandLine}
}

// Deed is a kind of change.
type Deed string

// The kinds of change.
const (
	DeedSiteAdded    Deed = "site added"
	DeedSiteChanged  Deed = "site changed"
	DeedCardKept     Deed = "card kept" // Subject: the card's ID
	DeedCardTold     Deed = "card told" // Subject: the card's ID; its removal or date order
	DeedWithdrawn    Deed = "card withdrawn"
	DeedRuled        Deed = "question answered" // Subject: the finding's key
	DeedUnruled      Deed = "answer undone"
	DeedCallKept     Deed = "service call kept" // Subject: the call's ID
	DeedCallChanged  Deed = "service call changed"
	DeedCallDropped  Deed = "service call withdrawn"
	DeedPassphrase   Deed = "passphrase"
	DeedReading      Deed = "reading opened or closed"
	DeedSignedIn     Deed = "signed in"
	DeedSignedOut    Deed = "signed out"
	DeedSessionEnded Deed = "sessions ended"
	DeedRestored     Deed = "network restored"

	DeedNetworkChanged Deed = "network changed" // its name and ways of writing
)

// Entry is a line of the journal.
type Entry struct {
	ID      int64
	At      int64 // Unix s
	Actor   Actor
	Deed    Deed
	Site    string // its code as it was then; "" for the network
	Subject string // id or key of what was changed; ""
	Says    string

	// Standing reports that what the change made still stands and can be taken
	// back on its own page.
	Standing bool
}

// saysRunes bounds the words of an entry.
const saysRunes = 600

// journal writes a line in the transaction of the change it tells of. at, the
// actor and the ID of e are not read: the transaction and ctx say them.
func (t *tx) journal(ctx context.Context, e Entry) error {
	a := actorOf(ctx)
	_, err := t.ExecContext(ctx, `
		INSERT INTO journal (at, role, who, kind, site, subject, says)
		VALUES (?, ?, ?, ?, ?, ?, ?)`,
		t.now, cleanName(a.Role), cleanName(a.Who), string(e.Deed), cleanName(e.Site), cleanName(e.Subject), cleanName(cut(e.Says, saysRunes)))
	if err != nil {
		return fmt.Errorf("journal %s: %w", e.Deed, err)
	}
	return nil
}

// Note writes a line of the journal by itself, for what is done outside of any
// transaction of the network: a backup, a restore.
func (s *Store) Note(ctx context.Context, e Entry) error {
	return s.writeAside(ctx, func(tx *tx) error { return tx.journal(ctx, e) })
}

func cut(s string, runes int) string {
	if utf8.RuneCountInString(s) <= runes {
		return s
	}
	return string([]rune(s)[:runes]) + "…"
}

// Journal returns at most limit entries, the latest first: those before the entry
// with the ID before, or from the latest on where it is 0. more reports that there
// are older ones. Entries of one second stand in the order in which they were written;
// those that a merge brought stand among the others by their time.
func (s *Store) Journal(ctx context.Context, before int64, limit int) (entries []Entry, more bool, err error) {
	if before <= 0 {
		before = math.MaxInt64
	}
	entries, err = collect(ctx, s.reader, scanEntry, `
		SELECT id, at, role, who, kind, site, subject, says,
			CASE kind
			WHEN 'card kept' THEN EXISTS (SELECT 1 FROM card WHERE card.id = subject)
			WHEN 'card told' THEN EXISTS (SELECT 1 FROM card WHERE card.id = subject)
			WHEN 'network changed' THEN EXISTS (SELECT 1 FROM network WHERE said_at = journal.at AND ended_at IS NULL)
			WHEN 'site changed' THEN EXISTS (SELECT 1 FROM site WHERE code = journal.site)
			WHEN 'question answered' THEN EXISTS (
				SELECT 1
				FROM ruling
				JOIN site ON site.id = ruling.site
				WHERE site.code = journal.site AND finding = subject AND undone_at IS NULL AND said_at = journal.at)
			WHEN 'service call kept' THEN EXISTS (SELECT 1 FROM service_call WHERE id = CAST(subject AS INTEGER) AND withdrawn_at IS NULL)
			WHEN 'service call changed' THEN EXISTS (SELECT 1 FROM service_call WHERE id = CAST(subject AS INTEGER) AND withdrawn_at IS NULL)
			ELSE 0 END
		FROM journal
		WHERE (at, id) < (coalesce((SELECT at FROM journal WHERE id = ?1), ?2), ?1)
		ORDER BY at DESC, id DESC
		LIMIT ?3`, before, int64(math.MaxInt64), limit+1)
	if err != nil {
		return nil, false, fmt.Errorf("read journal: %w", err)
	}
	if more = len(entries) > limit; more {
		entries = entries[:limit]
	}
	return entries, more, nil
}

func scanEntry(rows *sql.Rows) (e Entry, err error) {
	err = rows.Scan(&e.ID, &e.At, &e.Actor.Role, &e.Actor.Who, &e.Deed, &e.Site, &e.Subject, &e.Says, &e.Standing)
	return e, err
}

// siteChange says what differs between two states of a site: each field with
// what it was and what it is. It goes through their JSON, so that a field that a
// later version adds is told too.
func siteChange(before, after usage.Site) string {
	was, is := map[string]string{}, map[string]string{}
	flatten(was, "", asTree(before))
	flatten(is, "", asTree(after))
	names := map[string]bool{}
	for name := range was {
		names[name] = true
	}
	for name := range is {
		names[name] = true
	}
	var said []string
	for name := range names {
		if was[name] != is[name] {
			said = append(said, fmt.Sprintf("%s: %s → %s", fieldWords(name), orNone(was[name]), orNone(is[name])))
		}
	}
	sort.Strings(said)
	return strings.Join(said, "; ")
}

func asTree(site usage.Site) any {
	// A site is stored as JSON as well: it can be written.
	data, err := json.Marshal(site)
	var tree any
	if err != nil || json.Unmarshal(data, &tree) != nil {
		return nil
	}
	return tree
}

func flatten(into map[string]string, name string, tree any) {
	m, ok := tree.(map[string]any)
	if !ok {
		if tree != nil && tree != "" {
			into[name] = cut(fmt.Sprint(tree), 80)
		}
		return
	}
	for key, value := range m {
		flatten(into, strings.TrimPrefix(name+"."+key, "."), value)
	}
}

// fieldWords makes «profile date order» of "Profile.DateOrder".
func fieldWords(name string) string {
	var b strings.Builder
	lower := false
	for _, r := range name {
		switch {
		case r == '.':
			b.WriteByte(' ')
			lower = false
			continue
		case unicode.IsUpper(r) && lower:
			b.WriteByte(' ')
		}
		lower = unicode.IsLower(r)
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
