package usage

import (
	"cmp"
	"fmt"
	"slices"
)

// DueKind is a reason to go to a box.
type DueKind string

// The reasons, in the order in which a round lists them.
const (
	DueCard      DueKind = "card"      // its card has not been read for so many days
	DueClock     DueKind = "clock"     // its clock may be off by more than the rule allows
	DueBatteries DueKind = "batteries" // they may be empty
	DueCoin      DueKind = "coin cell" // it may be empty
	DueCounter   DueKind = "counter"   // the memory that it counts in wears out
	DueShelf     DueKind = "shelf"     // it is likely to be empty
	DueQuestions DueKind = "questions" // findings wait for an answer
)

var dueKinds = []DueKind{DueCard, DueClock, DueBatteries, DueCoin, DueCounter, DueShelf, DueQuestions}

// RoundRule says when something is due.
type RoundRule struct {
	CardDays  int32 `json:"card_days"`     // a card that has not been read for so many days
	ClockS    int32 `json:"clock_error_s"` // a clock that may be off by more than this, s
	AheadDays int32 `json:"ahead_days"`    // what falls due within so many days is done on the way
}

// DefaultRoundRule is the rule of a round where nobody says otherwise.
// Common practice, no source.
var DefaultRoundRule = RoundRule{CardDays: 60, ClockS: 15 * 60, AheadDays: 7}

// Check returns Invalid for a rule that makes no sense.
func (r RoundRule) Check() error {
	if r.CardDays < 1 || r.CardDays > 3650 || r.ClockS < 1 || r.ClockS > daySeconds || r.AheadDays < 0 || r.AheadDays > 366 {
		return &Fault{Kind: Invalid, What: fmt.Sprintf("no round can be planned for cards of %d days, clocks of %d s and %d days ahead", r.CardDays, r.ClockS, r.AheadDays),
			Try: "give 1 to 3650 days, 1 to 86400 s and 0 to 366 days ahead"}
	}
	return nil
}

// RoundIn is what is known of one site when a round is planned. What is nil is not
// known, and no reason to go.
type RoundIn struct {
	Site      Site
	ReadAt    *int64 // Unix s at which its latest card was last read; nil: never
	Clock     *ClockError
	Calls     []ServiceCall // by time
	Questions int           // findings without a ruling
	Batteries *Date         // the date by which to change them
	Coin      *Date         // the same for the clock's coin cell
	Counter   *Date         // the same for the memory of the counter
	Shelf     *Date         // the date from which the shelf is likely to be empty
	Now       int64         // Unix s
}

// ClockError is how far a clock may have been off at an instant.
type ClockError struct {
	At     int64 // Unix s
	ErrorS int32
}

// ClockDrift bounds the drift of an unadjusted watch crystal in a box outdoors, seconds
// a second (2.6 s a day). Typical tolerance at 25 °C is ±20 ppm, and −0.035 ppm/°C²
// about 25 °C takes another 10 ppm at a mean of 8 °C (Maxim, MAX6902 data sheet, page 14).
const ClockDrift = 30e-6

// setErrorS is how well a clock that was set is known, s. Common practice, no source.
const setErrorS = 60

// ErrorAt returns the error at a later instant, s.
func (c ClockError) ErrorAt(unix int64) int32 {
	return int32(min(float64(c.ErrorS)+ClockDrift*float64(max(unix-c.At, 0)), 1<<30))
}

// past returns the instant at which the error is larger than so many seconds.
func (c ClockError) past(errorS int32) int64 {
	return c.At + int64(float64(max(errorS-c.ErrorS, 0))/ClockDrift)
}

// Due is a reason to go to a box.
type Due struct {
	Kind  DueKind
	By    Date // the date from which it is due
	Now   bool // By has come
	Never bool // of a card: none has ever been read
	Days  Date // of a card: days since it was read, or since the installation
	Out   bool // of a card: one has come out since the last was read, and is not brought in yet
	Count int  // of questions: how many
	// ErrorS is how far the clock may be off now, s.
	ErrorS int32
}

// Dues returns what is due at a site now or later, each kind once, ascending by date
// and in the order of the kinds. Questions are due today. Errors are those of LoadZone
// and RoundRule.Check.
func Dues(in RoundIn, rule RoundRule) ([]Due, error) {
	if err := rule.Check(); err != nil {
		return nil, err
	}
	zone, err := LoadZone(in.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("round to site %s: %w", in.Site.Code, err)
	}
	today, _ := zone.Civil(in.Now)
	dues := []Due{cardDue(in, zone, today, rule)}
	if d := clockDue(in, zone, rule); d != nil {
		dues = append(dues, *d)
	}
	for _, e := range []struct {
		kind DueKind
		by   *Date
	}{{DueBatteries, in.Batteries}, {DueCoin, in.Coin}, {DueCounter, in.Counter}, {DueShelf, in.Shelf}} {
		if e.by != nil {
			dues = append(dues, Due{Kind: e.kind, By: *e.by})
		}
	}
	if in.Questions > 0 {
		dues = append(dues, Due{Kind: DueQuestions, By: today, Count: in.Questions})
	}
	for i := range dues {
		dues[i].Now = dues[i].By <= today
	}
	slices.SortStableFunc(dues, func(a, b Due) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(slices.Index(dueKinds, a.Kind), slices.Index(dueKinds, b.Kind)))
	})
	return dues, nil
}

// cardDue says when the card is to be read: so many days after it was last read or
// taken out, or after the installation.
func cardDue(in RoundIn, zone *Zone, today Date, rule RoundRule) Due {
	d := Due{Kind: DueCard, Never: in.ReadAt == nil}
	since := in.Site.InstalledOn
	if in.ReadAt != nil {
		since, _ = zone.Civil(*in.ReadAt)
	}
	for _, c := range in.Calls {
		if !c.Did(CallCardOut) || c.At > in.Now {
			continue
		}
		// A call is noted to the minute; the card's own last row is that of the call.
		if date, _ := zone.Civil(c.At); date > since {
			since, d.Out = date, true
		}
	}
	d.Days, d.By = max(today-since, 0), since+Date(rule.CardDays)
	return d
}

// clockDue says when the clock may be off by more than the rule allows; nil where
// nothing is known of it. A clock that was set after it was last read is as good as
// it was set.
func clockDue(in RoundIn, zone *Zone, rule RoundRule) *Due {
	known := in.Clock
	for _, c := range in.Calls {
		if c.Did(CallClockSet) && c.At <= in.Now && (known == nil || c.At > known.At) {
			known = &ClockError{c.At, max(c.ErrorS, setErrorS)}
		}
	}
	if known == nil {
		return nil
	}
	by, _ := zone.Civil(known.past(rule.ClockS))
	return &Due{Kind: DueClock, By: by, ErrorS: known.ErrorAt(in.Now)}
}

// Within returns the dues that a round today takes along: those of the rule's days
// ahead.
func (r RoundRule) Within(dues []Due, today Date) []Due {
	var out []Due
	for _, d := range dues {
		if d.By <= today+Date(r.AheadDays) {
			out = append(out, d)
		}
	}
	return out
}
