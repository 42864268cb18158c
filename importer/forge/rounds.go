package forge

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"doorleaf/usage"
)

// Rounds says how a site's cards come home.
type Rounds struct {
	Kind      string `json:"kind"`       // "growing", "cleared", "rotation"
	EveryDays int    `json:"every_days"` // from one round to the next, give or take a seventh
}

// The kinds of round.
const (
	// Growing: the card is read at the box and put back in the same opening, so
	// each file holds the last one, its last row now completed.
	Growing = "growing"
	// Cleared: the card is swapped for an empty one in the same opening.
	Cleared = "cleared"
	// Rotation: two cards take turns and neither is emptied, so each file
	// grows by its own turns.
	Rotation = "rotation"
)

// Call is a service call: a volunteer at the box, in one opening.
type Call struct {
	At      int64 `json:"at"`      // true instant of its opening, Unix seconds
	Out     bool  `json:"out"`     // a card is taken out
	In      bool  `json:"in"`      // a card is put in, before the door shuts
	Opening int32 `json:"opening"` // position among the site's openings; −1 if it reached no card
}

// calls draws the service calls of a site in (from, to), ascending, on
// different civil dates, in daytime; the last one is in the last week. A
// trouble "away" takes effect at the first call from its instant on: the card
// comes back Count days later, and rounds in between do not take place.
func (r Rounds) calls(rng *rand.Rand, from, to usage.Date, zone *time.Location, troubles []Trouble) ([]Call, error) {
	if r.EveryDays < 1 {
		return nil, fmt.Errorf("rounds every %d days: want 1 or more", r.EveryDays)
	}
	if !slices.Contains([]string{Growing, Cleared, Rotation}, r.Kind) {
		return nil, fmt.Errorf("rounds %q: want growing, cleared or rotation", r.Kind)
	}
	away := ofKind(troubles, TroubleAway)
	var out []Call
	back := from // no round on or before this date
	for _, date := range r.dates(rng, from, to) {
		if date <= back {
			continue
		}
		c := Call{At: daytime(rng, date, zone), Out: true, In: true, Opening: usage.Unknown}
		if len(away) > 0 && c.At >= away[0].At {
			back = date + usage.Date(max(1, away[0].Count))
			away = away[1:]
			c.In = false
			out = append(out, c)
			if back < to {
				out = append(out, Call{At: daytime(rng, back, zone), In: true, Opening: usage.Unknown})
			}
			continue
		}
		out = append(out, c)
	}
	return out, nil
}

// dates draws the dates of rounds, backwards from the end, ascending.
func (r Rounds) dates(rng *rand.Rand, from, to usage.Date) []usage.Date {
	var out []usage.Date
	for d := to - 1 - usage.Date(rng.IntN(7)); d > from; {
		out = append(out, d)
		give := r.EveryDays / 7
		d -= usage.Date(max(1, r.EveryDays+rng.IntN(2*give+1)-give))
	}
	if len(out) == 0 && to-1 > from {
		out = append(out, to-1)
	}
	slices.Reverse(out)
	return out
}

// daytime draws an instant between 9 and 19 o'clock civil time.
func daytime(rng *rand.Rand, date usage.Date, zone *time.Location) int64 {
	y, m, d := date.YMD()
	return time.Date(y, m, d, 9, rng.IntN(600), rng.IntN(60), 0, zone).Unix()
}
