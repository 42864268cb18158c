package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"doorleaf/usage"
)

// VisitPage asks for visits of a site, in the order in which they begin in the
// logbook. What is not asked for lets every visit through.
//
// A visit has the time of its first opening. One without a time is in the page
// when its whole bracket is in the period and nothing else is asked for.
type VisitPage struct {
	From, To *usage.Date  // civil dates of the site, both included
	Weekday  int          // ISO weekday, 1 = Monday; 0: any
	Hour     *int         // civil hour of the day, 0 to 23
	Light    *usage.Light // daylight at its beginning
	After    int64        // Visit after which to begin; 0 for the first
	Limit    int          // 0: 1,000; at most 10,000
}

// VisitRow is one visit.
type VisitRow struct {
	Visit    int32 // its number within the site, 1 first
	Position int64 // of its first opening in the logbook
	At       int64 // Unix s, of its first opening; 0 where Timed is false
	Earliest int64 // the true instant lies in [Earliest, Latest], as of an opening
	Latest   int64
	ErrorS   int32
	Timed    bool
	Openings int
	OpenS    int64       // seconds that the door stood open, an ajar opening capped
	Unknown  int         // openings whose seconds are not known and not in OpenS
	Light    usage.Light // where Timed
}

// VisitCount is how many visits there are, on all pages together.
type VisitCount struct {
	Timed   int64
	Untimed int64
}

// Visits returns a page of visits, the After of the next page or -1, and how many
// visits the question finds in all.
func (s *Store) Visits(ctx context.Context, code string, page VisitPage) ([]VisitRow, int64, VisitCount, error) {
	w := visitWalk{page: page, next: -1}
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		if err := w.prepare(site.Site); err != nil {
			return err
		}
		return w.run(ctx, q, site.id)
	})
	if err != nil {
		return nil, -1, VisitCount{}, fmt.Errorf("visits of %s: %w", code, err)
	}
	return w.found, w.next, w.count, nil
}

// visitWalk goes along the blocks of a logbook and collects visits. The openings
// of a visit may lie apart, with rattles, service and ajar openings between them.
type visitWalk struct {
	page   VisitPage
	window window
	limits usage.Thresholds
	cursor *usage.Cursor
	sun    *usage.Sun
	begun  int32         // highest number of a visit seen so far
	open   map[int32]int // visit that may go on → its index in found
	found  []VisitRow
	next   int64
	count  VisitCount
}

func (w *visitWalk) prepare(site usage.Site) error {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return err
	}
	if w.window, err = windowOf(site.Zone, Page{From: w.page.From, To: w.page.To, Limit: w.page.Limit}); err != nil {
		return err
	}
	w.limits, w.cursor, w.sun = site.Thresholds, zone.Cursor(), usage.NewSun(site.Latitude, site.Longitude)
	w.open = map[int32]int{}
	return nil
}

func (w *visitWalk) run(ctx context.Context, q querier, site int64) error {
	first, last, err := w.blocks(ctx, q, site)
	if err != nil || first < 0 {
		return err
	}
	if w.begun, err = visitBefore(ctx, q, site, first); err != nil {
		return err
	}
	return walk(ctx, q, func(rows *sql.Rows) error {
		number, b, err := scanBlock(rows)
		if err != nil {
			return err
		}
		if number > last && len(w.open) == 0 {
			return errStop
		}
		for i := range b.openings {
			w.see(&b.openings[i], number*blockSize+int64(i))
		}
		return nil
	}, `
		SELECT number, count, body
		FROM block
		WHERE site = ? AND number >= ?
		ORDER BY number`, site, first)
}

// blocks returns the first and last block that may hold a beginning in the
// window; -1, -1 for none.
func (w *visitWalk) blocks(ctx context.Context, q querier, site int64) (first, last int64, err error) {
	err = q.QueryRowContext(ctx, `
		SELECT coalesce(min(number), -1), coalesce(max(number), -1)
		FROM block
		WHERE site = ? AND high >= ? AND low < ?`, site, w.window.from, w.window.to).Scan(&first, &last)
	if err != nil {
		return -1, -1, fmt.Errorf("find blocks: %w", err)
	}
	return first, last, nil
}

// visitBefore returns a number that parts the visits of a block into those that go
// on there and those that begin there, which have higher ones: the highest in the
// nearest earlier block that has any; 0 for none.
func visitBefore(ctx context.Context, q querier, site, number int64) (int32, error) {
	highest := int32(0)
	err := walk(ctx, q, func(rows *sql.Rows) error {
		_, b, err := scanBlock(rows)
		if err != nil {
			return err
		}
		for i := range b.openings {
			highest = max(highest, b.openings[i].Visit)
		}
		if highest > 0 {
			return errStop
		}
		return nil
	}, `
		SELECT number, count, body
		FROM block
		WHERE site = ? AND number < ?
		ORDER BY number DESC`, site, number)
	return highest, err
}

// see takes the next opening of the logbook.
func (w *visitWalk) see(o *usage.Opening, position int64) {
	if o.Visit == usage.Unknown {
		return
	}
	if o.Visit <= w.begun {
		if at, ok := w.open[o.Visit]; ok {
			w.found[at].add(o, w.limits)
		}
		return
	}
	w.begun = o.Visit
	joins := o.Timed && o.Class == usage.Visitor
	if joins {
		clear(w.open) // only the last visit of timed visitor openings may go on
	}
	if !w.holds(o) {
		return
	}
	if o.Timed {
		w.count.Timed++
	} else {
		w.count.Untimed++
	}
	w.take(o, position, joins)
}

func (w *visitWalk) take(o *usage.Opening, position int64, joins bool) {
	if int64(o.Visit) <= w.page.After || w.next >= 0 {
		return
	}
	if len(w.found) == w.window.limit {
		w.next = int64(w.found[len(w.found)-1].Visit)
		return
	}
	row := VisitRow{
		Visit: o.Visit, Position: position, Earliest: o.Earliest, Latest: o.Latest, ErrorS: o.ErrorS, Timed: o.Timed,
	}
	if o.Timed {
		row.At, row.Light = o.At, w.sun.Light(o.At)
	}
	row.add(o, w.limits)
	w.found = append(w.found, row)
	if joins {
		w.open[o.Visit] = len(w.found) - 1
	}
}

func (v *VisitRow) add(o *usage.Opening, limits usage.Thresholds) {
	v.Openings++
	v.OpenS += usage.EngagedS(*o, limits)
	if o.OpenS == usage.Unknown {
		v.Unknown++
	}
}

// holds reports whether the page asks for a visit that begins with an opening.
func (w *visitWalk) holds(o *usage.Opening) bool {
	if !w.window.holds(o) {
		return false
	}
	if w.page.Weekday == 0 && w.page.Hour == nil && w.page.Light == nil {
		return true
	}
	if !o.Timed || w.page.Light != nil && w.sun.Light(o.At) != *w.page.Light {
		return false
	}
	date, second := w.cursor.Civil(o.At)
	return (w.page.Weekday == 0 || date.Weekday() == w.page.Weekday) &&
		(w.page.Hour == nil || int(second)/3600 == *w.page.Hour)
}

// VisitOpenings returns the openings of one visit, or NotFound.
func (s *Store) VisitOpenings(ctx context.Context, code string, visit int32) ([]OpeningRow, error) {
	var found []OpeningRow
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		if found, err = visitOpenings(ctx, q, site.id, visit); err != nil {
			return err
		}
		if len(found) == 0 {
			return &usage.Fault{
				Kind: usage.NotFound,
				What: fmt.Sprintf("there is no visit %d at %s", visit, code),
				Try:  "look it up in the list of visits: a new card or an answer may have numbered them anew",
			}
		}
		return s.addRaw(ctx, q, site.id, found)
	})
	if err != nil {
		return nil, fmt.Errorf("visit %d of %s: %w", visit, code, err)
	}
	return found, nil
}

// visitOpenings walks until a later timed visitor opening shows that the visit is
// over, or an ajar or untimed one was all of it.
func visitOpenings(ctx context.Context, q querier, site int64, visit int32) ([]OpeningRow, error) {
	var found []OpeningRow
	if visit < 1 || visit == math.MaxInt32 {
		return nil, nil
	}
	err := walk(ctx, q, func(rows *sql.Rows) error {
		number, b, err := scanBlock(rows)
		if err != nil {
			return err
		}
		for i := range b.openings {
			o := &b.openings[i]
			if o.Visit == visit {
				found = append(found, OpeningRow{Opening: *o, Position: number*blockSize + int64(i), CardID: b.cards[o.Card]})
			}
			if o.Visit > visit && o.Timed && o.Class == usage.Visitor {
				return errStop
			}
		}
		return nil
	}, `
		SELECT number, count, body
		FROM block
		WHERE site = ?
		ORDER BY number`, site)
	return found, err
}
