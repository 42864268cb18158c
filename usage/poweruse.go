package usage

import (
	"fmt"
	"math"
	"slices"
)

// What is assumed of use that has not been seen. Common practice, no source; how
// often date ranges made with them hold the truth is measured in powerforecast_test.go.
const (
	seasonReach = 3    // weeks on each side that a week of the year is taken from
	seasonDays  = 7    // days by which a week of the year is drawn towards the mean
	bridgeWeeks = 8    // in which the season of weeks never recorded goes back towards the mean
	levelDays   = 56   // recorded days that the level of late is taken from
	levelPrior  = 14   // days by which it is drawn towards that of all time
	unseenSD    = 0.4  // standard deviation of a week of the year that was never recorded
	seasonWeeks = 8    // ahead, from which on a season may differ by all of that
	yearSD      = 0.1  // by which a season differs from the same season of another year
	weeklySD    = 0.3  // of a week's use, until weeks have shown their own
	weeklyPrior = 4    // so many weeks are taken to have had it
	mostPersist = 0.8  // correlation of one week with the next, at most
	horizonDays = 5479 // 15 years: farther no date is given
	weeksOfYear = 53
	daysOfWeek  = 7
	pathsAhead  = 45       // ways in which use may go on that stand for all
	ajarMeanS   = 2 * 3600 // how long a door is left ajar, until some have shown it; as one more of them
)

// doorUse is what is asked of a logger by civil date: as it was recorded, and where
// nothing was recorded as it is to be expected.
type doorUse struct {
	zone     *Zone
	first    Date
	openings []float64 // by dates since first
	seconds  []float64 // of open door, left ajar or not known to be excepted
	ajar     []float64 // of doors left ajar
	powered  []float64 // share of the date in which the logger was not ruled out of order
	recorded int       // dates before the end of the records: those from here on are ahead
	now      float64   // dates since first, with the part of the day
	today    Date
	alive    float64 // the end of the last date with an opening, in dates since first

	ajarRate float64 // doors left ajar a day
	ajarS    float64 // mean seconds of one
	weekSD   float64 // relative, of a week, long-run: persistence is in it
	levelSD  float64 // relative, of the level of late
	seasonSD [weeksOfYear]float64
}

// newDoorUse lays out the use of a site from its first date to horizonDays from now.
// weigh makes of a day's openings and seconds what varies. It is nil without any
// recorded time.
func newDoorUse(in PowerIn, weigh func(openings, seconds float64) float64) (*doorUse, error) {
	zone, err := LoadZone(in.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("power of site %s: %w", in.Site.Code, err)
	}
	last := slices.IndexFunc(in.Doors, func(d DoorDay) bool { return d.ExposureS > 0 })
	if last < 0 {
		return nil, nil
	}
	u := &doorUse{zone: zone, first: min(in.Site.InstalledOn, in.Doors[0].Date)}
	for _, c := range in.Calls {
		if c.Did(CallBatteries) && c.At > 0 {
			date, _ := zone.Civil(c.At)
			u.first = min(u.first, date)
		}
	}
	var second int32
	u.today, second = zone.Civil(in.Now)
	u.first = max(u.first, u.today-horizonDays)
	u.now = float64(u.today-u.first) + float64(second)/daySeconds
	n := int(max(u.today-u.first, 0)) + horizonDays
	u.openings, u.seconds, u.ajar, u.powered = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	days := u.days(in.Doors)
	if !slices.ContainsFunc(days, func(d useDay) bool { return d.exposed > 0 }) {
		return nil, nil // all of it lies ahead of now
	}
	u.fill(in, days, weigh)
	return u, nil
}

// indexOf returns a date, and the part of it that is over, in dates since u.first.
func (u *doorUse) indexOf(d Date, second int32) float64 {
	return max(0, float64(d-u.first)+float64(second)/daySeconds)
}

// at returns an instant in dates since u.first.
func (u *doorUse) at(unix int64) float64 { return u.indexOf(u.zone.Civil(unix)) }

// week returns the week of the year of date i, 0 to 52.
func (u *doorUse) week(i int) int {
	d := u.first + Date(i)
	year, _, _ := d.YMD()
	return int(d-DateOf(year, 1, 1)) / daysOfWeek
}

// useDay is a recorded date.
type useDay struct {
	at                               int // dates since first
	openings, seconds, ajar, exposed float64
}

// fill works out what was recorded and what is to be expected.
func (u *doorUse) fill(in PowerIn, days []useDay, weigh func(openings, seconds float64) float64) {
	for i := range u.powered {
		u.powered[i] = 1
	}
	for _, d := range outageDays(u.zone, in.Coverage) {
		if i := int(d.Date - u.first); i >= 0 && i < len(u.powered) {
			u.powered[i] = max(0, 1-float64(d.Seconds)/daySeconds)
		}
	}
	var open, sec, exposed float64
	for _, d := range days {
		open, sec, exposed = open+d.openings, sec+d.seconds, exposed+d.exposed
	}
	u.leftAjar(in.Doors, exposed)
	m := useModel{days: days, mean: weigh(open/exposed, sec/exposed), weigh: weigh}
	m.fit(u)
	for i := range u.openings {
		level := m.season[u.week(i)]
		if i >= u.recorded {
			level *= m.level
		}
		u.openings[i], u.seconds[i], u.ajar[i] = level*open/exposed, level*sec/exposed, u.ajarRate*u.ajarS
	}
	u.enter(days, in.Untimed, sec/max(open, 1))
	u.weekSD, u.levelSD, u.seasonSD = m.weekSD, m.levelSD, m.seasonSD
}

// outageDays returns the seconds of each date that are ruled an outage.
func outageDays(z *Zone, coverage []Stretch) []DayExposure {
	var out []Stretch
	for _, s := range coverage {
		if s.Kind == Outage {
			out = append(out, Stretch{s.From, s.To, Recording})
		}
	}
	return ExposureOf(z, out).Days
}

// days returns the recorded dates, openings of unknown length taken to be as long as
// the others, and sets u.recorded and u.alive.
func (u *doorUse) days(doors []DoorDay) []useDay {
	var known, seconds float64
	for _, d := range doors {
		known += float64(d.Openings - d.Unknown - d.Ajar)
		seconds += float64(d.OpenS - d.AjarS)
	}
	mean := seconds / max(known, 1)
	var days []useDay
	for _, d := range doors {
		i := int(d.Date - u.first)
		if i < 0 || d.Date > u.today || d.ExposureS <= 0 && d.Openings == 0 {
			continue
		}
		days = append(days, useDay{
			i, float64(d.Openings), float64(d.OpenS-d.AjarS) + mean*float64(d.Unknown), float64(d.AjarS),
			min(1, float64(d.ExposureS)/daySeconds),
		})
		u.recorded = i + 1
		if d.Openings > 0 {
			u.alive = float64(i) + 1
		}
	}
	return days
}

// leftAjar sets how often a door is left ajar, and for how long. Half a door counts on
// top, since none so far does not mean never.
func (u *doorUse) leftAjar(doors []DoorDay, exposed float64) {
	n, seconds := 0.0, 0.0
	for _, d := range doors {
		n, seconds = n+float64(d.Ajar), seconds+float64(d.AjarS)
	}
	u.ajarRate, u.ajarS = (n+0.5)/max(exposed, 1), (seconds+ajarMeanS)/(n+1)
	if n == 0 {
		u.ajarRate = 0.5 / max(exposed, yearDays/2)
	}
}

// enter puts what was recorded in the place of what was to be expected, and leaves
// what was to be expected for the time that was not recorded.
func (u *doorUse) enter(days []useDay, untimed []Bracket, mean float64) {
	for i := range u.recorded {
		u.openings[i] *= u.powered[i]
		u.seconds[i] *= u.powered[i]
		u.ajar[i] *= u.powered[i]
	}
	for _, d := range days {
		missing := 0.0
		if p := u.powered[d.at]; p > 0 {
			missing = max(0, p-d.exposed) / p
		}
		u.openings[d.at] = d.openings + missing*u.openings[d.at]
		u.seconds[d.at] = d.seconds + missing*u.seconds[d.at]
		u.ajar[d.at] = d.ajar + missing*u.ajar[d.at]
	}
	for _, b := range untimed {
		from, to := max(0, int(u.at(max(b.From, 0)))), min(u.recorded, int(u.at(min(b.To, Beyond)))+1)
		for i := from; i < to; i++ {
			n := float64(b.Openings) / float64(to-from)
			u.openings[i] += n
			u.seconds[i] += n * mean
		}
	}
}

// useModel is the level of use by the season, with how far it can be trusted.
type useModel struct {
	days     []useDay
	mean     float64 // a day
	weigh    func(openings, seconds float64) float64
	season   [weeksOfYear]float64 // of a day, relative to the mean
	level    float64              // of late, relative to season and mean
	weekSD   float64
	levelSD  float64
	seasonSD [weeksOfYear]float64
}

// fit makes the model.
//
// The season of a week of the year is the use of the weeks around it, years pooled,
// against the mean, drawn towards 1; that of a week that was never recorded goes from
// the nearest one that was back towards 1. The level is that of late against the season.
// What weeks differ by from the season gives the variance of a week and its
// correlation with the next, from which follows that of many weeks:
// s²(1 + r)/(1 − r)/weeks. (First-order autoregression, by textbook.)
func (m *useModel) fit(u *doorUse) {
	if !(m.mean > 0) {
		m.mean = 1e-9 // nothing was ever used: everything is relative to it
	}
	var use, exposed [weeksOfYear]float64
	for _, d := range m.days {
		w := u.week(d.at)
		use[w] += m.weigh(d.openings, d.seconds)
		exposed[w] += d.exposed
	}
	var around [weeksOfYear]float64
	for w := range m.season {
		n, e := 0.0, 0.0
		for k := -seasonReach; k <= seasonReach; k++ {
			v := (w + k + weeksOfYear) % weeksOfYear
			n, e = n+use[v], e+exposed[v]
		}
		around[w] = e
		if e > 0 {
			m.season[w] = (n/m.mean + seasonDays) / (e + seasonDays)
		}
	}
	m.bridge(&around)
	m.spread(u)
	m.late(u)
	for w, e := range around {
		own := exposed[(w+weeksOfYear-1)%weeksOfYear] + exposed[w] + exposed[(w+1)%weeksOfYear]
		unseen := unseenSD * seasonDays / (own + seasonDays)
		sampled := m.weekSD * m.weekSD / max(e/daysOfWeek, 1)
		m.seasonSD[w] = math.Sqrt(unseen*unseen + min(sampled, unseenSD*unseenSD) + yearSD*yearSD)
	}
}

// bridge sets the season of the weeks of the year around which nothing was recorded.
func (m *useModel) bridge(around *[weeksOfYear]float64) {
	for w := range m.season {
		if around[w] > 0 {
			continue
		}
		m.season[w] = 1
		for gap := 1; gap <= weeksOfYear/2; gap++ {
			before, after := (w-gap+weeksOfYear)%weeksOfYear, (w+gap)%weeksOfYear
			near := before
			if around[before] <= 0 {
				near = after
			}
			if around[near] > 0 {
				m.season[w] = 1 + (m.season[near]-1)*math.Exp(-float64(gap)/bridgeWeeks)
				break
			}
		}
	}
}

// spread sets weekSD from the weeks with at least half their time recorded.
func (m *useModel) spread(u *doorUse) {
	type week struct {
		number         int
		use, by, expos float64
	}
	var weeks []week
	for _, d := range m.days {
		if n := d.at / daysOfWeek; len(weeks) == 0 || weeks[len(weeks)-1].number != n {
			weeks = append(weeks, week{number: n})
		}
		w := &weeks[len(weeks)-1]
		w.use += m.weigh(d.openings, d.seconds)
		w.by += m.mean * m.season[u.week(d.at)] * d.exposed
		w.expos += d.exposed
	}
	weeks = slices.DeleteFunc(weeks, func(w week) bool { return w.expos < daysOfWeek/2.0 })
	sum, weight, pairs := 0.0, 0.0, 0.0
	for i, w := range weeks {
		r := w.use/w.by - 1
		sum += w.by * r * r
		weight += w.by
		if i > 0 && weeks[i-1].number+1 == w.number {
			pairs += w.by * r * (weeks[i-1].use/weeks[i-1].by - 1)
		}
	}
	window := 2*seasonReach + 1.0
	sum *= window * window / ((window - 1) * (window - 1)) // the season has followed each week by its part in it
	typical := m.mean * daysOfWeek
	variance := (sum + weeklyPrior*typical*weeklySD*weeklySD) / (weight + weeklyPrior*typical)
	persist := 0.0
	if sum > 0 {
		persist = min(max(pairs/sum, 0), mostPersist)
	}
	m.weekSD = math.Sqrt(variance * (1 + persist) / (1 - persist))
}

// late sets the level of late and how well it is known.
func (m *useModel) late(u *doorUse) {
	n, e, exposed := 0.0, 0.0, 0.0
	for _, d := range slices.Backward(m.days) {
		if exposed >= levelDays {
			break
		}
		n += m.weigh(d.openings, d.seconds)
		e += m.mean * m.season[u.week(d.at)] * d.exposed
		exposed += d.exposed
	}
	m.level = (n + levelPrior*m.mean) / (e + levelPrior*m.mean)
	m.levelSD = m.weekSD / math.Sqrt(max(exposed/daysOfWeek, 1))
}
