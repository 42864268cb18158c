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
	OffsetS  int32              `json:"offset_s"`          // what a fixed clock is set to, seconds east of UTC
	ErrorS   int32              `json:"error_s"`           // how far ahead it is set, seconds
	DriftPPM float64            `json:"drift_ppm"`         // seconds gained in a million
	Crystal  *Crystal           `json:"crystal,omitempty"` // drift by temperature beside it; null: none
	// Built is when the firmware was built, wall seconds, where it sets the clock
	// to that whenever it finds it without power; 0: it leaves the chip's default.
	Built  int64        `json:"built,omitempty"`
	Events []ClockEvent `json:"events"` // ascending by At
}

// The kinds of clock event.
const (
	ClockSet   = "set"   // set again, to UTC + OffsetS + ErrorS of the event
	ClockReset = "reset" // power lost: restarts at 2000-01-01 00:00:00, weekday register at 1, or at Built
	ClockHalt  = "halt"  // stands still until it is set or started
	ClockStart = "start" // goes on from the reading at which it was halted
	ClockDead  = "dead"  // the coin cell is dead: a reset whenever the door opens, until it is set
	ClockBlank = "blank" // power lost: restarts at 2000-00-00 00:00:00, month and day 0
	ClockJump  = "jump"  // leaps ahead by ErrorS of the event
)

// ClockEvent is one thing that happened to a clock.
type ClockEvent struct {
	At      int64  `json:"at"`              // true instant, Unix seconds; a set happens in the first service call from then on
	Kind    string `json:"kind"`            // "set", "reset", "halt", "start", "dead", "blank", "jump"
	OffsetS int32  `json:"offset_s"`        // of a set of a fixed clock
	ErrorS  int32  `json:"error_s"`         // of a set or a jump
	Civil   bool   `json:"civil,omitempty"` // of a set of a fixed clock: to the civil offset of the moment, which OffsetS then is
}

// powerOn is the reading of a clock chip that lost its power, wall seconds:
// 2000-01-01 00:00:00 (DS1307 data sheet, Maxim 2008, table 2: 01/01/00 00:00:00,
// weekday register 01).
var powerOn = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).Unix()

// startS is how long after its power-on a dead clock is read, seconds: the
// firmware starts first. Common practice, no source.
const startS = 1

// The states of a clock, as the truth tells them.
const (
	StateGood  = ""          // as it was set at installation
	StateSet   = "set"       // set again, right within two minutes and with the offset it had at first
	StateWrong = "set wrong" // set by more than two minutes wrong, or with another offset to UTC
	StateReset = "reset"     // counting from its power-on default
	StateBuilt = "built"     // counting from the time at which its firmware was built
	StateHalt  = "halt"      // standing still
	StateDead  = "dead cell" // at its default at every opening
	StateBlank = "month 0"   // counting without a date
	StateJump  = "jump"      // ahead since a jump
	StateAgain = "restarted" // going on after a halt, behind
)

// carelessS is by how many seconds a clock that is set right may be wrong.
const carelessS = 120

// beat is a stretch in which a clock ran, or stood, undisturbed.
type beat struct {
	from    int64 // true instant
	own     int64 // wall seconds at from; for a civil clock, its idea of Unix time; without a date, since day 0
	ppm     float64
	crystal *Crystal
	state   string
	reset   bool // the weekday register counts from the power-on default
}

// at returns the reading at the instant t of a clock whose logger was powered
// at the instant power.
func (b beat) at(t, power int64) int64 {
	switch b.state {
	case StateHalt:
		return b.own
	case StateDead:
		return b.own + startS + t - power
	}
	d := t - b.from
	gained := float64(d) * b.ppm / 1e6
	if b.crystal != nil {
		gained += b.crystal.Gained(b.from, t)
	}
	return b.own + d + int64(math.Floor(gained))
}

// dial is a Clock ready to be read.
type dial struct {
	clock Clock
	zone  *time.Location // nil unless the clock follows civil time
	beats []beat
}

// dial works out the beats of a clock that was set at the given instant.
func (c Clock) dial(installed int64, zone *time.Location) (*dial, error) {
	d := &dial{clock: c}
	if c.Keeping == usage.ClockCivil {
		d.zone = zone
	}
	if !slices.IsSortedFunc(c.Events, func(a, b ClockEvent) int { return int(min(1, max(-1, a.At-b.At))) }) {
		return nil, fmt.Errorf("clock events: not in order of time")
	}
	first := beat{from: installed, own: c.set(installed, c.OffsetS, c.ErrorS), ppm: c.DriftPPM, crystal: c.Crystal}
	if abs(c.ErrorS) > carelessS {
		first.state = StateWrong
	}
	d.beats = append(d.beats, first)
	for _, e := range c.Events {
		b, err := d.after(d.beats[len(d.beats)-1], e)
		if err != nil {
			return nil, err
		}
		d.beats = append(d.beats, b)
	}
	return d, nil
}

// after returns the beat that an event begins.
func (d *dial) after(b beat, e ClockEvent) (beat, error) {
	b.from, b.own = e.At, b.at(e.At, e.At)
	switch e.Kind {
	case ClockSet:
		b.own, b.state, b.reset = d.clock.set(e.At, e.OffsetS, e.ErrorS), StateSet, false
		if abs(e.ErrorS) > carelessS || d.clock.Keeping == usage.ClockFixed && e.OffsetS != d.clock.OffsetS {
			b.state = StateWrong
		}
	case ClockReset:
		b.own, b.state, b.reset = d.restart()
	case ClockDead:
		b.own, _, b.reset = d.restart()
		b.state = StateDead
	case ClockBlank:
		b.own, b.state, b.reset = 0, StateBlank, true
	case ClockHalt:
		b.state = StateHalt
	case ClockStart:
		b.state = StateAgain
	case ClockJump:
		b.own, b.state = b.own+int64(e.ErrorS), StateJump
	default:
		return b, fmt.Errorf("clock event %q: want set, reset, halt, start, dead, blank or jump", e.Kind)
	}
	return b, nil
}

func abs(n int32) int32 { return max(n, -n) }

func (c Clock) set(at int64, offsetS, errorS int32) int64 {
	if c.Keeping != usage.ClockFixed {
		offsetS = 0
	}
	return at + int64(offsetS) + int64(errorS)
}

// restart returns what a clock shows that lost its power.
func (d *dial) restart() (own int64, state string, reset bool) {
	wall, state, reset := powerOn, StateReset, true
	if d.clock.Built != 0 {
		wall, state, reset = d.clock.Built, StateBuilt, false
	}
	if d.zone == nil {
		return wall, state, reset
	}
	y, m, day := time.Unix(wall, 0).UTC().Date()
	return time.Date(y, m, day, 0, 0, int(wall%86400), 0, d.zone).Unix(), state, reset
}

func (d *dial) published() []Beat {
	out := make([]Beat, len(d.beats))
	for i, b := range d.beats {
		out[i] = Beat{b.from, b.state}
	}
	return out
}

// face is what a clock shows.
type face struct {
	wall  int64 // wall seconds; without a date, seconds since 2000-00-00 00:00:00
	beat  int32
	state string
	reset bool
}

// read returns what the clock shows at the true instant t, in a logger that was
// powered at the instant power.
func (d *dial) read(t, power int64) face {
	i := max(0, sort.Search(len(d.beats), func(i int) bool { return d.beats[i].from > t })-1)
	b := d.beats[i]
	f := face{b.at(t, power), int32(i), b.state, b.reset}
	if d.zone != nil && b.state != StateBlank {
		_, offset := time.Unix(f.wall, 0).In(d.zone).Zone()
		f.wall += int64(offset)
	}
	return f
}
