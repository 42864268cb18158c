package usage

import "fmt"

// Side is one of the things that are set side by side: a season of a site. The
// season must be of the site's hemisphere.
type Side struct {
	Site   Site
	Season Season
	Data   SeasonData
}

// RatioBetween returns the ratio of a's visits a day to b's, each estimated by
// weekday strata as in SeasonFiguresOf, with the limits of RateRatio.
//
// Two seasons of the same name (two springs, at one site or at two, in one year or in
// several) are compared on the part of the season that both have between install date
// and last coverage, counted in days from the season's first; shared says that. Seasons
// of different names are compared whole, each as far as its own coverage goes. Visits
// whose time is not known are left out.
//
// φ is that of the days of both parts together, each given its own weekdays. It is
// taken to be common to both sides; sides are taken to be independent. Where either
// has no coverage, or both share no day, the answer is nil. The error is that of
// LoadZone.
func RatioBetween(a, b Side) (ratio *Estimate, shared bool, err error) {
	shared = a.Season.Word() == b.Season.Word()
	p, ok, err := a.part()
	if err != nil || !ok {
		return nil, shared, err
	}
	q, ok, err := b.part()
	if err != nil || !ok {
		return nil, shared, err
	}
	if shared {
		from, to := max(p.from, q.from), min(p.to, q.to)
		if from > to {
			return nil, shared, nil
		}
		p.from, p.to, q.from, q.to = from, to, from, to
	}
	spread := DispersionOf(p.days()).With(DispersionOf(q.days()))
	t, u := p.total(0, spread), q.total(0, spread)
	if t == nil || u == nil {
		return nil, shared, nil
	}
	return t.RatioTo(*u, Confidence), shared, nil
}

// part returns the part of the side's season from the install date to the last
// coverage; ok is false where it has no coverage.
func (s Side) part() (p seasonPart, ok bool, err error) {
	zone, err := LoadZone(s.Site.Zone)
	if err != nil {
		return p, false, fmt.Errorf("season %s of site %s: %w", s.Season, s.Site.Code, err)
	}
	p = seasonPart{site: s.Site, zone: zone, season: s.Season, data: s.Data, to: s.Season.Days() - 1}
	until, ok := p.covered()
	if !ok {
		return p, false, nil
	}
	p.to = int(until - s.Season.First())
	p.from = min(max(0, int(s.Site.InstalledOn-s.Season.First())), p.to)
	return p, true, nil
}
