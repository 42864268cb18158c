package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestBrowserMarks reaches a bar of a drawing by the keyboard and a cell of another by
// the pointer, and finds the visits that they count.
func TestBrowserMarks(t *testing.T) {
	ctx := browser(t)
	data := t.TempDir()
	card := filepath.Join(t.TempDir(), "LOG.TXT")
	var rows strings.Builder
	for day := range 28 { // from a Monday; two visits each Monday, at nine and at ten
		date := time.Date(2026, 6, 1+day, 9, 5, 0, 0, time.UTC)
		fmt.Fprintf(&rows, "%s,12\n", date.Format(time.DateTime))
		if day%7 == 0 {
			fmt.Fprintf(&rows, "%s,20\n", date.Add(time.Hour).Format(time.DateTime))
		}
	}
	if err := os.WriteFile(card, []byte(rows.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane", "--latitude", "52.1", "--longitude", "-8.2", "--zone", "UTC", "--installed", "2026-06-01", "--clock", "utc")
	must(t, "import", "--data", data, "--site", "MILL", card)
	address := serving(t, "serve", "--data", data)

	do(t, ctx,
		chromedp.Navigate(address+"/sites/MILL"),
		chromedp.Focus("#by-weekday .skip"),
		chromedp.KeyEvent("\t"))
	name := see(t, ctx, chromedp.Evaluate[string](`document.activeElement.getAttribute("aria-label")`))
	seen := see(t, ctx, chromedp.Evaluate[string](`getComputedStyle(document.activeElement.querySelector("rect")).strokeWidth`))
	height := see(t, ctx, chromedp.Evaluate[float64](`document.activeElement.getBoundingClientRect().height`))
	if !strings.HasPrefix(name, "Monday: 8 visits, 2.2 a day, between ") || seen != "2.5px" || height < 24 {
		t.Errorf("the first bar is called %q, its outline is %s wide and its area %.1f px high, want Monday's, seen, and 24 px", name, seen, height)
	}
	do(t, ctx, chromedp.KeyEvent("\r"), chromedp.WaitVisible("table.openings"))
	if lead := see(t, ctx, chromedp.Text(".lead")); !strings.HasPrefix(lead, "8 visits on a Monday, in ") {
		t.Errorf("Monday's bar leads to %q, want its 8 visits", lead)
	}

	do(t, ctx, chromedp.Navigate(address+"/sites/MILL"))
	const cell = `document.querySelector('#week .fig-wide a[aria-label^="Monday 10:00"]')`
	see(t, ctx, chromedp.Evaluate[bool](cell+`.scrollIntoView({block: "center", behavior: "instant"}), true`))
	x := see(t, ctx, chromedp.Evaluate[float64](`(r => r.x + r.width / 2)(`+cell+`.getBoundingClientRect())`))
	y := see(t, ctx, chromedp.Evaluate[float64](`(r => r.y + r.height / 2)(`+cell+`.getBoundingClientRect())`))
	do(t, ctx, chromedp.MouseClickXY(x, y), chromedp.WaitVisible("table.openings"))
	if lead := see(t, ctx, chromedp.Text(".lead")); lead != "4 visits on a Monday from 10:00 to 11:00." {
		t.Errorf("the cell of Monday at ten leads to %q, want its 4 visits", lead)
	}
}
