package server

import (
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
)

// call keeps a service call at MILL.
func (b *box) call(t *testing.T, form url.Values) {
	t.Helper()
	if a := b.post("/sites/MILL/calls", form); a.status != 303 {
		t.Fatalf("service call = %d, want 303\n%s", a.status, texts(a.page(t), ".trouble"))
	}
}

func (b *box) calls(t *testing.T) []usage.ServiceCall {
	t.Helper()
	all, err := b.store.Calls(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func ptr[T any](v T) *T { return &v }

// The form is filled in with now, local to the box: ticking one thing will do.
func TestServiceCallNow(t *testing.T) {
	b, _ := usualBox(t)
	form := fieldsOf(find(b.get("/sites/MILL/calls").page(t), "form.fields")[0])
	form.Set("did-restock", "yes")
	b.call(t, form)
	want := []usage.ServiceCall{{ID: 1, At: noon.Unix(), ErrorS: 60, Kinds: []usage.CallKind{usage.CallRestock}}}
	if diff := cmp.Diff(want, b.calls(t)); diff != "" {
		t.Errorf("service calls (-want +got):\n%s", diff)
	}
}

func TestServiceCallForm(t *testing.T) {
	base := func(more ...string) url.Values {
		form := url.Values{"at": {"2026-06-30T10:00"}, "within": {"60"}}
		for i := 0; i < len(more); i += 2 {
			form.Set(more[i], more[i+1])
		}
		return form
	}
	at := time.Date(2026, 6, 30, 9, 0, 0, 0, time.UTC).Unix() // summer time
	reading := ptr(time.Date(2026, 6, 30, 9, 58, 7, 0, time.UTC).Unix())
	for _, c := range []struct {
		name  string
		form  url.Values
		want  usage.ServiceCall
		fault string // field that is refused
	}{
		{"all", base("did-card-in", "yes", "did-card-out", "yes", "books-in", "12", "books-now", "0", "note", " wet "),
			usage.ServiceCall{Kinds: []usage.CallKind{usage.CallCardOut, usage.CallCardIn}, BooksIn: ptr(int32(12)), BooksNow: ptr(int32(0)), Note: "wet"}, ""},
		{"note alone", base("note", "a look"), usage.ServiceCall{Kinds: []usage.CallKind{usage.CallNote}, Note: "a look"}, ""},
		{"reading alone", base("reading", "2026-06-30T09:58:07"), usage.ServiceCall{Kinds: []usage.CallKind{usage.CallTimeNoted}, Reading: reading}, ""},
		{"reading of a clock that was set", base("reading", "2026-06-30T09:58:07", "did-clock-set", "yes"),
			usage.ServiceCall{Kinds: []usage.CallKind{usage.CallClockSet}, Reading: reading}, ""},
		{"nothing", base(), usage.ServiceCall{}, "did"},
		{"no time", base("did-restock", "yes", "at", ""), usage.ServiceCall{}, "at"},
		{"hour that is missing", base("did-restock", "yes", "at", "2026-03-29T01:30"), usage.ServiceCall{}, "at"},
		{"ahead", base("did-restock", "yes", "at", "2027-03-29T01:30"), usage.ServiceCall{}, "did"},
		{"books in words", base("did-restock", "yes", "books-in", "many"), usage.ServiceCall{}, "books-in"},
		{"books below nought", base("did-restock", "yes", "books-now", "-3"), usage.ServiceCall{}, "books-now"},
		{"no reading", base("did-restock", "yes", "reading", "late"), usage.ServiceCall{}, "reading"},
		{"known how", base("did-restock", "yes", "within", "well"), usage.ServiceCall{}, "within"},
		{"long note", base("note", strings.Repeat("x", 1001)), usage.ServiceCall{}, "did"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := usualBox(t)
			a := b.post("/sites/MILL/calls", c.form)
			if c.fault == "" {
				c.want.ID, c.want.At, c.want.ErrorS = 1, at, 60
				if diff := cmp.Diff([]usage.ServiceCall{c.want}, b.calls(t)); a.status != 303 || diff != "" {
					t.Errorf("status %d, service calls (-want +got):\n%s", a.status, diff)
				}
				return
			}
			page := a.page(t)
			checkPage(t, page)
			links := find(page, ".trouble a")
			if a.status != 400 || len(links) != 1 || attr(links[0], "href") != "#"+c.fault || len(b.calls(t)) != 0 {
				t.Errorf("status %d with %q, want 400 about %s", a.status, texts(page, ".trouble"), c.fault)
			}
			if got := fieldsOf(find(page, "form.fields")[0]); got.Get("books-in") != c.form.Get("books-in") || got.Get("note") != strings.TrimSpace(c.form.Get("note")) {
				t.Errorf("the form forgot what was typed: %v", got)
			}
		})
	}
}

// A form that is sent back as it came changes nothing, not even the seconds that
// it does not show, nor the second pass of an hour that comes twice.
func TestChangeOfServiceCall(t *testing.T) {
	b, _ := usualBox(t)
	call := usage.ServiceCall{
		At: time.Date(2025, 10, 26, 1, 30, 17, 0, time.UTC).Unix(), ErrorS: 45, Kinds: []usage.CallKind{usage.CallBatteries, usage.CallTimeNoted},
		Reading: ptr(int64(1761442211)), BooksNow: ptr(int32(9)), Note: "cold",
	}
	id, err := b.store.AddCall(t.Context(), "MILL", call)
	if err != nil {
		t.Fatal(err)
	}
	call.ID = id
	form := fieldsOf(find(b.get("/sites/MILL/calls/1").page(t), "form.fields")[0])
	if a := b.post("/sites/MILL/calls/1", form); a.status != 303 {
		t.Fatalf("change = %d, want 303\n%s", a.status, texts(a.page(t), ".trouble"))
	}
	if diff := cmp.Diff([]usage.ServiceCall{call}, b.calls(t)); diff != "" {
		t.Errorf("the form as it came (-want +got):\n%s", diff)
	}
	form.Set("note", "warm")
	form.Del("did-batteries")
	form.Set("reading", "")
	form.Set("did-coin-cell", "yes")
	if a := b.post("/sites/MILL/calls/1", form); a.status != 303 || a.header.Get("Location") != "/sites/MILL/calls#call-2" {
		t.Fatalf("change = %d to %s, want 303 to the new call", a.status, a.header.Get("Location"))
	}
	call.ID, call.Note, call.Kinds, call.Reading = 2, "warm", []usage.CallKind{usage.CallCoinCell}, nil
	if diff := cmp.Diff([]usage.ServiceCall{call}, b.calls(t)); diff != "" {
		t.Errorf("changed (-want +got):\n%s", diff)
	}
	if a := b.post("/sites/MILL/calls/1", form); a.status != 404 {
		t.Errorf("change of the old one = %d, want 404", a.status)
	}
	form.Set("books-now", "x")
	if a := b.post("/sites/MILL/calls/2", form); a.status != 400 || len(find(a.page(t), ".trouble a")) != 1 {
		t.Errorf("bad change = %d, want 400 with one fault", a.status)
	}
	withdraw := find(b.get("/sites/MILL/calls").page(t), ".calls form")[0]
	if a := b.post(attr(withdraw, "action"), nil); a.status != 303 || len(b.calls(t)) != 0 {
		t.Errorf("withdraw = %d, %d calls left, want 303 and none", a.status, len(b.calls(t)))
	}
}

func TestCallsPageInWords(t *testing.T) {
	b, _ := usualBox(t)
	b.call(t, url.Values{"at": {"2026-06-30T10:00"}, "within": {"1800"}, "did-clock-set": {"yes"}, "books-in": {"1"}, "reading": {"2026-06-30T10:00:00"}})
	b.call(t, url.Values{"at": {"2026-07-01T10:00"}, "within": {"60"}, "reading": {"2026-07-01T09:59:58"}})
	got := texts(b.get("/sites/MILL/calls").page(t), ".calls li")
	for i, want := range []string{"The clock showed 1 July 2026, 09:59:58.", "give or take 30 min Clock set; 1 book in. The clock was set to 30 June 2026, 10:00:00."} {
		if i >= len(got) || !strings.Contains(got[i], want) {
			t.Errorf("service call %d = %q, want it to say %q", i, got, want)
		}
	}
	if links := texts(b.get("/sites/MILL").page(t), ".ways a"); !slices.Contains(links, "2 service calls") {
		t.Errorf("site page leads to %q, want 2 service calls", links)
	}
}

// The cautions stand where the hands are.
func TestCautions(t *testing.T) {
	b, _ := usualBox(t)
	page := strings.Join(texts(b.get("/sites/QUAY/calls").page(t), ".choice .hint"), " ")
	for _, want := range []string{"3.3 V", "button cell"} {
		if !strings.Contains(page, want) {
			t.Errorf("the form of a service call does not mention %s", want)
		}
	}
}

func TestSetRemoval(t *testing.T) {
	b, card := usualBox(t)
	removed := func() *int64 {
		c, err := b.store.Card(t.Context(), card)
		if err != nil {
			t.Fatal(err)
		}
		return c.RemovedAt
	}
	path := "/cards/" + card + "/removed"
	if a := b.post(path, url.Values{"removed": {"2026-04-10T10:04"}}); a.status != 303 || *removed() != time.Date(2026, 4, 10, 9, 4, 0, 0, time.UTC).Unix() {
		t.Fatalf("set = %d, came out %v, want 303", a.status, removed())
	}
	for name, typed := range map[string]string{"nothing": "", "no time": "soon", "missing hour": "2026-03-29T01:30", "ahead": "2030-01-01T00:00"} {
		a := b.post(path, url.Values{"removed": {typed}})
		page := a.page(t)
		checkPage(t, page)
		if a.status != 400 || len(find(page, ".fieldfault")) != 1 || attr(find(page, "#removed")[0], "value") != typed {
			t.Errorf("%s = %d with %q, want 400 with what is wrong", name, a.status, texts(page, ".fieldfault"))
		}
	}
	second := time.Date(2025, 10, 26, 1, 30, 17, 0, time.UTC).Unix() // the second 01:30 of that night
	if err := b.store.Removal(t.Context(), card, &second, true); err != nil {
		t.Fatal(err)
	}
	form := fieldsOf(find(b.get("/cards/"+card).page(t), "form.line")[0])
	if a := b.post(path, form); a.status != 303 || *removed() != second {
		t.Errorf("the form as it came = %d, came out %d, want %d", a.status, *removed(), second)
	}
	if a := b.post(path, url.Values{"away": {"yes"}, "removed": form["removed"]}); a.status != 303 || removed() != nil {
		t.Errorf("taken away = %d, came out %v, want 303 and nothing", a.status, removed())
	}
}
