package forge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"doorleaf/usage"
)

// Scenario is a named situation that sites can be made in.
type Scenario struct {
	Name  string
	About string
	days  int // of its sites; 0: usualDays
	plot  func(p *plot)
}

// usualDays is how long the sites of a scenario have been running: long enough
// for both changes of civil time.
const usualDays = 400

// Scenarios returns the situations, in a fixed order.
func Scenarios() []Scenario {
	return slices.Concat(driftScenarios(), restartScenarios(), lostScenarios(), setScenarios(), rowScenarios(), cardScenarios())
}

// Network makes a network of so many sites in the situation, in a zone, dialects,
// rounds and with characters drawn by the seed, ending on 2026-09-30.
func (sc Scenario) Network(sites int, seed uint64) (*Network, error) {
	rng := stream(seed, sc.Name, "scenario")
	zones := []string{
		"Europe/Dublin", "Europe/Berlin", "Europe/Lisbon", "America/New_York", "Australia/Adelaide",
		"Pacific/Auckland", "America/Santiago", "Australia/Lord_Howe", "Asia/Kolkata",
	}
	zone := pick(rng, zones...)
	days := sc.days
	if days == 0 {
		days = usualDays
	}
	specs := make([]SiteSpec, sites)
	for i := range specs {
		spec, err := sc.site(rng, i, zone, lastDate+1-usage.Date(days))
		if err != nil {
			return nil, err
		}
		specs[i] = spec
	}
	n, err := New(fmt.Sprintf("Forged %s %d", sc.Name, seed), specs, lastDate+1, seed)
	if err == nil && sc.Name == SwappedName {
		n.Swaps = n.swaps()
	}
	return n, err
}

func (sc Scenario) site(rng *rand.Rand, i int, zone string, installed usage.Date) (SiteSpec, error) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return SiteSpec{}, fmt.Errorf("scenario %s: %w", sc.Name, err)
	}
	s := randomSite(rng, i, zone, installed)
	s.Situation = sc.Name
	s.Clock.DriftPPM = float64(rng.IntN(61)-30) / 10
	s.Notes = Notes{Removals: 0.9, Minutes: 0.5, Mistyped: 0.01, Calls: 0.9, Sets: 0.9, Readings: 0.15}
	y, m, d := installed.YMD()
	p := &plot{
		SiteSpec: &s, rng: rng, zone: loc,
		from: time.Date(y, m, d, 12, 0, 0, 0, loc).Unix(), days: float64(lastDate + 1 - installed),
	}
	sc.plot(p)
	slices.SortStableFunc(s.Clock.Events, func(a, b ClockEvent) int { return int(min(1, max(-1, a.At-b.At))) })
	slices.SortStableFunc(s.Troubles, func(a, b Trouble) int { return int(min(1, max(-1, a.At-b.At))) })
	return s, nil
}

// plot is a site to which things happen.
type plot struct {
	*SiteSpec
	rng  *rand.Rand
	zone *time.Location
	from int64 // installation, Unix seconds
	days float64
}

// between draws an instant between two fractions of the site's time.
func (p *plot) between(low, high float64) int64 {
	return p.from + int64((low+(high-low)*p.rng.Float64())*p.days*86400)
}

func (p *plot) event(e ClockEvent) { p.Clock.Events = append(p.Clock.Events, e) }

// set sets the clock right in the first call after so many days from an instant.
func (p *plot) set(from int64, days float64) {
	p.event(ClockEvent{At: from + int64(days*86400), Kind: ClockSet, Civil: true, ErrorS: p.rng.Int32N(21) - 10})
}

func (p *plot) trouble(kind string, at int64, count int) {
	p.Troubles = append(p.Troubles, Trouble{kind, at, count})
}

// dated makes the dialect one whose rows hold date and time as digits, and the
// clock one that keeps a fixed offset to UTC: what befalls registers is not
// blurred by what firmware makes of them.
func (p *plot) dated() {
	for p.Dialect.has(ColUnix) || p.Dialect.Zulu {
		p.Dialect = RandomDialect(p.rng)
	}
	p.Clock.Keeping = usage.ClockFixed
	p.Clock.OffsetS = civilOffset(p.Zone, p.InstalledOn)
}

// telling makes the dialect one that writes open seconds. The rows of a clock that
// stands still, without seconds and in rounds that clear the card, are those of
// a card that grew, and nobody could tell.
func (p *plot) telling() {
	for !p.Dialect.OpenSeconds() {
		p.Dialect = RandomDialect(p.rng)
	}
	p.Clock = randomClock(p.rng, *p.SiteSpec)
}

// weather makes the clock drift by the temperature of the place.
func (p *plot) weather() {
	july := time.Date(2025, 7, 20, 15, 0, 0, 0, time.UTC).Unix() - int64(p.Longitude*240) // 15 h by the sun: common practice, no source
	if p.Latitude < 0 {
		july += 184 * 86400
	}
	p.Clock.Crystal = &Crystal{
		K: -0.034 - 0.001*p.rng.Float64(), TurnoverC: 25, MeanC: 30 - 0.4*math.Abs(p.Latitude) + 4*p.rng.Float64(),
		YearC: 5 + 6*p.rng.Float64(), DayC: 2 + 5*p.rng.Float64(), HottestAt: july,
	}
	p.Clock.DriftPPM = float64(p.rng.IntN(401)-200) / 10
}

func driftScenarios() []Scenario {
	return []Scenario{
		{Name: "clean", About: "a good crystal, set right, removals noted", plot: func(*plot) {}},
		{Name: "drift", About: "a crystal within 100 ppm", plot: func(p *plot) {
			p.Clock.DriftPPM = float64(p.rng.IntN(1801)-900) / 10
		}},
		{Name: "temperature", About: "a crystal that follows the weather", plot: (*plot).weather},
		{Name: "drift, no anchors", About: "drift by weather, and nobody notes anything", plot: func(p *plot) {
			p.weather()
			p.Notes = Notes{}
		}},
		{Name: "11 months 6 s a day slow", About: "one card, two known times", days: 335, plot: func(p *plot) {
			p.Clock.DriftPPM, p.Clock.ErrorS = -6/86400.0*1e6, 0
			p.Rounds = Rounds{Growing, 400}
			p.Notes = Notes{Removals: 1, Calls: 1, Sets: 1}
			p.Dialect.NoSeconds = false
		}},
		{Name: "poor crystal", About: "minutes a day wrong", plot: func(p *plot) {
			p.Clock.DriftPPM = pick(p.rng, -1, 1.0) * (700 + 7000*p.rng.Float64())
		}},
		{Name: "jump", About: "a weak coin cell: the clock leaps ahead by half an hour", plot: func(p *plot) {
			at := p.between(0.2, 0.7)
			p.event(ClockEvent{At: at, Kind: ClockJump, ErrorS: 28*60 + p.rng.Int32N(20*60)})
			p.set(at, 30)
		}},
	}
}

// reset restarts the clock and sets it weeks later.
func (p *plot) reset() {
	at := p.between(0.2, 0.7)
	p.event(ClockEvent{At: at, Kind: ClockReset})
	p.set(at, 10+50*p.rng.Float64())
}

// build restarts the clock at its firmware's build time, at some resets or
// whenever the door opens.
func (p *plot) build() {
	p.dated()
	p.Clock.Built = p.from - 20*86400 + p.rng.Int64N(100*86400) // a later update may have brought a later time
	at := p.between(0.2, 0.5)
	if chance(p.rng, 0.5) {
		p.event(ClockEvent{At: at, Kind: ClockDead})
	}
	for range 1 + p.rng.IntN(4) {
		p.event(ClockEvent{At: at, Kind: ClockReset})
		at += 3600 + p.rng.Int64N(10*86400)
	}
	p.set(at, 10)
}

func restartScenarios() []Scenario {
	return []Scenario{
		{Name: "reset, anchored", About: "the clock restarts at 2000 and is set weeks later; every time is noted", plot: func(p *plot) {
			p.reset()
			p.Notes.Removals, p.Notes.Calls, p.Notes.Sets, p.Notes.Mistyped = 1, 1, 1, 0
		}},
		{Name: "reset, no anchors", About: "the same, and nobody notes anything", plot: func(p *plot) {
			p.reset()
			p.Notes = Notes{}
		}},
		{Name: "resets in a row", About: "several resets, none of them set right for months", plot: func(p *plot) {
			at := p.between(0.2, 0.4)
			for range 2 + p.rng.IntN(4) {
				p.event(ClockEvent{At: at, Kind: ClockReset})
				at += 3600 + p.rng.Int64N(20*86400)
			}
			p.set(at, 20)
		}},
		{Name: "build time", About: "firmware sets its build time whenever power was lost", plot: (*plot).build},
	}
}

func lostScenarios() []Scenario {
	return []Scenario{
		{Name: "halt", About: "the clock stands still until it is set or starts again", plot: func(p *plot) {
			p.telling()
			at := p.between(0.1, 0.7)
			p.event(ClockEvent{At: at, Kind: ClockHalt})
			if chance(p.rng, 0.3) {
				p.event(ClockEvent{At: at + 86400 + p.rng.Int64N(20*86400), Kind: ClockStart})
			}
			p.set(at, 30)
		}},
		{Name: "halt from the first row", About: "the oscillator was never started", plot: func(p *plot) {
			p.telling()
			p.event(ClockEvent{At: p.from + 1, Kind: ClockHalt})
			p.set(p.from, 30+100*p.rng.Float64())
		}},
		{Name: "dead cell", About: "for weeks the clock restarts whenever the door opens", plot: func(p *plot) {
			at := p.between(0.2, 0.7)
			p.event(ClockEvent{At: at, Kind: ClockDead})
			p.set(at, 14+28*p.rng.Float64())
		}},
		{Name: "month 0", About: "power lost, month and day 0", plot: func(p *plot) {
			p.dated()
			at := p.between(0.2, 0.7)
			p.event(ClockEvent{At: at, Kind: ClockBlank})
			p.set(at, 1+20*p.rng.Float64())
		}},
		{Name: "the month-0 pattern", About: "month 0, two rows of 0xFF, month 0 again, good again, one stamp 28 times", plot: func(p *plot) {
			p.dated()
			for p.Dialect.Pairs() { // where the CLOSE row would be the one that is repeated
				p.Dialect = RandomDialect(p.rng)
				p.dated()
			}
			at := p.between(0.2, 0.6)
			p.event(ClockEvent{At: at, Kind: ClockBlank})
			p.trouble(TroubleFF, at+10*3600+p.rng.Int64N(2*86400), 2)
			p.Rounds.EveryDays = 7
			p.set(at, 3)
			p.trouble(TroubleStuck, at+20*86400+p.rng.Int64N(10*86400), 27)
		}},
	}
}

func setScenarios() []Scenario {
	return []Scenario{
		{Name: "wrong set", About: "set wrong by minutes or hours, at first or later", plot: func(p *plot) {
			p.dated()
			wrong := pick(p.rng, -1, int32(1)) * (120 + p.rng.Int32N(6*3600))
			if chance(p.rng, 0.5) {
				p.Clock.ErrorS = wrong
				return
			}
			p.event(ClockEvent{At: p.between(0.2, 0.7), Kind: ClockSet, Civil: true, ErrorS: wrong})
		}},
		{Name: "zone set", About: "set to the time of another zone", plot: func(p *plot) {
			p.dated()
			other := p.Clock.OffsetS + 900*pick(p.rng, -1, int32(1))*(1+p.rng.Int32N(36))
			if chance(p.rng, 0.5) {
				p.Clock.OffsetS = other
				return
			}
			p.event(ClockEvent{At: p.between(0.2, 0.7), Kind: ClockSet, OffsetS: other, ErrorS: p.rng.Int32N(21) - 10})
		}},
		{Name: "DST by mistake", About: "held to be fixed, but moved by volunteers after a change of civil time", plot: func(p *plot) {
			p.dated()
			p.Notes.Sets = pick(p.rng, 0, 0.9) // nobody thinks of it as setting the clock
			for _, at := range p.changes() {
				p.event(ClockEvent{At: at, Kind: ClockSet, Civil: true, ErrorS: p.rng.Int32N(21) - 10})
			}
		}},
		{Name: "follows DST", About: "held to be fixed, but follows the change of civil time by itself", plot: func(p *plot) {
			p.dated()
			p.Clock.Keeping, p.Setting = usage.ClockCivil, usage.ClockFixed
		}},
	}
}

// changes returns the changes of civil time while the site runs, Unix seconds.
func (p *plot) changes() []int64 {
	var out []int64
	_, before := time.Unix(p.from, 0).In(p.zone).Zone()
	for at := p.from; at < p.from+int64(p.days*86400); at += 3600 {
		if _, offset := time.Unix(at, 0).In(p.zone).Zone(); offset != before {
			out, before = append(out, at), offset
		}
	}
	return out
}

// spread adds so many troubles of a kind, over the site's time.
func (p *plot) spread(n int, kind string, count func() int) {
	for range n {
		p.trouble(kind, p.between(0.05, 0.95), count())
	}
}

func rowScenarios() []Scenario {
	once := func() int { return 1 }
	return []Scenario{
		{Name: "0xFF rows", About: "the chip does not answer, wholly or in part", plot: func(p *plot) {
			p.dated()
			few := func() int { return 1 + p.rng.IntN(6) }
			for _, kind := range []string{TroubleFF, TroubleFFDate, TroubleFFHour, TroubleCentury, TroubleTwelve} {
				p.spread(3, kind, few)
			}
			p.trouble(TroubleFF, p.between(0.3, 0.7), 60)
		}},
		{Name: "year bit", About: "one bit of the year is read wrong, in single rows", plot: func(p *plot) {
			p.dated()
			p.spread(8, TroubleYear, once)
		}},
		{Name: "stuck", About: "reads fail: the stamp of the row before is written again and again", plot: func(p *plot) {
			p.spread(4, TroubleStuck, func() int { return 1 + p.rng.IntN(40) })
		}},
		{Name: "truncated", About: "power is cut while rows are written; some seconds are lost", plot: func(p *plot) {
			p.spread(12, TroubleTorn, once)
			p.spread(6, TroubleLost, func() int { return 1 + p.rng.IntN(5) })
		}},
		{Name: "ajar", About: "doors left ajar, and a windy place", plot: func(p *plot) {
			p.Character.WindPerDay = 2
			p.spread(6, TroubleAjar, once)
		}},
		{Name: "outage", About: "dead batteries: nothing is recorded for days or weeks", plot: func(p *plot) {
			p.Rounds.EveryDays = 30 + p.rng.IntN(40)
			for i := range 2 + p.rng.IntN(4) {
				low := 0.1 + 0.16*float64(i)
				p.trouble(TroubleOutage, p.between(low, low+0.08), 2+p.rng.IntN(2+p.rng.IntN(24)))
			}
		}},
		{Name: "everything", About: "many troubles at one box", plot: (*plot).everything},
	}
}

func (p *plot) everything() {
	once := func() int { return 1 }
	p.dated()
	p.weather()
	p.spread(3, TroubleFF, func() int { return 1 + p.rng.IntN(4) })
	p.spread(2, TroubleYear, once)
	p.spread(3, TroubleTorn, once)
	p.spread(1, TroubleStuck, func() int { return 20 })
	at := p.between(0.2, 0.4)
	p.event(ClockEvent{At: at, Kind: ClockReset})
	p.set(at, 10)
	p.event(ClockEvent{At: p.between(0.6, 0.7), Kind: ClockSet, Civil: true, ErrorS: p.rng.Int32N(3600) - 1800})
	p.trouble(TroubleOutage, p.between(0.75, 0.85), 5+p.rng.IntN(10))
	p.trouble(TroubleNUL, p.between(0.1, 0.3), 512)
}

func cardScenarios() []Scenario {
	rounds := func(kind string) func(*plot) {
		return func(p *plot) {
			p.Rounds.Kind = kind
			p.Clock.DriftPPM = float64(p.rng.IntN(401)-200) / 10
		}
	}
	return []Scenario{
		{Name: "rotation", About: "two cards take turns", plot: rounds(Rotation)},
		{Name: "cleared", About: "an empty card at every round", plot: rounds(Cleared)},
		{Name: "grown", About: "the card is read at the box", plot: rounds(Growing)},
		{Name: "away", About: "a card stays away for weeks", plot: func(p *plot) {
			p.trouble(TroubleAway, p.between(0.2, 0.4), 5+p.rng.IntN(40))
			p.trouble(TroubleAway, p.between(0.5, 0.7), 5+p.rng.IntN(40))
		}},
		{Name: SwappedName, About: "cards are brought under the wrong site", plot: func(p *plot) {
			p.Rounds.Kind = pick(p.rng, Growing, Growing, Rotation, Rotation, Cleared)
		}},
	}
}

// SwappedName is the scenario whose networks have Swaps.
const SwappedName = "swapped card"

// Swap is a card that somebody brings under the site of another.
type Swap struct {
	Site int `json:"site"` // whose card it is, index into the network's sites
	Card int `json:"card"` // index into that site's cards
	To   int `json:"to"`   // under which it is brought
}

// swaps draws, for each site that has eight cards or more, four of its cards, the
// last one included, and the site under which each is wrongly brought.
func (n *Network) swaps() []Swap {
	if len(n.Sites) < 2 {
		return nil
	}
	var out []Swap
	rng := stream(n.Seed, "", "swaps")
	for i, s := range n.Sites {
		last := len(s.Cards) - 1
		if last < 7 {
			continue
		}
		for _, c := range []int{last / 4, last / 2, 3 * last / 4, last} {
			to := rng.IntN(len(n.Sites) - 1)
			if to >= i {
				to++
			}
			out = append(out, Swap{i, c, to})
		}
	}
	return out
}
