// Package assets holds what the build makes of npm packages: ECharts bundled
// for the server's drawing engine, the typefaces, and the licences of both.
//
// The folder dist is not under version control: `make assets` fills it. A
// program built without it works up to the first use of an asset, which then
// fails with ErrNotBuilt.
package assets

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
)

//go:embed all:dist
var dist embed.FS

// ErrNotBuilt says that the build of the assets was left out.
var ErrNotBuilt = errors.New("assets are not built: run `make assets`")

// The files that a build makes.
const (
	ServerScript  = "server.js"    // ECharts and the entry points that package draw calls
	BrowserScript = "live.js"      // ECharts for a browser, and the entry that charts.js calls
	Licences      = "LICENSES.txt" // of everything bundled here
)

// Fonts are the names of the typefaces' files, all woff2, Latin.
var Fonts = []string{
	"literata-600.woff2",
	"atkinson-hyperlegible-next-400.woff2",
	"atkinson-hyperlegible-next-700.woff2",
}

// PaperFonts are the names of the typefaces' TrueType files, for documents that
// are printed: of each face Latin, and what the rest of Europe adds to it.
var PaperFonts = map[string][2]string{
	"book": {"literata-latin-600.ttf", "literata-latin-ext-600.ttf"},
	"text": {"atkinson-hyperlegible-next-latin-400.ttf", "atkinson-hyperlegible-next-latin-ext-400.ttf"},
	"bold": {"atkinson-hyperlegible-next-latin-700.ttf", "atkinson-hyperlegible-next-latin-ext-700.ttf"},
}

// Read returns the bytes of the asset name. The error is ErrNotBuilt where
// nothing was built, and fs.ErrNotExist for a name that the build does not make.
func Read(name string) ([]byte, error) {
	data, err := fs.ReadFile(dist, path.Join("dist", name))
	if err == nil {
		return data, nil
	}
	if errors.Is(err, fs.ErrNotExist) && !Built() {
		err = ErrNotBuilt
	}
	return nil, fmt.Errorf("asset %s: %w", name, err)
}

// Built tells whether the assets were there when this program was built.
func Built() bool {
	_, err := fs.Stat(dist, path.Join("dist", ServerScript))
	return err == nil
}
