package forge

import (
	"math"

	"doorleaf/usage"
)

// bump is a smooth peak of height 1 at the given hour of the day; width is its
// standard deviation in hours.
func bump(hour, peak, width float64) float64 {
	z := (hour - peak) / width
	return math.Exp(-z * z / 2)
}

// week fills a week of weights, to four places; weekday is ISO (1 = Monday), hour the middle of
// the civil hour.
func week(weight func(weekday int, hour float64) float64) (w [usage.HoursOfWeek]float64) {
	for i := range w {
		w[i] = math.Round(weight(i/24+1, float64(i%24)+0.5)*1e4) / 1e4
	}
	return w
}

// Seasons of the characters, January first.
var (
	evenSeason   = [12]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	mildSeason   = [12]float64{0.8, 0.8, 0.9, 1, 1.1, 1.2, 1.2, 1.1, 1.1, 1, 0.9, 0.9}
	summerSeason = [12]float64{0.3, 0.4, 0.6, 0.9, 1.3, 1.6, 1.9, 1.9, 1.2, 0.9, 0.5, 0.5}
	schoolSeason = [12]float64{1.1, 1.1, 1.2, 0.9, 1.2, 1.1, 0.4, 0.4, 1.3, 1.2, 1.2, 0.9}
	winterSeason = [12]float64{1.4, 1.3, 1.1, 0.9, 0.8, 0.7, 0.7, 0.8, 0.9, 1.1, 1.3, 1}
)

func plain(name string, perDay float64) Character {
	return Character{
		Name: name, PerDay: perDay, Season: mildSeason, Dispersion: 0.08, Again: 0.22,
		OpenS: 24, OpenSigma: 0.8, Bounce: 0.03, WindPerDay: 0.04, Ajar: 0.0004,
	}
}

// Characters returns the invented characters that boxes have, in a fixed order.
func Characters() []Character {
	return []Character{
		schoolRun(), commuter(), marketDay(), quietLane(),
		riverside(), nightOwls(), lunchBreak(), allDay(),
	}
}

func schoolRun() Character {
	c := plain("school run", 16)
	c.Season, c.Again, c.OpenS = schoolSeason, 0.35, 32
	c.Week = week(func(wd int, h float64) float64 {
		if wd > 5 {
			return 0.08 * bump(h, 13, 3.5)
		}
		return bump(h, 8.6, 0.5) + 1.3*bump(h, 15.2, 0.9) + 0.08*bump(h, 12, 3)
	})
	return c
}

func commuter() Character {
	c := plain("commuter", 21)
	c.Season, c.OpenS, c.OpenSigma, c.Again = evenSeason, 15, 0.6, 0.08
	c.Week = week(func(wd int, h float64) float64 {
		if wd > 5 {
			return 0.12 * bump(h, 14, 4)
		}
		return bump(h, 7.4, 0.8) + 0.9*bump(h, 17.8, 1.1) + 0.06
	})
	return c
}

func marketDay() Character {
	c := plain("market day", 13)
	c.Dispersion, c.OpenS = 0.25, 28
	c.Week = week(func(wd int, h float64) float64 {
		w := 0.25 * bump(h, 12.5, 3.5)
		if wd == 4 || wd == 6 {
			w += 1.6 * bump(h, 10.8, 1.8)
		}
		return w
	})
	return c
}

func quietLane() Character {
	c := plain("quiet lane", 3.5)
	c.Dispersion, c.OpenS, c.OpenSigma = 0.15, 45, 1
	c.Week = week(func(wd int, h float64) float64 {
		return bump(h, 11, 2) + 0.8*bump(h, 17, 2)
	})
	return c
}

func riverside() Character {
	c := plain("riverside weekend", 11)
	c.Season, c.Dispersion, c.OpenS = summerSeason, 0.45, 38
	c.Week = week(func(wd int, h float64) float64 {
		if wd > 5 {
			return 2.6 * bump(h, 14.5, 2.6)
		}
		return 0.3*bump(h, 7.5, 1) + 0.6*bump(h, 18.5, 2)
	})
	return c
}

func nightOwls() Character {
	c := plain("night owls", 7)
	c.Season, c.Dispersion, c.OpenS = winterSeason, 0.2, 40
	c.Week = week(func(wd int, h float64) float64 {
		w := bump(h, 22.5, 1.6) + 0.7*bump(h, 0, 1.5) + 0.1*bump(h, 16, 3)
		if wd >= 5 {
			w *= 1.6
		}
		return w
	})
	return c
}

func lunchBreak() Character {
	c := plain("lunch break", 12)
	c.OpenS, c.OpenSigma = 20, 0.7
	c.Week = week(func(wd int, h float64) float64 {
		if wd > 5 {
			return 0.05 * bump(h, 12, 4)
		}
		return bump(h, 12.7, 0.7) + 0.1*bump(h, 15, 3)
	})
	return c
}

func allDay() Character {
	c := plain("all day", 18)
	c.Trend, c.Again = 0.12, 0.3
	c.Week = week(func(wd int, h float64) float64 {
		return bump(h, 13.5, 4) * (1 + 0.25*float64(wd/6))
	})
	return c
}
