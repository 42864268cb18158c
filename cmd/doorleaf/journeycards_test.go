package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"doorleaf/importer/forge"
)

// pocketful is a network of eight boxes of which all cards but the last of each are
// kept, and those last cards, all under one name.
type pocketful struct {
	address string
	codes   []string
	rows    []int    // of the last card of each site
	cards   [][]byte // the last card of each site
	dir     string   // the cards again, CODE/LOG.CSV
}

const pocketName = "LOG.CSV"

func newPocketful(t *testing.T) *pocketful {
	t.Helper()
	n, err := forge.Random(150, 8, 11)
	if err != nil {
		t.Fatal(err)
	}
	s, address := stand(t, false)
	p := &pocketful{address: address, dir: t.TempDir()}
	g := &gallery{store: s}
	for _, site := range n.Sites {
		last := len(site.Cards) - 1
		g.keep(t, site, site.Spec.Site(), site.Cards[:last])
		data, err := site.Cards[last].Bytes()
		if err != nil {
			t.Fatal(err)
		}
		p.codes, p.cards, p.rows = append(p.codes, site.Spec.Code), append(p.cards, data), append(p.rows, site.Cards[last].Len())
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

// paths are the files of the cards, in the order of the sites.
func (p *pocketful) paths() []string {
	var all []string
	for _, code := range p.codes {
		all = append(all, filepath.Join(p.dir, code, pocketName))
	}
	return all
}

// said is all that the server says of the network as JSON.
func (p *pocketful) said(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	for _, code := range p.codes {
		for _, path := range []string{"", "/pattern", "/days?from=2026-01-01&to=2026-12-31", "/openings?limit=10000", "/findings", "/visits?limit=1000"} {
			b.WriteString(body(t, p.address+"/api/sites/"+code+path) + "\n")
		}
	}
	for _, path := range []string{"/api/sites", "/api/seasons/2026-spring", "/api/seasons/2026-summer"} {
		b.WriteString(body(t, p.address+path) + "\n")
	}
	return b.String()
}

// onTray is a card on the tray as its page shows it.
type onTray struct {
	Key, Site, Why, Asks, Head string
}

func (j *journey) tray() []onTray {
	j.Helper()
	return see(j.T, j.ctx, chromedp.Evaluate[[]onTray](`[...document.querySelectorAll("form.tray section.card")].map(card => {
		const text = s => ((card.querySelector(s) || {}).innerText || "").replace(/\s+/g, " ").trim();
		return {Key: card.getAttribute("aria-labelledby").slice(5), Head: text("h2"), Site: (card.querySelector("select") || {}).value || "", Why: text("[id^=why-]"), Asks: text(".question p")};
	})`))
}

// settle chooses the site of a card on the tray and answers its question.
func (j *journey) settle(c onTray, code string) {
	j.Helper()
	if c.Site != code {
		j.do(chromedp.SetValue("#site-"+c.Key, code))
	}
	if c.Asks != "" {
		j.do(chromedp.Click("#sure-" + c.Key))
	}
}

// TestJourneyEightCards drops eight cards of one name on the page, sorts them out and
// keeps them; then it brings a copy of one to a wrong box, against what the tray says,
// and withdraws it: everything is as it was, to the byte.
func TestJourneyEightCards(t *testing.T) {
	p := newPocketful(t)
	j := begin(t, p.address)
	others := foreign(t, j.ctx, j.address)
	j.open("/cards")
	j.drop(p.paths()[:4]...) // Chromium itself tells dropped files of one name apart, those chosen not
	j.do(chromedp.WaitVisible(`#sent li:nth-child(4)`), chromedp.SetUploadFiles("#files", p.paths()[4:]), chromedp.WaitVisible(`#sent li:nth-child(8)`))
	j.seen("eight files of one name dropped and chosen")
	named := map[string]bool{}
	for _, name := range j.texts(`#sent li .file [data-is=name]`) {
		if named[name] || !strings.HasPrefix(name, "LOG") {
			t.Errorf("two files of the list are called %q", name)
		}
		named[name] = true
	}
	j.press(`#bring button[type=submit]`)
	j.seen("read")
	cards := j.tray()
	if len(cards) != 8 {
		t.Fatalf("%d cards lie on the tray, want 8", len(cards))
	}
	right := 0
	for i, c := range cards {
		t.Logf("   %s is of %s; proposed %q: %s %s", c.Head, p.codes[i], c.Site, c.Why, c.Asks)
		if c.Site == p.codes[i] {
			right++
		} else if c.Site != "" && c.Asks == "" {
			t.Errorf("%s is of %s and goes to %s without a question", c.Head, p.codes[i], c.Site)
		}
		j.settle(c, p.codes[i])
	}
	if right < 6 {
		t.Errorf("%d of 8 cards are proposed for their own box, want at least 6", right)
	}
	j.press(`form.tray > .act button`)
	j.seen("kept")
	if got := j.texts(`.receipts li.kept`); len(got) != 8 {
		t.Fatalf("%d cards were kept, want 8: %q", len(got), j.texts(`.receipts li, .fieldfault`))
	}
	before := p.said(t)
	j.wrongCard(p)
	j.seen("the wrong card withdrawn")
	if after := p.said(t); after != before {
		t.Error("after the wrong card was withdrawn the JSON differs from what it was")
	}
	if len(*others) > 0 {
		t.Errorf("requests to other hosts: %v", *others)
	}
}

// wrongCard brings a card of the first site to the second one, and withdraws it.
func (j *journey) wrongCard(p *pocketful) {
	j.Helper()
	rows := strings.SplitAfter(string(p.cards[0]), "\n")
	path := p.write(j.T, "again", []byte(strings.Join(rows[:len(rows)/2], "")))
	j.open("/cards")
	j.do(chromedp.SetUploadFiles("#files", []string{path}), chromedp.WaitVisible(`#sent li`))
	j.press(`#bring button[type=submit]`)
	c := j.tray()[0]
	if c.Site != p.codes[0] {
		j.Errorf("half of the first card is proposed for %q, want %s by its rows", c.Site, p.codes[0])
	}
	j.do(chromedp.SetValue("#site-"+c.Key, p.codes[1]))
	j.press(`form.tray > .act button`)
	j.seen("asked whether that is so")
	if c = j.tray()[0]; !strings.Contains(c.Asks, "stand in the logbook of") {
		j.Fatalf("the wrong box is asked about with %q, want the rows that stand elsewhere", c.Asks)
	}
	before := p.said(j.T)
	j.do(chromedp.Click("#sure-" + c.Key))
	j.press(`form.tray > .act button`)
	if got := j.texts(`.receipts li.kept`); len(got) != 1 {
		j.Fatalf("kept are %q, want the one card", got)
	}
	if p.said(j.T) == before {
		j.Error("the wrong card changed nothing, so that withdrawing it proves nothing")
	}
	j.press(`.receipts li.kept a[href^="/cards/"]`)
	j.press(`main a[href$="/withdraw"]`)
	j.press(`form[action$="/withdraw"] button`)
}

// TestJourneyFolders drops the folder with a folder for each box: names find the boxes
// where rows do not, rows go before names, and files that are no cards stay out.
func TestJourneyFolders(t *testing.T) {
	p := newPocketful(t)
	p.write(t, p.codes[1], p.cards[2]) // two fresh cards in each other's folders
	p.write(t, p.codes[2], p.cards[1])
	p.write(t, p.codes[0], p.cards[7]) // and two whose rows tell
	p.write(t, p.codes[7], p.cards[0])
	for name, text := range map[string]string{"photo.jpg": "no card", p.codes[4] + "/DOORLEAF.TXT": "site " + p.codes[4] + "\r\n"} {
		if err := os.WriteFile(filepath.Join(p.dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	j := begin(t, p.address)
	j.open("/cards")
	j.drop(p.dir)
	j.do(chromedp.WaitVisible(`#sent li:nth-child(8)`))
	j.seen("a folder of folders dropped")
	if got := j.text(`#sent details`); !strings.Contains(got, "Files left out: 1") {
		t.Errorf("the list says %q, want that one file is left out", got)
	}
	j.press(`#bring button[type=submit]`)
	j.seen("read")
	for _, c := range j.tray() {
		t.Logf("   %s: proposed %q: %s %s", c.Head, c.Site, c.Why, c.Asks)
		folder := strings.Split(c.Head, " / ")[0]
		at := slices.IndexFunc(p.codes, func(code string) bool { return strings.HasSuffix(folder, code) })
		truth := map[int]int{1: 2, 2: 1, 0: 7, 7: 0}
		of, swapped := truth[at]
		if !swapped {
			of = at
		}
		if c.Site != p.codes[of] && c.Asks == "" {
			t.Errorf("%s is of %s and goes to %q without a question", c.Head, p.codes[of], c.Site)
		}
		if !swapped && (c.Site != p.codes[of] || c.Asks != "") {
			t.Errorf("%s lies in its own folder and is proposed for %q, asking %q", c.Head, c.Site, c.Asks)
		}
		if at == 4 && c.Why != "Its tag file says so." {
			t.Errorf("%s with a tag is placed by %q", c.Head, c.Why)
		}
	}
}

// TestJourneyRefusedFile tries a file that is too large, which is told before it is
// sent, one that the server refuses, and one whose connection broke and that is tried
// again.
func TestJourneyRefusedFile(t *testing.T) {
	p := newPocketful(t)
	j := begin(t, p.address)
	large := filepath.Join(p.dir, "BIG.TXT")
	f, err := os.Create(large)
	if err == nil {
		err = f.Truncate(64<<20 + 1)
	}
	if err == nil {
		err = f.Close()
	}
	bad := filepath.Join(p.dir, "BAD.ZIP")
	if err == nil {
		err = os.WriteFile(bad, []byte("PK no archive"), 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	j.open("/cards")
	j.do(chromedp.SetUploadFiles("#files", []string{large, bad, p.paths()[0]}), chromedp.WaitVisible(`#sent li:nth-child(3)`))
	if got := j.texts(`#sent li [data-when]:not([hidden])`); !strings.Contains(got[0], "larger than one card file") || got[2] != "Waits to be sent." {
		t.Errorf("before sending the list says %q", got)
	}
	// The first request for the card is cut off.
	j.do(chromedp.Evaluate[chromedp.Void](shiftWatch), chromedp.Evaluate[chromedp.Void](`{
		const send = XMLHttpRequest.prototype.send; let n = 0;
		XMLHttpRequest.prototype.send = function (body) { if (n++ === 1) { this.dispatchEvent(new ProgressEvent("error")); return; } return send.call(this, body); };
	}`), chromedp.Click(`#bring button[type=submit]`), chromedp.WaitVisible(`#summary [data-when=none]`))
	j.seen("nothing got through")
	if axe, err := os.ReadFile(filepath.Join(pagesDir, "node_modules", "axe-core", "axe.min.js")); err == nil {
		(&looker{ctx: j.ctx, axe: string(axe)}).holdAxe(t, view{1280, "light"})
	} else {
		t.Logf("   without axe-core: %v", err)
	}
	says := j.texts(`#sent li [data-when]:not([hidden])`)
	if !strings.Contains(says[1], "Not a .zip file") || !strings.Contains(says[2], "connection broke") {
		t.Errorf("after sending the list says %q", says)
	}
	j.do(chromedp.Click(`#sent li:nth-child(3) [data-does=again]`), chromedp.WaitVisible(`#onward`))
	j.seen("tried again")
	if got := j.texts(`#sent li [data-when]:not([hidden])`)[2]; !strings.Contains(got, "rows") {
		t.Errorf("the card tried again says %q, want its rows", got)
	}
	if moved := see(t, j.ctx, chromedp.Evaluate[float64](shifted)); moved > stillness {
		t.Errorf("the page moved by %.4f while files were sent", moved)
	}
	j.do(chromedp.Click(`#sent li:nth-child(1) [data-does=away]`))
	j.press(`#onward`)
	j.seen("gone on with one")
	if got := j.tray(); len(got) != 1 || got[0].Site != p.codes[0] {
		t.Errorf("on the tray lie %+v, want the card of %s", got, p.codes[0])
	}
}
