package usage

import (
	"encoding/json"
	"math"
	"slices"
)

// Estimate is a value with its central confidence limits.
type Estimate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Level float64 `json:"level"`
}

// MarshalJSON writes e; a value or limit that is infinite or not known (NaN) is
// null, since JSON has no word for it.
func (e Estimate) MarshalJSON() ([]byte, error) {
	number := func(v float64) *float64 {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		return &v
	}
	return json.Marshal(struct {
		Value *float64 `json:"value"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
		Level float64  `json:"level"`
	}{number(e.Value), number(e.Low), number(e.High), e.Level})
}

// Day is the tally of one civil date of a site.
type Day struct {
	Date      Date
	Openings  int32 // all classes, timed
	Visits    int32 // visits that begin on this date
	OpenS     int64 // door-open seconds of visitor and ajar openings, ajar ones capped
	UnknownS  int32 // visitor openings whose seconds are unknown
	Dark      int32 // visits that begin with the sun below −6°
	Twilight  int32 // visits that begin with the sun between −6° and −0.833°
	ExposureS int32 // seconds of this date in which the logger was recording
}

// DaysBetween returns the days of the dates from and to, both included. days are
// ascending and stay as they are.
func DaysBetween(days []Day, from, to Date) []Day {
	first, _ := slices.BinarySearchFunc(days, from, func(d Day, at Date) int { return int(d.Date) - int(at) })
	end, _ := slices.BinarySearchFunc(days, to+1, func(d Day, at Date) int { return int(d.Date) - int(at) })
	if end <= first {
		return nil
	}
	return days[first:end:end]
}

// HoursOfWeek is the number of cells of a weekday × hour pattern. Cell
// 24·(ISO weekday − 1) + hour belongs to that civil hour.
const HoursOfWeek = 168

// MonthTally holds visits and exposure of one civil month by hour of week.
type MonthTally struct {
	Month     Month
	Visits    [HoursOfWeek]int32
	ExposureS [HoursOfWeek]int32
}

// Cell is one civil hour of the week.
type Cell struct {
	Weekday   int       `json:"weekday"` // ISO, 1 = Monday
	Hour      int       `json:"hour"`
	Visits    int64     `json:"visits"`
	ExposureH float64   `json:"exposure_h"`
	Rate      *Estimate `json:"rate"` // visits an hour of exposure; null without exposure
}

// Pattern is visits by hour of week over some months.
type Pattern struct {
	Season    *string `json:"season"` // null: all time
	Site      string  `json:"site"`
	ExposureH float64 `json:"exposure_h"`
	Visits    int64   `json:"visits"`
	Cells     []Cell  `json:"cells"` // 168, Monday 0 h first
}

// Totals are the sums over all that a site's logbook holds.
type Totals struct {
	Openings  int64 `json:"openings"`
	Untimed   int64 `json:"untimed"`
	Visits    int64 `json:"visits"`
	Visitor   int64 `json:"visitor"`
	Service   int64 `json:"service"`
	Rattle    int64 `json:"rattle"`
	Ajar      int64 `json:"ajar"`
	OpenS     int64 `json:"open_s"`
	UnknownS  int64 `json:"openings_without_seconds"`
	ExposureS int64 `json:"exposure_s"`
	FirstAt   int64 `json:"-"` // Unix seconds of the first and last timed opening; 0, 0 if none
	LastAt    int64 `json:"-"`
}

// Derived is everything that usage makes of a logbook.
type Derived struct {
	Openings []Opening // the logbook's, with class and visit filled in
	Coverage []Stretch
	Days     []Day        // every date with exposure or an opening, ascending
	Months   []MonthTally // every month with exposure or a visit, ascending
	Totals   Totals
	Findings []Finding
	Opens    []MonthOpen // every month with a timed visit, ascending
	Untimed  []Bracket   // untimed openings by bracket, in the order of the logbook
}
