// Package clock turns the readings of a logger's clock into true instants.
//
// A logger's clock is a cheap chip on a coin cell: it drifts, it knows nothing
// of daylight saving, it can reset or stop. The logbook is cut into runs, in
// each of which the clock ran undisturbed; a run has an offset to UTC.
//
// What the clock keeps is a setting of the site. A fixed clock has one offset
// in each run: the civil offset of the site at the run's start. A civil clock
// follows daylight saving: a reading in the hour that comes twice is the first
// of the two unless the row before it is later; one in the hour that is missing
// is read with the offset before the change, as a clock that had not yet been
// changed. A UTC clock has the offset 0. A stamp that carries its own offset,
// and Unix time, which counts UTC, need no setting.
package clock

import (
	"math"

	"doorleaf/usage"
)

// driftPPM bounds the drift of an unadjusted watch crystal in a box outdoors:
// 23 ppm is 2 s a day. Typical tolerance at 25 °C is ±20 ppm (Maxim, MAX6902
// data sheet, page 14); the rest is allowed for temperature.
const driftPPM = 23

// Row is a row of the logbook as its clock read.
type Row struct {
	Reading int64 // wall seconds, or Unix seconds if UTC; valid if Timed
	UTC     bool  // the stamp carries its own offset, or is Unix time
	Timed   bool
}

// Time is what became of a row: usage.Opening's fields of the same names.
type Time struct {
	At, Earliest, Latest int64
	ErrorS               int32
	Run                  int32
	Timed                bool
}

// Site is what the clock needs to know of the site.
type Site struct {
	Zone       *usage.Zone
	Keeping    usage.ClockKeeping
	Installed  int64 // wall seconds of the start of the day of installation
	Resolution int64 // seconds between two readings that a row can show: 1, 60 or 3600
}

// Times turns rows, in logbook order, into instants and runs.
func Times(rows []Row, site Site) ([]Time, []usage.Run) {
	good := recoverable(rows, site)
	out := make([]Time, len(rows))
	var runs []usage.Run
	var last int64
	for i := range rows {
		if !good[i] {
			out[i].Run = usage.Unknown
			continue
		}
		r := &rows[i]
		if len(runs) == 0 || site.stepsBack(r, last) {
			runs = append(runs, site.begin(i, r, len(runs) > 0))
		}
		run := &runs[len(runs)-1]
		out[i] = site.time(r, run, out, i)
		out[i].Run = int32(len(runs) - 1)
		run.Last, run.LastReading = i, r.Reading
		last = r.Reading
	}
	bracket(out, site)
	return out, runs
}

// dayBefore is how long before its installation a site's rows may be dated:
// loggers are tried out on the bench, and the date may be a day off.
const dayBefore = 86400

// recoverable tells which rows have a reading that a time can be made of. A
// reading before the site was installed, a single row far from both of its
// neighbours, and all but the first row of a clock that stands still have none.
func recoverable(rows []Row, site Site) []bool {
	good := make([]bool, len(rows))
	for i := range rows {
		good[i] = rows[i].Timed && rows[i].Reading >= site.Installed-dayBefore
	}
	stands(rows, good, site.Resolution)
	strays(rows, good)
	return good
}

// standing is how many equal readings in a row mean that the clock stands
// still, by the resolution of the readings. Two people in one second are
// unlikely, three impossible; in an hour there may be many.
func standing(resolution int64) int {
	switch {
	case resolution >= 3600:
		return 60
	case resolution >= 60:
		return 6
	}
	return 3
}

// stands marks rows of a clock that stands still. The first row that shows a
// reading may be right, unless it is the first of the logbook.
func stands(rows []Row, good []bool, resolution int64) {
	for i := 0; i < len(rows); {
		j := i + 1
		for j < len(rows) && good[i] && good[j] && rows[j].Reading == rows[i].Reading {
			j++
		}
		if j-i >= standing(resolution) {
			for k := i; k < j; k++ {
				good[k] = k == i && i > 0
			}
		}
		i = j
	}
}

// strayS is how far from its neighbours a single reading must lie to be held
// for a misread digit and not for a clock that was set: a month.
const strayS = 30 * 86400

// strays marks single rows that jump away from rows which follow each other.
func strays(rows []Row, good []bool) {
	before, here := -1, -1
	for after := range rows {
		if !good[after] {
			continue
		}
		if here >= 0 {
			stray := before >= 0 && rows[after].Reading >= rows[before].Reading &&
				rows[after].Reading-rows[before].Reading < strayS &&
				(rows[here].Reading > rows[after].Reading+strayS || rows[here].Reading < rows[before].Reading-strayS)
			if stray {
				good[here] = false
				here = after
				continue
			}
			before = here
		}
		here = after
	}
}

// stepsBack reports whether a clock cannot have gone from the reading last to
// that of r undisturbed. A civil clock goes back once a year by itself.
func (s Site) stepsBack(r *Row, last int64) bool {
	if r.Reading >= last {
		return false
	}
	if s.Keeping == usage.ClockCivil && !r.UTC {
		_, _, kind := s.Zone.Resolve(r.Reading)
		return kind != usage.Overlap
	}
	return true
}

func (s Site) begin(i int, r *Row, stepped bool) usage.Run {
	run := usage.Run{First: i, FirstReading: r.Reading, Why: "first row"}
	if stepped {
		run.Why = "step back"
	}
	switch {
	case r.UTC:
	case s.Keeping == usage.ClockCivil:
		run.Zone = true
		fallthrough
	case s.Keeping == usage.ClockFixed:
		first, _, _ := s.Zone.Resolve(r.Reading)
		run.OffsetS = int32(r.Reading - first)
	}
	return run
}

// time turns one reading into an instant. Without an anchor its error is the
// resolution of the reading and the drift since the run began.
func (s Site) time(r *Row, run *usage.Run, out []Time, i int) Time {
	at := r.Reading - int64(run.OffsetS)
	switch {
	case r.UTC:
		at = r.Reading
	case run.Zone:
		at = s.civil(r.Reading, run, out, i)
	}
	drift := math.Ceil(driftPPM * 1e-6 * float64(r.Reading-run.FirstReading))
	e := int32(float64(s.Resolution) + max(drift, 0))
	return Time{At: at, Earliest: at - int64(e), Latest: at + int64(e), ErrorS: e, Timed: true}
}

// civil resolves a reading of a clock that follows civil time, by the order of rows.
func (s Site) civil(reading int64, run *usage.Run, out []Time, i int) int64 {
	first, second, kind := s.Zone.Resolve(reading)
	if kind != usage.Overlap {
		return first
	}
	for k := i - 1; k >= run.First; k-- {
		if out[k].Timed {
			if out[k].At > first {
				return second
			}
			break
		}
	}
	return first
}

// bracket gives every untimed row the instants of its timed neighbours as bounds.
func bracket(out []Time, site Site) {
	first, _, _ := site.Zone.Resolve(site.Installed)
	low := first
	for i := range out {
		if out[i].Timed {
			low = out[i].At
			continue
		}
		out[i].Earliest = low
	}
	high := usage.Beyond
	for i := len(out) - 1; i >= 0; i-- {
		if out[i].Timed {
			high = out[i].At
			continue
		}
		out[i].Latest = max(high, out[i].Earliest)
	}
}
