package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	cdp "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"doorleaf/importer/forge"
	"doorleaf/store"
	"doorleaf/usage"
)

// standScenario serves a network of one forged site, MILL, with a scenario's cards and
// what was written down of its service calls.
func standScenario(t *testing.T, name string, remote bool) (*store.Store, string) {
	t.Helper()
	all := forge.Scenarios()
	i := slices.IndexFunc(all, func(s forge.Scenario) bool { return s.Name == name })
	n, err := all[i].Network(1, 5)
	if err != nil {
		t.Fatal(err)
	}
	s, address := stand(t, remote)
	site := n.Sites[0].Spec.Site()
	site.Code, site.Name = "MILL", "Mill Lane"
	g := &gallery{store: s}
	g.keep(t, n.Sites[0], site, n.Sites[0].Cards)
	g.note(t, site.Code, n.Sites[0].Noted)
	return s, address
}

// TestJourneyFirstStart goes from an empty network to the first chart: name the
// network, see how it will write, add a box, bring in its card, look.
func TestJourneyFirstStart(t *testing.T) {
	_, address := stand(t, false)
	j := begin(t, address)
	others := foreign(t, j.ctx, j.address)
	card, _ := forgedCard(t)
	j.open("/")
	j.seen("an empty network")
	j.press(`main a.button`)
	j.do(chromedp.SendKeys("#name", "Boxes of Aldermouth"), chromedp.SetValue("#decimal", ","),
		chromedp.Evaluate[chromedp.Void](`document.getElementById("decimal").dispatchEvent(new Event("input", {bubbles: true}))`))
	j.until(`document.getElementById("example").innerText.includes("1.234,5")`)
	j.seen("set up, with an example of its writing")
	j.do(chromedp.SetValue("#decimal", "."))
	j.press(`form[action="/set-up"] button:not(.plain)`)
	if got := j.texts(".glad, .brand .of"); len(got) != 2 || got[0] != "Boxes of Aldermouth" {
		t.Errorf("after set-up the page says %q, want the network's name and that it is kept", got)
	}
	j.press(`main a.button[href="/sites/new"]`)
	j.do(chromedp.SendKeys("#code", "MILL"), chromedp.SendKeys("#name", "Mill Lane"),
		chromedp.SendKeys("#latitude", "52.1"), chromedp.SendKeys("#longitude", "-8.2"),
		chromedp.SendKeys("#zone", "Europe/Dublin"), chromedp.SetValue("#installed", "2026-07-01"))
	j.press(`form.fields button[type="submit"]`)
	j.seen("the box is there")
	j.open("/cards")
	j.do(chromedp.SetUploadFiles("#files", []string{card}), chromedp.WaitVisible("#sent li"))
	j.press(`#bring button[type="submit"]`)
	j.seen("the card was read")
	if got := j.tray(); len(got) != 1 || got[0].Site != "MILL" {
		t.Errorf("on the tray lies %+v, want a card for MILL", got)
	}
	j.press(`form.tray > .act button`)
	j.press(`.receipts li.kept a[href="/sites/MILL"]`)
	j.seen("the first chart")
	if got := see(t, j.ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("figure svg")].filter(s => s.getBoundingClientRect().height > 50).length`)); got < 6 {
		t.Errorf("%d charts can be seen, want at least 6", got)
	}
	if got := see(t, j.ctx, chromedp.Evaluate[string](`document.title`)); got != "Mill Lane – Boxes of Aldermouth – Doorleaf" {
		t.Errorf("the title is %q, want box, network and program", got)
	}
	if len(*others) > 0 {
		t.Errorf("requests to other hosts: %v", *others)
	}
}

// TestJourneyQuestion answers a question, sees what that changes, and undoes it.
func TestJourneyQuestion(t *testing.T) {
	s, address := standScenario(t, "outage", false)
	j := begin(t, address)
	exposure := func() int64 {
		site, err := s.Site(t.Context(), "MILL")
		if err != nil {
			t.Fatal(err)
		}
		return site.Totals.ExposureS
	}
	before, json := exposure(), body(t, address+"/api/sites/MILL")
	j.open("/")
	j.press(`a[href="/questions"]`)
	j.seen("what is asked")
	open := len(j.texts(".asked"))
	outage := `.asked button[name=answer][value=outage]`
	if len(j.texts(outage)) == 0 {
		t.Fatalf("no question about an outage is asked: %q", j.texts(".asked h3"))
	}
	j.press(outage)
	j.seen("answered")
	if got := len(j.texts(".asked")); got >= open {
		t.Errorf("%d questions are open, want fewer than %d", got, open)
	}
	if exposure() >= before {
		t.Errorf("exposure = %d s after an outage was cut out, want less than %d s", exposure(), before)
	}
	j.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details.answered")) d.open = true`))
	j.press(`.answered button`)
	j.seen("undone")
	if got := len(j.texts(".asked")); got != open {
		t.Errorf("%d questions are open, want %d as before", got, open)
	}
	if after := body(t, address+"/api/sites/MILL"); after != json {
		t.Errorf("undone, the site says\n%s\nwant\n%s", after, json)
	}
}

// TestJourneyLimits tries other limits of visits, typed and by the button, and saves
// them: what was told comes true.
func TestJourneyLimits(t *testing.T) {
	s, address := standScenario(t, "outage", false)
	j := begin(t, address)
	j.open("/sites/MILL/change")
	j.until(`document.readyState === "complete"`)
	j.seen("the form")
	before := body(t, address+"/api/sites/MILL")
	kept := j.texts("#trial td")
	j.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("join").value = ""`), chromedp.SendKeys("#join", "3600"))
	j.until(`document.getElementById("trial").innerText.includes("instead of")`)
	j.seen("told while typing")
	typed := j.texts("#trial td")
	if typed[0] != kept[0] || typed[1] == kept[1] {
		t.Errorf("visits as kept and with a gap of an hour are %q, want others than %q", typed[:2], kept[:2])
	}
	j.press(`.looks button`)
	j.seen("told by the button")
	if got := j.texts("#trial td"); !slices.Equal(got, typed) || j.value("#join") != "3600" {
		t.Errorf("the button tells %q of a gap of %q, want %q of 3600", got, j.value("#join"), typed)
	}
	if after := body(t, address+"/api/sites/MILL"); after != before {
		t.Error("a preview changed the site")
	}
	j.press(`form.fields > p button`)
	j.open("/sites/MILL/change")
	if got := j.texts("#trial td"); got[0] != typed[1] {
		t.Errorf("saved, the visits as kept are %s, want %s as told", got[0], typed[1])
	}
	site, err := s.Site(t.Context(), "MILL")
	if err != nil || site.Thresholds.JoinS != 3600 {
		t.Errorf("kept is a gap of %d s, %v, want 3600", site.Thresholds.JoinS, err)
	}
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b`)

// TestJourneyRound plans a round, prints it, and reports back what was done.
func TestJourneyRound(t *testing.T) {
	s, address := standScenario(t, "outage", false)
	j := begin(t, address)
	j.open("/round?days=1")
	j.seen("the round")
	printed, err := chromedp.Call(j.ctx, page.PrintToPDF, page.PrintToPDFParams{})
	if err != nil {
		t.Fatal(err)
	}
	if pages := len(pdfPage.FindAll(printed.Data, -1)); pages != 1 {
		t.Errorf("the round of one box prints on %d pages, want 1", pages)
	}
	j.do(chromedp.Click(`.walk input[name=done]`))
	j.press(`main form[action="/round/done"] button`)
	j.seen("what was done")
	before, err := s.Calls(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	j.do(chromedp.SetValue("#date", "2026-10-01"), chromedp.SetValue("#time-MILL", "10:30"), chromedp.SendKeys("#books-in-MILL", "7"), chromedp.SendKeys("#note-MILL", "hinge oiled"))
	if len(j.texts(`.rounddone input[id^="did"]:checked, .rounddone .picks input:checked`)) == 0 {
		t.Error("what was ticked on the round is not ticked on the form")
	}
	j.press(`.rounddone button`)
	j.seen("reported back")
	calls, err := s.Calls(t.Context(), "MILL")
	if err != nil || len(calls) != len(before)+1 {
		t.Fatalf("%d service calls, %v, want %d", len(calls), err, len(before)+1)
	}
	want := time.Date(2026, 10, 1, 9, 30, 0, 0, time.UTC).Unix() // 10:30 in Irish summer time
	site, err := s.Site(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	if zone, err := time.LoadLocation(site.Zone); err == nil {
		want = time.Date(2026, 10, 1, 10, 30, 0, 0, zone).Unix()
	}
	i := slices.IndexFunc(calls, func(c usage.ServiceCall) bool { return c.Note == "hinge oiled" })
	if i < 0 || calls[i].At != want || calls[i].BooksIn == nil || *calls[i].BooksIn != 7 {
		t.Errorf("kept are %+v, want the one of 10:30 with 7 books", calls)
	}
	j.press(`form[action="/round/undo"] button`)
	j.seen("taken back")
	if calls, err = s.Calls(t.Context(), "MILL"); err != nil || len(calls) != len(before) {
		t.Errorf("taken back, %d service calls stand, %v, want %d", len(calls), err, len(before))
	}
}

// Made-up passphrases of the journeys.
const (
	boardPhrase = "saddle mitten quarry"
	coordPhrase = "lantern turnip harbour"
)

// setPhrases gives the board and the coordinators their passphrases.
func setPhrases(t *testing.T, s *store.Store) {
	t.Helper()
	for role, phrase := range map[store.Role]string{store.RoleReports: boardPhrase, store.RoleCoordinating: coordPhrase} {
		if err := s.SetPassphrase(t.Context(), role, phrase); err != nil {
			t.Fatal(err)
		}
	}
}

// signIn fills in the form of sign-in and sends it.
func (j *journey) signIn(who, phrase string) {
	j.Helper()
	j.do(chromedp.SetValue("#who", who), chromedp.SetValue("#passphrase", phrase))
	j.press(`form.signin button`)
}

// TestJourneyBoard is a board member who signs in with the passphrase for reports and
// downloads the season report.
func TestJourneyBoard(t *testing.T) {
	s, address := standScenario(t, "outage", true)
	setPhrases(t, s)
	j := begin(t, address)
	dir := t.TempDir()
	if _, err := chromedp.Call(j.ctx, cdp.SetDownloadBehavior, cdp.SetDownloadBehaviorParams{Behavior: cdp.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir}); err != nil {
		t.Fatal(err)
	}
	j.open("/seasons")
	j.seen("turned away to sign in")
	j.signIn("Una", boardPhrase)
	j.seen("signed in")
	j.press(`main .calendar th a`)
	j.seen("the latest season")
	if got := j.texts(`nav a[href="/cards"], nav a[href="/sites/new"]`); len(got) > 0 {
		t.Errorf("the board is offered %q", got)
	}
	j.do(chromedp.Click(`main .reports a[href$="/report.pdf"]`))
	var report []byte
	for range 200 {
		time.Sleep(100 * time.Millisecond)
		if found, _ := filepath.Glob(filepath.Join(dir, "doorleaf-*.pdf")); len(found) == 1 {
			report, _ = os.ReadFile(found[0])
			if bytes.HasSuffix(bytes.TrimSpace(report), []byte("%%EOF")) {
				break
			}
		}
	}
	if !bytes.HasPrefix(report, []byte("%PDF-")) || len(pdfPage.FindAll(report, -1)) < 2 {
		t.Fatalf("downloaded are %d bytes with %d pages, want a PDF of two pages or more", len(report), len(pdfPage.FindAll(report, -1)))
	}
	t.Logf("   the report has %d bytes on %d pages", len(report), len(pdfPage.FindAll(report, -1)))
	j.open("/cards")
	j.seen("what the board may not do")
	if got := j.text("main"); !strings.Contains(got, "passphrase of the coordinators") {
		t.Errorf("bringing in cards says %q to the board", got)
	}
}

// TestJourneyPassphrases signs in and out, signs everyone out, and is throttled after
// too many wrong tries.
func TestJourneyPassphrases(t *testing.T) {
	s, address := standScenario(t, "outage", true)
	setPhrases(t, s)
	j := begin(t, address)
	j.open("/access")
	j.signIn("Ann", "wrong")
	if got := j.texts(".fieldfault"); len(got) != 1 || !strings.Contains(got[0], "opens nothing here") {
		t.Errorf("a wrong passphrase says %q", got)
	}
	if got := j.value("#passphrase"); got != "" {
		t.Errorf("the page gives the passphrase back: %q", got)
	}
	j.seen("a wrong passphrase")
	j.signIn("Ann", coordPhrase)
	j.seen("signed in, at the page that was asked for")
	if got := j.texts("#sessions ~ .receipts h3"); len(got) != 1 || !strings.Contains(got[0], "this is you") {
		t.Errorf("signed in are %q, want Ann", got)
	}
	j.press(`form.who button`)
	j.open("/")
	j.seen("signed out")
	if len(j.texts("form.signin")) != 1 {
		t.Error("after signing out the network can be seen")
	}
	j.signIn("Ann", coordPhrase)
	j.open("/access")
	j.press(`form[action="/access/sign-out-everyone"] button`)
	j.seen("everyone signed out")
	j.open("/journal")
	if len(j.texts("form.signin")) != 1 {
		t.Error("after everyone was signed out the journal can be seen")
	}
	if open, err := s.Sessions(t.Context()); err != nil || len(open) != 0 {
		t.Errorf("%d sessions are left, %v, want none", len(open), err)
	}
	for n := range 20 {
		j.signIn("Ann", "wrong "+strconv.Itoa(n))
		if got := j.texts(".fieldfault"); len(got) == 1 && strings.Contains(got[0], "Too many tries") {
			j.seen("throttled after " + strconv.Itoa(n+1) + " wrong tries more")
			j.signIn("Ann", coordPhrase)
			if got := j.texts(".fieldfault"); len(got) != 1 || !strings.Contains(got[0], "Too many tries") {
				t.Errorf("throttled, the right passphrase says %q, want to wait", got)
			}
			return
		}
	}
	t.Error("twenty wrong tries were not throttled")
}
