package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

// stand serves a network of its own at the moment of the gallery.
func stand(t *testing.T, remote bool) (s *store.Store, address string) {
	t.Helper()
	s, err := store.Open(t.Context(), t.TempDir(), store.Options{Now: galleryNow})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	h, err := server.New(server.Config{
		Store: s, Charts: chart.New(draw.New(draw.Options{})), Now: galleryNow, Remote: remote, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	return s, srv.URL
}

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
	j.until(`document.readyState === "complete"`) // its scripts have run
}

// until waits for an expression to become true.
func (j *journey) until(expression string) {
	j.Helper()
	for range 100 {
		if see(j.T, j.ctx, chromedp.Evaluate[bool](expression)) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	j.Fatalf("after five seconds it is not true that %s", expression)
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
