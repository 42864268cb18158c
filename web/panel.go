package web

import (
	"bytes"
	"fmt"
	"html/template"

	"doorleaf/web/words"
)

// Made returns the panel written as it stands on every page in one region's words:
// its Written is set, and all else is left out that only the template needs.
func (s *Set) Made(p Panel, w *words.Words) (Panel, error) {
	written, err := s.part(w, SitePage{}, "panel", p)
	made := Panel{Problem: p.Problem, Written: written}
	made.ID, made.Title, made.Linked = p.ID, p.Title, p.Linked
	return made, err
}

// MadeRow returns a row of the network page written as it stands there in one region's
// words. Two rows of the same fields are written alike.
func (s *Set) MadeRow(row NetworkSite, w *words.Words) (template.HTML, error) {
	return s.part(w, NetworkPage{}, "networkrow", row)
}

// MadeMap sets Written of a map of the network: its drawing and its table.
func (s *Set) MadeMap(m NetworkMap, w *words.Words) (*NetworkMap, error) {
	var err error
	m.Written, err = s.part(w, NetworkPage{}, "mapfigure", m)
	return &m, err
}

// part executes one template of a page by itself.
func (s *Set) part(w *words.Words, p Page, name string, data any) (template.HTML, error) {
	t, err := s.page(w, p.Template())
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return "", fmt.Errorf("web: write %s of %s: %w", name, p.Template(), err)
	}
	return template.HTML(b.Bytes()), nil // by the template itself, all escaped
}
