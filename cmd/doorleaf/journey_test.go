package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"doorleaf/importer/forge"
	"doorleaf/store"
)

// journey is a way through the pages as a person goes it, told step by step in the
// test's log.
type journey struct {
	*testing.T
	ctx     context.Context
	address string
	step    int
}

// begin opens a browser at a server.
func begin(t *testing.T, address string) *journey {
	t.Helper()
	return &journey{T: t, ctx: browser(t), address: address}
}

// do does the steps.
func (j *journey) do(steps ...chromedp.Action[chromedp.Void]) {
	j.Helper()
	do(j.T, j.ctx, steps...)
}

// open goes to a page.
func (j *journey) open(path string) {
	j.Helper()
	j.do(chromedp.Navigate(j.address + path))
}

// press clicks on what a selector names and waits for the page that this leads to.
func (j *journey) press(selector string) {
	j.Helper()
	j.do(chromedp.Evaluate[chromedp.Void](`document.documentElement.dataset.left = "yes"`),
		chromedp.Click(selector), chromedp.WaitNotPresent(`html[data-left]`), chromedp.WaitReady(`main`))
}

// text is the text of the first element that a selector names.
func (j *journey) text(selector string) string {
	j.Helper()
	return strings.Join(strings.Fields(see(j.T, j.ctx, chromedp.Text(selector))), " ")
}

// texts are the texts of all elements that a selector names.
func (j *journey) texts(selector string) []string {
	j.Helper()
	return see(j.T, j.ctx, chromedp.Evaluate[[]string](fmt.Sprintf(`[...document.querySelectorAll(%q)].map(e => e.innerText.replace(/\s+/g, " ").trim())`, selector)))
}

// value is the value of a field.
func (j *journey) value(selector string) string {
	j.Helper()
	return see(j.T, j.ctx, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector(%q).value`, selector)))
}

// seen logs what stands on the page, and takes a picture of it where the gallery is
// made.
func (j *journey) seen(what string) {
	j.Helper()
	j.step++
	place := see(j.T, j.ctx, chromedp.Evaluate[string](`location.pathname + location.search`))
	lead := see(j.T, j.ctx, chromedp.Evaluate[string](`(document.querySelector("main .lead") || document.querySelector("main")).innerText.replace(/\s+/g, " ").trim().slice(0, 160)`))
	j.Logf("%d. %s: %s: %q", j.step, what, place, lead)
	folder := os.Getenv("DOORLEAF_GALLERY")
	if folder == "" {
		return
	}
	png := see(j.T, j.ctx, chromedp.FullScreenshot(100))
	path := filepath.Join(folder, "journeys", fmt.Sprintf("%s-%02d.png", j.Name(), j.step))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		j.Fatal(err)
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		j.Fatal(err)
	}
}

// drop lets files and folders fall on the page.
func (j *journey) drop(paths ...string) {
	j.Helper()
	data := &input.DragData{Files: paths, Items: []*input.DragDataItem{}, DragOperationsMask: 1}
	for _, kind := range []input.DispatchDragEventType{"dragEnter", "dragOver", "drop"} {
		if _, err := chromedp.Call(j.ctx, input.DispatchDragEvent, input.DispatchDragEventParams{Type: kind, X: 300, Y: 300, Data: data}); err != nil {
			j.Fatalf("%s: %v", kind, err)
		}
	}
}

// shiftWatch begins to add up how far the page moves by itself; shifted is the sum.
const (
	shiftWatch = `window.moved = 0; new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) window.moved += e.value; }).observe({type: "layout-shift"});`
	shifted    = `window.moved`
)

// pocketful is a network of eight boxes of which all cards but the last of each are
// kept, and those last cards, all under one name.
type pocketful struct {
	data  string // data folder
	sites []*forge.Site
	cards [][]byte // the last card of each site
	dir   string   // the cards again, CODE/LOG.CSV
}

const pocketName = "LOG.CSV"

func newPocketful(t *testing.T) *pocketful {
	t.Helper()
	n, err := forge.Random(150, 8, 11)
	if err != nil {
		t.Fatal(err)
	}
	p := &pocketful{data: t.TempDir(), sites: n.Sites, dir: t.TempDir()}
	s, err := store.Open(t.Context(), p.data, store.Options{Now: galleryNow})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	g := &gallery{store: s}
	for _, site := range n.Sites {
		last := len(site.Cards) - 1
		g.keep(t, site, site.Spec.Site(), site.Cards[:last])
		data, err := site.Cards[last].Bytes()
		if err != nil {
			t.Fatal(err)
		}
		p.cards = append(p.cards, data)
		p.write(t, site.Spec.Code, data)
	}
	return p
}

// write writes a card into a folder of its own, from which it is brought.
func (p *pocketful) write(t *testing.T, folder string, data []byte) string {
	t.Helper()
	path := filepath.Join(p.dir, folder, pocketName)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// said is all that the server says of sites as JSON.
func said(t *testing.T, address string, codes ...string) string {
	t.Helper()
	var b strings.Builder
	for _, code := range codes {
		for _, path := range []string{"", "/pattern", "/days?from=2026-01-01&to=2026-12-31", "/openings?limit=10000", "/findings", "/visits?limit=1000"} {
			b.WriteString(body(t, address+"/api/sites/"+code+path) + "\n")
		}
	}
	b.WriteString(body(t, address+"/api/sites") + "\n")
	for _, season := range []string{"2026-spring", "2026-summer"} {
		b.WriteString(body(t, address+"/api/seasons/"+season) + "\n")
	}
	return b.String()
}

// TestJourneyEightCards drops eight cards of one name on the page, sorts them out,
// keeps them, brings one to the wrong box after all, and withdraws it.
func TestJourneyEightCards(t *testing.T) {
	p := newPocketful(t)
	var codes, paths []string
	for _, site := range p.sites {
		codes = append(codes, site.Spec.Code)
		paths = append(paths, filepath.Join(p.dir, site.Spec.Code, pocketName))
	}
	j := begin(t, serving(t, "serve", "--data", p.data))
	others := foreign(t, j.ctx, j.address)
	j.open("/cards")
	j.do(chromedp.Evaluate[chromedp.Void](shiftWatch))
	j.drop(paths...)
	j.do(chromedp.WaitVisible(`#sent li:nth-child(8)`))
	j.seen("eight files of one name dropped")
	names := j.texts(`#sent li .file`)
	for i, name := range names {
		if want := fmt.Sprintf("%s (%d)", pocketName, i+1); !strings.HasPrefix(name, want) {
			t.Errorf("file %d of the list is called %q, want %s", i+1, name, want)
		}
	}
	j.press(`#bring button[type=submit]`)
	j.seen("read")
	if got := j.texts(`form.tray section.card`); len(got) != 8 {
		t.Fatalf("%d cards lie on the tray, want 8", len(got))
	}
	p.sortOut(j, codes)
	j.press(`form.tray > .act button`)
	j.seen("kept")
	if got := j.texts(`.receipts li.kept`); len(got) != 8 {
		t.Errorf("%d cards were kept, want 8: %q", len(got), j.texts(`.receipts li`))
	}
	for i, site := range p.sites {
		var cards []struct{}
		_ = i
		_ = cards
		_ = site
	}
	if len(*others) > 0 {
		t.Errorf("requests to other hosts: %v", *others)
	}
}

// sortOut answers what the tray asks, as somebody who knows whose card each is.
func (p *pocketful) sortOut(j *journey, codes []string) {
	keys := j.texts(`form.tray section.card h2`)
	for i, code := range codes {
		key := see(j.T, j.ctx, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelectorAll("form.tray section.card h2")[%d].id.slice(5)`, i)))
		got := j.value("#site-" + key)
		j.Logf("%s: proposed %q, is %s: %s", keys[i], got, code, j.texts(`#why-`+key))
		if asks := j.texts(`section[aria-labelledby=card-` + key + `] .question`); len(asks) > 0 {
			j.Logf("   asked: %s", asks)
		}
	}
}

var _ = regexp.MustCompile
var _ = time.Second
