package server

import (
	"archive/zip"
	"io"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"doorleaf/importer"
	"doorleaf/usage"
)

// unzip returns the files of a .zip by name.
func unzip(t *testing.T, body string) map[string]string {
	t.Helper()
	z, err := zip.NewReader(strings.NewReader(body), int64(len(body)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		files[f.Name] = string(data)
	}
	return files
}

// The card of a box that has none yet, and of one whose last card had no header.
func TestPrepareZip(t *testing.T) {
	b, _ := usualBox(t)
	for code, want := range map[string]map[string]string{
		"QUAY": {"DOORLEAF.TXT": "site QUAY\r\n", "LOG.TXT": "#QUAY\r\n", "CLOCK.SET": "202607024143000\r\n"},
		"MILL": {"DOORLEAF.TXT": "site MILL\r\n", "LOG.TXT": "", "CLOCK.SET": "202607024143000\n"},
	} {
		a := b.post("/sites/"+code+"/prepare", url.Values{"at": {"2026-07-02T14:30"}})
		if a.status != 200 || a.header.Get("Content-Type") != "application/zip" || a.header.Get("Content-Disposition") != `attachment; filename="`+code+`.ZIP"` {
			t.Fatalf("%s: %d %v", code, a.status, a.header)
		}
		if diff := cmp.Diff(want, unzip(t, a.body)); diff != "" {
			t.Errorf("%s (-want +got)\n%s", code, diff)
		}
	}
}

// The page tells first what to do with the card, in the zone of the box, and shows what
// stands in each file; what was typed wrongly is told beside the field.
func TestPreparePage(t *testing.T) {
	b, _ := usualBox(t)
	page := b.get("/sites/MILL/prepare?at=2026-07-02T14:30").page(t)
	checkPage(t, page)
	want := "Put this card in and power the logger at 2 July 2026, 14:30:00, Europe/Dublin: that is when it must read CLOCK.SET, which sets its clock to 2 July 2026, 14:30:00 (UTC+01:00)."
	if got := texts(page, ".lead"); len(got) != 1 || got[0] != want {
		t.Errorf("lead = %q, want %q", got, want)
	}
	if got := texts(page, ".files th code"); len(got) != 3 || got[0] != importer.TagName {
		t.Errorf("files = %q", got)
	}
	main := strings.Join(texts(page, "main"), " ")
	for _, caution := range []string{"3.3 V", "button cell"} {
		if !strings.Contains(main, caution) {
			t.Errorf("the page does not mention %s", caution)
		}
	}
	// Without a moment it is the next full hour that is an hour away: at noon UTC two o'clock in Dublin.
	if got := attr(find(b.get("/sites/MILL/prepare").page(t), "#at")[0], "value"); got != "2026-07-01T14:00" {
		t.Errorf("usual moment = %q, want 2026-07-01T14:00", got)
	}
	for name, at := range map[string]string{"no time": "soon", "the missing hour": "2026-03-29T01:30", "before all clock chips": "1999-01-01T00:00", "beyond them": "2101-01-01T00:00"} {
		for _, a := range []answer{b.get("/sites/MILL/prepare?at=" + at), b.post("/sites/MILL/prepare", url.Values{"at": {at}})} {
			page := a.page(t)
			checkPage(t, page)
			if a.status != 400 || len(find(page, ".trouble a[href=#at]")) != 1 {
				t.Errorf("%s = %d %q, want 400 about the moment", name, a.status, texts(page, ".trouble"))
			}
		}
	}
}

func TestCardSettingForm(t *testing.T) {
	b, _ := usualBox(t)
	form := url.Values{"log-file": {"box.log"}, "clock-file": {"SETTIME.TXT"}, "template": {"{hour}:{minute}:{second}"}, "first-day": {"7"}, "header-from": {"own"}, "header": {"Tag;Zeit"}}
	if a := b.post("/sites/MILL/prepare/setting", form); a.status != 303 {
		t.Fatalf("keeping it = %d: %s", a.status, texts(a.page(t), ".trouble"))
	}
	want := map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "BOX.LOG": "Tag;Zeit\n", "SETTIME.TXT": "14:30:00\n"}
	if diff := cmp.Diff(want, unzip(t, b.post("/sites/MILL/prepare", url.Values{"at": {"2026-07-02T14:30"}}).body)); diff != "" {
		t.Errorf("card (-want +got)\n%s", diff)
	}
	page := b.get("/sites/MILL/prepare").page(t)
	kept := fieldsOf(find(page, "details form")[0])
	if kept.Get("first-day") != "7" || kept.Get("header") != "Tag;Zeit" || kept.Get("template") != "{hour}:{minute}:{second}" {
		t.Errorf("the form holds %v", kept)
	}
	form.Set("template", "{hour} o'clock")
	a := b.post("/sites/MILL/prepare/setting", form)
	page = a.page(t)
	checkPage(t, page)
	if a.status != 400 || len(find(page, ".trouble a")) != 1 || len(find(page, "details[open]")) != 1 {
		t.Errorf("a template with words = %d %q", a.status, texts(page, ".trouble"))
	}
	if got := text(find(page, "#template")[0]); got != "{hour} o'clock" {
		t.Errorf("the form forgot the template: %q", got)
	}
	if a := b.post("/sites/MILL/prepare/usual", nil); a.status != 303 || len(find(b.get("/sites/MILL/prepare").page(t), "details form")) != 1 {
		t.Errorf("back to the usual = %d", a.status)
	}
}

// The clock set of a prepared card is offered where service calls are logged, fills the
// form, anchors the clock, and is not offered again.
func TestPreparedClockSetIsOffered(t *testing.T) {
	b, _ := usualBox(t)
	if got := find(b.get("/sites/MILL/calls").page(t), ".offers"); len(got) != 0 {
		t.Errorf("something is offered though no card was prepared: %q", text(got[0]))
	}
	for _, at := range []string{"2026-07-01T12:00", "2026-07-09T12:00"} { // the latter lies too far ahead
		if a := b.post("/sites/MILL/prepare", url.Values{"at": {at}}); a.status != 200 {
			t.Fatalf("prepare = %d", a.status)
		}
	}
	offers := find(b.get("/sites/MILL/calls").page(t), ".offers a")
	if len(offers) != 1 {
		t.Fatalf("%d offers, want one", len(offers))
	}
	page := b.get(attr(offers[0], "href")).page(t)
	checkPage(t, page)
	b.call(t, fieldsOf(find(page, "form.fields")[0]))
	at := time.Date(2026, 7, 1, 11, 0, 0, 0, time.UTC).Unix()
	want := []usage.ServiceCall{{ID: 1, At: at, ErrorS: 60, Kinds: []usage.CallKind{usage.CallCardIn, usage.CallClockSet}, Reading: ptr(at + 3600)}}
	if diff := cmp.Diff(want, b.calls(t)); diff != "" {
		t.Errorf("service calls (-want +got)\n%s", diff)
	}
	if got := find(b.get("/sites/MILL/calls").page(t), ".offers"); len(got) != 0 {
		t.Errorf("it is offered again: %q", text(got[0]))
	}
}

// A withdrawn call can be brought back.
func TestBringBackServiceCall(t *testing.T) {
	b, _ := usualBox(t)
	b.call(t, url.Values{"at": {"2026-06-30T10:00"}, "within": {"60"}, "did-restock": {"yes"}})
	if a := b.post("/sites/MILL/calls/1/withdraw", nil); a.status != 303 || len(b.calls(t)) != 0 {
		t.Fatalf("withdraw = %d", a.status)
	}
	page := b.get("/sites/MILL/calls").page(t)
	checkPage(t, page)
	back := find(page, "details form")
	if len(back) != 1 {
		t.Fatalf("%d withdrawn calls can be brought back, want 1", len(back))
	}
	if a := b.post(attr(back[0], "action"), nil); a.status != 303 || len(b.calls(t)) != 1 || b.calls(t)[0].ID != 2 {
		t.Errorf("brought back = %d, %v", a.status, b.calls(t))
	}
	if a := b.post(attr(back[0], "action"), nil); a.status != 404 {
		t.Errorf("brought back again = %d, want 404", a.status)
	}
}
