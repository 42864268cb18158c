// Package web holds what people see: the pages' data, templates, words and
// static files. It knows no HTTP and no SQL: a page is a plain struct that
// some other package fills and that Set.Render turns into HTML.
package web

import (
	"bytes"
	"cmp"
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
	"sync"

	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/words"
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
		RoundPage{}, RoundDonePage{}, RoundKeptPage{}, PreparePage{}, BenchPage{}, MergePage{},
		SetUpPage{},
	}
}

// Set is the parsed templates of all pages.
type Set struct {
	files   fs.FS
	reloads bool     // they are read again for every page
	parsed  sync.Map // *words.Words to pages
}

// pages are the templates of all pages in one region's words, by name.
type pages map[string]*template.Template

// Load parses the templates of every page in every language. One that is missing or
// broken, or that a language does not fit, is an error here and never later.
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
	set.reloads = true
	return set, nil
}

func load(files fs.FS) (*Set, error) {
	set := &Set{files: files}
	for _, language := range usage.Languages {
		region := usage.DefaultRegion
		region.Language = language
		w, err := words.New(region)
		if err != nil {
			return nil, fmt.Errorf("web: %w", err)
		}
		if _, err := set.parseAll(words.Of(w.Region())); err != nil {
			return nil, err
		}
	}
	return set, nil
}

// parseAll parses the templates of all pages once for each region.
func (s *Set) parseAll(w *words.Words) (pages, error) {
	if all, ok := s.parsed.Load(w); ok {
		return all.(pages), nil
	}
	all := make(pages)
	for _, p := range Pages() {
		t, err := s.parse(w, p.Template())
		if err != nil {
			return nil, err
		}
		all[p.Template()] = t
	}
	s.parsed.Store(w, all)
	return all, nil
}

func (s *Set) parse(w *words.Words, page string) (*template.Template, error) {
	t := template.New("base.html").Funcs(s.funcs(w)).Option("missingkey=error")
	for _, name := range []string{"base", "parts", page} {
		source, err := fs.ReadFile(s.files, "templates/"+name+".html")
		if err != nil {
			return nil, fmt.Errorf("web: template %s: %w", name, err)
		}
		said, err := w.Template(name, string(source))
		if err != nil {
			return nil, fmt.Errorf("web: %w", err)
		}
		part := t
		if name != "base" {
			part = t.New(name + ".html")
		}
		if _, err := part.Parse(said); err != nil {
			return nil, fmt.Errorf("web: template %s in %q: %w", name, w.Language(), err)
		}
	}
	return t, nil
}

// Nav is what the navigation says beside the page itself.
type Nav struct {
	Questions int          // open questions of the network; 0 for none, or where it is not known
	May       May          // what the page offers
	Who       string       // name of who is signed in; "" where nobody had to
	SignIn    bool         // offer to sign in
	Network   string       // name of the network; "" where it has none
	Words     *words.Words // what the page is written with; nil for words.English
}

// frame is what the template around every page is given; the page's own gets
// the page alone.
type frame struct {
	Page Page
	Nav  Nav
}

// Render writes the page p as HTML. After an error w may hold a part of it.
func (s *Set) Render(w io.Writer, p Page, nav Nav) error {
	t, err := s.page(cmp.Or(nav.Words, words.English), p.Template())
	if err != nil {
		return err
	}
	if err := t.Execute(w, frame{p, nav}); err != nil {
		return fmt.Errorf("web: render %s: %w", p.Template(), err)
	}
	return nil
}

func (s *Set) page(w *words.Words, name string) (*template.Template, error) {
	if s.reloads {
		return s.parse(w, name)
	}
	all, err := s.parseAll(w)
	if err != nil {
		return nil, err
	}
	if all[name] == nil {
		return nil, fmt.Errorf("web: no template %q", name)
	}
	return all[name], nil
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
	if name == LiveScript {
		return assets.Read(assets.BrowserScript)
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
