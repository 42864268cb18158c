package web

import (
	"slices"

	"doorleaf/web/assets"
)

// fontNames are the typefaces that the style sheet names.
func fontNames() []string { return assets.Fonts }

// readFont returns a typeface of the built assets.
func readFont(name string) ([]byte, error) {
	if !slices.Contains(assets.Fonts, name) {
		name = "fonts/" + name // no built file bears such a name
	}
	return assets.Read(name)
}

// fontPaths are the names under which Static has them, for pages to ask for
// early: text that comes in its own face from the start need not move.
func fontPaths() []string {
	var paths []string
	for _, name := range assets.Fonts {
		if assets.Built() {
			paths = append(paths, "fonts/"+name)
		}
	}
	return paths
}
