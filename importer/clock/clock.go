// Package clock turns the readings of a logger's clock into true instants.
//
// A logger's clock is a cheap chip on a coin cell: it drifts, it knows nothing
// of daylight saving, it can reset or stop. The logbook is cut into runs, in
// each of which the clock ran undisturbed. A run ends at a step back, where the
// date falls to a chip's power-on default or to one before the site was
// installed, at a logged clock set, where a reading stands still, and where two
// known times cannot both be right unless somebody set the clock between them.
//
// Anchors tie a run to true time: a card's removal, a clock set, a time that
// somebody noted. One fixes the offset; between two the error is linear; outside
// them its bound grows with the drift of an unadjusted crystal. Without anchors
// the reading is taken as it is. A run without a date (its times run on, its
// date is lost) lies somewhere between its neighbours: it is timed where they
// leave it little room, and bracketed where not.
//
// What the clock keeps is a setting of the site. A fixed clock has one offset
// to UTC in each run. A civil clock follows daylight saving: a reading in the
// hour that comes twice is the first of the two unless the row before it is
// later; one in the hour that is missing is read with the offset before the
// change, as a clock that had not yet been changed. A UTC clock has the offset
// 0. A stamp that carries its own offset, and Unix time, which counts UTC, need
// no setting. Anchors that contradict the setting are believed, and a notice
// says so.
package clock

import (
	"doorleaf/usage"
)

// Row is a row of the logbook as its clock read.
type Row struct {
	Reading int64 // wall seconds, or Unix seconds if UTC; valid if Timed
	UTC     bool  // the stamp carries its own offset, or is Unix time
	Timed   bool  // false: the digits are no time
	Suspect bool  // a valid time that its weekday or its digits make doubtful
	OpenS   int32 // open seconds, or usage.Unknown
	Clock   Parts // of a row that is not Timed: what of its stamp is good; -1 is not
}

// Parts are fields of a stamp.
type Parts struct {
	Year           int16
	Month, Day     int8
	Hour, Min, Sec int8
}

// Stint is a card's stay in the logger: rows First to Last.
type Stint struct {
	First, Last int
	RemovedAt   *int64 // true instant at which the card came out, Unix s

	RemovedExact bool         // RemovedAt is to the second
	Answer       usage.Answer // a ruling on RemovedAt: typing, believe, or ""
	Loose        bool         // nothing tells where it lies among the site's other cards
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
	Resolution int64 // the step between two readings that a row can show: 1, 60 or 3600 s
}

// Input is a site's logbook as its clock read.
type Input struct {
	Site   Site
	Rows   []Row
	Stints []Stint
	Calls  []usage.ServiceCall // by time
}

// Notice is something about the clock that a person should know.
type Notice struct {
	Kind    string
	Rows    []int // the rows that show it, the first of them where it begins
	Says    string
	Changes string
	Choices []usage.Choice
	Stint   int // of a notice about a removal: its stint; else -1
}

// Times turns rows, in logbook order, into instants and runs, and says what it
// noticed.
func Times(in Input) ([]Time, []usage.Run, []Notice) {
	k := &keeper{Input: in, base: make([]int64, len(in.Rows)), state: make([]state, len(in.Rows)), times: make([]Time, len(in.Rows)), woke: map[int]bool{}, stood: map[int64]bool{}, twice: map[int]int32{}}
	k.judge()
	k.cut()
	k.anchor()
	k.settle()
	k.smooth()
	k.place()
	k.bracket()
	k.loosely()
	return k.times, k.published(), k.notices
}

// state is what a row's reading is good for.
type state uint8

const (
	none state = iota // no time in it
	lost              // it tells the time since other rows of its run, but no date
	good              // a date and a time
)

// keeper works out the times of one logbook.
type keeper struct {
	Input
	base    []int64 // by row: its reading as an instant of an exact clock, Unix s; of lost rows only differences count
	state   []state
	woke    map[int]bool   // rows before which the clock stood still
	stood   map[int64]bool // readings at which it stood still
	twice   map[int]int32  // rows in the hour that comes twice that may be an hour later, by how many seconds
	runs    []run
	own     own
	people  int // changes of civil time after which people moved the clock, in a call
	itself  int // changes of civil time at which it moved by itself
	stayed  int // changes of civil time at which known times show that it did as its setting says
	times   []Time
	notices []Notice
}

// run is a stretch in which the clock ran undisturbed: the rows from first to
// last that are not none belong to it.
type run struct {
	first, last        int
	state              state
	why                string
	anchors            []anchor
	zone               bool  // its base follows civil time
	loose              int32 // seconds by which its rows looseFrom to looseTo may be off besides: where it was cut is not certain
	looseFrom, looseTo int
	steep              bool // its drift is beyond belief: known times are not joined by a line
}

// anchor ties a base reading to a true instant.
type anchor struct {
	base   int64
	true   int64
	errorS int32
	row    int // the row that it belongs to; -1 for a set between rows
	stint  int // of a removal; else -1
	kind   string
	belief bool // a person said that it is right

	// What the run's other anchors make of it, once smooth has looked: the
	// offset of the clock there, and its error.
	fit    float64
	fitS   float64
	smooth bool
}

// off is how far the clock was ahead of true time, by this anchor alone.
func (a anchor) off() int64 { return a.base - a.true }

// ahead is off by all that is known, with its error.
func (a anchor) ahead() (off, errorS float64) {
	if a.smooth {
		return a.fit, a.fitS
	}
	return float64(a.off()), float64(a.errorS)
}

func (k *keeper) notice(n Notice) { k.notices = append(k.notices, n) }

// published returns the runs as the logbook shows them.
func (k *keeper) published() []usage.Run {
	out := make([]usage.Run, len(k.runs))
	for i, r := range k.runs {
		out[i] = usage.Run{
			First: r.first, Last: r.last, Why: r.why, Zone: r.zone,
			FirstReading: k.Rows[r.first].Reading, LastReading: k.Rows[r.last].Reading,
		}
		if r.state == good {
			out[i].OffsetS = int32(k.wall(r.first) - k.times[r.first].At)
		}
		for _, a := range r.anchors {
			out[i].Anchors = append(out[i].Anchors, usage.Anchor{Reading: a.base, True: a.true, ErrorS: a.errorS, Kind: a.kind})
		}
	}
	return out
}

// wall returns the reading of a row as wall seconds.
func (k *keeper) wall(i int) int64 { return k.Rows[i].Reading }

// follow returns the next row from i on that is not none, or -1.
func (k *keeper) follow(i int) int {
	for ; i < len(k.Rows); i++ {
		if k.state[i] != none {
			return i
		}
	}
	return -1
}
