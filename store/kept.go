package store

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// keptTable says how the rows of a table of what is kept are told apart and joined
// when two networks are merged. Its columns are those of the database: a column
// that a later migration adds is carried without a word here. Its rows are the same
// in two networks when all columns are equal that are not named in fields, ended or
// endedBy, the site and the row's own number aside.
type keptTable struct {
	name    string
	fields  [][]string // columns that are changed in place, those that belong together in one group
	skip    []string   // columns that are not carried: they are read in the bytes of a card
	ended   string     // when the row ceased to stand; NULL it stands
	endedBy string     // who ended it; "" not noted
	said    string     // when the row was made
	scope   []string   // of the rows of a site with these columns equal, and not NULL, at most one stands
	says    []string   // columns in which two rows of one scope may differ so that somebody must choose
	twins   bool       // two rows that say the same of the same moment are one thing told twice
}

// keptTables are all tables of what is kept, in the order in which they can be
// filled. A table stands here or in otherTables, and a test sees to it.
var keptTables = []keptTable{
	{name: "network", ended: "ended_at", said: "said_at"},
	{
		name: "site",
		fields: [][]string{
			{"name"}, {"latitude", "longitude"}, {"zone"}, {"installed_on"}, {"clock"}, {"profile"}, {"thresholds"},
		},
	},
	{
		name:   "card",
		fields: [][]string{{"site"}, {"name", "imported_at"}, {"size"}, {"removed_at", "removed_exact"}, {"date_order"}},
		skip:   []string{"encoding", "file_order", "lines", "rows", "complaints", "first_reading", "last_reading", "sketch", "body"},
	},
	{
		name:  "service_call",
		ended: "withdrawn_at", said: "made_at", scope: []string{"instead_of"},
		says:  []string{"at", "error_s", "kinds", "reading", "books_in", "books_now", "note"},
		twins: true,
	},
	{
		name:  "ruling",
		ended: "undone_at", endedBy: "undone_by", said: "said_at", scope: []string{"finding"}, says: []string{"answer"},
	},
	{name: "power", ended: "ended_at", said: "said_at", scope: []string{"site"}, says: []string{"body"}},
	{name: "card_setting", ended: "ended_at", said: "said_at", scope: []string{"site"}, says: []string{"body"}},
	{name: "prepared_card"},
	{name: "journal", said: "at"},
}

// derivedNames are the tables of what is derived: they are never carried.
var derivedNames = []string{"block", "day", "month", "stretch", "run", "finding", "month_open", "bracket", "logbook_card", "totals"}

// otherTables are neither kept nor derived.
var otherTables = map[string]string{
	"tray":             "waits for somebody's yes",
	"tray_card":        "waits for somebody's yes",
	"stale":            "marks of a migration",
	"goose_db_version": "what migrations were run",
	"seal":             "what a copy held when it was made; in copies only",
	"sqlite_sequence":  "SQLite's own",
	"passphrase":       "a secret: stays in the network where it was set",
	"access_setting":   "belongs to the machine that serves",
	"session":          "a secret: stays where somebody signed in",
}

// column is a column of a table.
type column struct {
	name, kind string // kind is INTEGER, REAL, TEXT or BLOB
	refers     string // table whose row it names; ""
}

// layout is the columns of a kept table, as the database has them.
type layout struct {
	keptTable
	columns []column // those that are carried
	number  bool     // rows have a number of their own, id, which is not carried
	there   bool     // an older database may lack the table
}

// record is a row of a kept table with its site as a code and references as keys.
type record struct {
	id     int64 // 0: not in this network
	key    string
	values map[string]any // nil, int64, float64, string or []byte
}

func (r *record) text(column string) string { s, _ := r.values[column].(string); return s }

// number returns an integer column; known is false where it is NULL.
func (r *record) number(column string) (n int64, known bool) {
	n, known = r.values[column].(int64)
	return n, known
}

// layouts reads the columns of all kept tables.
func layouts(ctx context.Context, q querier) ([]layout, error) {
	all := make([]layout, len(keptTables))
	for i, t := range keptTables {
		all[i].keptTable = t
		if err := all[i].read(ctx, q); err != nil {
			return nil, fmt.Errorf("columns of %s: %w", t.name, err)
		}
	}
	return all, nil
}

func (l *layout) read(ctx context.Context, q querier) error {
	refers := map[string]string{}
	err := walk(ctx, q, func(rows *sql.Rows) error {
		var from, table string
		err := rows.Scan(&from, &table)
		refers[from] = table
		return err
	}, `SELECT "from", "table" FROM pragma_foreign_key_list(?)`, l.name)
	if err != nil {
		return err
	}
	return walk(ctx, q, func(rows *sql.Rows) error {
		var c column
		var key bool
		if err := rows.Scan(&c.name, &c.kind, &key); err != nil {
			return err
		}
		l.there = true
		c.refers = refers[c.name]
		if key && c.name == "id" && c.kind == "INTEGER" {
			l.number = true
		} else if !slices.Contains(l.skip, c.name) {
			l.columns = append(l.columns, c)
		}
		return nil
	}, `SELECT name, type, pk FROM pragma_table_info(?)`, l.name)
}

func (l *layout) column(name string) *column {
	for i := range l.columns {
		if l.columns[i].name == name {
			return &l.columns[i]
		}
	}
	return nil
}

func (l *layout) names() []string {
	names := make([]string, len(l.columns))
	for i, c := range l.columns {
		names[i] = c.name
	}
	return names
}

// keptRows is all that is kept but the bytes of cards, by table.
type keptRows map[string][]record

// readKept reads all rows of all kept tables, in an order that hangs on what they
// hold and not on their numbers.
func readKept(ctx context.Context, q querier, all []layout) (keptRows, error) {
	kept := keptRows{}
	keys := map[string]map[int64]string{} // table → number → key
	for i := range all {
		l := &all[i]
		if !l.there {
			continue
		}
		rows, err := readRows(ctx, q, l)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", l.name, err)
		}
		keys[l.name] = map[int64]string{}
		if err := nameRows(l, rows, keys); err != nil {
			return nil, fmt.Errorf("read %s: %w", l.name, err)
		}
		kept[l.name] = rows
	}
	return kept, nil
}

func readRows(ctx context.Context, q querier, l *layout) ([]record, error) {
	number := `0`
	if l.number {
		number = `id`
	}
	return collect(ctx, q, func(rows *sql.Rows) (record, error) {
		r := record{values: make(map[string]any, len(l.columns))}
		held := make([]any, len(l.columns))
		fields := []any{&r.id}
		for i := range held {
			fields = append(fields, &held[i])
		}
		if err := rows.Scan(fields...); err != nil {
			return r, err
		}
		for i, c := range l.columns {
			r.values[c.name] = held[i]
		}
		return r, nil
	}, `SELECT `+number+`, `+strings.Join(l.names(), ", ")+` FROM `+l.name)
}

// nameRows gives rows their keys, puts keys in the place of numbers and sorts.
func nameRows(l *layout, rows []record, keys map[string]map[int64]string) error {
	own := keys[l.name]
	byID := make(map[int64]*record, len(rows))
	for i := range rows {
		byID[rows[i].id] = &rows[i]
	}
	var name func(r *record, depth int) error
	name = func(r *record, depth int) error {
		if r.key != "" {
			return nil
		}
		if depth > len(rows) {
			return fmt.Errorf("row %d stands in the place of itself", r.id)
		}
		for _, c := range l.columns {
			id, known := r.number(c.name)
			if c.refers == "" || !known {
				continue
			}
			if c.refers == l.name {
				if there := byID[id]; there != nil {
					if err := name(there, depth+1); err != nil {
						return err
					}
				}
			}
			key, there := keys[c.refers][id]
			if !there {
				return fmt.Errorf("row %d names row %d of %s, which is not there", r.id, id, c.refers)
			}
			r.values[c.name] = key
		}
		l.nameSubject(r, keys)
		r.key = l.keyOf(r)
		own[r.id] = r.key
		return nil
	}
	for i := range rows {
		if err := name(&rows[i], 0); err != nil {
			return err
		}
	}
	sortRows(l, rows)
	return nil
}

// nameSubject puts the key of a service call in the place of its number in a line of
// the journal.
func (l *layout) nameSubject(r *record, keys map[string]map[int64]string) {
	if l.name != "journal" || !strings.HasPrefix(r.text("kind"), "service call") {
		return
	}
	var id int64
	if _, err := fmt.Sscan(r.text("subject"), &id); err == nil {
		if key, there := keys["service_call"][id]; there {
			r.values["subject"] = callSubject + key
		}
	}
}

// callSubject begins the subject of a line of the journal that names a service call
// by its key.
const callSubject = "call:"

// keyOf returns what a row is known by in any network: a site's code, a card's ID,
// else a digest of what is never changed in it.
func (l *layout) keyOf(r *record) string {
	switch l.name {
	case "site":
		return r.text("code")
	case "card":
		return r.text("id")
	}
	same := map[string]any{}
	for _, c := range l.columns {
		if c.name != "site" && c.name != l.ended && c.name != l.endedBy && !slices.ContainsFunc(l.fields, func(g []string) bool { return slices.Contains(g, c.name) }) {
			same[c.name] = r.values[c.name]
		}
	}
	if l.name == "journal" {
		same["site"] = r.values["site"]
	}
	sum := sha256.Sum256(canonical(same))
	return hex.EncodeToString(sum[:16])
}

// canonical writes values as JSON with its keys sorted. Bytes become base64.
func canonical(values map[string]any) []byte {
	data, err := json.Marshal(values)
	if err != nil { // a NaN, which SQLite stores as NULL
		panic(err)
	}
	return data
}

// sortRows puts rows in order of site and key, and tells rows of one key apart by
// counting them: «key», «key/2».
func sortRows(l *layout, rows []record) {
	site := func(r *record) string {
		if l.name == "site" {
			return r.text("code")
		}
		return r.text("site")
	}
	text := make(map[string][]byte, len(rows))
	slices.SortFunc(rows, func(a, b record) int {
		if c := cmp.Or(cmp.Compare(site(&a), site(&b)), cmp.Compare(a.key, b.key)); c != 0 {
			return c
		}
		for _, r := range []record{a, b} {
			if k := fmt.Sprint(r.id); text[k] == nil {
				text[k] = canonical(r.values)
			}
		}
		return bytes.Compare(text[fmt.Sprint(a.id)], text[fmt.Sprint(b.id)])
	})
	seen := map[string]int{}
	for i := range rows {
		r := &rows[i]
		at := site(r) + " " + r.key
		if seen[at]++; seen[at] > 1 {
			r.key = fmt.Sprintf("%s/%d", r.key, seen[at])
		}
	}
}

// encode writes the rows of a table as a JSON array, a row a line. The key of a row
// stands in it as "key".
func encode(rows []record) []byte {
	var b bytes.Buffer
	b.WriteString("[")
	for i := range rows {
		if i > 0 {
			b.WriteString(",")
		}
		b.WriteString("\n")
		line := map[string]any{"key": rows[i].key}
		for name, v := range rows[i].values {
			line[name] = v
		}
		b.Write(canonical(line))
	}
	b.WriteString("\n]\n")
	return b.Bytes()
}

// decode undoes encode for a table of this network. A column that the rows lack gets
// its default; one that this network lacks is an error.
func decode(l *layout, data []byte) ([]record, error) {
	var lines []map[string]any
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	if err := d.Decode(&lines); err != nil {
		return nil, fmt.Errorf("%s: %w", l.name, err)
	}
	rows := make([]record, len(lines))
	for i, line := range lines {
		r := &rows[i]
		r.values = make(map[string]any, len(line))
		key, ok := line["key"].(string)
		if !ok || key == "" {
			return nil, fmt.Errorf("%s, row %d: it has no key", l.name, i+1)
		}
		r.key = key
		delete(line, "key")
		for name, v := range line {
			c := l.column(name)
			if c == nil {
				return nil, fmt.Errorf("%s, row %d: there is no column %q here", l.name, i+1, shorten(name))
			}
			var err error
			if r.values[name], err = c.value(v); err != nil {
				return nil, fmt.Errorf("%s, row %d, %s: %w", l.name, i+1, name, err)
			}
		}
	}
	return rows, nil
}

// value turns a JSON value into the column's.
func (c *column) value(v any) (any, error) {
	if v == nil {
		return nil, nil
	}
	n, isNumber := v.(json.Number)
	s, isText := v.(string)
	switch {
	case c.refers != "" && isText, c.kind == "TEXT" && isText:
		return cleanName(s), nil
	case c.refers == "" && c.kind == "INTEGER" && isNumber:
		return n.Int64()
	case c.kind == "REAL" && isNumber:
		return n.Float64()
	case c.kind == "BLOB" && isText:
		return base64.StdEncoding.DecodeString(s)
	}
	return nil, fmt.Errorf("%.40v is no %s", v, strings.ToLower(c.kind))
}

// keptDigest returns the SHA-256, in hex, of everything kept: every row of the kept
// tables, cards by the digests of their bytes. It does not hang on the numbers of
// rows. The bytes themselves are checked by checkCards.
func keptDigest(ctx context.Context, q querier) (string, error) {
	all, err := layouts(ctx, q)
	if err != nil {
		return "", err
	}
	kept, err := readKept(ctx, q, all)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	for i := range all {
		if all[i].there {
			fmt.Fprintf(h, "%s\n", all[i].name)
			h.Write(encode(kept[all[i].name]))
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
