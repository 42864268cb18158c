package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"doorleaf/usage"
)

// short writes a rate with about two digits, for a drawing: 0.04, 0.4, 3.2, 14.
// What is not nought never reads as nought.
func short(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0.005:
		return "<0.01"
	case v < 0.095:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v < 9.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return grouped(v)
}

// exact writes a rate for a table, with about three digits.
func exact(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0.0005:
		return "<0.001"
	case v < 0.995:
		return strconv.FormatFloat(v, 'f', 3, 64)
	case v < 9.995:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v < 99.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return grouped(v)
}

// grouped writes a whole number with a comma each three digits.
func grouped(v float64) string {
	s := strconv.FormatFloat(math.Abs(math.Round(v)), 'f', 0, 64)
	var b strings.Builder
	if v <= -0.5 {
		b.WriteString("−")
	}
	for i, c := range s {
		if i > 0 && (len(s)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteRune(c)
	}
	return b.String()
}

// counted writes a number with its noun: 1 visit, 2 visits.
func counted(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return grouped(float64(n)) + " " + noun + "s"
}

// covered writes an exposure in hours as people say it.
func covered(hours float64) string {
	switch {
	case hours <= 0:
		return "no time"
	case hours < 1:
		return "less than an hour"
	case hours < 48:
		return counted(int64(math.Round(hours)), "hour")
	}
	return counted(int64(math.Round(hours/24)), "day")
}

// hoursCell writes an exposure in hours for a table.
func hoursCell(hours float64) string {
	if hours == 0 || hours >= 9.95 {
		return grouped(hours)
	}
	return strconv.FormatFloat(hours, 'f', 1, 64)
}

// rateCells writes a rate and its limits as two cells of a table.
func rateCells(e *usage.Estimate) (rate, limits string) {
	if e == nil {
		return "not covered", "–"
	}
	return exact(e.Value), fmt.Sprintf("%s to %s", exact(e.Low), exact(e.High))
}

// tableOf is the table of bars; first heads the column of labels.
func tableOf(caption, first, unit string, bars []bar) Table {
	t := Table{Caption: caption, Head: []string{first, "Visits", "Hours covered", unit, "95 % limits"}, Rows: [][]string{}}
	for _, b := range bars {
		rate, limits := rateCells(b.rate)
		t.Rows = append(t.Rows, []string{b.label, grouped(float64(b.visits)), hoursCell(b.exposureH), rate, limits})
		t.Visits = append(t.Visits, b.which)
		if b.href != "" {
			t.Links = append(t.Links, b.href)
		}
	}
	return t
}
