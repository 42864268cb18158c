package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// What every page must hold.
const (
	narrowest   = 320     // CSS pixels without scrolling sideways: WCAG 2.2, 1.4.10 Reflow
	firstViewB  = 200_000 // bytes transferred for a page and all that it loads, nothing in the cache
	stillness   = 0.005   // cumulative layout shift: one line of a page that moves by a few pixels is more
	pagesDir    = "testdata/pages"
	galleryTime = 15 * time.Minute
)

// pageTool returns the path of a file of an npm package that pages are held
// against. Where Node.js or the package is not there the test is passed over,
// unless DOORLEAF_BROWSER=required.
func pageTool(t *testing.T, name ...string) string {
	t.Helper()
	path := filepath.Join(append([]string{pagesDir, "node_modules"}, name...)...)
	_, err := os.Stat(path)
	if err == nil {
		_, err = exec.LookPath("node")
	}
	if err != nil {
		if os.Getenv("DOORLEAF_BROWSER") == "required" {
			t.Fatalf("no %s, and DOORLEAF_BROWSER=required: %v", name[0], err)
		}
		t.Skipf("no %s; make pages installs it: %v", name[0], err)
	}
	return path
}

// TestPages holds all pages of two states, the usual and the troubled one,
// against the rules for markup and, in a browser and in light, for access. The
// other states and the dark look come with «make gallery», which sets
// DOORLEAF_GALLERY to the folder for its pictures.
func TestPages(t *testing.T) {
	if testing.Short() {
		t.Skip("draws every page")
	}
	pictures := os.Getenv("DOORLEAF_GALLERY")
	states := []string{"usual", "troubled"}
	if pictures != "" {
		states = nil
		for _, s := range galleryStates {
			states = append(states, s.name)
		}
	}
	answered, seen := map[string]bool{}, 0
	for _, state := range states {
		t.Run(state, func(t *testing.T) {
			g := openGallery(t, state)
			seen++
			t.Run("document", func(t *testing.T) { testDocument(t, g) })
			if state == "usual" {
				t.Run("conditional", func(t *testing.T) { testConditional(t, g) })
			}
			pages := g.pages(t)
			for _, a := range g.addresses(t) {
				answered[a.route] = true
			}
			t.Run("markup", func(t *testing.T) { testMarkup(t, pages) })
			t.Run("browser", func(t *testing.T) { testInBrowser(t, g, pages, pictures) })
		})
	}
	if t.Failed() || seen < len(states) {
		return // what is missing is told above, or was not asked for
	}
	for _, route := range routesOf(t, openGallery(t, "empty").routes) {
		if route != "/static/*" && !answered[route] {
			t.Errorf("the route %s has no page in the states %v", route, states)
		}
	}
}

// testMarkup holds pages against html-validate.
func testMarkup(t *testing.T, pages []webPage) {
	pageTool(t, "html-validate", "package.json")
	type page struct {
		Name string `json:"name"`
		HTML string `json:"html"`
	}
	var in struct {
		Pages []page `json:"pages"`
	}
	for _, p := range pages {
		in.Pages = append(in.Pages, page{p.path, string(p.html)})
	}
	text, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "node", "validate.mjs")
	cmd.Dir, cmd.Stdin = pagesDir, bytes.NewReader(text)
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("html-validate: %v\n%s", err, errs.String())
	}
	var found []struct {
		Page, Rule, Says string
		Line, Column     int
	}
	if err := json.Unmarshal(out, &found); err != nil {
		t.Fatalf("html-validate said %.200q: %v", out, err)
	}
	seen := map[string]int{}
	for _, f := range found {
		if seen[f.Rule+f.Says]++; seen[f.Rule+f.Says] <= 2 {
			t.Errorf("%s:%d:%d: %s: %s", f.Page, f.Line, f.Column, f.Rule, f.Says)
		}
	}
	if len(found) > 0 {
		t.Errorf("html-validate found %d faults on %d pages", len(found), len(pages))
	}
}

// view is a width and a look in which pages are read.
type view struct {
	width int64
	look  string // "light" or "dark"
}

// looker is a browser with what it has loaded for the page before it.
type looker struct {
	ctx   context.Context
	axe   string // the script
	wrong *complaints
	mu    sync.Mutex
	bytes float64
	urls  []string
}

func newLooker(t *testing.T) *looker {
	t.Helper()
	axe, err := os.ReadFile(pageTool(t, "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	l := &looker{ctx: browserFor(t, galleryTime), axe: string(axe)}
	l.wrong = complaintsOf(t, l.ctx)
	err = chromedp.Listen(l.ctx, func(ev any) {
		l.mu.Lock()
		defer l.mu.Unlock()
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			l.urls = append(l.urls, e.Request.URL)
		case *network.EventLoadingFinished:
			l.bytes += e.EncodedDataLength
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(l.ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(l.ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(l.ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	return l
}

// see sets width and look without loading the page again.
func (l *looker) see(t *testing.T, v view) {
	t.Helper()
	if _, err := chromedp.Call(l.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
		Width: v.width, Height: 900, DeviceScaleFactor: 1,
	}); err != nil {
		t.Fatal(err)
	}
	l.media(t, "prefers-color-scheme", v.look)
}

// media sets what a reader's system asks for.
func (l *looker) media(t *testing.T, name, value string) {
	t.Helper()
	if _, err := chromedp.Call(l.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: name, Value: value}},
	}); err != nil {
		t.Fatal(err)
	}
}

// open loads a page with nothing in the cache and returns what it loaded.
func (l *looker) open(t *testing.T, url string) (loaded float64, urls []string) {
	t.Helper()
	l.mu.Lock()
	l.bytes, l.urls = 0, nil
	l.mu.Unlock()
	do(t, l.ctx, chromedp.Navigate(url))
	l.settle(t)
	shift := see(t, l.ctx, chromedp.Evaluate[float64](layoutShift, chromedp.EvalAwaitPromise))
	if shift > stillness {
		t.Errorf("the page moves by %.4f while it loads", shift)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.bytes, slices.Clone(l.urls)
}

// settle waits until a page that looks again by itself, because its report is still being
// made, has given way to the report.
func (l *looker) settle(t *testing.T) {
	t.Helper()
	const looksAgain = `document.querySelector("main progress[aria-label]") !== null`
	for end := time.Now().Add(2 * time.Minute); see(t, l.ctx, chromedp.Evaluate[bool](looksAgain)); {
		if time.Now().After(end) {
			t.Fatal("the page still waits for its report after two minutes")
		}
		time.Sleep(1500 * time.Millisecond) // it looks again each second; not in the middle of that
	}
}

// holdQuiet checks that nothing went wrong in the browser: no error of a script, nothing
// that the page's policy held back, nothing that could not be loaded. No fault is it that
// a page of a fault bears its status, and that a form shows a date again that is none.
func (l *looker) holdQuiet(t *testing.T, url string) {
	t.Helper()
	for _, says := range l.wrong.take() {
		missing := strings.Contains(says, "Failed to load resource")
		if missing && strings.HasSuffix(says, url) || strings.Contains(says, "does not conform to the required format") {
			continue
		}
		t.Errorf("the browser complains: %s", says)
	}
}

// layoutShift is the cumulative layout shift once fonts and pictures are there.
const layoutShift = `document.fonts.ready.then(() => new Promise(done => {
	let sum = 0;
	new PerformanceObserver(list => { for (const e of list.getEntries()) sum += e.value; }).observe({type: "layout-shift", buffered: true});
	setTimeout(() => done(sum), 60);
}))`

// runAxe runs all rules of axe-core, that of target sizes (WCAG 2.2, 2.5.8, with
// its exception for spacing) among them.
const runAxe = `axe.run(document, {
	resultTypes: ["violations"],
	rules: {"target-size": {enabled: true}},
}).then(r => r.violations.map(v => ({rule: v.id, nodes: v.nodes.map(n => n.target.join(" ") + ": " + n.any.concat(n.all, n.none).map(c => c.message).join("; "))})))`

type violation struct {
	Rule  string
	Nodes []string
}

// holdAxe runs axe-core in the page as it is. The script comes over the browser's
// debugging protocol and not into the page's policy.
func (l *looker) holdAxe(t *testing.T, v view) {
	t.Helper()
	if !see(t, l.ctx, chromedp.Evaluate[bool](`typeof axe === "object"`)) {
		do(t, l.ctx, chromedp.Evaluate[chromedp.Void](l.axe))
	}
	for _, f := range see(t, l.ctx, chromedp.Evaluate[[]violation](runAxe, chromedp.EvalAwaitPromise)) {
		t.Errorf("axe at %d px, %s: %s: %d elements, such as\n\t%s", v.width, v.look, f.Rule, len(f.Nodes), strings.Join(f.Nodes[:min(3, len(f.Nodes))], "\n\t"))
	}
}

// tooWide names the elements that reach beyond the window though nothing around
// them scrolls or cuts them.
const tooWide = `(() => {
	const cut = e => { for (let p = e.parentElement; p && p !== document.body; p = p.parentElement) if (getComputedStyle(p).overflowX !== "visible") return true; return false; };
	const wide = [...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 && !cut(e));
	return wide.slice(0, 4).map(e => e.tagName + (e.className && e.className.baseVal === undefined ? "." + e.className : "") + " " + (e.textContent || "").trim().slice(0, 40));
})()`

// holdWidth checks that the page does not scroll sideways.
func (l *looker) holdWidth(t *testing.T, width int64) {
	t.Helper()
	if got := see(t, l.ctx, chromedp.Evaluate[int64](`document.documentElement.scrollWidth`)); got > width {
		t.Errorf("the page is %d px wide in a window of %d px: %v", got, width, see(t, l.ctx, chromedp.Evaluate[[]string](tooWide)))
	}
}

// testInBrowser looks at all pages in a narrow window, in light; where pictures are
// taken, in a wide one and in dark too.
func testInBrowser(t *testing.T, g *gallery, pages []webPage, pictures string) {
	l := newLooker(t)
	views := []view{{390, "light"}}
	if pictures != "" {
		views = []view{{1280, "light"}, {1280, "dark"}, {390, "light"}, {390, "dark"}}
	}
	var heaviest float64
	start := time.Now()
	for _, p := range pages {
		ok := t.Run(p.path, func(t *testing.T) {
			l.see(t, view{1280, "light"})
			loaded, urls := l.open(t, g.url+p.path)
			heaviest = max(heaviest, loaded)
			if loaded > firstViewB {
				t.Errorf("the first view transfers %.0f bytes, want at most %d", loaded, firstViewB)
			}
			for _, u := range urls {
				if !strings.HasPrefix(u, g.url+"/") && !strings.HasPrefix(u, "data:") {
					t.Errorf("it asks another host: %s", u)
				}
			}
			for _, v := range views {
				l.see(t, v)
				if pictures != "" {
					l.picture(t, filepath.Join(pictures, g.state, fmt.Sprintf("%s-%d-%s.png", p.name(), v.width, v.look)))
				}
				l.holdAxe(t, v)
			}
			l.see(t, view{narrowest, "light"})
			l.holdWidth(t, narrowest)
			l.holdStretched(t)
			l.holdQuiet(t, g.url+p.path)
		})
		if !ok && l.ctx.Err() != nil {
			t.Fatalf("the browser is gone: %v", l.ctx.Err())
		}
	}
	t.Logf("%d pages in %.0f s; the heaviest first view is %.0f bytes", len(pages), time.Since(start).Seconds(), heaviest)
}

// picture writes a picture of the whole page.
func (l *looker) picture(t *testing.T, path string) {
	t.Helper()
	png := see(t, l.ctx, chromedp.FullScreenshot(100))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		t.Fatal(err)
	}
}
