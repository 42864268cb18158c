package chart

import (
	"fmt"
	"strings"
	"testing"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// addressOf writes visits as an address that can be read back.
func addressOf(v Visits) string {
	from, to, hour := "", "", "-"
	if v.From != nil {
		from, to = v.From.String(), v.To.String()
	}
	if v.Hour != nil {
		hour = fmt.Sprint(*v.Hour)
	}
	return fmt.Sprintf("/visits?%s,%s,%d,%s", from, to, v.Weekday, hour)
}

// Every bar that is drawn leads to its visits, once, and so does its row in the
// table; the areas lie in the drawing and in no other's.
func TestEveryMarkLeadsToItsVisits(t *testing.T) {
	m := newMaker(t, draw.Options{}).Linked(addressOf)
	for _, c := range cases {
		if c.name == "ten years of crowds" {
			continue // which takes long and has nothing that thirty months have not
		}
		for id, f := range figures(t, m, c.in) {
			if id == "profile" || id == "weeks" || id == "sites" {
				continue // sparks, and bars that are given their addresses
			}
			if len(f.Table.Links) != len(f.Table.Rows) {
				t.Errorf("%s of %s: %d links for %d rows", id, c.name, len(f.Table.Links), len(f.Table.Rows))
			}
			wide, narrow := strings.Count(string(f.Wide), "<a "), strings.Count(string(f.Narrow), "<a ")
			if counts := id == "time" || id == "stretch" || id == "long"; !counts { // which may draw several rows as one
				if covered := coveredRows(f.Table); wide != covered || narrow != covered {
					t.Errorf("%s of %s: %d and %d links in the drawings, %d rows covered", id, c.name, wide, narrow, covered)
				}
			}
			if f.Linked != (wide > 0) || strings.Contains(string(f.Drawing()), `role="img"`) == f.Linked {
				t.Errorf("%s of %s: Linked = %v with %d links, drawn as %.80s", id, c.name, f.Linked, wide, f.Drawing())
			}
			for _, link := range f.Table.Links {
				if strings.Count(string(f.Wide), `"`+link+`"`) > 1 {
					t.Errorf("%s of %s: %s is led to twice", id, c.name, link)
				}
			}
		}
	}
}

func coveredRows(t Table) (n int) {
	for _, row := range t.Rows {
		if row[3] != "not covered" {
			n++
		}
	}
	return n
}

// What a link says is what the table says, and where it leads is what it counts.
func TestMarkSaysWhatItCounts(t *testing.T) {
	m := New(&recorder{}).Linked(addressOf)
	in := made(420, gappy, 2)
	p := in.pattern()
	for _, c := range []struct {
		bars []bar
		i    int
		want string
		href string
	}{
		{m.hourBars(p), 14, "14:00–15:00: ", "/visits?,,0,14"},
		{m.weekdayBars(p), 1, "Tuesday: ", "/visits?,,2,-"},
		{m.weekCells(p), 24*2 + 9, "Wednesday 9:00–10:00: ", "/visits?,,3,9"},
		{m.seasonBars(unbroken(in.months), usage.North), 1, "Summer 2024: ", "/visits?2024-06-01,2024-08-31,0,-"},
		{m.weeks(m.spanOf(in.days), 2), 1, "18 March 2024 to 31 March 2024: ", "/visits?2024-03-18,2024-03-31,0,-"},
	} {
		b := m.addressed(c.bars)[c.i]
		if !strings.HasPrefix(b.name(words.English), c.want+words.English.Plural(b.visits, "visit", "visits")) || b.href != c.href {
			t.Errorf("bar %d says %q and leads to %s, want %q and %s", c.i, b.name(words.English), b.href, c.want, c.href)
		}
	}
}
