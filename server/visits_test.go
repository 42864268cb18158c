package server

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/usage"
)

// visitsCard is a card of visits of several openings, rattles between them, and one
// row whose time cannot be.
func visitsCard() []byte {
	var b strings.Builder
	for day := range 30 {
		date := time.Date(2026, 3, 1+day, 9, day, 0, 0, time.UTC)
		for i, open := range []int{20, 1, 15, 30} {
			at := date.Add(time.Duration(i*70) * time.Second)
			if i == 3 {
				at = date.Add(9 * time.Hour)
			}
			fmt.Fprintf(&b, "%s,%d\n", at.Format("Mon,01/02/2006,15:04:05"), open)
		}
		if day == 12 {
			b.WriteString("Sat,03/14/2026,45:85:00,33\n")
		}
	}
	return []byte(b.String())
}

func TestAPIVisits(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), visitsCard())
	a := b.get("/api/sites/MILL/visits")
	wantKeys(t, "visit", a.body, "visit at error_s openings open_s light")
	all := decode[[]visitJSON](t, withoutBounds(a))
	if len(all) != 61 || a.header.Get("Link") != "" {
		t.Fatalf("%d visits, Link %q, want 61 on one page", len(all), a.header.Get("Link"))
	}
	if v := all[0]; v.Visit != 1 || *v.At != "2026-03-01T09:00:00Z" || v.Openings != 2 || *v.OpenS != 35 || *v.Light != "daylight" {
		t.Errorf("first visit = %+v, want two openings of 35 s", v)
	}
	untimed := 0
	for _, v := range all {
		if v.At == nil {
			untimed++
			if v.Light != nil || v.ErrorS != nil || v.Openings != 1 || *v.OpenS != 33 {
				t.Errorf("visit without a time = %+v", v)
			}
		}
	}
	if untimed != 1 {
		t.Errorf("%d visits without a time, want 1", untimed)
	}
	var paged []string
	for next := "/api/sites/MILL/visits?limit=7"; next != ""; {
		page := b.get(next)
		for _, v := range decode[[]visitJSON](t, withoutBounds(page)) {
			paged = append(paged, fmt.Sprint(v.Visit))
		}
		next = ""
		if link := page.header.Get("Link"); link != "" {
			next = nextOf(t, link)
		}
	}
	var whole []string
	for _, v := range all {
		whole = append(whole, fmt.Sprint(v.Visit))
	}
	if strings.Join(paged, " ") != strings.Join(whole, " ") {
		t.Errorf("pages of seven hold %v, want %v", paged, whole)
	}
	for query, want := range map[string]int{
		"from=2026-03-02&to=2026-03-02": 2, "hour=9": 28, "hour=18": 28, "weekday=1": 10, "weekday=1&hour=9": 4,
		"hour=10": 2, "hour=19": 2, "weekday=1&hour=10": 1, // by summer time, of which the clock knows nothing
		"weekday=1&hour=9&from=2026-03-10": 2, "light=dark": 10, "from=2026-05-01": 0, "to=2026-02-28": 0,
	} {
		got := decode[[]visitJSON](t, withoutBounds(b.get("/api/sites/MILL/visits?"+query)))
		if query == "light=dark" { // by the sun, whose times the test of usage checks
			sun, dark := usage.NewSun(52.1, -8.2), 0
			for day := range 30 {
				for _, hour := range []int{9, 18} {
					if sun.Light(time.Date(2026, 3, 1+day, hour, day, 0, 0, time.UTC).Unix()) == usage.Dark {
						dark++
					}
				}
			}
			want = dark
		}
		if len(got) != want {
			t.Errorf("visits of %s: %d, want %d", query, len(got), want)
		}
	}
}

// withoutBounds takes out what only a visit without a time has, and what bound does
// not read.
func withoutBounds(a answer) answer {
	for _, name := range []string{"earliest", "latest"} {
		for {
			i := strings.Index(a.body, `,"`+name+`":`)
			if i < 0 {
				break
			}
			end := strings.IndexAny(a.body[i+1:], ",}")
			a.body = a.body[:i] + a.body[i+1+end:]
		}
	}
	return a
}

// From a list to a visit, to its openings, to the line on the card.
func TestWayBackToTheLine(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), visitsCard())
	list := b.get("/sites/MILL/visits?from=2026-03-05&to=2026-03-05").page(t)
	if got, want := texts(list, "p.lead")[0], "2 visits, on 5 March 2026, in 24 hours of recording."; got != want {
		t.Errorf("list says %q, want %q", got, want)
	}
	if got := texts(list, "option[selected]"); strings.Join(got, "|") != "any weekday|any hour|any light" {
		t.Errorf("form shows %q", got)
	}
	visit := b.get(attr(find(list, "tbody th a")[0], "href")).page(t)
	if got, want := texts(visit, "p.lead")[0], "2 openings, the door open for 35 s together; in daylight."; got != want {
		t.Errorf("visit says %q, want %q", got, want)
	}
	rows := find(visit, "tbody tr")
	if len(rows) != 2 {
		t.Fatalf("visit has %d openings, want 2", len(rows))
	}
	opening := b.get(attr(find(rows[1], "th a")[0], "href")).page(t)
	said := text(find(opening, "main")[0])
	for _, want := range []string{
		"The door opened on 5 March 2026, 09:06", "It stood open for 15 s.", "A visitor: the door was open for 15 s, not less than 2 s and not more than 30 min.",
		"Thu,03/05/2026,09:06:20,15", "Line 19 of LOG.TXT", "26 bytes from byte ", "The logger’s clock showed 5 March 2026, 09:06:20.",
		"The logger’s clock was right to the second", "run 1 of ", "Nothing ties that run to true time",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("opening says %s\nwant %q", said, want)
		}
	}
	line := find(opening, "main section a")[0]
	address, place, _ := strings.Cut(attr(line, "href"), "#")
	card := b.get(address).page(t)
	if got := texts(card, "#"+place+" code"); len(got) == 0 || got[0] != "Thu,03/05/2026,09:06:20,15" {
		t.Errorf("%s shows %q", attr(line, "href"), got)
	}
}

// Why each class is what it is stands on its page.
func TestOpeningSaysItsClass(t *testing.T) {
	b := newBox(t, importer.Limits{})
	text0 := "Mon,03/23/2026,09:00:00,1\nMon,03/23/2026,10:00:00,4000\nMon,03/23/2026,14:00:00,20\nMon,03/23/2026,19:00:00,20\nMon,03/23/2026,21:00:00,"
	b.keep(t, newSite("MILL", "Mill Lane"), []byte(text0))
	at := time.Date(2026, 3, 23, 14, 3, 0, 0, time.UTC).Unix()
	if _, err := b.store.AddCall(t.Context(), "MILL", usage.ServiceCall{At: at, ErrorS: 60, Kinds: []usage.CallKind{usage.CallRestock}}); err != nil {
		t.Fatal(err)
	}
	for position, want := range []string{
		"A rattle, and no visit: the door was open for less than 2 s.", "Left ajar: open for more than 30 min.",
		"at the service call of 23 March 2026, 14:03", "A visitor: the door was open for 20 s", "in it the card was taken out",
	} {
		page := b.get(fmt.Sprintf("/sites/MILL/openings/%d", position)).page(t)
		if got := texts(page, "p.lead")[0]; !strings.Contains(got, want) {
			t.Errorf("opening %d says %q, want %q", position, got, want)
		}
	}
}
