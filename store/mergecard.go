package store

import (
	"fmt"
	"slices"

	"doorleaf/usage"
)

// fieldValue writes dates and instants so that people can read them.
func fieldValue(name string, v any) any {
	n, isNumber := v.(int64)
	switch {
	case !isNumber:
		return v
	case name == "installed_on":
		return usage.Date(n)
	case name == "removed_at":
		return instantWords(n)
	}
	return v
}

// mergeCards keeps their cards that are new to us, and joins what both know of one.
func (m *merger) mergeCards(l *layout) error {
	ours := map[string]*record{}
	for i := range m.ours["card"] {
		ours[m.ours["card"][i].key] = &m.ours["card"][i]
	}
	m.withdrawnOurs, m.withdrawnTheirs = withdrawals(m.ours["journal"]), withdrawals(m.theirs["journal"])
	var gained []*record
	theirs := map[string]bool{}
	for i := range m.theirs["card"] {
		t := &m.theirs["card"][i]
		theirs[t.key] = true
		code, placed := m.place[t.text("site")]
		if !placed {
			if m.theirSite(t.text("site")) {
				continue // its site is a question
			}
			return m.bundle.fault(fmt.Sprintf("holds a card of a site %q that it does not hold", shorten(t.text("site"))), nil)
		}
		o := ours[t.key]
		if o == nil && m.staysWithdrawn(t, code) {
			continue
		}
		if o == nil {
			if err := m.addCard(l, t, code); err != nil {
				return err
			}
			gained = append(gained, t)
			continue
		}
		if err := m.joinCard(l, o, t, code); err != nil {
			return err
		}
	}
	if err := m.dropCards(theirs); err != nil {
		return err
	}
	return m.askOverlaps(gained, ours)
}

func (m *merger) theirSite(code string) bool {
	return slices.ContainsFunc(m.theirs["site"], func(r record) bool { return r.key == code })
}

func (m *merger) addCard(l *layout, t *record, code string) error {
	p := m.packed[t.key]
	if p == nil { // kept when the merge began, and withdrawn since
		p = &packedCard{CardIn: CardIn{Name: t.text("name"), DateOrder: t.text("date_order")}, id: t.key}
		if err := m.store.packFrom(m.bundle, p); err != nil {
			return err
		}
	}
	values := map[string]any{}
	for name, v := range t.values {
		values[name] = v
	}
	body, err := p.packed()
	if err != nil {
		return fmt.Errorf("card %s: %w", p.Name, err)
	}
	f := p.facts
	values["site"] = m.siteID[code]
	values["encoding"], values["file_order"] = f.encoding, f.order
	values["size"], values["lines"], values["rows"], values["complaints"] = f.size, f.lines, f.rows, f.complaints
	values["first_reading"], values["last_reading"] = f.first, f.last
	values["sketch"], values["body"] = f.sketch, body
	if _, err := m.insert(l, values); err != nil {
		return err
	}
	m.at(code).Cards++
	return nil
}

// joinCard takes over what they know of a card that both have.
func (m *merger) joinCard(l *layout, o, t *record, code string) error {
	take := map[string]any{}
	key := "card." + o.key[:12]
	what := fmt.Sprintf("card %s (%.12s)", o.text("name"), o.key)
	was := o.text("site")
	if was != code && m.askSide(key, what+" stands under two boxes", was, code) == Theirs {
		take["site"] = m.siteID[code]
		m.at(was).Fields++
	} else {
		code = was
	}
	oldest, _ := o.number("imported_at")
	if at, told := t.number("imported_at"); told && (at < oldest || at == oldest && t.text("name") < o.text("name")) {
		take["imported_at"], take["name"] = at, t.text("name")
	}
	ours, know := o.number("removed_at")
	if theirs, told := t.number("removed_at"); told && (!know || theirs != ours) {
		if !know || m.askSide(key+".removed_at", what+" of "+was+": the two sides differ in when it came out", instantWords(ours), instantWords(theirs)) == Theirs {
			take["removed_at"] = theirs
			take["removed_exact"], _ = t.number("removed_exact")
		}
	}
	if order := t.text("date_order"); order != "" && order != o.text("date_order") {
		if o.text("date_order") == "" || m.askSide(key+".date_order", what+" of "+was+": the two sides differ in how its dates are written", o.text("date_order"), order) == Theirs {
			take["date_order"] = order
			m.fresh[code] = true
		}
	}
	if len(take) == 0 {
		return nil
	}
	m.at(code).Fields++
	return m.update(l, "id", o.key, take)
}

// askOverlaps asks about cards that came with the bundle and share a stretch of rows
// with the logbook of another box, as it is only now seen.
func (m *merger) askOverlaps(gained []*record, ours map[string]*record) error {
	if len(m.siteID) < 2 {
		return nil
	}
	theirs := map[string]bool{}
	for i := range m.theirs["card"] {
		theirs[m.theirs["card"][i].key] = true
	}
	own := 0 // cards that they lack
	for id := range ours {
		if !theirs[id] {
			own++
		}
	}
	if own == 0 {
		return nil
	}
	for _, t := range gained {
		code := m.place[t.text("site")]
		other, rows, err := m.overlap(t, code, theirs)
		if err != nil {
			return err
		}
		if other == "" {
			continue
		}
		q := MergeQuestion{
			Key:  "card." + t.key[:12],
			Says: fmt.Sprintf("card %s (%.12s) came with the logbook of their %s, and %d of its rows stand in the logbook of our %s: whose card is it?", t.text("name"), t.key, t.text("site"), rows, other),
			Choices: []MergeChoice{
				{code, "keep it under " + code}, {other, "keep it under " + other},
			},
		}
		answer := m.ask(q, func(a string) bool { return a == code || a == other })
		if answer != other {
			continue
		}
		if _, err := m.tx.ExecContext(m.ctx, `UPDATE card SET site = ? WHERE id = ?`, m.siteID[other], t.key); err != nil {
			return fmt.Errorf("move card %s: %w", t.key, err)
		}
		m.at(code).Cards--
		m.at(other).Cards++
	}
	return nil
}

// overlap returns the site, other than code, whose cards that only we had share most
// rows with a card of theirs; "" for none.
func (m *merger) overlap(t *record, code string, theirs map[string]bool) (other string, rows int, err error) {
	data, err := m.bundle.card(t.key)
	if err != nil {
		return "", 0, err
	}
	probe, err := m.store.newProbe(CardIn{Name: t.text("name"), Bytes: data, DateOrder: t.text("date_order")})
	if err != nil || len(probe.keys) < sharedSketchKeys {
		return "", 0, err
	}
	sites, err := probe.ask(m.ctx, m.tx)
	if err != nil {
		return "", 0, err
	}
	for _, site := range sortedKeys(sites) {
		hits := slices.DeleteFunc(sites[site], func(h sketchHit) bool { return theirs[h.card] })
		if site == code || len(hits) == 0 {
			continue
		}
		n, err := m.store.sharedRows(m.ctx, m.tx, probe, hits)
		if err != nil {
			return "", 0, err
		}
		if n > rows {
			other, rows = site, n
		}
	}
	return other, rows, nil
}
