package usage

// Sum is the visits of some cells, their exposure, and the rate that follows.
type Sum struct {
	Visits    int64
	ExposureS int64
	Rate      *Estimate // in the unit that the maker of the sum names; nil without exposure
	unitS     int64     // exposure of that unit, s; 0 before there is a rate
	phi       float64   // dispersion of the visits; 0 or NaN: not known, taken as 1
}

// Per returns the rate of s as visits in so many seconds of exposure, with
// DispersedLimits at the level Confidence, which are Garwood's where no dispersion
// was given to s; nil without exposure.
func (s Sum) Per(seconds int64) *Estimate {
	return DispersedRate(s.Visits, float64(s.ExposureS)/float64(seconds), s.phi, Confidence)
}

// WithDispersion returns s with the limits of visits whose variance is phi times
// their mean, in Rate and Per. phi is floored at 1; NaN is taken as 1. The sums that
// a Dispersion makes have it already.
func (s Sum) WithDispersion(phi float64) Sum {
	s.phi = phi
	if s.unitS > 0 {
		s.rated(s.unitS)
	}
	return s
}

// rated enters the rate in a unit of so many seconds of exposure.
func (s *Sum) rated(seconds int64) {
	s.unitS, s.Rate = seconds, s.Per(seconds)
}

func (s *Sum) add(visits, exposureS int32) {
	s.Visits += int64(visits)
	s.ExposureS += int64(exposureS)
}

// MonthSum is the sum of one month; its rate is visits a day of exposure.
type MonthSum struct {
	Month Month
	Sum
}

// SeasonSum is the sum of one season; its rate is visits a day of exposure.
type SeasonSum struct {
	Season Season
	Sum
}

// WeekSum is the sum of the ISO week that begins on Monday; its rate is visits in
// seven days of exposure.
type WeekSum struct {
	Monday Date
	Sum
}

const weekSeconds = 7 * daySeconds

// InSeason returns the tallies of the season's months.
func InSeason(months []MonthTally, s Season) []MonthTally {
	var in []MonthTally
	for i := range months {
		if s.Holds(months[i].Month) {
			in = append(in, months[i])
		}
	}
	return in
}

// PatternOf returns visits by hour of the week at a site: of the months of a
// season, or of all where season is nil. The rate of a cell is visits an hour of
// exposure with Garwood's limits, and null where the cell has no exposure.
//
// A cell keeps Garwood's limits where the days are over-dispersed. Days show by how
// much their sums vary; how much of that falls on one hour they do not show, nor do
// the tallies, which have no single dates. If it were a factor common to the whole
// day, see Dispersion.At, a cell of mean μ an hour had φ = 1 + θμ, little above 1 for
// the visits that one hour has, and exact limits of such counts have room for it:
// see TestLimitsOfSingleHours. Sums of cells have more, and allow for it:
// Dispersion.OfCells.
func PatternOf(site string, season *Season, months []MonthTally) Pattern {
	p := Pattern{Site: site, Cells: make([]Cell, HoursOfWeek)}
	if season != nil {
		name := season.String()
		p.Season, months = &name, InSeason(months, *season)
	}
	var total Sum
	for i, s := range byCell(months) {
		p.Cells[i] = Cell{
			Weekday: i/24 + 1, Hour: i % 24,
			Visits:    s.Visits,
			ExposureH: float64(s.ExposureS) / hourSeconds,
			Rate:      s.Per(hourSeconds),
		}
		total.Visits += s.Visits
		total.ExposureS += s.ExposureS
	}
	p.Visits, p.ExposureH = total.Visits, float64(total.ExposureS)/hourSeconds
	return p
}

// byCell sums months by hour of the week, without rates.
func byCell(months []MonthTally) (sums [HoursOfWeek]Sum) {
	for i := range months {
		for c := range sums {
			sums[c].add(months[i].Visits[c], months[i].ExposureS[c])
		}
	}
	return sums
}

// ByHour sums months by civil hour of the day; the rates are visits an hour of
// exposure.
func ByHour(months []MonthTally) (sums [24]Sum) {
	for c, s := range byCell(months) {
		sums[c%24].Visits += s.Visits
		sums[c%24].ExposureS += s.ExposureS
	}
	for i := range sums {
		sums[i].rated(hourSeconds)
	}
	return sums
}

// ByWeekday sums months by weekday, Monday first; the rates are visits in 24
// hours of exposure.
func ByWeekday(months []MonthTally) (sums [7]Sum) {
	for c, s := range byCell(months) {
		sums[c/24].Visits += s.Visits
		sums[c/24].ExposureS += s.ExposureS
	}
	for i := range sums {
		sums[i].rated(daySeconds)
	}
	return sums
}

// Whole sums months altogether; the rate is visits in 24 hours of exposure.
func Whole(months []MonthTally) (sum Sum) {
	for _, s := range byCell(months) {
		sum.Visits += s.Visits
		sum.ExposureS += s.ExposureS
	}
	sum.rated(daySeconds)
	return sum
}

// Weekly sums months altogether; the rate is visits in seven days of exposure.
func Weekly(months []MonthTally) Sum {
	sum := Whole(months)
	sum.rated(weekSeconds)
	return sum
}

// ByMonth sums each month, in the order given.
func ByMonth(months []MonthTally) []MonthSum {
	sums := make([]MonthSum, len(months))
	for i := range months {
		sums[i] = MonthSum{Month: months[i].Month, Sum: Whole(months[i : i+1])}
	}
	return sums
}

// BySeason sums months, which must be ascending, by season. A season of which
// only some months are there is the sum of those.
func BySeason(months []MonthTally, h Hemisphere) []SeasonSum {
	var sums []SeasonSum
	for i := 0; i < len(months); {
		season := months[i].Month.season(h)
		from := i
		for i < len(months) && season.Holds(months[i].Month) {
			i++
		}
		sums = append(sums, SeasonSum{Season: season, Sum: Whole(months[from:i])})
	}
	return sums
}

// ByWeek sums days, which must be ascending, by ISO week. Weeks without any day
// are left out.
func ByWeek(days []Day) []WeekSum {
	var sums []WeekSum
	for i := range days {
		monday := days[i].Date - Date(days[i].Date.Weekday()-1)
		if len(sums) == 0 || sums[len(sums)-1].Monday != monday {
			sums = append(sums, WeekSum{Monday: monday})
		}
		sums[len(sums)-1].add(days[i].Visits, days[i].ExposureS)
	}
	for i := range sums {
		sums[i].rated(weekSeconds)
	}
	return sums
}
