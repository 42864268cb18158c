package usage

import (
	"fmt"
	"slices"
)

// Derive makes everything of a site's logbook that usage knows how to make: it
// sorts its openings into classes, joins them into visits, measures its exposure
// and tallies both in the civil time of the site. The same site and logbook always
// give the same answer, and neither is changed.
//
// A visit belongs to the civil date and hour in which its first opening (in the
// order of the logbook) begins; an opening's seconds belong to the date on which it
// begins, though it may stay open past midnight. In an hour that comes twice,
// visits and exposure of both passes fall into the same cell. Untimed openings are
// counted in Totals and Untimed alone.
//
// An opening that may have been made at one of the logbook's service calls is of
// class service. A quiet stretch that a ruling calls an outage is no coverage; what
// the finding says of it, and whether there is one, does not hang on the ruling.
//
// The error is that of LoadZone, for a time zone that is not known.
func Derive(site Site, lb Logbook) (Derived, error) {
	zone, err := LoadZone(site.Zone)
	if err != nil {
		return Derived{}, fmt.Errorf("derive site %s: %w", site.Code, err)
	}
	t := newTallier(site, zone, lb.Calls)
	openings := slices.Clone(lb.Openings)
	for i := range openings {
		t.add(&openings[i])
	}
	t.enterOpen(t.visit)
	t.totals.Visits = int64(t.joiner.visits)
	quiet := quietStretches(zone, lb, openings)
	coverage := CutOutages(lb.Stretches, ruledOut(quiet))
	t.addExposure(ExposureOf(zone, coverage))
	days := t.days.sorted(func(d Day) Date { return d.Date })
	noticed := append(quiet, changeFinding(zone, days, quiet)...)
	noticed = append(noticed, doorFindings(site, zone, openings)...)
	for i := range noticed {
		noticed[i].Ruling = RulingFor(lb.Rulings, noticed[i].Key)
	}
	return Derived{
		Openings: openings,
		Coverage: coverage,
		Days:     days,
		Months:   t.months.sorted(func(m MonthTally) Month { return m.Month }),
		Totals:   t.totals,
		Findings: append(slices.Clone(lb.Findings), noticed...),
		Opens:    t.opens.sorted(func(m MonthOpen) Month { return m.Month }),
		Untimed:  bracketsOf(openings),
	}, nil
}

// tallier takes a logbook's openings one by one, in order.
type tallier struct {
	limits Thresholds
	calls  serviceTimes
	cursor *Cursor
	sun    *Sun
	joiner joiner
	days   book[Date, Day]
	months book[Month, MonthTally]
	opens  book[Month, MonthOpen]
	visit  visitOpen
	totals Totals
	date   Date // month is the month of date
	month  Month
}

func newTallier(site Site, zone *Zone, calls []ServiceCall) *tallier {
	return &tallier{
		limits: site.Thresholds,
		calls:  serviceTimesOf(calls),
		cursor: zone.Cursor(),
		sun:    NewSun(site.Latitude, site.Longitude),
		joiner: joiner{joinS: int64(site.Thresholds.JoinS)},
		days:   newBook(func(d Date) Day { return Day{Date: d} }),
		months: newBook(func(m Month) MonthTally { return MonthTally{Month: m} }),
		opens:  newBook(func(m Month) MonthOpen { return MonthOpen{Month: m} }),
		month:  MonthOf(0),
	}
}

func (t *tallier) addExposure(e Exposure) {
	t.totals.ExposureS = e.TotalS
	for _, d := range e.Days {
		t.days.row(d.Date).ExposureS = d.Seconds
	}
	for i := range e.Months {
		t.months.row(e.Months[i].Month).ExposureS = e.Months[i].Seconds
	}
}

// add classes and numbers an opening and counts it.
func (t *tallier) add(o *Opening) {
	o.Class = Classify(*o, t.limits)
	if t.calls.holds(o) {
		o.Class = Service
	}
	begins := t.joiner.number(o)
	engaged := EngagedS(*o, t.limits)
	unknown := o.Class == Visitor && o.OpenS < 0
	t.addTotals(o, engaged, unknown)
	if !o.Timed {
		return
	}
	date, second := t.cursor.Civil(o.At)
	day := t.days.row(date)
	day.Openings++
	day.OpenS += engaged
	if unknown {
		day.UnknownS++
	}
	if begins {
		t.addVisit(day, int(second/hourSeconds), o.At)
	}
	t.addOpen(o, begins, engaged)
}

func (t *tallier) addTotals(o *Opening, engaged int64, unknown bool) {
	n := &t.totals
	n.Openings++
	*[...]*int64{Visitor: &n.Visitor, Service: &n.Service, Rattle: &n.Rattle, Ajar: &n.Ajar}[o.Class]++
	n.OpenS += engaged
	if unknown {
		n.UnknownS++
	}
	if !o.Timed {
		n.Untimed++
		return
	}
	if n.Openings-n.Untimed == 1 {
		n.FirstAt, n.LastAt = o.At, o.At
	}
	n.FirstAt, n.LastAt = min(n.FirstAt, o.At), max(n.LastAt, o.At)
}

// addVisit counts a visit that begins at an instant in an hour of day.
func (t *tallier) addVisit(day *Day, hour int, at int64) {
	day.Visits++
	switch t.sun.Light(at) {
	case Dark:
		day.Dark++
	case Twilight:
		day.Twilight++
	}
	if day.Date != t.date {
		t.date, t.month = day.Date, MonthOf(day.Date)
	}
	t.months.row(t.month).Visits[hourOfWeek(day.Date, hour)]++
}
