package web

import (
	"bytes"
	"io/fs"
	"strings"
	"testing"
)

func TestEveryPageRendersItsZeroValue(t *testing.T) {
	for name, load := range map[string]func() (*Set, error){
		"embedded": Load,
		"folder":   func() (*Set, error) { return LoadDir(".") },
	} {
		set, err := load()
		if err != nil {
			t.Fatalf("%s: load: %v", name, err)
		}
		for _, p := range Pages() {
			var b bytes.Buffer
			if err := set.Render(&b, p, Nav{}); err != nil {
				t.Errorf("%s: Render(%T{}) = %v", name, p, err)
			}
			if !strings.HasSuffix(b.String(), "</html>\n") {
				t.Errorf("%s: Render(%T{}) ends before the page does", name, p)
			}
		}
	}
}

// Every template file belongs to a page or is shared, so that none lies about.
func TestEveryTemplateHasItsPage(t *testing.T) {
	used := map[string]bool{"templates/base.html": true, "templates/parts.html": true}
	for _, p := range Pages() {
		used["templates/"+p.Template()+".html"] = true
	}
	found, err := fs.Glob(files, "templates/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range found {
		if !used[name] {
			t.Errorf("template %s belongs to no page", name)
		}
	}
}
