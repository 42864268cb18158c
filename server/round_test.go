package server

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/google/go-cmp/cmp"
	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/usage"
)

// roundBox serves three boxes in a line, MILL with a card last read on 10 April.
func roundBox(t *testing.T) *box {
	t.Helper()
	b, _ := usualBox(t)
	far := newSite("YARD", "Station Yard")
	far.Latitude = 52.2
	if err := b.store.AddSite(t.Context(), far); err != nil {
		t.Fatal(err)
	}
	err := b.store.ChangeSite(t.Context(), "QUAY", func(s *usage.Site) error { s.Latitude = 52.11; return nil })
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// stops are the codes of the walk, in its order.
func (b *box) stops(t *testing.T, address string) []string {
	t.Helper()
	a := b.get(address)
	page := a.page(t)
	checkPage(t, page)
	if a.status != 200 {
		t.Fatalf("%s = %d, want 200: %s", address, a.status, texts(page, "main"))
	}
	return texts(page, ".walk h2 .code")
}

func TestRoundOrder(t *testing.T) {
	b := roundBox(t)
	for _, c := range []struct {
		address string
		want    string
	}{
		{"/round?from=MILL", "MILL QUAY YARD"},
		{"/round?from=YARD", "YARD QUAY MILL"},
		{"/round?from=52.16,-8.2", "YARD QUAY MILL"},
		{"/round?from=52.109,-8.2&site=YARD&site=MILL", "MILL YARD"},
		{"/round?from=mill&days=900&chosen=yes", ""},
		{"/round?from=MILL&back=yes&site=QUAY", "QUAY"},
	} {
		if got := strings.Join(b.stops(t, c.address), " "); got != c.want {
			t.Errorf("%s goes %q, want %q", c.address, got, c.want)
		}
	}
	page := b.get("/round?from=MILL&back=yes").page(t)
	// A tenth of a degree of latitude is 11.12 km on the sphere; there and back.
	if got := texts(page, ".lead")[0]; got != "3 of 3 boxes want a visit within 7 days; in this order the walk is 22.2 km in straight lines." {
		t.Errorf("lead = %q", got)
	}
	for _, bad := range []string{"from=NONE", "from=95,3", "site=NONE", "days=0", "days=x", "ahead=-1", "clock=99999"} {
		if a := b.get("/round?" + bad); a.status != 400 && a.status != 404 {
			t.Errorf("/round?%s = %d, want it refused", bad, a.status)
		}
	}
}

// Each reason stands with its why; what is not due yet is told as what comes next.
func TestRoundReasons(t *testing.T) {
	b := roundBox(t)
	page := b.get("/round?from=MILL").page(t)
	got := strings.Join(texts(page, ".walk li"), "\n")
	for _, want := range []string{
		"Read the card last read 82 days ago; due since 9 June 2026",
		"Read the card none has been read since the box was installed 912 days ago; due since 1 March 2024",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the round says\n%s\nwant %q", got, want)
		}
	}
	// The last row has error_s 60 + 30 ppm of the way to it: 15 minutes come much later.
	page = b.get("/round?from=MILL&clock=1&days=900&site=MILL").page(t)
	if got := strings.Join(texts(page, ".walk li"), "\n"); !strings.Contains(got, "Set the clock it may be off by") {
		t.Errorf("with a rule of a minute the round says\n%s\nwant the clock", got)
	}
	page = b.get("/round?days=1000&ahead=0").page(t)
	if got := strings.Join(texts(page, ".notround li"), "\n"); !strings.Contains(got, "Station Yard : Read the card, due by 27 September 2026") {
		t.Errorf("what is not on the round: %q, want Station Yard with what comes next", got)
	}
}

// A call that set the clock and took the card out makes both good.
func TestRoundAfterCall(t *testing.T) {
	b := roundBox(t)
	b.call(t, url.Values{"at": {"2026-06-30T10:00"}, "within": {"60"}, "did-card-out": {"yes"}})
	if got := strings.Join(texts(b.get("/round?site=MILL").page(t), ".walk li"), " "); strings.Contains(got, "Read the card") {
		t.Errorf("the round says %q, and the card came out yesterday", got)
	}
}

// Power and books fall due where they are known.
func TestRoundPowerAndShelf(t *testing.T) {
	b := roundBox(t)
	setting := usage.NewPowerSetting()
	setting.Pack.CapacityMAh = 2
	if err := b.store.SetPower(t.Context(), "MILL", setting); err != nil {
		t.Fatal(err)
	}
	b.call(t, url.Values{"at": {"2026-03-02T12:00"}, "within": {"60"}, "books-now": {"40"}, "did-restock": {"yes"}})
	b.call(t, url.Values{"at": {"2026-03-30T12:00"}, "within": {"60"}, "books-now": {"10"}, "did-restock": {"yes"}})
	got := strings.Join(texts(b.get("/round?site=MILL").page(t), ".walk li strong"), ", ")
	for _, want := range []string{"Change the batteries", "Restock the shelf", "Read the card"} {
		if !strings.Contains(got, want) {
			t.Errorf("the round does %q, want %q among it", got, want)
		}
	}
}

// The feed is read back by the library that wrote it, folds its lines, ends them with CR
// LF and keeps its UIDs.
func TestRoundCalendar(t *testing.T) {
	b := roundBox(t)
	long := strings.Repeat("Großer Bücherschrank ", 3)
	if err := b.store.ChangeSite(t.Context(), "YARD", func(s *usage.Site) error { s.Name = long + "; a, b\\"; return nil }); err != nil {
		t.Fatal(err)
	}
	a := b.get("/round.ics")
	if a.status != 200 || a.header.Get("Content-Type") != "text/calendar; charset=utf-8" {
		t.Fatalf("/round.ics = %d %s", a.status, a.header.Get("Content-Type"))
	}
	for _, line := range strings.SplitAfter(a.body, "\n") {
		if line != "" && !strings.HasSuffix(line, "\r\n") || len(line) > 77 || strings.Count(line, "\r") > 1 {
			t.Errorf("line %q: want at most 75 bytes and CR LF (RFC 5545, 3.1)", line)
		}
	}
	cal, err := ics.ParseCalendar(strings.NewReader(a.body))
	if err != nil {
		t.Fatal(err)
	}
	uids, names := map[string]string{}, []string{}
	for _, e := range cal.Events() {
		start := e.GetProperty(ics.ComponentPropertyDtStart)
		if stamp := e.GetProperty(ics.ComponentPropertyDtstamp); stamp == nil || stamp.Value != "20260701T120000Z" {
			t.Errorf("DTSTAMP = %v, want the server's clock", stamp)
		}
		if got := start.ICalParameters["VALUE"]; len(got) != 1 || got[0] != "DATE" {
			t.Errorf("DTSTART of %s has VALUE %v, want DATE", e.Id(), got)
		}
		if uids[e.Id()] != "" {
			t.Errorf("UID %s comes twice", e.Id())
		}
		uids[e.Id()] = start.Value
		names = append(names, e.GetProperty(ics.ComponentPropertySummary).Value+" "+start.Value)
	}
	slices.Sort(names)
	if len(names) != 4 || !slices.Contains(names, "Mill Lane: Read the card 20260609") || !slices.Contains(names, long+"; a, b\\: Read the card 20240301") {
		t.Errorf("entries %q, want a card for each box and a clock for MILL", names)
	}
	// Another rule moves the date and keeps the UID.
	other, err := ics.ParseCalendar(strings.NewReader(b.get("/round.ics?days=30&site=MILL").body))
	if err != nil || len(other.Events()) != 2 {
		t.Fatalf("/round.ics?site=MILL = %v, %d entries, want 2", err, len(other.Events()))
	}
	for _, e := range other.Events() {
		if uids[e.Id()] == "" {
			t.Errorf("%v has another UID than before", e.GetProperty(ics.ComponentPropertySummary).Value)
		}
		if day := e.GetProperty(ics.ComponentPropertyDtStart).Value; strings.Contains(e.GetProperty(ics.ComponentPropertySummary).Value, "card") && day != "20260510" {
			t.Errorf("the card is due on %s, want 20260510", day)
		}
	}
}

// roundForm is the form after a round to two boxes, filled.
func roundForm(more ...string) url.Values {
	form := url.Values{
		"site": {"MILL", "QUAY", "YARD"}, "date": {"2026-06-30"}, "within": {"300"},
		"time-MILL": {"10:00"}, "did-card-out-MILL": {"yes"}, "did-card-in-MILL": {"yes"}, "books-in-MILL": {"7"}, "books-now-MILL": {"31"},
		"time-QUAY": {"10:40"}, "did-restock-QUAY": {"yes"}, "note-QUAY": {" door sticks "},
	}
	for i := 0; i < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	return form
}

// allFields are the hidden fields of a form, names that come several times included.
func allFields(form *html.Node) url.Values {
	out := url.Values{}
	for _, f := range find(form, "input[type=hidden]") {
		out.Add(attr(f, "name"), attr(f, "value"))
	}
	return out
}

func (b *box) callsAt(t *testing.T, code string) []usage.ServiceCall {
	t.Helper()
	all, err := b.store.Calls(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestKeepRound(t *testing.T) {
	b := roundBox(t)
	a := b.post("/round/done", roundForm())
	if a.status != 303 {
		t.Fatalf("the form of a round = %d, want 303: %s", a.status, texts(a.page(t), ".trouble"))
	}
	at := time.Date(2026, 6, 30, 9, 0, 0, 0, time.UTC).Unix() // ten o'clock in summer
	want := map[string][]usage.ServiceCall{
		"MILL": {{ID: 1, At: at, ErrorS: 300, Kinds: []usage.CallKind{usage.CallCardOut, usage.CallCardIn}, BooksIn: ptr(int32(7)), BooksNow: ptr(int32(31))}},
		"QUAY": {{ID: 2, At: at + 2400, ErrorS: 300, Kinds: []usage.CallKind{usage.CallRestock}, Note: "door sticks"}},
		"YARD": nil,
	}
	for code, calls := range want {
		if diff := cmp.Diff(calls, b.callsAt(t, code)); diff != "" {
			t.Errorf("%s (-want +got)\n%s", code, diff)
		}
	}
	page := b.get(a.header.Get("Location")).page(t)
	checkPage(t, page)
	if got := texts(page, ".receipts p"); len(got) != 2 || got[0] != "30 June 2026, 10:00: Card out, card in." {
		t.Errorf("kept = %q", got)
	}
	undo := find(page, "main form")[0]
	if a := b.post(attr(undo, "action"), allFields(undo)); a.status != 303 || len(b.callsAt(t, "MILL"))+len(b.callsAt(t, "QUAY")) != 0 {
		t.Errorf("taking it back = %d, %v left, want none", a.status, b.callsAt(t, "MILL"))
	}
	if a := b.post(attr(undo, "action"), allFields(undo)); a.status != 404 {
		t.Errorf("taking it back again = %d, want 404", a.status)
	}
}

// What cannot be taken is told beside its field, and nothing at all is kept.
func TestRoundFormFaults(t *testing.T) {
	for _, c := range []struct {
		name, fault string
		form        url.Values
	}{
		{"no time", "time-QUAY", roundForm("time-QUAY", "")},
		{"books in words", "books-in-MILL", roundForm("books-in-MILL", "many")},
		{"bad reading", "reading-MILL", roundForm("reading-MILL", "late")},
		{"no date", "date", roundForm("date", "")},
		{"tomorrow's tomorrow", "date", roundForm("date", "2026-07-09")},
		{"known how", "within", roundForm("within", "well")},
		{"nothing done", "did-restock-MILL", url.Values{"site": {"MILL"}, "date": {"2026-06-30"}, "within": {"300"}}},
	} {
		b := roundBox(t)
		a := b.post("/round/done", c.form)
		page := a.page(t)
		checkPage(t, page)
		links := find(page, ".trouble a")
		if a.status != 400 || len(links) != 1 || attr(links[0], "href") != "#"+c.fault || len(find(page, "#"+c.fault)) != 1 {
			t.Errorf("%s = %d %q, want 400 about %s", c.name, a.status, texts(page, ".trouble"), c.fault)
		}
		if n := len(b.callsAt(t, "MILL")) + len(b.callsAt(t, "QUAY")); n != 0 {
			t.Errorf("%s: %d calls were kept, want none", c.name, n)
		}
		if note := find(page, "#note-QUAY"); len(note) == 1 && attr(note[0], "value") != "door sticks" {
			t.Errorf("%s: the form forgot the note", c.name)
		}
	}
	b := roundBox(t)
	if a := b.post("/round/done", url.Values{"site": {"NONE"}, "date": {"2026-06-30"}, "within": {"300"}}); a.status != 404 {
		t.Errorf("a site that there is not = %d, want 404", a.status)
	}
	for _, bad := range []string{"/round/kept", "/round/kept?call=x", "/round/kept?call=MILL:9&call=QUAY"} {
		if a := b.get(bad); a.status != 400 {
			t.Errorf("%s = %d, want 400", bad, a.status)
		}
	}
}

// The ticks of the list are ticked in the form.
func TestRoundTicksGoOn(t *testing.T) {
	b := roundBox(t)
	list := find(b.get("/round?from=MILL").page(t), "form.spread")[0]
	form := allFields(list)
	form.Add("done", "MILL:card")
	form.Add("done", "YARD:shelf")
	page := b.get(attr(list, "action") + "?" + form.Encode()).page(t)
	checkPage(t, page)
	var ticked []string
	for _, box := range find(page, "input[checked]") {
		ticked = append(ticked, attr(box, "id"))
	}
	if diff := cmp.Diff([]string{"did-card-out-MILL", "did-card-in-MILL", "did-restock-YARD"}, ticked); diff != "" {
		t.Errorf("ticked (-want +got)\n%s", diff)
	}
	if got := attr(find(page, "#date")[0], "value"); got != "2026-07-01" {
		t.Errorf("date = %q, want today", got)
	}
}

// More boxes than can be walked exactly, of a network without one, and of one.
func TestRoundSizes(t *testing.T) {
	b := newBox(t, importer.Limits{})
	if got := texts(b.get("/round").page(t), ".lead"); len(got) != 1 || got[0] != "There is no box to walk to yet." {
		t.Errorf("an empty network: %q", got)
	}
	if a := b.get("/round.ics"); a.status != 200 || strings.Contains(a.body, "VEVENT") {
		t.Errorf("the feed of an empty network = %d %q", a.status, a.body)
	}
	for i := range 15 {
		site := newSite("BOX"+strconv.Itoa(i), "Box "+strconv.Itoa(i))
		site.Latitude += float64(i*i%17) / 100
		if err := b.store.AddSite(t.Context(), site); err != nil {
			t.Fatal(err)
		}
		if i == 0 && len(b.stops(t, "/round")) != 1 {
			t.Error("one box is not on the round")
		}
	}
	page := b.get("/round").page(t)
	if n := len(texts(page, ".walk h2")); n != 15 {
		t.Errorf("%d stops, want 15", n)
	}
	if got := strings.Join(texts(page, ".margin"), ""); !strings.Contains(got, "not surely the shortest") {
		t.Errorf("the margin says %q", got)
	}
}
