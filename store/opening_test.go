package store

import (
	"context"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"doorleaf/usage"
)

// pagesOf reads all pages of a query.
func pagesOf(tb rapid.TB, s *Store, p Page) []OpeningRow {
	tb.Helper()
	var all []OpeningRow
	p.After = -1
	for {
		rows, next, err := s.Openings(context.Background(), "MILL", p)
		if err != nil {
			tb.Fatalf("Openings(%+v): %v", p, err)
		}
		if len(rows) > p.Limit {
			tb.Fatalf("Openings(%+v) = %d openings, more than asked for", p, len(rows))
		}
		all = append(all, rows...)
		if next < 0 {
			return all
		}
		if len(rows) != p.Limit || next <= p.After {
			tb.Fatalf("Openings(%+v) = %d openings, next %d", p, len(rows), next)
		}
		p.After = next
	}
}

func dateOf(at int64, zone *usage.Zone) usage.Date {
	d, _ := zone.Civil(at)
	return d
}

// Pages, whatever their size and period, put together are what looking at each
// opening of the logbook gives.
func TestOpenings(t *testing.T) {
	s := openTest(t)
	rows := invent(11, 400, 6)
	rows[1000] = "? 9\n"
	rows[1001] = "? 8\n"
	data := strings.Join(rows, "")
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", rows))
	zone, err := usage.LoadZone(testSite("MILL").Zone)
	if err != nil {
		t.Fatal(err)
	}
	all := pagesOf(t, s, Page{Limit: 10_000})
	if len(all) != len(rows) {
		t.Fatalf("%d openings, want %d", len(all), len(rows))
	}
	for i, o := range all {
		if o.Position != int64(i) || o.CardID != cardID([]byte(data)) || o.Raw+"\n" != rows[o.Line-1] {
			t.Fatalf("opening %d = %+v, want the line %q", i, o, rows[o.Line-1])
		}
	}
	first := usage.Date(logStart / 86400)
	rapid.Check(t, func(r *rapid.T) {
		p := Page{Limit: rapid.IntRange(300, 2000).Draw(r, "limit")}
		from := first + usage.Date(rapid.IntRange(-3, 410).Draw(r, "from"))
		to := from + usage.Date(rapid.IntRange(-1, 100).Draw(r, "days"))
		if rapid.Bool().Draw(r, "has from") {
			p.From = &from
		}
		if rapid.Bool().Draw(r, "has to") {
			p.To = &to
		}
		var want []OpeningRow
		for _, o := range all {
			low, high := o.Earliest, o.Latest
			if o.Timed {
				low, high = o.At, o.At
			}
			if (p.From == nil || dateOf(low, zone) >= from) && (p.To == nil || dateOf(high, zone) <= to) {
				want = append(want, o)
			}
		}
		if diff := cmp.Diff(want, pagesOf(r, s, p)); diff != "" {
			r.Errorf("Openings from %v to %v (-want +got)\n%s", p.From, p.To, diff)
		}
	})
}

// A day of 25 hours holds the hour that comes twice, both times.
func TestOpeningsOnLongDay(t *testing.T) {
	s := openTest(t)
	// Clocks in Ireland went back on 2016-10-30 at 01:00 UTC (EU directive
	// 2000/84/EC: last Sunday in October), so that date is [Oct 29 23:00, Oct 31 00:00) UTC.
	const begin, end = 1477782000, 1477872000
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", []string{rowAt(begin - 1), rowAt(begin), rowAt(begin + 2*3600), rowAt(begin + 3*3600), rowAt(end - 1), rowAt(end)}))
	day := usage.DateOf(2016, 10, 30)
	rows, next, err := s.Openings(t.Context(), "MILL", Page{From: &day, To: &day, After: -1})
	if err != nil || next != -1 || len(rows) != 4 || rows[0].At != begin || rows[3].At != end-1 {
		t.Errorf("Openings on the long day = %v, %d, %v, want four from %d", rows, next, err, begin)
	}
	_, _, err = s.Openings(t.Context(), "NONE", Page{})
	wantKind(t, "Openings(NONE)", err, usage.NotFound)
}

func TestDaysAndMonths(t *testing.T) {
	s := openTest(t)
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", invent(12, 70, 8)))
	lb, want, err := fakeEngine.derive(testSite("MILL"), must(loadKept(t.Context(), s.reader, 1)))
	if err != nil {
		t.Fatal(err)
	}
	first, last := want.Days[0].Date, want.Days[len(want.Days)-1].Date
	days, err := s.Days(t.Context(), "MILL", first+1, last-1)
	if diff := cmp.Diff(want.Days[1:len(want.Days)-1], days); err != nil || diff != "" {
		t.Errorf("Days: %v (-want +got)\n%s", err, diff)
	}
	months, err := s.Months(t.Context(), "MILL")
	if diff := cmp.Diff(want.Months, months); err != nil || diff != "" {
		t.Errorf("Months: %v (-want +got)\n%s", err, diff)
	}
	site, err := s.Site(t.Context(), "MILL")
	if diff := cmp.Diff(lb.Runs, site.Runs); err != nil || diff != "" {
		t.Errorf("Site.Runs: %v (-want +got)\n%s", err, diff)
	}
	if diff := cmp.Diff(want.Coverage, site.Coverage); diff != "" {
		t.Errorf("Site.Coverage (-want +got)\n%s", diff)
	}
	if site.Totals != want.Totals {
		t.Errorf("Site.Totals = %+v, want %+v", site.Totals, want.Totals)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestCellsRoundTrip(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var want usage.MonthTally
		for i := range want.Visits {
			want.Visits[i] = rapid.Int32().Draw(r, "visits")
			want.ExposureS[i] = rapid.Int32().Draw(r, "exposure")
		}
		b := encodeCells(want)
		got, err := decodeCells(b)
		if err != nil || got != want {
			r.Errorf("decodeCells(encodeCells(%v)) = %v, %v", want, got, err)
		}
		if _, err := decodeCells(b[:len(b)-1]); err == nil {
			r.Error("cells that were cut off were read")
		}
	})
}
