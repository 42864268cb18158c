package forge

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"doorleaf/usage"
)

// Clock is the model of a logger's clock. It is set when the logger is
// installed, drifts, and suffers events.
//
// A fixed clock then shows UTC + OffsetS and knows no daylight saving; a civil
// clock shows the civil time of its site, so that one hour of its readings is
// missing in spring and one comes twice in autumn; a utc clock shows UTC.
type Clock struct {
	Keeping  usage.ClockKeeping `json:"keeping"`
	OffsetS  int32              `json:"offset_s"`  // what a fixed clock is set to, seconds east of UTC
	ErrorS   int32              `json:"error_s"`   // how far ahead it is set, seconds
	DriftPPM float64            `json:"drift_ppm"` // seconds gained in a million
	Events   []ClockEvent       `json:"events"`    // ascending by At
}

// The kinds of clock event.
const (
	ClockSet   = "set"   // set again, to UTC + OffsetS + ErrorS of the event
	ClockReset = "reset" // power lost: restarts at 2000-01-01 00:00:00, weekday register at 1
	ClockHalt  = "halt"  // stands still until it is set or started
	ClockStart = "start" // goes on from the reading at which it was halted
)

// ClockEvent is one thing that happened to a clock.
type ClockEvent struct {
	At      int64  `json:"at"`       // true instant, Unix seconds; a set happens in the first service call from then on
	Kind    string `json:"kind"`     // "set", "reset", "halt", "start"
	OffsetS int32  `json:"offset_s"` // of a set of a fixed clock
	ErrorS  int32  `json:"error_s"`  // of a set
}

// powerOn is the reading of a clock chip that lost its power, wall seconds:
// 2000-01-01 00:00:00 (DS1307 data sheet, Maxim 2008, table 2: 01/01/00 00:00:00,
// weekday register 01).
var powerOn = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).Unix()

// beat is a stretch in which a clock ran, or stood, undisturbed.
type beat struct {
	from  int64 // true instant
	own   int64 // wall seconds at from; for a civil clock, its idea of Unix time
	ppm   float64
	stood bool
	reset bool // the weekday register counts from the power-on default
}

func (b beat) at(t int64) int64 {
	if b.stood {
		return b.own
	}
	d := t - b.from
	return b.own + d + int64(math.Floor(float64(d)*b.ppm/1e6))
}

// dial is a Clock ready to be read.
type dial struct {
	zone  *time.Location // nil unless the clock follows civil time
	beats []beat
}

// dial works out the beats of a clock that was set at the given instant.
func (c Clock) dial(installed int64, zone *time.Location) (*dial, error) {
	d := &dial{}
	if c.Keeping == usage.ClockCivil {
		d.zone = zone
	}
	if !slices.IsSortedFunc(c.Events, func(a, b ClockEvent) int { return int(min(1, max(-1, a.At-b.At))) }) {
		return nil, fmt.Errorf("clock events: not in order of time")
	}
	d.beats = append(d.beats, beat{from: installed, own: c.set(installed, c.OffsetS, c.ErrorS), ppm: c.DriftPPM})
	for _, e := range c.Events {
		b := d.beats[len(d.beats)-1]
		b.from, b.own = e.At, b.at(e.At)
		switch e.Kind {
		case ClockSet:
			b.own, b.stood, b.reset = c.set(e.At, e.OffsetS, e.ErrorS), false, false
		case ClockReset:
			b.own, b.stood, b.reset = d.powerOn(), false, true
		case ClockHalt:
			b.stood = true
		case ClockStart:
			b.stood = false
		default:
			return nil, fmt.Errorf("clock event %q: want set, reset, halt or start", e.Kind)
		}
		d.beats = append(d.beats, b)
	}
	return d, nil
}

func (c Clock) set(at int64, offsetS, errorS int32) int64 {
	if c.Keeping != usage.ClockFixed {
		offsetS = 0
	}
	return at + int64(offsetS) + int64(errorS)
}

func (d *dial) powerOn() int64 {
	if d.zone == nil {
		return powerOn
	}
	return time.Date(2000, 1, 1, 0, 0, 0, 0, d.zone).Unix()
}

// read returns what the clock shows at the true instant t, in wall seconds, and
// whether its weekday register counts from the power-on default.
func (d *dial) read(t int64) (wall int64, reset bool) {
	i := sort.Search(len(d.beats), func(i int) bool { return d.beats[i].from > t })
	b := d.beats[max(0, i-1)]
	wall = b.at(t)
	if d.zone != nil {
		_, offset := time.Unix(wall, 0).In(d.zone).Zone()
		wall += int64(offset)
	}
	return wall, b.reset
}
