package main

import (
	"context"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"doorleaf/importer/forge"
)

// browser starts a headless Chromium with a profile of its own. Where none is
// found the test is passed over, unless DOORLEAF_BROWSER=required.
func browser(t *testing.T) context.Context {
	t.Helper()
	return browserFor(t, 90*time.Second)
}

// browserFor is browser for a test that may take so long.
func browserFor(t *testing.T, most time.Duration) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("DOORLEAF_BROWSER") == "required" {
			t.Fatal("no Chromium found, and DOORLEAF_BROWSER=required")
		}
		t.Skip("no Chromium found")
	}
	flags := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.WindowSize(1280, 900))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), flags...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, most)
	t.Cleanup(cancel)
	return ctx
}

// foreign listens for requests to other hosts than the server's.
func foreign(t *testing.T, ctx context.Context, address string) *[]string {
	t.Helper()
	var urls []string
	err := chromedp.Listen(ctx, func(ev any) {
		if e, ok := ev.(*network.EventRequestWillBeSent); ok {
			if u := e.Request.URL; !strings.HasPrefix(u, address+"/") && !strings.HasPrefix(u, "data:") {
				urls = append(urls, u)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	return &urls
}

// forgedCard writes the last card of a made-up site to a file.
func forgedCard(t *testing.T) (path string, rows int) {
	t.Helper()
	n, err := forge.Random(60, 1, 4)
	if err != nil {
		t.Fatal(err)
	}
	cards := n.Sites[0].Cards
	last := cards[len(cards)-1]
	data, err := last.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), last.Name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path, last.Len()
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

func see[T any](t *testing.T, ctx context.Context, a chromedp.Action[T]) T {
	t.Helper()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestBrowserFirstChart goes from an empty network to the first chart as a
// person would: add a site, bring in a card, look at what was read, keep it,
// look at the site.
func TestBrowserFirstChart(t *testing.T) {
	ctx := browser(t)
	address := serving(t, "serve", "--data", t.TempDir())
	others := foreign(t, ctx, address)
	card, _ := forgedCard(t)

	do(t, ctx, chromedp.Navigate(address+"/"))
	greeting := see(t, ctx, chromedp.Text("main"))
	do(t, ctx,
		chromedp.Click(`a[href="/sites/new"]`),
		chromedp.WaitVisible("#code"),
		chromedp.SendKeys("#code", "MILL"),
		chromedp.SendKeys("#name", "Mill <b>Lane</b>"),
		chromedp.SendKeys("#latitude", "52.1"),
		chromedp.SendKeys("#longitude", "-8.2"),
		chromedp.SendKeys("#zone", "Europe/Dublin"),
		chromedp.SetValue("#installed", "2026-07-01"),
		chromedp.Click(`form.fields button[type="submit"]`),
		chromedp.WaitNotPresent("form.fields"),
		chromedp.Navigate(address+"/cards"),
		chromedp.SetUploadFiles("#files", []string{card}),
		chromedp.Click(`form.fields button[type="submit"]`),
		chromedp.WaitVisible("form.tray"))
	tray := see(t, ctx, chromedp.Text("main"))
	do(t, ctx,
		chromedp.SetValue(`form.tray select[name^="site-"]`, "MILL"),
		chromedp.Click(`form.tray button[type="submit"]`),
		chromedp.WaitNotPresent("form.tray"))
	receipt := see(t, ctx, chromedp.Text("main"))
	do(t, ctx, chromedp.Navigate(address+"/sites/MILL"))
	lead := see(t, ctx, chromedp.Text(".lead"))
	charts := see(t, ctx, chromedp.Evaluate[int](`document.querySelectorAll("figure svg").length`))
	visible := see(t, ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("figure svg")].filter(s => s.getBoundingClientRect().height > 50).length`))
	if greeting == "" || !strings.Contains(tray, "Nothing is kept") || !strings.Contains(receipt, "Mill <b>Lane</b>") {
		t.Errorf("greeting %.200q\ntray %.200q\nreceipt %.400q", greeting, tray, receipt)
	}
	if !strings.Contains(lead, "visits a week") {
		t.Errorf("the site's first sentence is %q, want visits a week", lead)
	}
	if visible < 6 || visible > charts {
		t.Errorf("%d of %d charts can be seen, want at least 6", visible, charts)
	}
	if len(*others) > 0 {
		t.Errorf("requests to other hosts: %v", *others)
	}
}

// TestKeptBytes downloads a kept card and compares it with what was brought.
func TestKeptBytes(t *testing.T) {
	data := t.TempDir()
	card, rows := forgedCard(t)
	must(t, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane", "--latitude", "52.1", "--longitude", "-8.2", "--zone", "Europe/Dublin", "--installed", "2026-07-01")
	must(t, "import", "--data", data, "--site", "MILL", card)
	address := serving(t, "serve", "--data", data)
	openings := allOpenings(t, address, "MILL", 100)
	if len(openings) != rows {
		t.Errorf("%d openings, want %d", len(openings), rows)
	}
	want, err := os.ReadFile(card)
	if err != nil {
		t.Fatal(err)
	}
	var first []struct{ Card string }
	fetch(t, address+"/api/sites/MILL/openings?limit=1", &first)
	got := body(t, address+"/cards/"+first[0].Card+"/file")
	if got != string(want) {
		t.Errorf("the kept card has %d bytes, want the %d that were brought", len(got), len(want))
	}
}

func body(t *testing.T, url string) string {
	t.Helper()
	res, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
