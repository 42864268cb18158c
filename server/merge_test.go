package server

import (
	"bytes"
	"mime/multipart"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
)

// otherNetwork is the bundle of a network that has a card of MILL, calls the box
// otherwise, and has another box of QUAY's code a degree away.
func otherNetwork(t *testing.T) []byte {
	t.Helper()
	s, err := store.Open(t.Context(), t.TempDir(), store.Options{Now: func() time.Time { return noon.Add(-time.Hour) }})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	mill, quay := newSite("MILL", "Mill Bridge"), newSite("QUAY", "Quay of the others")
	quay.Latitude++
	for _, site := range []usage.Site{mill, quay} {
		if err := s.AddSite(t.Context(), site); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Keep(t.Context(), "MILL", []store.CardIn{{Name: "OTHER.TXT", Bytes: cardText(70)}}); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := s.WriteBundle(t.Context(), &b, ""); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (b *box) bringBundle(t *testing.T, data []byte) answer {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("bundle", "other <b>.zip")
	if err != nil {
		t.Fatal(err)
	}
	part.Write(data)
	form.Close()
	r := httptest.NewRequest("POST", "/merge", &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	return b.do(r)
}

// A bundle goes the whole way: read, asked about, answered, taken over once.
func TestMergePages(t *testing.T) {
	b, _ := usualBox(t)
	if a := b.get("/merge"); a.status != 200 {
		t.Fatalf("GET /merge = %d", a.status)
	}
	up := b.bringBundle(t, otherNetwork(t))
	where := up.header.Get("Location")
	if up.status != 303 || !strings.HasPrefix(where, "/merge/") {
		t.Fatalf("POST /merge = %d to %q\n%s", up.status, where, up.body)
	}
	asked := b.get(where)
	checkPage(t, asked.page(t))
	if got := len(find(asked.page(t), "fieldset")); got != 2 {
		t.Errorf("GET %s asks %d questions, want 2: the name of MILL, and what QUAY is", where, got)
	}
	cards := func() int {
		all, err := b.store.Cards(t.Context(), "MILL")
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	if cards() != 1 {
		t.Errorf("looking at a bundle kept its card")
	}
	half := b.post(where, url.Values{"MILL.name": {"theirs"}})
	if half.status != 409 || len(find(half.page(t), "fieldset")) != 2 || cards() != 1 {
		t.Errorf("one answer of two = %d with %d questions and %d cards, want 409, both and the one that was there", half.status, len(find(half.page(t), "fieldset")), cards())
	}
	yes := url.Values{"MILL.name": {"theirs"}, "site.QUAY": {"apart:CODE"}}
	if a := b.post(where, yes); a.status != 409 {
		t.Errorf("an answer without its code = %d, want 409", a.status)
	}
	yes.Set("code site.QUAY", "pier")
	if a := b.post(where, yes); a.status != 303 || a.header.Get("Location") != where {
		t.Fatalf("all answers = %d to %q, want 303 to what was taken over\n%s", a.status, a.header.Get("Location"), a.body)
	}
	done := b.get(where)
	checkPage(t, done.page(t))
	if got := strings.Join(texts(done.page(t), ".merged"), " "); !strings.Contains(got, "PIER") || !strings.Contains(got, "1 card gained") {
		t.Errorf("what was taken over: %q", got)
	}
	site, err := b.store.Site(t.Context(), "MILL")
	if err != nil || site.Name != "Mill Bridge" || cards() != 2 {
		t.Errorf("MILL is called %q and has %d cards, %v", site.Name, cards(), err)
	}
	if a := b.post(where, yes); a.status != 303 || cards() != 2 {
		t.Errorf("the button pressed twice = %d", a.status)
	}
}

// What is no bundle, or too large, is refused beside the field.
func TestMergeRefuses(t *testing.T) {
	b := newBox(t, importer.Limits{CardBytes: 2000, TotalBytes: 4000, Files: 10})
	for _, c := range []struct {
		name string
		data []byte
		want int
	}{{"a text", []byte("hello"), 400}, {"a .zip of cards", packed(t, map[string][]byte{"LOG.TXT": []byte("x")}), 400}, {"too large", make([]byte, 2001), 413}} {
		a := b.bringBundle(t, c.data)
		if a.status != c.want || !slices.ContainsFunc(texts(a.page(t), ".fieldfault"), func(s string) bool { return len(s) > 10 }) {
			t.Errorf("%s = %d, faults %q, want %d and why", c.name, a.status, texts(a.page(t), ".fieldfault"), c.want)
		}
	}
	if a := b.get("/merge/nothing"); a.status != 404 {
		t.Errorf("a bundle that is not there = %d, want 404", a.status)
	}
	if a := b.post("/merge/nothing", nil); a.status != 404 {
		t.Errorf("taking over a bundle that is not there = %d, want 404", a.status)
	}
}
