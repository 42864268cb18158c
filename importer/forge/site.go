package forge

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"doorleaf/usage"
)

// SiteSpec describes a made-up site.
type SiteSpec struct {
	Code        string     `json:"code"`
	Name        string     `json:"name"`
	Latitude    float64    `json:"latitude"`
	Longitude   float64    `json:"longitude"`
	Zone        string     `json:"time_zone"`
	InstalledOn usage.Date `json:"installed_on"` // at noon civil time, card in
	Character   Character  `json:"character"`
	Dialect     Dialect    `json:"dialect"`
	Clock       Clock      `json:"clock"`
	Rounds      Rounds     `json:"rounds"`
	Troubles    []Trouble  `json:"troubles"` // ascending by At
	Notes       Notes      `json:"notes"`    // what people write down

	// Situation names the scenario that the site is of; "" for none.
	Situation string `json:"situation,omitempty"`
	// Setting is what the network holds the clock to keep, where that is not
	// what it keeps.
	Setting usage.ClockKeeping `json:"setting,omitempty"`
}

// Site returns what a network would know of the site.
func (s SiteSpec) Site() usage.Site {
	site := usage.Site{
		Code: s.Code, Name: s.Name, Latitude: s.Latitude, Longitude: s.Longitude, Zone: s.Zone,
		InstalledOn: s.InstalledOn, Clock: s.Clock.Keeping, Thresholds: usage.DefaultThresholds,
	}
	if s.Setting != "" {
		site.Clock = s.Setting
	}
	return site
}

// Site is a made-up site with all that happened at it.
type Site struct {
	Spec     SiteSpec            // its clock's sets moved to the calls in which they took place
	Openings []Opening           // that reached a card, in order of time
	Written  []Row               // their rows as the cards finally have them; for pairs, the OPEN rows
	Cards    []Card              // in order of removal
	Calls    []Call              // in order of time
	Missed   []Missed            // that reached no card, up to the last removal, in order of time
	Beats    []Beat              // of its clock, in order of time
	Noted    []usage.ServiceCall // the calls as they were written down, by ID
}

// Missed is an opening that reached no card.
type Missed struct {
	Opening
	Why string // TroubleAway or TroubleOutage
}

// Beat is a stretch in which a site's clock ran, or stood, undisturbed.
type Beat struct {
	From  int64  `json:"from"`  // true instant, Unix seconds
	State string `json:"state"` // see the states
}

// NewSite makes a site's openings and cards up to the end of the day before to.
func NewSite(spec SiteSpec, to usage.Date, seed uint64) (*Site, error) {
	s, err := newSite(spec, to, seed)
	if err != nil {
		return nil, fmt.Errorf("forge site %s: %w", spec.Code, err)
	}
	return s, nil
}

func newSite(spec SiteSpec, to usage.Date, seed uint64) (*Site, error) {
	zone, err := time.LoadLocation(spec.Zone)
	if err != nil {
		return nil, err
	}
	if err := spec.Dialect.Check(); err != nil {
		return nil, err
	}
	calls, err := spec.Rounds.calls(stream(seed, spec.Code, "rounds"), spec.InstalledOn, to, zone, spec.Troubles)
	if err != nil {
		return nil, err
	}
	y, m, d := spec.InstalledOn.YMD()
	installed := time.Date(y, m, d, 12, 0, 0, 0, zone).Unix()
	y, m, d = to.YMD()
	openings := spec.openings(stream(seed, spec.Code, "visitors"), installed, time.Date(y, m, d, 0, 0, 0, 0, zone).Unix(), zone, calls)
	for _, o := range openings {
		if o.Call != usage.Unknown {
			calls[o.Call].At = o.At
		}
	}
	spec.Troubles = append([]Trouble{}, spec.Troubles...)
	spec.Clock.Events = settled(spec.Clock.Events, calls, zone)
	dial, err := spec.Clock.dial(installed, zone)
	if err != nil {
		return nil, err
	}
	s := &Site{Spec: spec, Calls: calls, Beats: dial.published()}
	b := &bench{
		site: s, zone: zone, rng: stream(seed, spec.Code, "removals"), bad: spellsOf(spec.Troubles),
		logger: &logger{
			pen: newPen(spec.Dialect), dial: dial, rng: stream(seed, spec.Code, "cuts"),
			counter: usage.Unknown, card: newMedium(),
		},
	}
	b.run(openings)
	s.note(stream(seed, spec.Code, "notes"), installed)
	return s, nil
}

// Installed returns the instant at which the site's logger began, Unix seconds.
func (s *Site) Installed() int64 { return s.Beats[0].From }

// Outages returns the times in which the batteries were dead, [from, to), up to
// the last removal.
func (s *Site) Outages() [][2]int64 {
	var out [][2]int64
	if len(s.Cards) == 0 {
		return nil
	}
	end := s.Cards[len(s.Cards)-1].RemovedAt
	for _, t := range ofKind(s.Spec.Troubles, TroubleOutage) {
		if t.At < end {
			out = append(out, [2]int64{t.At, min(end, t.until())})
		}
	}
	return out
}

// Expected returns the visits to be expected at the site in [from, to), Unix
// seconds, by its character.
func (s *Site) Expected(from, to int64) float64 {
	zone, err := time.LoadLocation(s.Spec.Zone)
	if err != nil { // NewSite made the site in it
		return 0
	}
	c := s.Spec.Character
	return c.grown(from-s.Installed()) * c.Expected(from, to, zone, s.Spec.Latitude < 0)
}

// openings makes the true openings in [from, to), whether a card sees them or not.
func (s SiteSpec) openings(rng *rand.Rand, from, to int64, zone *time.Location, calls []Call) []Opening {
	var visitors, wind, service []arrival
	for _, at := range s.Character.arrivals(rng, from, to, zone, s.Latitude < 0) {
		visitors = append(visitors, arrival{at, usage.Visitor, usage.Unknown})
	}
	for t := float64(from); s.Character.WindPerDay > 0; {
		if t += rng.ExpFloat64() * 86400 / s.Character.WindPerDay; t >= float64(to) {
			break
		}
		wind = append(wind, arrival{int64(t), usage.Rattle, usage.Unknown})
	}
	for i, c := range calls {
		service = append(service, arrival{c.At, usage.Service, int32(i)})
	}
	d := &door{c: s.Character, rng: rng}
	for _, t := range ofKind(s.Troubles, TroubleAjar) {
		d.forced = append(d.forced, t.At)
	}
	return d.openings(merge(visitors, wind, service))
}

// setS is how long after a call's opening its clock is set, seconds.
const setS = 30

// settled moves each set of a clock to setS seconds into the first service
// call from its instant on; a set after the last call never happens.
func settled(events []ClockEvent, calls []Call, zone *time.Location) []ClockEvent {
	out := make([]ClockEvent, 0, len(events))
	for _, e := range events {
		if e.Kind == ClockSet {
			i := slices.IndexFunc(calls, func(c Call) bool { return c.At >= e.At })
			if i < 0 {
				continue
			}
			e.At = calls[i].At + setS
			if e.Civil {
				_, offset := time.Unix(e.At, 0).In(zone).Zone()
				e.OffsetS = int32(offset)
			}
		}
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, b ClockEvent) int { return int(min(1, max(-1, a.At-b.At))) })
	return out
}
