package store

import (
	"fmt"
	"slices"
	"strings"

	"doorleaf/usage"
)

// samePlaceM is how far apart two notes of one box's position may lie, metres. Common
// practice, no source: a phone's position is good to some ten metres.
const samePlaceM = 100

func (r *record) position() (p usage.Point) {
	p.Latitude, _ = r.values["latitude"].(float64)
	p.Longitude, _ = r.values["longitude"].(float64)
	return p
}

// apartM returns how far apart two sites are, metres.
func apartM(a, b *record) float64 { return usage.Distance(a.position(), b.position()) }

// mergeSites finds for each of their sites which of ours it is, or adds it.
func (m *merger) mergeSites(l *layout) error {
	theirs := m.theirs["site"]
	taken := map[string]string{} // our code → theirs
	for i := range theirs {
		t := &theirs[i]
		if o := m.ourSite(t.key); o != nil && apartM(o, t) <= samePlaceM {
			m.place[t.key], taken[t.key] = t.key, t.key
		}
	}
	for i := range theirs {
		t := &theirs[i]
		if _, placed := m.place[t.key]; placed {
			continue
		}
		code, ok := m.placeSite(t, taken)
		if !ok {
			continue
		}
		m.place[t.key], taken[code] = code, t.key
	}
	for i := range theirs {
		t := &theirs[i]
		code, placed := m.place[t.key]
		if !placed {
			continue
		}
		o := m.ourSite(code)
		if o == nil {
			if err := m.addSite(l, t, code); err != nil {
				return err
			}
			continue
		}
		if err := m.mergeFields(l, o, t); err != nil {
			return err
		}
	}
	return nil
}

func (m *merger) ourSite(code string) *record {
	rows := m.ours["site"]
	i := slices.IndexFunc(rows, func(r record) bool { return r.key == code })
	if i < 0 {
		return nil
	}
	return &rows[i]
}

// placeSite returns our code of a site of theirs that is not plainly one of ours: its
// own where code and place are free, else what the answer says. ok is false while the
// question is open.
func (m *merger) placeSite(t *record, taken map[string]string) (code string, ok bool) {
	same := m.ourSite(t.key)
	var near *record
	for i := range m.ours["site"] {
		o := &m.ours["site"][i]
		if _, used := taken[o.key]; !used && apartM(o, t) <= samePlaceM && (near == nil || apartM(o, t) < apartM(near, t)) {
			near = o
		}
	}
	if same == nil && near == nil {
		return t.key, true
	}
	q := siteQuestion(t, same, near)
	answer := m.ask(q, func(a string) bool { return m.validPlace(a, taken) })
	_, code, _ = strings.Cut(answer, ":")
	return code, answer != ""
}

// siteQuestion asks what a site of theirs is.
func siteQuestion(t, same, near *record) MergeQuestion {
	q := MergeQuestion{Key: "site." + t.key}
	apart := MergeChoice{"apart:" + t.key, "it is another box: take it over as " + t.key}
	switch {
	case near == nil:
		q.Says = fmt.Sprintf("their %s (%s) lies %s from our %s (%s)", t.key, t.text("name"), lengthWords(apartM(same, t)), same.key, same.text("name"))
		q.Choices = append(q.Choices, MergeChoice{"same:" + same.key, "it is the same box, and its position is in doubt"})
	default:
		q.Says = fmt.Sprintf("their %s (%s) lies %s from our %s (%s)", t.key, t.text("name"), lengthWords(apartM(near, t)), near.key, near.text("name"))
		q.Choices = append(q.Choices, MergeChoice{"same:" + near.key, "it is the same box, and goes by our code"})
	}
	if same != nil {
		apart = MergeChoice{"apart:CODE", "it is another box: take it over with a code that is free in the place of CODE"}
	}
	q.Choices = append(q.Choices, apart)
	return q
}

// validPlace reports whether an answer names a site of ours that no other of theirs
// is, or a new code. A code that an earlier merge gave to the same box is one of ours.
func (m *merger) validPlace(answer string, taken map[string]string) bool {
	how, code, _ := strings.Cut(answer, ":")
	_, used := taken[code]
	switch how {
	case "same":
		return !used && m.ourSite(code) != nil
	case "apart":
		_, theirs := m.theirCode(code)
		return !used && codeForm.MatchString(code) && !theirs
	}
	return false
}

// theirCode reports whether one of their sites goes by a code, and is placed by it.
func (m *merger) theirCode(code string) (r *record, there bool) {
	rows := m.theirs["site"]
	i := slices.IndexFunc(rows, func(r record) bool { return r.key == code })
	if i < 0 || m.place[code] != code {
		return nil, false
	}
	return &rows[i], true
}

func lengthWords(m float64) string {
	if m < 1000 {
		return fmt.Sprintf("%.0f m", m)
	}
	return fmt.Sprintf("%.1f km", m/1000)
}

func (m *merger) addSite(l *layout, t *record, code string) error {
	values := map[string]any{}
	for name, v := range t.values {
		values[name] = v
	}
	values["code"] = code
	id, err := m.insert(l, values)
	if err != nil {
		return err
	}
	m.siteID[code] = id
	m.at(code).New = true
	return nil
}

// mergeFields asks about each group of a site's settings in which the sides differ.
func (m *merger) mergeFields(l *layout, o, t *record) error {
	for _, group := range l.fields {
		take := map[string]any{}
		var ours, theirs []string
		for _, name := range group {
			v, told := t.values[name]
			if told && v != o.values[name] {
				take[name] = v
			}
			ours, theirs = append(ours, sideWords(fieldValue(name, o.values[name]))), append(theirs, sideWords(fieldValue(name, v)))
		}
		if len(take) == 0 {
			continue
		}
		name := group[0]
		if len(group) > 1 {
			name = "position"
		}
		words := strings.ReplaceAll(name, "_", " ")
		if m.askSide(o.key+"."+name, o.key+": the two sides differ in its "+words, strings.Join(ours, ", "), strings.Join(theirs, ", ")) != Theirs {
			continue
		}
		if err := m.update(l, "id", o.id, take); err != nil {
			return err
		}
		m.at(o.key).Fields++
		m.fresh[o.key] = true
	}
	return nil
}
