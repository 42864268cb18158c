// Package forge makes invented card files together with their truth: made-up
// visitors open made-up doors, made-up loggers with imperfect clocks write rows
// in any dialect, and rounds bring the cards home.
//
// Everything follows from a seed. A site's cards depend on the seed and on its
// own description only, never on the other sites of its network. Instants are
// true Unix seconds; a reading is what a logger's clock shows, as wall seconds:
// the reading taken as if it were UTC. Patterns follow the civil time of the
// site's zone, so the day on which clocks go forward has no visitor in the
// missing hour and the hour that comes twice has its visitors twice.
//
// Same bytes for the same seed holds on one kind of processor: on another the
// last bit of a product may be rounded otherwise, and move an instant.
package forge

import (
	"hash/fnv"
	"math/rand/v2"
)

// stream returns the random numbers of one purpose at one site; streams of
// different purposes never disturb each other.
func stream(seed uint64, code, purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(code + "\x00" + purpose)) // never fails
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// pick returns one of the given things.
func pick[T any](rng *rand.Rand, things ...T) T {
	return things[rng.IntN(len(things))]
}

// chance is true with probability p.
func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }
