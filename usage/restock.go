package usage

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// RestockIn is what a restock outlook is made from.
type RestockIn struct {
	Site     Site
	Coverage []Stretch // as in Derived
	Visits   []int64   // Unix s at which timed visits begin, ascending; see store.Store.VisitTimes
	Calls    []ServiceCall
	Hours    int   // length of the window, 2 to 4; 0 for 3
	Weeks    int   // how many weeks back the window is looked for; 0 for 52
	Now      int64 // Unix s
}

// WeekWindow is some civil hours of the week on end.
type WeekWindow struct {
	Weekday int // ISO weekday of its first hour, 1 = Monday
	Hour    int // 0 to 23
	Hours   int // its length; it may run past midnight
}

// RestockForecast is what can be said of when to fill a shelf.
type RestockForecast struct {
	Busiest *WeekWindow // nil: too little was recorded
	Rate    *Estimate   // visits an hour in it, free of the luck of having been chosen
	Looks   *Estimate   // the same as it looks in the weeks that it was chosen by
	Mean    *Estimate   // visits an hour, all of the week
	Clear   bool        // the window stands out: even and odd weeks agree on it, and its low limit is above the mean

	Books *BookForecast // nil: books were not counted at two service calls
}

// BookForecast is what counts of books say.
type BookForecast struct {
	Spans     int       // pairs of service calls with counts
	Gone      int64     // books gone in them, less those that were left
	Visits    float64   // visits in them
	PerVisit  *Estimate // books gone a visit
	CountedAt int64     // Unix s of the last count
	Counted   int32     // books on the shelf then
	Left      *Estimate // books on the shelf now
	Empty     DateRange // when the shelf is likely to be empty; all nil: not within a year
}

// RestockOutlook returns when to restock a site.
//
// The busiest window is the one with the highest low limit of all 168 that begin at a
// full hour. The busiest of many looks busier than it is, by the luck of having been
// chosen; so Rate is measured in weeks that had no part in the choice: the window
// that even ISO weeks choose in odd ones, and the other way about, added up.
// (Two-fold cross-validation; common practice, no source.)
//
// Errors are those of LoadZone.
func RestockOutlook(in RestockIn) (*RestockForecast, error) {
	zone, err := LoadZone(in.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("restock of site %s: %w", in.Site.Code, err)
	}
	if in.Hours == 0 {
		in.Hours = 3
	}
	in.Hours = min(max(in.Hours, 1), 24)
	if in.Weeks <= 0 {
		in.Weeks = 52
	}
	f := &RestockForecast{}
	f.busiest(in, newWeekHalves(zone, in))
	if f.Books, err = bookForecast(in, zone); err != nil {
		return nil, err
	}
	return f, nil
}

// weekHalves are visits and exposure by hour of the week, in even and in odd weeks.
type weekHalves struct {
	visits, seconds [2][HoursOfWeek]float64
	days            [2][]Day
}

// newWeekHalves sorts the last weeks of recording.
func newWeekHalves(z *Zone, in RestockIn) *weekHalves {
	end := int64(math.MinInt64)
	for _, s := range in.Coverage {
		if s.Kind == Recording {
			end = max(end, min(s.To, in.Now))
		}
	}
	from := end - int64(in.Weeks)*weekSeconds
	var late []Stretch
	for _, s := range in.Coverage {
		if s.Kind == Recording && s.To > from && s.From < end {
			late = append(late, Stretch{max(s.From, from), min(s.To, end), Recording})
		}
	}
	h := &weekHalves{}
	e := newExpectation(z, late, in.Visits)
	for i := range e.slots {
		s := &e.slots[i]
		date := e.days[s.day].date
		half := int(date+3) / daysOfWeek & 1 // 1970-01-01 was a Thursday: weeks change on Monday
		h.visits[half][s.cell] += float64(s.visits)
		h.seconds[half][s.cell] += float64(s.seconds)
		if n := len(h.days[half]); n == 0 || h.days[half][n-1].Date != date {
			h.days[half] = append(h.days[half], Day{Date: date})
		}
		d := &h.days[half][len(h.days[half])-1]
		d.Visits, d.ExposureS = d.Visits+s.visits, d.ExposureS+s.seconds
	}
	return h
}

// window sums a window of some halves.
func (h *weekHalves) window(start, hours int, halves ...int) (visits, seconds float64) {
	for _, half := range halves {
		for k := range hours {
			c := (start + k) % HoursOfWeek
			visits += h.visits[half][c]
			seconds += h.seconds[half][c]
		}
	}
	return visits, seconds
}

// choose returns the window with the highest low limit in some halves; −1 for none.
func (h *weekHalves) choose(hours int, phi float64, halves ...int) int {
	best, at := 0.0, -1
	for start := range HoursOfWeek {
		n, s := h.window(start, hours, halves...)
		if s <= 0 || n <= 0 {
			continue
		}
		if low, _ := DispersedLimits(n, phi, Confidence); low/s > best {
			best, at = low/s, start
		}
	}
	return at
}

// busiest enters the busiest window and its rates.
func (f *RestockForecast) busiest(in RestockIn, h *weekHalves) {
	spread := DispersionOf(h.days[0]).With(DispersionOf(h.days[1]))
	all, total := h.window(0, HoursOfWeek, 0, 1)
	if total <= 0 {
		return
	}
	rate := func(n, s float64) *Estimate {
		low, high := DispersedLimits(n, spread.At(n/max(s, 1)*float64(in.Hours)*hourSeconds), Confidence)
		return &Estimate{n / s * hourSeconds, low / s * hourSeconds, high / s * hourSeconds, Confidence}
	}
	f.Mean = rate(all, total)
	phi := spread.At(all / total * float64(in.Hours) * hourSeconds)
	at := h.choose(in.Hours, phi, 0, 1)
	if at < 0 {
		return
	}
	f.Busiest = &WeekWindow{Weekday: at/24 + 1, Hour: at % 24, Hours: in.Hours}
	f.Looks = rate(h.window(at, in.Hours, 0, 1))
	even, odd := h.choose(in.Hours, phi, 0), h.choose(in.Hours, phi, 1)
	if even < 0 || odd < 0 {
		return
	}
	n, s := h.window(even, in.Hours, 1)
	m, r := h.window(odd, in.Hours, 0)
	if s+r <= 0 {
		return
	}
	f.Rate = rate(n+m, s+r)
	f.Clear = overlap(even, odd, in.Hours) && f.Rate.Low > f.Mean.Value
}

// overlap reports whether two windows of the week share an hour.
func overlap(a, b, hours int) bool {
	apart := (a - b + HoursOfWeek) % HoursOfWeek
	return apart < hours || HoursOfWeek-apart < hours
}

// bookVariance is the variance of books gone a visit until counts have shown it: most
// people take one, leave one, or both. Common practice, no source.
const bookVariance = 1.5

// bookHorizon is how many days ahead a shelf's end is looked for.
const bookHorizon = 366

// bookSpan is the time between two counts of books.
type bookSpan struct{ gone, visits float64 }

// bookForecast works out what counts of books say; nil with fewer than two counts
// with visits between them.
//
// Books gone a visit is g = Σ gone / Σ visits. The books gone in V visits are taken to
// have a variance of s²V, with s² from the spans themselves and bookVariance counting
// as one more, so that g has a variance of s²/ΣV. The shelf is empty when
// g·V + e·√(V²·var g + s²V) comes to what was on it, with e standard normal and V as
// uncertain as visits ahead are. (First-order error propagation; common practice, no
// source.)
func bookForecast(in RestockIn, z *Zone) (*BookForecast, error) {
	counts := shelfCounts(in.Calls, in.Now)
	if len(counts) < 2 {
		return nil, nil
	}
	u, err := visitUse(in, z)
	if err != nil || u == nil {
		return nil, err
	}
	d := u.drain(0, 0, 0, func(i int) (float64, float64) { return u.openings[i], 0 })
	visitsBy := func(at int64) float64 { return d.at(u.at(at), expected) }
	var spans []bookSpan
	var sum bookSpan
	for i := 1; i < len(counts); i++ {
		from, to := counts[i-1], counts[i]
		s := bookSpan{
			gone:   float64(*from.BooksNow) + booksBrought(in.Calls, from.At, to.At) - float64(*to.BooksNow),
			visits: visitsBy(to.At) - visitsBy(from.At),
		}
		if s.visits > 0 {
			spans, sum = append(spans, s), bookSpan{sum.gone + s.gone, sum.visits + s.visits}
		}
	}
	if len(spans) == 0 {
		return nil, nil
	}
	last := counts[len(counts)-1]
	b := &BookForecast{
		Spans: len(spans), Gone: int64(math.Round(sum.gone)), Visits: sum.visits,
		CountedAt: last.At, Counted: *last.BooksNow, Empty: DateRange{Level: Confidence},
	}
	shelf := float64(b.Counted) + booksBrought(in.Calls, last.At, in.Now)
	b.run(booksGone(spans, sum), shelf, u.drain(u.at(last.At), 0, 0, func(i int) (float64, float64) { return u.openings[i], 0 }))
	return b, nil
}

// shelfCounts returns the calls at which the books on the shelf were counted, by time.
func shelfCounts(calls []ServiceCall, now int64) []ServiceCall {
	var counts []ServiceCall
	for _, c := range calls {
		if c.BooksNow != nil && c.At > 0 && c.At <= now {
			counts = append(counts, c)
		}
	}
	sort.SliceStable(counts, func(i, k int) bool { return counts[i].At < counts[k].At })
	return counts
}

// booksBrought returns the books put in after one instant and up to another.
func booksBrought(calls []ServiceCall, from, to int64) float64 {
	sum := 0.0
	for _, c := range calls {
		if c.BooksIn != nil && c.At > from && c.At <= to {
			sum += float64(*c.BooksIn)
		}
	}
	return sum
}

// visitUse lays out the visits of a site as doorUse lays out openings.
func visitUse(in RestockIn, z *Zone) (*doorUse, error) {
	tally := NewDoorTally(z)
	for _, at := range in.Visits {
		tally.Add(&Opening{At: at, Timed: true})
	}
	var days []Day
	for _, d := range ExposureOf(z, in.Coverage).Days {
		days = append(days, Day{Date: d.Date, ExposureS: d.Seconds})
	}
	return newDoorUse(PowerIn{Site: in.Site, Doors: tally.Days(days), Coverage: in.Coverage, Now: in.Now},
		func(openings, _ float64) float64 { return openings })
}

// bookLaw is the law of the books gone in some visits.
type bookLaw struct {
	perVisit float64
	variance float64 // of perVisit
	noise    float64 // s², the variance of one visit
}

func booksGone(spans []bookSpan, sum bookSpan) bookLaw {
	l := bookLaw{perVisit: sum.gone / sum.visits}
	l.noise = bookVariance
	for _, s := range spans {
		off := s.gone - l.perVisit*s.visits
		l.noise += off * off / s.visits
	}
	l.noise /= float64(len(spans))
	l.variance = l.noise / sum.visits
	return l
}

// visitsTo returns after how many visits so many books are gone, e standard
// deviations off; +Inf for never. It is the root of
// (S − gV)² = e²(V²·var g + s²V) on the side of e.
func (l bookLaw) visitsTo(books, e float64) float64 {
	g := l.perVisit
	if books <= 0 {
		return 0
	}
	a, b := g*g-e*e*l.variance, 2*g*books+e*e*l.noise
	if e <= 0 && (g <= 0 || a <= 0) {
		return math.Inf(1)
	}
	root := math.Sqrt(max(0, b*b-4*a*books*books))
	switch {
	case a == 0 && b > 0:
		return books * books / b
	case a == 0:
		return math.Inf(1)
	case e < 0:
		return (b + root) / (2 * a)
	}
	if v := (b - root) / (2 * a); v > 0 {
		return v
	}
	return math.Inf(1)
}

// run enters what is left of a shelf, and when it will be empty. d counts the visits
// since the shelf was counted.
func (b *BookForecast) run(l bookLaw, shelf float64, d *drain) {
	z := distuv.UnitNormal.Quantile(1 - (1-Confidence)/2)
	sd := math.Sqrt(l.variance)
	b.PerVisit = &Estimate{l.perVisit, l.perVisit - z*sd, l.perVisit + z*sd, Confidence}
	var times, left []weighted
	for use := range normalLevels {
		visits := d.at(d.u.now, use)
		for _, e := range normalLevels {
			t := d.when(l.visitsTo(shelf, e), use)
			if t > d.u.now+bookHorizon {
				t = math.Inf(1)
			}
			times = append(times, weighted{t, 1})
			gone := l.perVisit*visits + e*math.Sqrt(visits*visits*l.variance+visits*l.noise)
			left = append(left, weighted{max(0, shelf-gone), 1})
		}
	}
	p := []float64{(1 - Confidence) / 2, 0.5, 1 - (1-Confidence)/2}
	q := quantiles(times, p...)
	b.Empty.Low, b.Empty.Likely, b.Empty.High = d.u.dateAt(q[0]), d.u.dateAt(q[1]), d.u.dateAt(q[2])
	q = quantiles(left, p...)
	b.Left = &Estimate{Value: q[1], Low: q[0], High: q[2], Level: Confidence}
}
