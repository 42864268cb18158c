package usage

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// VisitTime is when a visit began, and how well that is known.
type VisitTime struct {
	At     int64 // Unix s
	ErrorS int32
}

// SortVisitTimes puts visits in order of time: where a clock stepped back, the order of
// a logbook is another.
func SortVisitTimes(visits []VisitTime) {
	slices.SortStableFunc(visits, func(a, b VisitTime) int { return cmp.Compare(a.At, b.At) })
}

// DaylightShare is how the timed visits of a season, or of all time, lie in the light.
type DaylightShare struct {
	Season     *Season // nil: all time
	Visits     int64
	Counts     [3]int64     // by Light
	Shares     [3]*Estimate // of Visits, by Light; nil without visits
	Phi        float64      // dispersion of the share after dark over weeks, as the limits used it: 1 at least
	EitherSide int64        // visits whose error reaches over a change of light
}

// DaylightShares returns how visits lie in daylight, twilight and dark, season by
// season, ascending, and last of all time. visits must be ascending. Errors are those
// of LoadZone.
//
// The limits are Wilson's, made wider where the share after dark varies between weeks
// that follow each other by more than chance: that of n visits is then as good as one
// of n/φ. What changes slowly through a season is no dispersion.
func DaylightShares(site Site, visits []VisitTime) ([]DaylightShare, error) {
	zone, err := LoadZone(site.Zone)
	if err != nil {
		return nil, fmt.Errorf("daylight at site %s: %w", site.Code, err)
	}
	t := daylightTally{site: site, sun: NewSun(site.Latitude, site.Longitude), cursor: zone.Cursor()}
	for _, v := range visits {
		t.add(v)
	}
	return t.shares(), nil
}

// nightWeek is the visits of a week and those of them after dark.
type nightWeek struct{ visits, dark float64 }

// seasonLight is a season with its weeks.
type seasonLight struct {
	DaylightShare
	weeks map[Date]nightWeek // by Monday
}

type daylightTally struct {
	site    Site
	sun     *Sun
	cursor  *Cursor
	seasons []seasonLight
}

func (t *daylightTally) add(v VisitTime) {
	date, _ := t.cursor.Civil(v.At)
	season := SeasonOf(date, HemisphereOf(t.site.Latitude))
	i := slices.IndexFunc(t.seasons, func(s seasonLight) bool { return *s.Season == season })
	if i < 0 {
		i = len(t.seasons)
		t.seasons = append(t.seasons, seasonLight{DaylightShare{Season: &season}, map[Date]nightWeek{}})
	}
	s := &t.seasons[i]
	light := t.sun.Light(v.At)
	s.Visits++
	s.Counts[light]++
	if t.straddles(v, light) {
		s.EitherSide++
	}
	monday := date - Date(date.Weekday()-1)
	w := s.weeks[monday]
	w.visits++
	if light == Dark {
		w.dark++
	}
	s.weeks[monday] = w
}

// straddles reports whether the light was another one within the error of a time. It
// looks at both ends, and for large errors every half hour between them.
func (t *daylightTally) straddles(v VisitTime, light Light) bool {
	const step = hourSeconds / 2
	e := int64(v.ErrorS)
	if e <= 0 {
		return false
	}
	if e >= daySeconds/2 {
		return t.changes(v.At-daySeconds/2, v.At+daySeconds/2, step, light)
	}
	return t.changes(v.At-e, v.At+e, step, light) || t.sun.Light(v.At+e) != light
}

func (t *daylightTally) changes(from, to, step int64, light Light) bool {
	for at := from; at <= to; at += step {
		if t.sun.Light(at) != light {
			return true
		}
	}
	return false
}

// shares finishes the seasons and adds all time.
func (t *daylightTally) shares() []DaylightShare {
	slices.SortFunc(t.seasons, func(a, b seasonLight) int { return cmp.Compare(a.Season.Start, b.Season.Start) })
	all := seasonLight{weeks: map[Date]nightWeek{}}
	var out []DaylightShare
	for i := range t.seasons {
		s := &t.seasons[i]
		for monday, w := range s.weeks {
			sum := all.weeks[monday]
			all.weeks[monday] = nightWeek{sum.visits + w.visits, sum.dark + w.dark}
		}
		all.Visits += s.Visits
		all.EitherSide += s.EitherSide
		for l, n := range s.Counts {
			all.Counts[l] += n
		}
		out = append(out, s.finish())
	}
	return append(out, all.finish())
}

func (s *seasonLight) finish() DaylightShare {
	s.Phi = shareDispersion(s.weeks)
	for l, n := range s.Counts {
		s.Shares[l] = DispersedShare(n, s.Visits, s.Phi, Confidence)
	}
	return s.DaylightShare
}

// shareDispersion returns Pearson's χ²/DF of the share after dark between pairs of
// weeks that follow each other, 1 at least; 1 with fewer than three such pairs.
func shareDispersion(weeks map[Date]nightWeek) float64 {
	var mondays []Date
	for m := range weeks {
		mondays = append(mondays, m)
	}
	slices.Sort(mondays)
	chi2, df := 0.0, 0.0
	for i := 0; i+1 < len(mondays); i += 2 {
		a, b := weeks[mondays[i]], weeks[mondays[i+1]]
		p := (a.dark + b.dark) / (a.visits + b.visits)
		if p <= 0 || p >= 1 {
			continue
		}
		for _, w := range [2]nightWeek{a, b} {
			chi2 += (w.dark - w.visits*p) * (w.dark - w.visits*p) / (w.visits * p * (1 - p))
		}
		df++
	}
	if df < 3 {
		return 1
	}
	return flooredPhi(chi2 / df)
}

// DispersedShare is Share with the limits of visits that vary by phi times what chance
// makes of them: WilsonLimits of x/φ in n/φ, φ floored at 1.
func DispersedShare(x, n int64, phi, level float64) *Estimate {
	e := Share(x, n, level)
	if phi = flooredPhi(phi); e == nil || phi == 1 {
		return e
	}
	z := distuv.UnitNormal.Quantile(1 - (1-level)/2)
	N, p := float64(n)/phi, e.Value
	middle := p + z*z/(2*N)
	half := z * math.Sqrt(p*(1-p)/N+z*z/(4*N*N))
	e.Low, e.High = max(0, (middle-half)/(1+z*z/N)), min(1, (middle+half)/(1+z*z/N))
	return e
}

// SunPoint is the sun at one of its four passages: the civil date and hour of the day
// at which it happens, 0 to 24.
type SunPoint struct {
	Date Date
	Hour float64
}

// SunYear is the sun over some dates: for each passage the points at which it
// happens, ascending. A date without a point has no such passage: polar day or night.
type SunYear struct {
	Dawn, Rise, Set, Dusk []SunPoint
}

// SunOver returns the sun's passages on the civil dates from first to last, both
// included. A sunset past midnight belongs to the date on which the clock then is.
// Errors are those of LoadZone.
func SunOver(site Site, first, last Date) (SunYear, error) {
	zone, err := LoadZone(site.Zone)
	if err != nil {
		return SunYear{}, fmt.Errorf("sun at site %s: %w", site.Code, err)
	}
	var y SunYear
	sun, cursor := NewSun(site.Latitude, site.Longitude), zone.Cursor()
	put := func(list *[]SunPoint, at int64) {
		if date, second := cursor.Civil(at); date >= first && date <= last {
			*list = append(*list, SunPoint{date, float64(second) / hourSeconds})
		}
	}
	for d := first - 1; d <= last+1; d++ {
		day := sun.On(zone, d)
		for _, p := range []struct {
			Passage
			up, down *[]SunPoint
		}{{day.Day, &y.Rise, &y.Set}, {day.Civil, &y.Dawn, &y.Dusk}} {
			if p.Kind == Normal || p.Kind == RisesOnly {
				put(p.up, p.Rise)
			}
			if p.Kind == Normal || p.Kind == SetsOnly {
				put(p.down, p.Set)
			}
		}
	}
	return y, nil
}

// HoursLight returns the light in the middle of each n-th part of a civil date, by
// the wall clock: the background of a chart of times. Errors are those of LoadZone.
func HoursLight(site Site, dates []Date, parts int) ([][]Light, error) {
	zone, err := LoadZone(site.Zone)
	if err != nil {
		return nil, fmt.Errorf("light at site %s: %w", site.Code, err)
	}
	sun, out := NewSun(site.Latitude, site.Longitude), make([][]Light, len(dates))
	for i, d := range dates {
		for k := range parts {
			wall := int64(d)*daySeconds + daySeconds*int64(2*k+1)/int64(2*parts)
			at, _, _ := zone.Resolve(wall)
			out[i] = append(out[i], sun.Light(at))
		}
	}
	return out, nil
}
