package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// kind is a sort of visitors of which sites are made.
type kind struct {
	name      string
	character forge.Character
	zone      string
	latitude  float64
	longitude float64
	few       bool // a handful of visits a season
}

// kinds returns all kinds: Poisson visitors, few and many, strongly over-dispersed
// ones, and the forge's characters.
func kinds() []kind {
	even := forge.Characters()[7] // the hours of the box that is used all day
	even.Trend = 0
	even.Season = [12]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	var out []kind
	add := func(name string, c forge.Character, aSeason, theta float64) {
		c.PerDay, c.Dispersion = aSeason/92, theta
		out = append(out, kind{name: name, character: c, zone: "Europe/Dublin", latitude: 50.6, longitude: -8.2, few: aSeason < 10})
	}
	for _, n := range []float64{5, 40, 700} {
		add(fmt.Sprintf("Poisson, %.0f a season", n), even, n, 0)
	}
	for _, n := range []float64{5, 40, 700} {
		add(fmt.Sprintf("over-dispersed, %.0f a season", n), even, n, 0.8)
	}
	places := []kind{
		{zone: "Europe/Berlin", latitude: 54.9, longitude: 13.6}, {zone: "Australia/Adelaide", latitude: -36.6, longitude: 136.2},
		{zone: "America/New_York", latitude: 39.6, longitude: -72.1}, {zone: "Europe/Lisbon", latitude: 38.4, longitude: -10.3},
	}
	for i, c := range forge.Characters() {
		k := places[i%len(places)]
		k.name, k.character = c.Name, c
		out = append(out, k)
	}
	return out
}

// The dates of the sites: nine whole seasons, installed the day before them.
var (
	limitsFrom = usage.DateOf(2024, time.June, 1)
	limitsTo   = usage.DateOf(2026, time.September, 1)
)

// seasons returns the whole seasons between the two.
func (k kind) seasons() []usage.Season {
	var out []usage.Season
	for s := usage.SeasonOf(limitsFrom, usage.HemisphereOf(k.latitude)); s.Last() < limitsTo; s = s.Next() {
		out = append(out, s)
	}
	return out
}

// lack is what keeps a site from being covered.
type lack struct {
	name string
	// happen returns the trouble of a season that begins at an instant.
	happen func(rng *rand.Rand, at int64) []forge.Trouble
}

// lacks returns the situations.
func lacks() []lack {
	spell := func(kind string, shortest, longest int) func(*rand.Rand, int64) []forge.Trouble {
		return func(rng *rand.Rand, at int64) []forge.Trouble {
			return []forge.Trouble{{Kind: kind, At: at + rng.Int64N(60*86400), Count: shortest + rng.IntN(longest-shortest+1)}}
		}
	}
	return []lack{
		{"all days", func(*rand.Rand, int64) []forge.Trouble { return nil }},
		{"cards away", spell(forge.TroubleAway, 10, 24)},
		{"outages ruled", spell(forge.TroubleOutage, 7, 21)},
	}
}

// spec returns a site of the kind.
func (k kind) spec(l lack, rng *rand.Rand) (forge.SiteSpec, error) {
	zone, err := time.LoadLocation(k.zone)
	if err != nil {
		return forge.SiteSpec{}, err
	}
	_, offset := time.Date(2024, 5, 31, 12, 0, 0, 0, zone).Zone()
	s := forge.SiteSpec{
		Code: "S001", Name: k.name, Zone: k.zone, Latitude: k.latitude, Longitude: k.longitude,
		InstalledOn: limitsFrom - 1, Character: k.character, Dialect: forge.RandomDialect(rng), Situation: l.name,
		Rounds: forge.Rounds{Kind: forge.Cleared, EveryDays: 21 + rng.IntN(21)},
		Notes:  forge.Notes{Removals: 0.9, Minutes: 0.5, Mistyped: 0.01, Calls: 0.9, Sets: 0.9, Readings: 0.15},
		Clock: forge.Clock{
			Keeping: usage.ClockFixed, OffsetS: int32(offset),
			ErrorS: rng.Int32N(41) - 20, DriftPPM: float64(rng.IntN(801)-400) / 10,
		},
	}
	for !s.Dialect.OpenSeconds() || s.Dialect.Weekday == "number" || s.Dialect.Zulu || slices.Contains(s.Dialect.Columns, forge.ColUnix) {
		s.Dialect = forge.RandomDialect(rng) // the clock is a fixed one; what a visit is hangs on the seconds, and how their column is told apart is not measured here
	}
	for _, season := range k.seasons() {
		y, m, d := season.First().YMD()
		s.Troubles = append(s.Troubles, l.happen(rng, time.Date(y, m, d, 0, 0, 0, 0, zone).Unix())...)
	}
	return s, nil
}
