package usage

// The sums of pattern.go with limits that allow for the dispersion of the days. The
// dispersion is that of the days from which the tallies are: DispersionOf them, or
// DispersionOfSeasons where they span more than one season.
//
// Each sum has the φ of the civil hours or days that it is made of, Dispersion.At of
// their means, weighted by visits. That is what the variance of a sum of counts
// μ + θμ² comes to: Σ(μ + θμ²)/Σμ.

// BySeason is the function BySeason with limits by d.
func (d Dispersion) BySeason(months []MonthTally, h Hemisphere) []SeasonSum {
	sums := BySeason(months, h)
	for i := range sums {
		sums[i].Sum = sums[i].WithDispersion(d.overDays(InSeason(months, sums[i].Season)))
	}
	return sums
}

// Weekly is the function Weekly with limits by d.
func (d Dispersion) Weekly(months []MonthTally) Sum {
	return Weekly(months).WithDispersion(d.overDays(months))
}

// OfCells returns the rate of some cells of a pattern together, visits an hour of
// exposure, with limits by d. All cells of one hour of the day give the rate of that
// hour, all cells of a weekday that of its mean hour; Per gives it for a whole day.
func (d Dispersion) OfCells(cells []Cell) Sum {
	days, sum := [7]Sum{}, Sum{}
	var hours [7]map[int]bool
	for _, c := range cells {
		s, w := Sum{Visits: c.Visits, ExposureS: int64(c.ExposureH*hourSeconds + 0.5)}, (c.Weekday-1)%7
		if hours[w] == nil {
			hours[w] = map[int]bool{}
		}
		hours[w][c.Hour] = true
		days[w].Visits, days[w].ExposureS = days[w].Visits+s.Visits, days[w].ExposureS+s.ExposureS
		sum.Visits, sum.ExposureS = sum.Visits+s.Visits, sum.ExposureS+s.ExposureS
	}
	phi, weight := 0.0, 0.0
	for w, s := range days {
		phi += d.over(days[w:w+1], hourSeconds*int64(len(hours[w]))) * float64(s.Visits)
		weight += float64(s.Visits)
	}
	if weight > 0 {
		sum.phi = phi / weight
	}
	sum.rated(hourSeconds)
	return sum
}

// WholeDispersion returns the dispersion of the sum of all visits of days that vary as
// spread says, 1 at least.
func WholeDispersion(days []Day, spread Dispersion) float64 {
	var parts [7]Sum
	for _, d := range days {
		parts[d.Date.Weekday()-1].add(d.Visits, d.ExposureS)
	}
	return spread.over(parts[:], daySeconds)
}

// overDays returns the dispersion of the sum of the days of months, by weekday.
func (d Dispersion) overDays(months []MonthTally) float64 {
	weekdays := ByWeekday(months)
	return d.over(weekdays[:], daySeconds)
}

// over returns the dispersion of the sum of parts that are made of counts in so many
// seconds each.
func (d Dispersion) over(parts []Sum, seconds int64) float64 {
	phi, visits := 0.0, 0.0
	for _, s := range parts {
		if s.Visits > 0 && s.ExposureS > 0 {
			n := float64(s.Visits)
			phi += n * d.At(n/float64(s.ExposureS)*float64(seconds))
			visits += n
		}
	}
	if visits == 0 {
		return 1
	}
	return phi / visits
}
