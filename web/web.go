// Package web holds what people see: the pages' data, templates, words and
// static files. It knows no HTTP and no SQL: a page is a plain struct that
// some other package fills and that Set.Render turns into HTML.
package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
)

//go:embed templates static
var files embed.FS

// Page is the data of one page. Its Template names the file in templates/,
// without its ending, that draws it.
type Page interface {
	Template() string
}

// Pages returns the zero value of every page there is, for checks that every
// template fits its data.
func Pages() []Page {
	return []Page{
		NetworkPage{}, SitePage{}, SiteFormPage{}, BringPage{}, TrayPage{}, ReceiptPage{},
		CardsPage{}, CardPage{}, WithdrawPage{}, OpeningsPage{}, FaultPage{}, MakingPage{},
		QuestionsPage{}, CallsPage{}, CallPage{},
		SignInPage{}, AccessPage{}, JournalPage{}, SeasonsPage{}, SeasonPage{}, DataOutPage{}, VisitsPage{}, NetworkVisitsPage{}, ComparePage{}, VisitPage{}, OpeningPage{}, AboutPage{}, APIPage{},
		PowerPage{}, PowerFormPage{}, LightPage{}, RestockPage{}, DaylightPage{},
		RoundPage{}, RoundDonePage{}, RoundKeptPage{}, PreparePage{}, BenchPage{},
	}
}

// Set is the parsed templates of all pages.
type Set struct {
	files fs.FS
	pages map[string]*template.Template // nil in a set that reloads
}

// Load parses the templates of every page. A missing or broken template is an
// error here and never later.
func Load() (*Set, error) {
	return load(files)
}

// LoadDir is Load for work on the templates themselves: it reads them from the
// folder dir (that of this package) and reads them again for every page.
func LoadDir(dir string) (*Set, error) {
	set, err := load(os.DirFS(dir))
	if err != nil {
		return nil, err
	}
	set.pages = nil
	return set, nil
}

func load(files fs.FS) (*Set, error) {
	set := &Set{files: files, pages: make(map[string]*template.Template)}
	for _, p := range Pages() {
		t, err := set.parse(p.Template())
		if err != nil {
			return nil, err
		}
		set.pages[p.Template()] = t
	}
	return set, nil
}

func (s *Set) parse(name string) (*template.Template, error) {
	t := template.New("base.html").Funcs(s.funcs()).Option("missingkey=error")
	t, err := t.ParseFS(s.files, "templates/base.html", "templates/parts.html", "templates/"+name+".html")
	if err != nil {
		return nil, fmt.Errorf("web: template %s: %w", name, err)
	}
	return t, nil
}

// Nav is what the navigation says beside the page itself.
type Nav struct {
	Questions int    // open questions of the network; 0 for none, or where it is not known
	May       May    // what the page offers
	Who       string // name of who is signed in; "" where nobody had to
	SignIn    bool   // offer to sign in
}

// frame is what the template around every page is given; the page's own gets
// the page alone.
type frame struct {
	Page Page
	Nav  Nav
}

// Render writes the page p as HTML. After an error w may hold a part of it.
func (s *Set) Render(w io.Writer, p Page, nav Nav) error {
	t := s.pages[p.Template()]
	if s.pages == nil {
		var err error
		if t, err = s.parse(p.Template()); err != nil {
			return err
		}
	}
	if t == nil {
		return fmt.Errorf("web: no template %q", p.Template())
	}
	if err := t.Execute(w, frame{p, nav}); err != nil {
		return fmt.Errorf("web: render %s: %w", p.Template(), err)
	}
	return nil
}

// Static returns the bytes of a static file and the tag that Link puts behind
// its address. Names are those in static/, and fonts/NAME.woff2 and the like
// from the built assets.
func (s *Set) Static(name string) (data []byte, tag string, err error) {
	data, err = s.readStatic(name)
	if err != nil {
		return nil, "", err
	}
	sum := sha256.Sum256(data)
	return data, hex.EncodeToString(sum[:6]), nil
}

func (s *Set) readStatic(name string) ([]byte, error) {
	if !fs.ValidPath(name) {
		return nil, fmt.Errorf("web: static file %q: %w", name, fs.ErrNotExist)
	}
	if font, ok := strings.CutPrefix(name, "fonts/"); ok {
		return readFont(font)
	}
	data, err := fs.ReadFile(s.files, path.Join("static", name))
	if err != nil {
		return nil, fmt.Errorf("web: static file: %w", err)
	}
	if name == "doorleaf.css" {
		data = s.tagFonts(data)
	}
	return data, nil
}

// tagFonts puts the content tags behind the addresses of fonts in a style
// sheet, so that a browser may keep them for good.
func (s *Set) tagFonts(css []byte) []byte {
	for _, name := range fontNames() {
		if data, err := readFont(name); err == nil {
			sum := sha256.Sum256(data)
			address := "/static/fonts/" + name
			css = bytes.ReplaceAll(css, []byte(address), []byte(address+"?v="+hex.EncodeToString(sum[:6])))
		}
	}
	return css
}

// link returns the address of a static file, with a tag that changes with its
// bytes. A file that is missing keeps its plain address.
func (s *Set) link(name string) string {
	if _, tag, err := s.Static(name); err == nil {
		return "/static/" + name + "?v=" + tag
	}
	return "/static/" + name
}
