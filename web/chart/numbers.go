package chart

import (
	"math"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// short writes a rate with about two digits, for a drawing: 0.04, 0.4, 3.2, 14.
// What is not nought never reads as nought.
func short(w *words.Words, v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0.005:
		return "<" + w.Mark("0.01")
	case v < 0.095:
		return w.Fixed(v, 2)
	case v < 9.95:
		return w.Fixed(v, 1)
	}
	return whole(w, v)
}

// exact writes a rate for a table, with about three digits.
func exact(w *words.Words, v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0.0005:
		return "<" + w.Mark("0.001")
	case v < 0.995:
		return w.Fixed(v, 3)
	case v < 9.995:
		return w.Fixed(v, 2)
	case v < 99.95:
		return w.Fixed(v, 1)
	}
	return whole(w, v)
}

// whole writes the whole number that is nearest.
func whole(w *words.Words, v float64) string { return w.Number(int64(math.Round(v))) }

// visitsOf is a number of visits, to be an argument of words.Words.Say.
func visitsOf(n int64) words.Counted { return words.Count(n, "visit", "visits") }

// daysOf is a number of days, to be an argument of words.Words.Say.
func daysOf(n int) words.Counted { return words.Count(int64(n), "day", "days") }

// covered is an exposure in hours as people say it, to be an argument of
// words.Words.Say: a translation takes it as %s.
func covered(hours float64) any {
	switch {
	case hours <= 0:
		return noTime
	case hours < 1:
		return underAnHour
	case hours < 48:
		return words.Count(int64(math.Round(hours)), "hour", "hours")
	}
	return daysOf(int(math.Round(hours / 24)))
}

const (
	noTime      words.Text = "no time"
	underAnHour words.Text = "less than an hour"
)

// hoursCell writes an exposure in hours for a table.
func hoursCell(w *words.Words, hours float64) string {
	if hours == 0 || hours >= 9.95 {
		return whole(w, hours)
	}
	return w.Fixed(hours, 1)
}

// The texts that several figures share.
const (
	notCovered    words.Text = "not covered"
	partlyCovered words.Text = "partly covered"
	limitsOf95    words.Text = "95 % limits"
	fromTo        words.Text = "%s to %s"
)

// rateCells writes a rate and its limits as two cells of a table.
func rateCells(w *words.Words, e *usage.Estimate) (rate, limits string) {
	if e == nil {
		return w.Say(notCovered), "–"
	}
	return exact(w, e.Value), w.Say(fromTo, exact(w, e.Low), exact(w, e.High))
}

// tableOf is the table of bars; first heads the column of labels.
func tableOf(w *words.Words, caption string, first, unit words.Text, bars []bar) Table {
	t := Table{Caption: caption, Head: []string{w.Say(first), w.Say("Visits"), w.Say("Hours covered"), w.Say(unit), w.Say(limitsOf95)}, Rows: [][]string{}}
	for _, b := range bars {
		rate, limits := rateCells(w, b.rate)
		t.Rows = append(t.Rows, []string{b.label, w.Number(b.visits), hoursCell(w, b.exposureH), rate, limits})
		t.Visits = append(t.Visits, b.which)
		if b.href != "" {
			t.Links = append(t.Links, b.href)
		}
	}
	return t
}
