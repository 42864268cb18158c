package server

import (
	"net/url"
	"strings"
	"testing"

	"doorleaf/importer"
	"doorleaf/usage"
)

// The set-up page shows what would be before it is kept, keeps what makes sense, and
// says beside the field what does not.
func TestSetUp(t *testing.T) {
	b := newBox(t, importer.Limits{})
	page := b.get("/set-up").page(t)
	checkPage(t, page)
	if got := texts(page, "#example li"); len(got) != 3 || got[0] != "27 March 2026, 17:30" || got[1] != "1,234.5" {
		t.Errorf("a new network would write %q", got)
	}
	form := url.Values{"name": {" Boxes of <b>Aldermouth</b> "}, "language": {"en"}, "dates": {"ymd"}, "decimal": {","}, "clock": {"12"}, "first-day": {"7"}}
	tried := b.get("/set-up?" + form.Encode()).page(t)
	if got := strings.Join(texts(tried, "#example li"), "|"); got != "2026 March 27, 5:30 pm|1.234,5|Sun Mon Tue Wed Thu Fri Sat" {
		t.Errorf("the example says %q", got)
	}
	if n, err := b.store.Network(t.Context()); err != nil || n.Name != "" {
		t.Errorf("a look at it kept %+v, %v", n, err)
	}
	if a := b.post("/set-up", form); a.status != 303 || a.header.Get("Location") != "/set-up?kept=yes" {
		t.Fatalf("POST /set-up = %d to %q, want it kept", a.status, a.header.Get("Location"))
	}
	want := usage.Network{Name: "Boxes of <b>Aldermouth</b>", Region: usage.Region{Language: "en", Dates: "ymd", Decimal: ",", FirstDay: 7, Clock: 12}}
	if n, err := b.store.Network(t.Context()); err != nil || n != want {
		t.Errorf("kept is %+v, %v, want %+v", n, err, want)
	}
	undo := find(b.get("/journal").page(t), ".journal a")
	if len(undo) != 1 {
		t.Fatalf("the journal takes %d changes of the network back, want 1", len(undo))
	}
	back := b.get(attr(undo[0], "href")).page(t)
	checkPage(t, back)
	if got := texts(back, "#example li"); len(find(back, ".glad")) != 1 || got[0] != "27 March 2026, 17:30" {
		t.Errorf("the change is taken back by %q", got)
	}
	for address, status := range map[string]int{"/set-up?before=7": 404, "/set-up?before=x": 400} {
		if a := b.get(address); a.status != status {
			t.Errorf("GET %s = %d, want %d", address, a.status, status)
		}
	}
	for _, path := range []string{"/", "/set-up", "/no-such-page", "/sites/new"} {
		page := b.get(path).page(t)
		checkPage(t, page)
		if got := texts(page, "title")[0]; !strings.HasSuffix(got, " – Boxes of <b>Aldermouth</b> – Doorleaf") {
			t.Errorf("title of %s = %q, want the network's name in it", path, got)
		}
		if got := texts(page, ".brand .of"); len(got) != 1 || got[0] != want.Name {
			t.Errorf("head of %s says %q, want the network's name", path, got)
		}
	}
	for field, bad := range map[string]string{"language": "xx", "dates": "dym", "decimal": ";", "clock": "13", "first-day": "8", "name": strings.Repeat("x", 81)} {
		wrong := url.Values{}
		for k, v := range form {
			wrong[k] = v
		}
		wrong.Set(field, bad)
		a := b.post("/set-up", wrong)
		page := a.page(t)
		checkPage(t, page)
		if got := find(page, ".trouble a[href=#"+field+"]"); a.status != 400 || len(got) != 1 || len(find(page, ".trouble a")) != 1 {
			t.Errorf("POST /set-up with %s = %.10q: %d, faults %q, want one at that field", field, bad, a.status, texts(page, ".trouble li"))
		}
	}
	if n, err := b.store.Network(t.Context()); err != nil || n != want {
		t.Errorf("what was refused left %+v, %v, want %+v", n, err, want)
	}
}

// A fault is told in the network's language on pages, and in English to programs.
func TestFaultsInGerman(t *testing.T) {
	b := newBox(t, importer.Limits{})
	german := usage.Network{Region: usage.Region{Language: "de", Dates: "dmy", Decimal: ",", FirstDay: 1, Clock: 24}}
	if err := b.store.SetNetwork(t.Context(), german); err != nil {
		t.Fatal(err)
	}
	for address, want := range map[string]string{
		"/no-such-page":        "Unter dieser Adresse gibt es keine Seite.",
		"/sites/NONE":          `Es gibt keinen Standort "NONE".`,
		"/set-up?before=x":     "Eine solche Änderung des Netzes gibt es nicht.",
		"/journal?before=last": "Diese Seite des Journals gibt es nicht.",
	} {
		page := b.get(address).page(t)
		checkPage(t, page)
		if got := texts(page, ".lead"); len(got) != 1 || got[0] != want {
			t.Errorf("GET %s says %q, want %q", address, got, want)
		}
	}
	if a := b.get("/api/sites/NONE"); !strings.Contains(a.body, `There is no site \"NONE\".`) {
		t.Errorf("GET /api/sites/NONE = %s", a.body)
	}
}
