package usage

import (
	"fmt"
	"math"
	"time"
)

// LightIn is what the question "would a light help?" is answered from.
type LightIn struct {
	Site   Site
	Days   []Day        // as in SeasonData
	Months []MonthTally // as in Derived
	Power  *PowerIn     // nil: no power setting is kept, and the cost in battery life stays open
	Now    int64        // Unix s
	Rule   LightRule
	Lamp   Lamp
}

// Lamp is a light that might be built in.
type Lamp struct {
	CurrentMA float64 // while it burns
	AfterS    float64 // how long it burns on after the door shuts, s
	Always    bool    // burns at every opening, not only in the dark
}

// LightRule is the rule of the verdict: a light is worth it from so many visits
// after dark a week.
type LightRule struct {
	VisitsAWeek float64 // at midwinter
	Weeks       int     // how many weeks back "now" looks
}

// DefaultLightRule is the rule that a page begins with. Common practice, no source.
var DefaultLightRule = LightRule{VisitsAWeek: 3, Weeks: 8}

// LightVerdict is the answer in one word.
type LightVerdict string

// The verdicts.
const (
	LightYes  LightVerdict = "yes"
	LightNo   LightVerdict = "no"
	LightOpen LightVerdict = "cannot tell yet"
)

// LightAnswer is the answer with what it rests on. Rates are visits a week.
type LightAnswer struct {
	Verdict     LightVerdict
	Says        string    // the verdict in one sentence
	Now         *Estimate // visits after dark a week, last Weeks weeks; nil without exposure
	NowVisits   int64     // visits after dark counted in them
	NowWeeks    float64   // weeks of recording in them
	Midwinter   *Estimate // visits after dark a week at midwinter; nil without exposure
	Winter      Date      // the midwinter that comes next
	FromWinter  bool      // the pattern is that of winter months; false: of the whole year, projected
	WinterWeeks float64   // weeks of recording in the months that the pattern is from
	Cost        LightCost
}

// LightCost is what the lamp would draw.
type LightCost struct {
	BurnS      float64    // seconds that it burns an opening
	NowMAh     *Estimate  // mAh a week now
	WinterMAh  *Estimate  // mAh a week at midwinter
	Life, With *DateRange // when a pack put in today would be empty, without and with the lamp; nil without a power setting
	EarlierD   *float64   // days by which it must be changed earlier; nil where it cannot be said
}

// WouldLightHelp answers whether a light would help at a site. Errors are those of
// LoadZone and of PowerOutlook.
//
// The rule: at midwinter, a light is worth it when the low limit of visits after dark
// a week is at least Rule.VisitsAWeek, not worth it when the high limit is less, and
// else nobody can tell yet.
//
// Midwinter's visits are those of each hour of the day in the winter months, times the
// part of the hour that is dark on the day of the solstice; where less than four
// weeks of winter were recorded, the hours are those of the whole year and the limits
// wider, since in winter people come at other hours.
func WouldLightHelp(in LightIn) (LightAnswer, error) {
	zone, err := LoadZone(in.Site.Zone)
	if err != nil {
		return LightAnswer{}, fmt.Errorf("light at site %s: %w", in.Site.Code, err)
	}
	l := lightBench{in: in, zone: zone, sun: NewSun(in.Site.Latitude, in.Site.Longitude)}
	l.today, _ = zone.Civil(in.Now)
	a := LightAnswer{Winter: l.nextSolstice()}
	lately := l.lately()
	a.Now, a.NowVisits, a.NowWeeks = lately.dark, lately.visits, lately.weeks
	winter := l.midwinter(&a)
	a.Midwinter = winter.dark
	a.Verdict, a.Says = in.Rule.judge(a)
	return a, l.cost(&a, lately, winter)
}

const (
	// winterWeeks is how much of winter must have been recorded for its own pattern.
	// Common practice, no source.
	winterWeeks = 4
	// projectedSD is by how much, relative to it, visits after dark at midwinter may
	// differ from what the hours of other seasons make of them. Common practice, no
	// source.
	projectedSD = 0.5
	// darkSamples is at how many moments an hour is looked at for darkness.
	darkSamples = 12
)

// judge gives the verdict by the rule, and its sentence.
func (r LightRule) judge(a LightAnswer) (LightVerdict, string) {
	e := a.Midwinter
	need := plainNumber(r.VisitsAWeek)
	switch {
	case e == nil:
		return LightOpen, "Cannot tell yet whether a light would help: nothing has been recorded."
	case e.Low >= r.VisitsAWeek:
		return LightYes, fmt.Sprintf("Yes, a light would help: about %s visits a week come after dark at midwinter, surely the %s or more that the rule asks for.", plainNumber(e.Value), need)
	case e.High < r.VisitsAWeek:
		return LightNo, fmt.Sprintf("No, a light would hardly help: about %s visits a week come after dark at midwinter, surely fewer than the %s that the rule asks for.", plainNumber(e.Value), need)
	}
	return LightOpen, fmt.Sprintf("Cannot tell yet whether a light would help: between %s and %s visits a week come after dark at midwinter, and the rule asks for %s.",
		plainNumber(e.Low), plainNumber(e.High), need)
}

// plainNumber writes a number with the two digits that an estimate bears.
func plainNumber(v float64) string {
	switch {
	case v >= 10:
		return rounded(v)
	case v < 0.05:
		return "0"
	}
	return fmt.Sprintf("%.2g", v)
}

// lightBench is what a site's light is judged with.
type lightBench struct {
	in    LightIn
	zone  *Zone
	sun   *Sun
	today Date
}

// nightUse is a rate of visits, those after dark and all, a week.
type nightUse struct {
	dark, all *Estimate
	visits    int64
	weeks     float64
}

// nextSolstice returns the date of the next winter solstice of the hemisphere, by the
// calendar: 21 December or 21 June, a day out at most.
func (l *lightBench) nextSolstice() Date {
	month := time.December
	if HemisphereOf(l.in.Site.Latitude) == South {
		month = time.June
	}
	year, _, _ := l.today.YMD()
	if d := DateOf(year, month, 21); d >= l.today {
		return d
	}
	return DateOf(year+1, month, 21)
}

// lately returns the use in the last weeks of recording.
func (l *lightBench) lately() nightUse {
	days := l.in.Days
	last := len(days) - 1
	for last >= 0 && (days[last].ExposureS == 0 || days[last].Date > l.today) {
		last--
	}
	if last < 0 {
		return nightUse{}
	}
	from := days[last].Date - Date(daysOfWeek*max(l.in.Rule.Weeks, 1)) + 1
	first := last
	for first > 0 && days[first-1].Date >= from {
		first--
	}
	u, all, exposure := nightUse{}, int64(0), int64(0)
	for _, d := range days[first : last+1] {
		u.visits += int64(d.Dark)
		all += int64(d.Visits)
		exposure += int64(d.ExposureS)
	}
	u.weeks = float64(exposure) / weekSeconds
	u.dark = DispersedRate(u.visits, u.weeks, DispersionOf(darkDays(days[first:last+1])).Floored(), Confidence)
	u.all = DispersedRate(all, u.weeks, DispersionOf(days[first:last+1]).Floored(), Confidence)
	return u
}

// darkDays returns days that count visits after dark alone.
func darkDays(days []Day) []Day {
	out := make([]Day, len(days))
	for i, d := range days {
		out[i] = Day{Date: d.Date, Visits: d.Dark, ExposureS: d.ExposureS}
	}
	return out
}

// midwinter projects the use at the solstice, and says in a from which months.
func (l *lightBench) midwinter(a *LightAnswer) nightUse {
	var winter []MonthTally
	season := SeasonOf(a.Winter, HemisphereOf(l.in.Site.Latitude))
	for _, m := range l.in.Months {
		if (m.Month-season.Start)%12 == 0 || (m.Month-season.Start-1)%12 == 0 || (m.Month-season.Start-2)%12 == 0 {
			winter = append(winter, m)
		}
	}
	months := winter
	a.WinterWeeks = float64(Whole(winter).ExposureS) / weekSeconds
	if a.FromWinter = a.WinterWeeks >= winterWeeks; !a.FromWinter {
		months = l.in.Months
		a.WinterWeeks = float64(Whole(months).ExposureS) / weekSeconds
	}
	hours, dark := ByHour(months), l.darkHours(a.Winter)
	phi := DispersionOfSeasons(l.in.Days, HemisphereOf(l.in.Site.Latitude)).Floored()
	extra := 0.0
	if !a.FromWinter {
		extra = projectedSD
	}
	return nightUse{dark: weekOf(hours, dark, phi, extra), all: weekOf(hours, wholeHours, phi, extra)}
}

// wholeHours takes every hour whole.
var wholeHours = func() (f [24]float64) {
	for h := range f {
		f[h] = 1
	}
	return f
}()

// weekOf returns the visits of a week that has each hour of the day to a part, as a
// sum of strata, see Total.Estimate; more is a relative standard deviation on top.
// Hours that were never recorded count as the mean of the others.
func weekOf(hours [24]Sum, part [24]float64, phi, more float64) *Estimate {
	t, weights, missing := Total{}, 0.0, 0.0
	for h, s := range hours {
		if s.ExposureS <= 0 {
			missing += part[h]
			continue
		}
		w := daysOfWeek * part[h] * hourSeconds / float64(s.ExposureS)
		t.Value += w * float64(s.Visits)
		t.variance += w * w * phi * float64(s.Visits)
		t.weight = max(t.weight, phi*w)
		weights += part[h]
	}
	if weights == 0 {
		if missing == 0 && anyExposure(hours) {
			return &Estimate{Level: Confidence} // no hour of it is dark
		}
		return nil
	}
	t.Value, t.variance = t.Value*(1+missing/weights), t.variance*math.Pow(1+missing/weights, 2)
	t.variance += more * more * t.Value * t.Value
	return t.Estimate(Confidence)
}

func anyExposure(hours [24]Sum) bool {
	for _, s := range hours {
		if s.ExposureS > 0 {
			return true
		}
	}
	return false
}

// darkHours returns which part of each civil hour of a date is dark.
func (l *lightBench) darkHours(d Date) (part [24]float64) {
	var n [24]float64
	from, to := l.zone.StartOfDay(d), l.zone.StartOfDay(d+1)
	for at := from + hourSeconds/(2*darkSamples); at < to; at += hourSeconds / darkSamples {
		_, second := l.zone.Civil(at)
		h := int(second / hourSeconds)
		n[h]++
		if l.sun.Light(at) == Dark {
			part[h]++
		}
	}
	for h := range part {
		part[h] /= max(n[h], 1)
	}
	return part
}

// cost works out what the lamp would draw.
func (l *lightBench) cost(a *LightAnswer, lately, winter nightUse) error {
	var visits, openings, known, seconds float64
	for _, d := range l.in.Days {
		visits += float64(d.Visits)
		openings += float64(d.Openings)
		known += float64(d.Openings - d.UnknownS)
		seconds += float64(d.OpenS)
	}
	if visits == 0 {
		return nil
	}
	c := &a.Cost
	c.BurnS = seconds/max(known, 1) + l.in.Lamp.AfterS
	charge := l.in.Lamp.CurrentMA * c.BurnS / hourSeconds // mAh an opening
	nowVisits, winterVisits := lately.dark, winter.dark
	if l.in.Lamp.Always {
		nowVisits, winterVisits = lately.all, winter.all
	}
	c.NowMAh, c.WinterMAh = times(nowVisits, charge*openings/visits), times(winterVisits, charge*openings/visits)
	if l.in.Power == nil {
		return nil
	}
	return l.life(c, charge)
}

func times(e *Estimate, by float64) *Estimate {
	if e == nil {
		return nil
	}
	return &Estimate{e.Value * by, e.Low * by, e.High * by, e.Level}
}

// life enters how long a pack put in today would last without and with the lamp.
func (l *lightBench) life(c *LightCost, charge float64) error {
	b, _, draws, err := newPackBench(*l.in.Power)
	if err != nil || b == nil {
		return err
	}
	share := l.darkShares(b.use)
	without := b.freshPack(draws, func(int) float64 { return 0 })
	with := b.freshPack(draws, func(i int) float64 { return charge * b.use.openings[i] * share[b.use.week(i)] })
	c.Life, c.With = &without, &with
	if without.Likely != nil && with.Likely != nil {
		days := float64(*without.Likely - *with.Likely)
		c.EarlierD = &days
	}
	return nil
}

// darkShares returns the share of openings at which the lamp burns, by the week of
// the year: those whose hours are dark.
func (l *lightBench) darkShares(u *doorUse) (share [weeksOfYear]float64) {
	hours := ByHour(l.in.Months)
	year, _, _ := u.today.YMD()
	for w := range share {
		if share[w] = 1; l.in.Lamp.Always {
			continue
		}
		dark := l.darkHours(DateOf(year, time.January, 1) + Date(daysOfWeek*w+3))
		night, all := weekOf(hours, dark, 1, 0), weekOf(hours, wholeHours, 1, 0)
		if night != nil && all != nil && all.Value > 0 {
			share[w] = night.Value / all.Value
		}
	}
	return share
}
