package words

import (
	"math"
	"strings"

	"doorleaf/usage"
)

// Hours writes a time of recording, seconds, in the unit that suits it.
func (w *Words) Hours(s int64) string { return w.plural("", HoursOf(s)) }

// HoursOf is Hours for an argument of Say.
func HoursOf(s int64) Counted {
	switch {
	case s < 3600:
		return Count((s+30)/60, "minute", "minutes")
	case s < 3*86400:
		return Count((s+1800)/3600, "hour", "hours")
	case s < 120*86400:
		return Count((s+43200)/86400, "day", "days")
	}
	return Count((s+7*43200)/(7*86400), "week", "weeks")
}

// Duration writes how long a door stood open, s.
func (w *Words) Duration(s int32) string {
	switch {
	case s == usage.Unknown:
		return w.Say("not known")
	case s < 120:
		return w.Say("%d s", s)
	case s < 7200:
		return w.twoUnits(s/60, "min", s%60, "s")
	}
	return w.twoUnits(s/3600, "h", s/60%60, "min")
}

// twoUnits leaves out the smaller unit where there is none of it. The units are
// symbols of the SI or accepted with it, the same in every language.
func (w *Words) twoUnits(big int32, unit string, small int32, smallUnit string) string {
	if small == 0 {
		return w.Say("%d %s", big, unit)
	}
	return w.Say("%d %s %d %s", big, unit, small, smallUnit)
}

// Age says how long ago an instant was; both are Unix seconds.
func (w *Words) Age(at, now int64) string {
	days := (now - at) / 86400
	switch {
	case now < at:
		return w.Say("in the future")
	case days == 0:
		return w.Say("in the last day")
	case days < 14:
		return w.Say("%s ago", Count(days, "day", "days"))
	case days < 120:
		return w.Say("%s ago", Count(days/7, "week", "weeks"))
	}
	return w.Say("%s ago", Count(days/30, "month", "months"))
}

// Days writes a number of days that may be broken: 1 day, 12.5 days.
func (w *Words) Days(days float64) string {
	s := w.trimmed(days, 1)
	if whole, ok := strings.CutSuffix(s, w.Mark(".0")); ok {
		s = whole
	}
	n := int64(2) // a broken number goes with the noun of several
	if s == "1" {
		n = 1
	}
	return s + " " + w.noun("", Count(n, "day", "days"))
}

// OpenTime writes an open time of any length, s, in the unit that suits it.
func (w *Words) OpenTime(s float64) string {
	switch {
	case s < 120:
		return w.Fixed(s, 0) + " s"
	case s < 7200:
		return w.Fixed(s/60, 0) + " min"
	case s < 100*3600:
		return w.Fixed(s/3600, 1) + " h"
	}
	return w.Number(int64(math.Round(s/3600))) + " h"
}

// OpenWeek writes the open time in a week, seconds, with its limits, in the unit that
// suits it: 39 min, 33, 46.
func (w *Words) OpenWeek(e *usage.Estimate) Rounded {
	unit, name := 3600.0, "h"
	switch {
	case e.Value < 120:
		unit, name = 1, "s"
	case e.Value < 7200:
		unit, name = 60, "min"
	}
	r := w.Round(&usage.Estimate{Value: e.Value / unit, Low: e.Low / unit, High: e.High / unit, Level: e.Level})
	r.Value += " " + name
	return r
}

// Seconds is Duration of seconds that are not whole, with no longest.
func (w *Words) Seconds(s float64) string {
	return w.Duration(int32(math.Round(min(s, math.MaxInt32))))
}
