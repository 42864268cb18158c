package usage

import "fmt"

// SeasonFigures are a site's figures for one season, or a network's. Counted and
// estimated are never the same thing: Counted is what the logger wrote.
//
// They go as far as coverage does. A season still running, or one whose last cards
// have not come, has figures up to Until and no further, and all of Days, Estimated
// and PerDay mean that part.
type SeasonFigures struct {
	Code         string    `json:"code,omitempty"` // empty: a network
	Complete     bool      `json:"complete"`       // coverage reaches the season's last date
	Until        *Date     `json:"until"`          // last date that is in the figures; null without coverage
	Counted      int64     `json:"counted"`        // visits, those of Untimed included
	Untimed      int64     `json:"untimed"`        // visits of which only the season is known
	UntimedAbout int64     `json:"untimed_about"`  // visits that may be of this season or not; not in Counted
	CoveredDays  float64   `json:"covered_days"`   // exposure in days of 24 h
	Days         int       `json:"days"`           // dates of the season at which the box stood, up to Until
	Estimated    *Estimate `json:"estimated"`      // visits on all of Days; null without exposure
	PerDay       *Estimate `json:"per_day"`
	RatioToLast  *Estimate `json:"ratio_to_last_year"`    // of PerDay, on the dates that both years have
	DarkShare    *Estimate `json:"dark_share"`            // of timed visits
	OpenS        int64     `json:"open_s"`                // engaged seconds
	PerWeekS     *float64  `json:"open_s_per_week"`       // engaged seconds in seven days of exposure
	WeekOpenS    *Estimate `json:"-"`                     // the same with its limits; nil without exposure or any open time
	MedianOpenS  *Estimate `json:"median_open_s"`         // a visit
	LowerOpenS   *float64  `json:"lower_quartile_open_s"` // null without a median
	UpperOpenS   *float64  `json:"upper_quartile_open_s"`
	UnknownOpen  int64     `json:"visits_without_seconds"`
	Phi          float64   `json:"dispersion"` // of the sum of daily visits, as the limits used it: 1 at least

	total      *Total
	this, last *Total // on the dates that both years have
	engaged    Engagement
	dark       int64
	timed      int64
	openSpread float64 // variance of OpenS, s²
}

// SeasonData is what SeasonFiguresOf looks at, of all time: a Derived's Days,
// Opens and Untimed.
type SeasonData struct {
	Days    []Day // ascending
	Opens   []MonthOpen
	Untimed []Bracket
}

// SeasonFiguresOf returns the figures of a season at a site. The season must be of
// the site's hemisphere.
//
// The total is DispersedTotal by weekday with the season's own dispersion; PerDay is the
// total over its length. Visits whose time is not known, though their season is,
// are counted, and shared out over the weekdays as the others lie. The ratio to
// last year compares the dates that both seasons have between the site's first date
// and Until, with the dispersion of both.
//
// The error is that of LoadZone.
func SeasonFiguresOf(site Site, s Season, data SeasonData) (SeasonFigures, error) {
	zone, err := LoadZone(site.Zone)
	if err != nil {
		return SeasonFigures{}, fmt.Errorf("season %s of site %s: %w", s, site.Code, err)
	}
	f := SeasonFigures{Code: site.Code, Phi: 1}
	p := seasonPart{site: site, zone: zone, season: s, data: data}
	p.to = s.Days() - 1
	until, ok := p.covered()
	if !ok {
		return f, nil
	}
	p.to = int(until - s.First())
	p.from = min(max(0, int(site.InstalledOn-s.First())), p.to)
	f.Until, f.Complete, f.Days = &until, until == s.Last(), p.to-p.from+1
	f.fill(p)
	return f, nil
}

// fill enters the figures of the season's part p.
func (f *SeasonFigures) fill(p seasonPart) {
	from, to := p.zone.StartOfDay(p.season.First()), p.zone.StartOfDay(p.season.Last()+1)
	_, f.Untimed = UntimedWithin(p.data.Untimed, from, to)
	_, f.UntimedAbout = UntimedAbout(p.data.Untimed, from, to)
	exposureS := int64(0)
	for _, d := range p.days() {
		f.timed += int64(d.Visits)
		f.dark += int64(d.Dark)
		f.OpenS += d.OpenS
		exposureS += int64(d.ExposureS)
	}
	f.Counted = f.timed + f.Untimed
	f.CoveredDays = float64(exposureS) / daySeconds
	spread := DispersionOf(p.days())
	f.Phi = WholeDispersion(p.days(), spread)
	f.total = p.total(f.Untimed, spread)
	f.engaged = EngagementOf(opensIn(p.data.Opens, p.season))
	f.openSpread = f.engaged.spread(float64(f.OpenS), f.Phi)
	f.compare(p, spread)
	f.finish()
}

// compare enters the totals that the ratio to last year is made of.
func (f *SeasonFigures) compare(p seasonPart, spread Dispersion) {
	last := p
	last.season = p.season.LastYear()
	last.to = last.season.Days() - 1
	until, ok := last.covered()
	if !ok {
		return
	}
	from := max(p.from, int(p.site.InstalledOn-last.season.First()))
	to := min(p.to, int(until-last.season.First()))
	p.from, p.to, last.from, last.to = from, to, from, to
	if from > to {
		return
	}
	spread = spread.With(DispersionOf(last.days()))
	f.this, f.last = p.total(0, spread), last.total(0, spread)
}

// finish works out the estimates from the sums.
func (f *SeasonFigures) finish() {
	if f.total != nil {
		f.Estimated = f.total.Estimate(Confidence)
		days := float64(f.total.seasonS) / daySeconds
		f.PerDay = &Estimate{f.Estimated.Value / days, f.Estimated.Low / days, f.Estimated.High / days, Confidence}
	}
	f.RatioToLast = nil
	if f.this != nil && f.last != nil {
		f.RatioToLast = f.this.RatioTo(*f.last, Confidence)
	}
	f.DarkShare = Share(f.dark, f.timed, Confidence)
	f.PerWeekS, f.WeekOpenS = nil, nil
	if f.CoveredDays > 0 {
		week := float64(f.OpenS) / f.CoveredDays * 7
		f.PerWeekS, f.WeekOpenS = &week, openRate(float64(f.OpenS), f.openSpread, f.CoveredDays/7)
	}
	if e := f.engaged; e.Median != nil {
		f.MedianOpenS, f.LowerOpenS, f.UpperOpenS = e.Median, &e.Lower, &e.Upper
	}
	f.UnknownOpen = f.engaged.Unknown
}

// NetworkFigures returns the figures of all sites together. Totals and their
// variances add up, since sites are taken to be independent; sites without exposure
// add what they counted and no more. The ratio to last year is that of the sites
// that have both. Phi is the largest of the sites', Until the earliest, and Complete
// says that all sites with coverage are.
func NetworkFigures(sites []SeasonFigures) SeasonFigures {
	n := SeasonFigures{Phi: 1, Complete: true}
	for i := range sites {
		n.join(&sites[i])
	}
	n.Complete = n.Complete && n.Until != nil
	n.engaged = n.engaged.finished()
	n.finish()
	return n
}

func (f *SeasonFigures) join(s *SeasonFigures) {
	f.Counted += s.Counted
	f.Untimed += s.Untimed
	f.UntimedAbout += s.UntimedAbout
	f.CoveredDays += s.CoveredDays
	f.Days += s.Days
	f.OpenS += s.OpenS
	f.openSpread += s.openSpread
	f.dark, f.timed = f.dark+s.dark, f.timed+s.timed
	f.engaged.join(&s.engaged)
	f.Phi = max(f.Phi, s.Phi)
	if s.Until != nil {
		f.Complete = f.Complete && s.Complete
		if f.Until == nil || *s.Until < *f.Until {
			f.Until = s.Until
		}
	}
	f.total = bothTotals(f.total, s.total)
	if s.this != nil && s.last != nil {
		f.this, f.last = bothTotals(f.this, s.this), bothTotals(f.last, s.last)
	}
}

func bothTotals(a, b *Total) *Total {
	if a == nil || b == nil {
		if a == nil {
			return b
		}
		return a
	}
	sum := a.with(*b)
	return &sum
}

// seasonPart is the days from to to of a season, counted from 0, both included.
type seasonPart struct {
	site     Site
	zone     *Zone
	season   Season
	data     SeasonData
	from, to int
}

// days returns the days of the part that have a row.
func (p seasonPart) days() []Day {
	return DaysBetween(p.data.Days, p.season.First()+Date(p.from), p.season.First()+Date(p.to))
}

// covered returns the last date of the season that is not beyond all coverage;
// false where the season has none.
func (p seasonPart) covered() (Date, bool) {
	for _, d := range p.days() {
		if d.ExposureS > 0 {
			_, last := p.ends()
			return min(last, p.season.Last()), true
		}
	}
	return 0, false
}

// total estimates the visits of the part, to which so many untimed ones belong.
func (p seasonPart) total(untimed int64, spread Dispersion) *Total {
	var strata [7]Stratum
	days, timed := p.days(), 0.0
	for _, d := range days {
		s := &strata[d.Date.Weekday()-1]
		s.Visits += float64(d.Visits)
		s.ExposureS += int64(d.ExposureS)
		timed += float64(d.Visits)
	}
	first := p.season.First()
	for d := first + Date(p.from); d <= first+Date(p.to); d++ {
		for len(days) > 0 && days[0].Date < d {
			days = days[1:]
		}
		exposure := int64(0)
		if len(days) > 0 && days[0].Date == d {
			exposure = int64(days[0].ExposureS)
		}
		strata[d.Weekday()-1].SeasonS += p.length(d, exposure)
	}
	p.shareOut(&strata, float64(untimed), timed)
	return DispersedTotal(strata, spread)
}

// length returns how long a date is in the season's part: no longer than its
// exposure where that is the first or the last of all.
func (p seasonPart) length(d Date, exposure int64) int64 {
	whole := p.zone.StartOfDay(d+1) - p.zone.StartOfDay(d)
	first, last := p.ends()
	if d == first && d <= p.site.InstalledOn || d == last {
		return min(whole, exposure)
	}
	return max(whole, exposure)
}

// ends returns the first and the last date of all with exposure.
func (p seasonPart) ends() (first, last Date) {
	days := p.data.Days
	a, b := 0, len(days)-1
	for a < b && days[a].ExposureS == 0 {
		a++
	}
	for b > a && days[b].ExposureS == 0 {
		b--
	}
	return days[a].Date, days[b].Date
}

// shareOut adds untimed visits to the weekdays as the timed ones lie, or as
// exposure does where there is none.
func (p seasonPart) shareOut(strata *[7]Stratum, untimed, timed float64) {
	exposure := int64(0)
	for _, s := range strata {
		exposure += s.ExposureS
	}
	for i := range strata {
		s := &strata[i]
		switch {
		case timed > 0:
			s.Visits *= 1 + untimed/timed
		case exposure > 0:
			s.Visits += untimed * float64(s.ExposureS) / float64(exposure)
		}
	}
}

func opensIn(opens []MonthOpen, s Season) []MonthOpen {
	var in []MonthOpen
	for i := range opens {
		if s.Holds(opens[i].Month) {
			in = append(in, opens[i])
		}
	}
	return in
}
