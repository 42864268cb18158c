package server

import (
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"doorleaf/usage"
)

// changed are the fields of a site's form as they stand on a page.
func changed(page *html.Node) url.Values {
	form := url.Values{}
	for _, n := range find(page, "form.fields input") {
		if _, checked := attrOK(n, "checked"); attr(n, "type") != "radio" || checked {
			form.Set(attr(n, "name"), attr(n, "value"))
		}
	}
	form.Set("order", "")
	return form
}

// The form of a site tells what other limits would change and keeps nothing by it;
// once they are kept, what it told is so.
func TestTrialOfLimits(t *testing.T) {
	b, _ := usualBox(t)
	page := b.get("/sites/MILL/change").page(t)
	checkPage(t, page)
	form := changed(page)
	if form.Get("join") != "180" || form.Get("rattle") != "2" || form.Get("ajar") != "1800" {
		t.Fatalf("the form says join %q, rattle %q, ajar %q, want the usual limits", form.Get("join"), form.Get("rattle"), form.Get("ajar"))
	}
	if got := texts(page, "#trial p"); len(got) != 1 || !strings.HasPrefix(got[0], "Nothing would change in all that is recorded: 80 visits") {
		t.Errorf("with the kept limits it says %q", got)
	}
	form.Set("rattle", "30") // the openings of the card last 20 s to 99 s
	tried := b.get("/sites/MILL/change?" + form.Encode()).page(t)
	checkPage(t, tried)
	rows := texts(tried, "#trial tbody tr")
	if got := texts(tried, "#trial p"); len(got) != 1 || got[0] != "In all that is recorded there would be 70 visits instead of 80." || rows[1] != "Rattles 0 10" {
		t.Errorf("with rattles up to 30 s it says %q, %q", got, rows)
	}
	if changed(tried).Get("name") != "Mill Lane" {
		t.Error("a preview loses what else was typed")
	}
	site, err := b.store.Site(t.Context(), "MILL")
	if err != nil || site.Thresholds != usage.DefaultThresholds || site.Totals.Visits != 80 {
		t.Fatalf("a preview kept %+v, %d visits, %v", site.Thresholds, site.Totals.Visits, err)
	}
	if a := b.post("/sites/MILL/change", form); a.status != 303 {
		t.Fatalf("save = %d: %q", a.status, texts(a.page(t), ".trouble li"))
	}
	if site, err = b.store.Site(t.Context(), "MILL"); err != nil || site.Totals.Visits != 70 || site.Totals.Rattle != 10 {
		t.Errorf("saved, there are %d visits and %d rattles, %v, want 70 and 10 as told", site.Totals.Visits, site.Totals.Rattle, err)
	}
	for field, bad := range map[string]string{"join": "3601", "rattle": "-1", "ajar": "2 min"} {
		wrong := changed(page)
		wrong.Set(field, bad)
		for _, a := range []answer{b.get("/sites/MILL/change?" + wrong.Encode()), b.post("/sites/MILL/change", wrong)} {
			page := a.page(t)
			checkPage(t, page)
			if got := find(page, ".trouble a[href=#"+field+"]"); len(got) != 1 || a.status >= 500 || a.status == 303 {
				t.Errorf("%s = %q: %d, faults %q, want one at the field", field, bad, a.status, texts(page, ".trouble li"))
			}
		}
	}
	empty := b.get("/sites/QUAY/change").page(t)
	if got := texts(empty, "#trial p"); len(got) != 1 || !strings.HasPrefix(got[0], "Nothing is recorded") {
		t.Errorf("a site without cards says %q", got)
	}
}

func TestLastWhole(t *testing.T) {
	d := usage.DateOf
	for _, c := range []struct {
		first, last usage.Date
		want        string // "" for none
	}{
		{d(2024, 1, 1), d(2026, 7, 1), "2026-spring"},
		{d(2026, 3, 1), d(2026, 5, 31), "2026-spring"},
		{d(2026, 3, 2), d(2026, 5, 31), ""},
		{d(2025, 12, 1), d(2026, 3, 1), "2025-26-winter"},
		{d(2026, 3, 1), d(2026, 5, 30), ""},
	} {
		got, whole := lastWhole(c.first, c.last, usage.HemisphereOf(52))
		if whole != (c.want != "") || whole && got.String() != c.want {
			t.Errorf("lastWhole(%s, %s) = %s, %v, want %q", c.first, c.last, got, whole, c.want)
		}
	}
}
