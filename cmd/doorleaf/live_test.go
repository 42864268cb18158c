package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// complaints collects what a browser complains of: errors of scripts, what the content
// security policy held back, what could not be loaded.
type complaints struct {
	mu  sync.Mutex
	all []string
}

// complaintsOf listens to a browser.
func complaintsOf(t *testing.T, ctx context.Context) *complaints {
	t.Helper()
	c := &complaints{}
	add := func(says string) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.all = append(c.all, says)
	}
	err := chromedp.Listen(ctx, func(ev any) {
		switch e := ev.(type) {
		case *runtime.EventExceptionThrown:
			add(fmt.Sprintf("script %s:%d: %s %s", e.ExceptionDetails.URL, e.ExceptionDetails.LineNumber+1, e.ExceptionDetails.Text, describe(e.ExceptionDetails.Exception)))
		case *runtime.EventConsoleAPICalled:
			if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
				for _, arg := range e.Args {
					add("console: " + describe(arg))
				}
			}
		case *cdplog.EventEntryAdded:
			if e.Entry.Level == cdplog.EntryLevelError || e.Entry.Level == cdplog.EntryLevelWarning {
				add(fmt.Sprintf("%s: %s %s", e.Entry.Source, e.Entry.Text, e.Entry.URL))
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, runtime.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, cdplog.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	return c
}

func describe(o *runtime.RemoteObject) string {
	if o == nil {
		return ""
	}
	return fmt.Sprintf("%s %s", o.Value, o.Description)
}

// take returns what was complained of since the last time.
func (c *complaints) take() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	all := slices.Clone(c.all)
	c.all = nil
	return all
}

// mondays serves a network of one box with a visit each morning and two on Mondays.
func mondays(t *testing.T, weeks int) (address string) {
	t.Helper()
	data, card := t.TempDir(), filepath.Join(t.TempDir(), "LOG.TXT")
	var rows strings.Builder
	for day := range 7 * weeks { // from a Monday
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
	return serving(t, "serve", "--data", data)
}

// measure returns left, top, width and height of an element, px.
func measure(t *testing.T, ctx context.Context, selector string) (m [4]float64) {
	t.Helper()
	const box = `(r => JSON.stringify([r.x + scrollX, r.y + scrollY, r.width, r.height]))(document.querySelector(%q).getBoundingClientRect())`
	text := see(t, ctx, chromedp.Evaluate[string](fmt.Sprintf(box, selector)))
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// TestBrowserLookCloser brings charts to life by the keyboard and by a mouse, reads a
// number and its limits, magnifies the time axis and goes back to the picture.
func TestBrowserLookCloser(t *testing.T) {
	ctx := browser(t)
	address := mondays(t, 40)
	others, wrong := foreign(t, ctx, address), complaintsOf(t, ctx)
	text := func(selector string) string {
		return see(t, ctx, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector(%q).textContent`, selector)))
	}
	do(t, ctx, chromedp.Navigate(address+"/sites/MILL"))
	if n := see(t, ctx, chromedp.Evaluate[int](`performance.getEntriesByType("resource").filter(r => r.name.includes("live.js")).length`)); n != 0 {
		t.Errorf("the page loads the charts’ script before anybody asks for it")
	}

	before, below := measure(t, ctx, "#by-weekday .fig-wide"), measure(t, ctx, "#week")
	do(t, ctx, chromedp.Focus("#by-weekday .look button"), chromedp.KeyEvent(kb.Enter), chromedp.WaitVisible("#by-weekday .stage canvas"))
	if after := measure(t, ctx, "#by-weekday .stage"); after != before {
		t.Errorf("the live chart lies at %v, the picture at %v", after, before)
	}
	do(t, ctx, chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown))
	const tuesday = "1.0 a day95 % limits: "
	if tip := text("#by-weekday .tip"); !strings.HasPrefix(tip, "Tuesday"+tuesday) || !strings.HasSuffix(tip, "40 visits in 40 days of recording") {
		t.Errorf("after two arrow keys the tip is %q, want Tuesday’s visits with limits", tip)
	}
	if said := text("#by-weekday [role=status]"); !strings.HasPrefix(said, "Tuesday, 1.0 a day, 95 % limits: ") {
		t.Errorf("after two arrow keys it says %q, want what the tip says", said)
	}
	do(t, ctx, chromedp.KeyEvent(kb.Escape), chromedp.WaitVisible("#by-weekday .fig-wide"))
	if now := measure(t, ctx, "#week"); now != below {
		t.Errorf("after Escape what is below lies at %v, before at %v", now, below)
	}
	if at := see(t, ctx, chromedp.Evaluate[string](`document.activeElement.textContent`)); !strings.HasPrefix(at, "Look closer") {
		t.Errorf("after Escape the focus is on %q, want the button", at)
	}

	see(t, ctx, chromedp.Evaluate[bool](`document.querySelector("#timeline .fig-wide").scrollIntoView({block: "center", behavior: "instant"}), true`))
	scrolled := see(t, ctx, chromedp.Evaluate[float64]("scrollY"))
	box := measure(t, ctx, "#timeline .fig-wide")
	x, y := box[0]+box[2]/2, box[1]+box[3]/2-scrolled
	do(t, ctx, chromedp.MouseEvent(chromedp.MouseMoved, x, y), chromedp.WaitVisible("#timeline .stage canvas"),
		chromedp.MouseEvent(chromedp.MouseMoved, x+2, y))
	const shown = `new Promise(done => { const look = () => { const tip = document.querySelector("#timeline .tip"); tip && tip.textContent && tip.offsetParent ? done(tip.textContent) : setTimeout(look, 30); }; look(); })`
	if tip := see(t, ctx, chromedp.Evaluate[string](shown, chromedp.EvalAwaitPromise)); !strings.Contains(tip, " 2026") || !strings.HasSuffix(tip, "8 visits counted") {
		t.Errorf("the tip under the mouse is %q, want a week and its 8 visits", tip)
	}
	do(t, ctx, chromedp.Focus("#timeline .stage"), chromedp.KeyEvent("+"), chromedp.KeyEvent("+"))
	const span = `(d => Number(d.to) - Number(d.from))(document.querySelector("#timeline .stage").dataset)`
	if wide := see(t, ctx, chromedp.Evaluate[float64](span)); wide != 25 {
		t.Errorf("magnified twice, the axis shows %v hundredths of the time, want 25", wide)
	}
	do(t, ctx, chromedp.MouseEvent(chromedp.MouseWheel, x, y, chromedp.ButtonModifiers(chromedp.ModifierCtrl), func(p *input.DispatchMouseEventParams) { p.DeltaX, p.DeltaY = 0.01, 200 }))
	const wider = `new Promise(done => { const look = () => ` + span + ` > 25.1 ? done(` + span + `) : setTimeout(look, 30); look(); })`
	see(t, ctx, chromedp.Evaluate[float64](wider, chromedp.EvalAwaitPromise))
	do(t, ctx, chromedp.KeyEvent(kb.Home))
	if said := text("#timeline [role=status]"); !strings.HasSuffix(said, ", 8 visits counted") {
		t.Errorf("Home says %q, want the first week that is seen", said)
	}
	do(t, ctx, chromedp.KeyEvent(kb.Enter), chromedp.WaitVisible("table.openings"))
	if lead := see(t, ctx, chromedp.Text(".lead")); !strings.HasPrefix(lead, "8 visits, ") {
		t.Errorf("Enter leads to %q, want the week’s 8 visits", lead)
	}
	for _, says := range wrong.take() {
		t.Errorf("the browser complains: %s", says)
	}
	for _, url := range *others {
		t.Errorf("a page asks another host: %s", url)
	}
}
