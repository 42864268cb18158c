package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestBrowserAnswer answers a question in one click and undoes the answer, as a
// person would; the Enter key in a field gives no answer by itself.
func TestBrowserAnswer(t *testing.T) {
	ctx := browser(t)
	data := t.TempDir()
	card := filepath.Join(t.TempDir(), "LOG.TXT")
	rows := "2026-07-10 10:00:00,12\n2026-07-10 11:30:00,9\nno <b>row</b> at all\n2026-07-11 09:00:00,5\n2026-07-12 09:00:00,5\n"
	if err := os.WriteFile(card, []byte(rows), 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane", "--latitude", "52.1", "--longitude", "-8.2", "--zone", "Europe/Dublin", "--installed", "2026-07-01")
	must(t, "import", "--data", data, "--site", "MILL", card)
	address := serving(t, "serve", "--data", data)
	others := foreign(t, ctx, address)
	asked := func() int { return see(t, ctx, chromedp.Evaluate[int](`document.querySelectorAll(".asked").length`)) }

	do(t, ctx, chromedp.Navigate(address+"/questions"))
	if n := asked(); n != 1 {
		t.Fatalf("%d questions are asked, want 1", n)
	}
	meant := see(t, ctx, chromedp.Text(".asked .meant"))
	do(t, ctx,
		chromedp.Click(".answers summary"),
		chromedp.WaitVisible(`.answers input[name="by"]`),
		chromedp.SendKeys(`.answers input[name="by"]`, "Ann\r"))
	if n := asked(); n != 1 {
		t.Fatal("the Enter key answered the question")
	}
	do(t, ctx,
		chromedp.Click(`.answers button[value="seen"]`),
		chromedp.WaitVisible(".glad"))
	said := see(t, ctx, chromedp.Text(".answered"))
	do(t, ctx, chromedp.Click(".answered form button"), chromedp.WaitVisible(".asked"))
	if !strings.Contains(meant, "no <b>row</b> at all") || !strings.Contains(said, "Ann") {
		t.Errorf("the question shows %q, its answer %q", meant, said)
	}
	if n := asked(); n != 1 {
		t.Errorf("%d questions are asked after the answer was undone, want 1", n)
	}
	if len(*others) > 0 {
		t.Errorf("requests to other hosts: %v", *others)
	}
}
