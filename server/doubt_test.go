package server

import (
	"bytes"
	"encoding/json"
	"fmt"
	"mime/multipart"
	"net/http/httptest"
	"net/textproto"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
)

// hourly is a card of rows an hour apart from an instant on, in a form of its own.
func hourly(from time.Time, rows int, form string) []byte {
	var b strings.Builder
	for i := range rows {
		at := from.Add(time.Duration(i) * 71 * time.Minute)
		b.WriteString(strings.NewReplacer("DATE", at.Format("2006-01-02"), "TIME", at.Format("15:04:05")).Replace(form) + "\n")
	}
	return []byte(b.String())
}

const (
	commaForm = "DATE,TIME,12"
	pipeForm  = "DATE|TIME|12"
)

// doubtBox serves MILL and QUAY, each with a card of June, written in two forms; MILL's
// ends a week before QUAY's.
func doubtBox(t *testing.T) (b *box, millEnd, quayEnd time.Time) {
	t.Helper()
	b = newBox(t, importer.Limits{})
	start := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	for code, card := range map[string][]byte{"MILL": hourly(start, 300, commaForm), "QUAY": hourly(start.Add(17*time.Minute), 450, pipeForm)} {
		if err := b.store.AddSite(t.Context(), newSite(code, code)); err != nil {
			t.Fatal(err)
		}
		if _, err := b.store.Keep(t.Context(), code, []store.CardIn{{Name: "LOG.CSV", Bytes: card}}); err != nil {
			t.Fatal(err)
		}
	}
	return b, start.Add(299 * 71 * time.Minute), start.Add(17*time.Minute + 449*71*time.Minute)
}

// A card that nothing names is proposed by the end of a logbook or by how it is
// written, with a question; one in the wrong folder is asked about with the evidence.
func TestDoubtfulCards(t *testing.T) {
	_, millEnd, quayEnd := doubtBox(t)
	late := quayEnd.AddDate(0, 0, 20)
	for _, c := range []struct {
		name, path string
		card       []byte
		site, asks string // asks: a part of the question, "" for none
	}{
		{"right after the last row of one logbook", "LOG.CSV", hourly(quayEnd.Add(5*time.Hour), 40, commaForm), "QUAY", "5 hours after the last one in the logbook of QUAY"},
		{"an hour after one, long after the other", "LOG.CSV", hourly(millEnd.Add(time.Hour), 40, pipeForm), "MILL", "60 minutes after"},
		{"only one site's cards are written so", "LOG.CSV", hourly(late, 40, pipeForm), "QUAY", "only the cards of QUAY (QUAY) are written in this way"},
		{"in a form of nobody's", "LOG.CSV", hourly(late, 40, "TIME;DATE;12"), "", ""},
		{"in its folder, after all", "MILL/LOG.CSV", hourly(late, 40, pipeForm), "MILL", ""},
		{"in a folder whose logger wrote something else then", "QUAY/LOG.CSV", hourly(millEnd.AddDate(0, 0, -9), 400, commaForm), "QUAY", "not one row is on both"},
		{"in a folder, right after the other logbook", "MILL/LOG.CSV", hourly(quayEnd.Add(time.Hour), 40, pipeForm), "MILL", "Was it really in the logger at MILL"},
		{"of a clock that was never set", "QUAY/LOG.CSV", hourly(time.Date(2000, 1, 1, 0, 0, 5, 0, time.UTC), 40, pipeForm), "QUAY", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _, _ := doubtBox(t)
			tray, page := b.lay(t, file{c.path, c.card})
			form := fields(page)
			field := only(t, form, "site-")
			if got := form.Get(field); got != c.site {
				t.Errorf("proposed is %q, want %q: %q", got, c.site, texts(page, ".field span.hint"))
			}
			asks := strings.Join(texts(page, ".question p"), " ")
			if (asks != "") != (c.asks != "") || !strings.Contains(asks, c.asks) {
				t.Errorf("asked is %q, want %q", asks, c.asks)
			}
			if c.asks == "" {
				return
			}
			if held := b.post(tray+"/keep", form); held.status != 409 {
				t.Errorf("keep without an answer = %d, want 409", held.status)
			}
			form.Set("sure-"+strings.TrimPrefix(field, "site-"), "yes")
			if kept := b.post(tray+"/keep", form); kept.status != 303 {
				t.Errorf("keep with the answer = %d, want 303", kept.status)
			}
		})
	}
}

// Cards on one tray tell of each other: a copy, a shorter reading of the same card, one
// that was written by another logger at the same time, and the one that is left over.
func TestCardsOnOneTray(t *testing.T) {
	b, _, quayEnd := doubtBox(t)
	if err := b.store.AddSite(t.Context(), newSite("HILL", "Hill")); err != nil {
		t.Fatal(err)
	}
	late := quayEnd.AddDate(0, 0, 20)
	long, other := hourly(late, 300, "TIME;DATE;12"), hourly(late.Add(time.Minute), 300, "DATE TIME 5")
	_, page := b.lay(t, file{"MILL/LOG.CSV", long}, file{"LOG.CSV", long}, file{"x/LOG.CSV", long[:len(long)/2]}, file{"mill 2/LOG.CSV", other}, file{"QUAY/LOG.CSV", hourly(late, 9, commaForm)}, file{"LOG.CSV", hourly(late.Add(31*time.Minute), 30, "TIME DATE 7")})
	var sites []string
	for _, s := range find(page, "form.tray select") {
		chosen := ""
		for _, o := range find(s, "option[selected]") {
			chosen = attr(o, "value")
		}
		sites = append(sites, chosen)
	}
	if got := strings.Join(sites, ","); got != "MILL,MILL,MILL,MILL,QUAY,HILL" {
		t.Errorf("proposed are %s, want MILL for the first four, QUAY, and HILL for the one left", got)
	}
	asks := strings.Join(texts(page, ".question p"), "\n")
	if !strings.Contains(asks, "there are other rows, on card") || !strings.Contains(asks, "All other boxes have a card here but Hill (HILL)") {
		t.Errorf("asked is\n%s\nwant about two cards of one time, and about the one left", asks)
	}
	if got := texts(page, ".already"); len(got) != 1 || !strings.Contains(got[0], "The same bytes as card 1, LOG.CSV") {
		t.Errorf("of copies it says %q", got)
	}
	if got := texts(page, ".glance tbody tr"); len(got) != 6 {
		t.Errorf("at a glance there are %d cards, want 6", len(got))
	}
}

// send brings files as the script of the page does.
func (b *box) send(t *testing.T, tray string, files ...file) (answer, brought) {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, f := range files {
		part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="files"; filename="%s"`, f.path)}})
		if err != nil {
			t.Fatal(err)
		}
		part.Write(f.bytes)
	}
	form.Close()
	r := httptest.NewRequest("POST", "/cards"+tray, &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Header.Set("Accept", "application/json")
	a := b.do(r)
	var got brought
	if err := json.Unmarshal([]byte(a.body), &got); err != nil {
		t.Fatalf("answer %d is no JSON: %v\n%.300s", a.status, err, a.body)
	}
	return a, got
}

// Cards that a script sends one by one lie on one tray, within the limits of one go.
func TestCardsSentOneByOne(t *testing.T) {
	b := newBox(t, importer.Limits{CardBytes: 3000, TotalBytes: 5000, Files: 4})
	if err := b.store.AddSite(t.Context(), newSite("MILL", "Mill Lane")); err != nil {
		t.Fatal(err)
	}
	card := hourly(time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), 90, commaForm) // 1,980 bytes
	a, first := b.send(t, "", file{"a/LOG.CSV", card})
	if a.status != 200 || first.Cards != 1 || first.Tray == "" || !strings.HasPrefix(first.Says, "90 rows, 1 May 2026 to ") {
		t.Fatalf("the first card: %d %+v", a.status, first)
	}
	_, second := b.send(t, "?tray="+first.Tray, file{"b/DOORLEAF.TXT", []byte("site MILL\n")}, file{"b/LOG.CSV", append(card, '\n')})
	if second.Tray != first.Tray || second.Cards != 1 {
		t.Errorf("the second card: %+v, want it on the tray of the first", second)
	}
	for name, c := range map[string]struct {
		f      file
		status int
		says   string
	}{
		"beyond the total":       {file{"c/LOG.CSV", append(card, '\n', '\n')}, 413, ""},
		"larger than a card":     {file{"d/LOG.CSV", make([]byte, 3001)}, 200, "Larger than"},
		"no card's name":         {file{"e/photo.jpg", []byte("x")}, 200, "no card’s"},
		"nothing in the file":    {file{"f/LOG.CSV", nil}, 200, "empty"},
		"bytes that are no text": {file{"g/LOG.CSV", []byte{0xff, 0xfe, 0x00}}, 200, ""},
	} {
		tray := first.Tray
		if name == "nothing in the file" || name == "bytes that are no text" {
			tray = "" // these lie on a tray and say so there
		}
		query := ""
		if tray != "" {
			query = "?tray=" + tray
		}
		a, got := b.send(t, query, c.f)
		if a.status != c.status || !strings.Contains(got.Says, c.says) {
			t.Errorf("%s: %d %+v, want %d with %q", name, a.status, got, c.status, c.says)
		}
		if a.status != 200 && a.header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: the fault comes as %q", name, a.header.Get("Content-Type"))
		}
	}
	page := b.get("/tray/" + first.Tray).page(t)
	checkPage(t, page)
	if got := len(find(page, "form.tray section.card")); got != 2 {
		t.Errorf("%d cards lie on the tray, want 2", got)
	}
	if a, _ := b.send(t, "?tray=nobodys", file{"a/LOG.CSV", card}); a.status != 404 {
		t.Errorf("to a tray that is not there = %d, want 404", a.status)
	}
}

func TestTogether(t *testing.T) {
	for _, c := range []struct {
		held []usage.Stretch
		want int64
	}{
		{nil, 0},
		{[]usage.Stretch{{From: 5, To: 9}, {From: 7, To: 12}, {From: 1, To: 2}}, 8},
		{[]usage.Stretch{{From: 5, To: 9}, {From: 6, To: 7}, {From: 9, To: 3}}, 4},
	} {
		if got := together(c.held); got != c.want {
			t.Errorf("together(%v) = %d, want %d", c.held, got, c.want)
		}
	}
}
