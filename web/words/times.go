package words

import (
	"time"

	"doorleaf/usage"
)

// months and days are in English; days from Monday.
var (
	months = [12]Text{"January", "February", "March", "April", "May", "June", "July",
		"August", "September", "October", "November", "December"}
	// "May" has its short form under a context of its own, since that may differ.
	monthsShort = [12]string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"}
	days        = [7]Text{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}
	daysShort   = [7]string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}
	seasons     = map[string]Text{"winter": "winter", "spring": "spring", "summer": "summer", "autumn": "autumn"}
)

// short is the context of abbreviations, which a catalogue holds beside the whole words.
const short = "short"

// dateFormats write day, name of the month and year in the orders of a region.
var dateFormats = map[string]Text{
	"dmy": "%[1]d %[2]s %[3]d",
	"mdy": "%[2]s %[1]d, %[3]d",
	"ymd": "%[3]d %[2]s %[1]d",
}

// dayFormats are dateFormats without the year.
var dayFormats = map[string]Text{
	"dmy": "%[1]d %[2]s",
	"mdy": "%[2]s %[1]d",
	"ymd": "%[2]s %[1]d",
}

// Month is the name of a month, from time.January.
func (w *Words) Month(m time.Month) string { return w.Say(months[m-1]) }

// MonthShort is the name of a month cut to about three letters.
func (w *Words) MonthShort(m time.Month) string { return w.text(short, monthsShort[m-1]) }

// Weekday is the name of a day of the week, 1 Monday … 7 Sunday (ISO 8601).
func (w *Words) Weekday(day int) string { return w.Say(days[day-1]) }

// WeekdayShort is the name of a day cut to two or three letters.
func (w *Words) WeekdayShort(day int) string { return w.text(short, daysShort[day-1]) }

// Week is the days of a week, 1 Monday … 7 Sunday, from the region's first on.
func (w *Words) Week() [7]int {
	var week [7]int
	for i := range week {
		week[i] = (w.region.FirstDay-1+i)%7 + 1
	}
	return week
}

// Date writes a civil date: 27 March 2026.
func (w *Words) Date(d usage.Date) string {
	y, m, day := d.YMD()
	return w.date(y, m, day)
}

func (w *Words) date(y int, m time.Month, day int) string {
	return w.Say(dateFormats[w.region.Dates], day, w.Month(m), y)
}

// Day writes a date without its year: 27 March.
func (w *Words) Day(d usage.Date) string {
	_, m, day := d.YMD()
	return w.Say(dayFormats[w.region.Dates], day, w.Month(m))
}

// DayShort is Day with the month's name cut: 27 Mar.
func (w *Words) DayShort(d usage.Date) string {
	_, m, day := d.YMD()
	return w.Say(dayFormats[w.region.Dates], day, w.MonthShort(m))
}

// MonthOf writes a month and its year: March 2026.
func (w *Words) MonthOf(m usage.Month) string {
	y, month := m.YM()
	return w.Say("%s %d", w.Month(month), y)
}

// Clock writes a time of day to the minute: 17:30, 5:30 pm.
func (w *Words) Clock(hour, minute int) string {
	if w.region.Clock == 24 {
		return w.Say("%02d:%02d", hour, minute)
	}
	return w.half(hour, w.Say("%d:%02d", twelve(hour), minute))
}

// ClockSeconds is Clock to the second.
func (w *Words) ClockSeconds(hour, minute, second int) string {
	if w.region.Clock == 24 {
		return w.Say("%02d:%02d:%02d", hour, minute, second)
	}
	return w.half(hour, w.Say("%d:%02d:%02d", twelve(hour), minute, second))
}

// HourMark writes an hour, 0 … 24, for the axis of a chart: 17, 5 pm.
func (w *Words) HourMark(hour int) string {
	if w.region.Clock == 24 {
		return w.Say("%d", hour)
	}
	return w.half(hour, w.Say("%d", twelve(hour)))
}

func (w *Words) half(hour int, time string) string {
	if hour%24 < 12 {
		return w.Say("%s am", time)
	}
	return w.Say("%s pm", time)
}

// twelve is an hour on a face of twelve hours: midnight and noon are both 12.
func twelve(hour int) int { return (hour+11)%12 + 1 }

// Time writes an instant to the minute in the zone that it is in: 27 March 2026, 17:30.
func (w *Words) Time(t time.Time) string {
	return w.Say("%s, %s", w.date(t.Date()), w.Clock(t.Hour(), t.Minute()))
}

// TimeSeconds is Time to the second.
func (w *Words) TimeSeconds(t time.Time) string {
	return w.Say("%s, %s", w.date(t.Date()), w.ClockSeconds(t.Clock()))
}

// When writes an instant, Unix seconds, in the civil time of a zone; in UTC where
// there is no such zone.
func (w *Words) When(at int64, zone string) string {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	return w.Time(time.Unix(at, 0).In(loc))
}

// Wall writes a clock reading (wall seconds) as the logger wrote it.
func (w *Words) Wall(reading int64) string { return w.Time(time.Unix(reading, 0).UTC()) }

// WallSeconds is Wall to the second.
func (w *Words) WallSeconds(reading int64) string {
	return w.TimeSeconds(time.Unix(reading, 0).UTC())
}

// WallDate writes the date of a clock reading.
func (w *Words) WallDate(reading int64) string { return w.date(time.Unix(reading, 0).UTC().Date()) }

// Season writes a season: spring 2026, winter 2025–26.
func (w *Words) Season(s usage.Season) string {
	first, _, _ := s.First().YMD()
	if last, _, _ := s.Last().YMD(); last != first {
		return w.Say("%s %d–%02d", w.Say(seasons[s.Word()]), first, last%100)
	}
	return w.Say("%s %d", w.Say(seasons[s.Word()]), first)
}

// Hour writes a full hour of the day, 0 … 24: 9:00, 9 am.
func (w *Words) Hour(hour int) string {
	if w.region.Clock == 24 {
		return w.Say("%d:00", hour)
	}
	return w.HourMark(hour)
}

// WhenSeconds is When to the second.
func (w *Words) WhenSeconds(at int64, zone string) string {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	return w.TimeSeconds(time.Unix(at, 0).In(loc))
}

// DateShort is Date with the month's name cut: 27 Mar 2026.
func (w *Words) DateShort(d usage.Date) string {
	y, m, day := d.YMD()
	return w.Say(dateFormats[w.region.Dates], day, w.MonthShort(m), y)
}
