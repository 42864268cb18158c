package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
)

// pair is a row as both sides have it; nil on the side that lacks it.
type pair struct{ ours, theirs *record }

// standing reports whether the row stands on every side that has it.
func (p pair) standing(l *layout) bool {
	for _, r := range []*record{p.ours, p.theirs} {
		if r != nil && r.values[l.ended] != nil {
			return false
		}
	}
	return true
}

func (p pair) any() *record {
	if p.ours != nil {
		return p.ours
	}
	return p.theirs
}

// end is when and by whom a row was ended.
type end struct {
	at int64
	by string
}

// mergeRecords joins the service calls, answers and settings of each site.
func (m *merger) mergeRecords(l *layout) error {
	bySite := map[string]map[string]*pair{}
	at := func(site, key string) *pair {
		if bySite[site] == nil {
			bySite[site] = map[string]*pair{}
		}
		if bySite[site][key] == nil {
			bySite[site][key] = &pair{}
		}
		return bySite[site][key]
	}
	for i := range m.ours[l.name] {
		r := &m.ours[l.name][i]
		at(r.text("site"), r.key).ours = r
	}
	for i := range m.theirs[l.name] {
		r := &m.theirs[l.name][i]
		code, placed := m.place[r.text("site")]
		if !placed {
			if m.theirSite(r.text("site")) {
				continue
			}
			return m.bundle.fault(fmt.Sprintf("holds rows of a site %q that it does not hold", shorten(r.text("site"))), nil)
		}
		at(code, r.key).theirs = r
	}
	for _, site := range sortedKeys(bySite) {
		if err := m.mergeSiteRecords(l, site, bySite[site]); err != nil {
			return err
		}
	}
	return nil
}

func (m *merger) mergeSiteRecords(l *layout, site string, rows map[string]*pair) error {
	ends := map[string]end{}
	if l.ended != "" {
		m.contest(l, site, rows, ends)
	}
	keys := sortedKeys(rows)
	for _, key := range keys { // first what ends, so that one at a time stands
		if p := rows[key]; p.ours != nil {
			if err := m.endRecord(l, site, p, ends[key]); err != nil {
				return err
			}
		}
	}
	ids := map[string]int64{}
	for _, key := range keys {
		if rows[key].ours != nil {
			ids[key] = rows[key].ours.id
		}
	}
	var add func(key string, depth int) error
	add = func(key string, depth int) error {
		p := rows[key]
		if p == nil || p.ours != nil || ids[key] != 0 {
			return nil
		}
		if depth > len(rows) {
			return m.bundle.fault("holds a row that stands in the place of itself", nil)
		}
		for _, c := range l.columns {
			if name := p.theirs.text(c.name); c.refers == l.name && name != "" {
				if rows[name] == nil {
					return m.bundle.fault("holds a row that stands in the place of one that it does not hold", nil)
				}
				if err := add(name, depth+1); err != nil {
					return err
				}
			}
		}
		id, err := m.addRecord(l, site, p.theirs, ends[key], ids)
		ids[key] = id
		return err
	}
	for _, key := range keys {
		if err := add(key, 0); err != nil {
			return err
		}
	}
	return nil
}

// contest decides between rows of either side of which one only can stand, and puts
// the end of the others into ends.
func (m *merger) contest(l *layout, site string, rows map[string]*pair, ends map[string]end) {
	groups := map[string][]string{}
	for _, key := range sortedKeys(rows) {
		p := rows[key]
		if !p.standing(l) {
			continue
		}
		if scope, has := l.valuesOf(p.any(), l.scope); has {
			groups["scope "+scope] = append(groups["scope "+scope], key)
		} else if l.twins {
			same, _ := l.valuesOf(p.any(), l.says)
			groups["twin "+same] = append(groups["twin "+same], key)
		}
	}
	for _, name := range sortedKeys(groups) {
		var ours, theirs []string
		for _, key := range groups[name] {
			switch p := rows[key]; {
			case p.theirs == nil:
				ours = append(ours, key)
			case p.ours == nil:
				theirs = append(theirs, key)
			}
		}
		for i := range min(len(ours), len(theirs)) {
			m.decide(l, site, name, rows[ours[i]].ours, rows[theirs[i]].theirs, ends)
		}
	}
}

// valuesOf returns the values of columns as text. has is false where one of them is
// NULL; columns of the site count as equal.
func (l *layout) valuesOf(r *record, columns []string) (text string, has bool) {
	values := map[string]any{}
	has = len(columns) > 0
	for _, name := range columns {
		if name == "site" {
			continue
		}
		values[name] = r.values[name]
		has = has && (values[name] != nil || slices.Contains(l.says, name))
	}
	return string(canonical(values)), has
}

// decide lets one of two rows stand: the later one where they say the same, else the
// one that the answer names; ours while there is none, since the merge is rolled back.
func (m *merger) decide(l *layout, site, scope string, ours, theirs *record, ends map[string]end) {
	us, _ := ours.number(l.said)
	them, _ := theirs.number(l.said)
	a, _ := l.valuesOf(ours, l.says)
	b, _ := l.valuesOf(theirs, l.says)
	wins, loses := ours, theirs
	if a == b {
		if them > us || them == us && theirs.key > ours.key {
			wins, loses = theirs, ours
		}
	} else {
		sum := sha256.Sum256([]byte(l.name + scope))
		key := site + "." + l.name + "." + hex.EncodeToString(sum[:4])
		if m.askSide(key, site+": "+l.contestWords(ours), l.recordWords(ours), l.recordWords(theirs)) == Theirs {
			wins, loses = theirs, ours
		}
	}
	ends[loses.key] = end{max(us, them), wins.text(strings.Replace(l.endedBy, "undone", "said", 1))}
}

// contestWords says what two sides differ in.
func (l *layout) contestWords(r *record) string {
	switch l.name {
	case "ruling":
		return "the two sides have answered differently to the question " + r.text("finding")
	case "service_call":
		return "the two sides have corrected the same service call differently"
	}
	return "the two sides have set its " + strings.ReplaceAll(l.name, "_", " ") + " differently"
}

// recordWords writes a row for a choice.
func (l *layout) recordWords(r *record) string {
	said, _ := r.number(l.said)
	values := map[string]any{}
	for _, name := range l.says {
		if v := r.values[name]; v != nil {
			values[name] = v
		}
	}
	words := strings.NewReplacer(`{`, ``, `}`, ``, `"`, ``, `\`, ``).Replace(string(canonical(values)))
	return fmt.Sprintf("%s (given %s)", cut(words, 200), instantWords(said))
}

// ended returns how a row ended that both sides may have ended: the earlier end.
func (l *layout) endOf(p *pair, decided end) (e end, is bool) {
	for _, r := range []*record{p.ours, p.theirs} {
		if r == nil || l.ended == "" {
			continue
		}
		at, has := r.number(l.ended)
		by := r.text(l.endedBy)
		if has && (!is || at < e.at || at == e.at && by < e.by) {
			e, is = end{at, by}, true
		}
	}
	if !is && decided.at != 0 {
		return decided, true
	}
	return e, is
}

func (l *layout) endValues(e end) map[string]any {
	values := map[string]any{l.ended: e.at}
	if l.endedBy != "" {
		values[l.endedBy] = e.by
	}
	return values
}

// endRecord ends a row of ours that was ended on their side, or that lost.
func (m *merger) endRecord(l *layout, site string, p *pair, decided end) error {
	e, is := l.endOf(p, decided)
	if !is {
		return nil
	}
	at, has := p.ours.number(l.ended)
	if has && at == e.at && p.ours.text(l.endedBy) == e.by {
		return nil
	}
	m.at(site).Records++
	return m.update(l, "id", p.ours.id, l.endValues(e))
}

// addRecord keeps a row that only they have.
func (m *merger) addRecord(l *layout, site string, r *record, decided end, ids map[string]int64) (int64, error) {
	values := map[string]any{}
	for name, v := range r.values {
		switch c := l.column(name); {
		case name == "site":
			v = m.siteID[site]
		case c.refers == l.name && v != nil:
			v = ids[r.text(name)]
		}
		values[name] = v
	}
	if e, is := l.endOf(&pair{theirs: r}, decided); is {
		for name, v := range l.endValues(e) {
			values[name] = v
		}
	}
	m.at(site).Records++
	return m.insert(l, values)
}

// mergeJournal adds their lines of the journal that ours lacks, in order of time.
func (m *merger) mergeJournal(l *layout) error {
	have := map[string]int{}
	for _, r := range m.ours["journal"] {
		base, _, _ := strings.Cut(r.key, "/")
		have[base]++
	}
	calls, err := m.callIDs()
	if err != nil {
		return err
	}
	lines := slices.Clone(m.theirs["journal"])
	slices.SortStableFunc(lines, func(a, b record) int {
		x, _ := a.number("at")
		y, _ := b.number("at")
		return int(max(-1, min(1, x-y)))
	})
	for i := range lines {
		r := &lines[i]
		values := map[string]any{}
		for name, v := range r.values {
			values[name] = v
		}
		if code, placed := m.place[r.text("site")]; placed {
			values["site"] = code
		}
		moved := record{values: values}
		key := l.keyOf(&moved)
		if have[key]--; have[key] >= 0 {
			continue
		}
		if key, is := strings.CutPrefix(r.text("subject"), callSubject); is {
			values["subject"] = fmt.Sprint(calls[fmt.Sprint(values["site"])+" "+key])
		}
		if _, err := m.insert(l, values); err != nil {
			return err
		}
	}
	return nil
}

// callIDs returns the numbers of service calls by «code key» after the calls were
// merged.
func (m *merger) callIDs() (map[string]int64, error) {
	now, err := readKept(m.ctx, m.tx, m.all[:slices.IndexFunc(m.all, func(l layout) bool { return l.name == "service_call" })+1])
	if err != nil {
		return nil, err
	}
	ids := map[string]int64{}
	for _, r := range now["service_call"] {
		ids[r.text("site")+" "+r.key] = r.id
	}
	return ids, nil
}
