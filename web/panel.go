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
	t, err := s.page(w, SitePage{}.Template())
	if err != nil {
		return p, err
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "panel", p); err != nil {
		return p, fmt.Errorf("web: write panel %s: %w", p.ID, err)
	}
	made := Panel{Problem: p.Problem, Written: template.HTML(b.Bytes())} // by the template itself, all escaped
	made.ID, made.Title, made.Linked = p.ID, p.Title, p.Linked
	return made, nil
}
