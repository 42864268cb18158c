package server

import (
	"bytes"
	"mime/multipart"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
)

// benchPost uploads a card to the bench.
func (b *box) benchPost(t *testing.T, name string, card []byte, fields ...string) answer {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for i := 0; i < len(fields); i += 2 {
		w.WriteField(fields[i], fields[i+1])
	}
	if card != nil {
		f, err := w.CreateFormFile("card", name)
		if err != nil {
			t.Fatal(err)
		}
		f.Write(card)
	}
	w.Close()
	r := httptest.NewRequest("POST", "/bench", &body)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return b.do(r)
}

const soundCard = "Wed,07/01/2026,12:56:00,5\r\nWed,07/01/2026,12:57:10,31\r\nWed,07/01/2026,12:58:40,2\r\nWed,07/01/2026,13:00:00,\r\n"

func TestBenchPage(t *testing.T) {
	b, _ := usualBox(t)
	for _, c := range []struct {
		name, card string
		fields     []string
		lead       string
		groups     []string
		says       string
	}{
		{"sound", soundCard, []string{"site", "MILL", "at", "2026-07-01T13:00"}, "Nothing is wrong with this logger; 1 thing is not clear yet.", []string{"Not clear yet", "Right"}, "Counted: 2 to 31 s."},
		{"sound, no site", soundCard, []string{"at", "2026-07-01T12:00"}, "Nothing is wrong with this logger; 1 thing is not clear yet.", []string{"Not clear yet", "Right"}, "UTC+01:00"},
		{"an hour off", strings.ReplaceAll(soundCard, ",13:00", ",14:00"), []string{"site", "MILL", "at", "2026-07-01T13:00"}, "1 thing is wrong with this logger; mend that before it goes out.", []string{"Wrong", "Not clear yet", "Right"}, "set in another zone"},
		{"chip silent", "Thu,165/165/2165,165:165:85,3\r\nThu,165/165/2165,165:165:85,4\r\nThu,165/165/2165,165:165:85,\r\n", nil, "1 thing is wrong with this logger; mend that before it goes out.", []string{"Wrong", "Not clear yet", "Right"}, "pull-ups"},
	} {
		a := b.benchPost(t, `"><b>.TXT`, []byte(c.card), c.fields...)
		page := a.page(t)
		checkPage(t, page)
		if got := texts(page, ".lead"); a.status != 200 || len(got) != 1 || got[0] != c.lead {
			t.Errorf("%s = %d %q, want %q", c.name, a.status, got, c.lead)
		}
		if got := texts(page, ".bench h2"); !slices.Equal(got, c.groups) {
			t.Errorf("%s: groups %q, want %q", c.name, got, c.groups)
		}
		if got := strings.Join(texts(page, ".bench"), " "); !strings.Contains(got, c.says) {
			t.Errorf("%s says %q, want %q in it", c.name, got, c.says)
		}
	}
	if cards, err := b.store.Cards(t.Context(), "MILL"); err != nil || len(cards) != 1 {
		t.Errorf("%d cards are kept, %v; a bench check keeps nothing", len(cards), err)
	}
}

func TestBenchFaults(t *testing.T) {
	b, _ := usualBox(t)
	for _, c := range []struct {
		name, field string
		status      int
		a           answer
	}{
		{"no file", "card", 400, b.benchPost(t, "", nil)},
		{"no text", "card", 400, b.benchPost(t, "A.BIN", bytes.Repeat([]byte{7}, 5000))},
		{"no time", "at", 400, b.benchPost(t, "A.TXT", []byte(soundCard), "at", "soon")},
		{"the missing hour", "at", 400, b.benchPost(t, "A.TXT", []byte(soundCard), "at", "2026-03-29T01:30", "site", "MILL")},
		{"no such site", "", 404, b.benchPost(t, "A.TXT", []byte(soundCard), "site", "NONE")},
		{"too large", "", 413, b.benchPost(t, "A.TXT", bytes.Repeat([]byte("x"), benchBytes+formBytes+1))},
	} {
		page := c.a.page(t)
		checkPage(t, page)
		if c.a.status != c.status || c.field != "" && len(find(page, ".trouble a[href=#"+c.field+"]")) != 1 {
			t.Errorf("%s = %d %q, want %d about %q", c.name, c.a.status, texts(page, "main"), c.status, c.field)
		}
	}
	page := b.get("/bench?site=MILL").page(t)
	checkPage(t, page)
	if got := find(page, "option[selected]"); len(got) != 1 || attr(got[0], "value") != "MILL" {
		t.Errorf("%d sites are chosen, want MILL", len(got))
	}
}
