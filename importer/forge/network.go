package forge

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"doorleaf/usage"
)

// Network is a made-up network and everything that happened in it.
type Network struct {
	Name  string
	Seed  uint64
	Sites []*Site
	Swaps []Swap // cards brought under the wrong site; none but in one scenario
}

// New makes a network out of its sites, up to the end of the day before to.
// The same arguments give the same network, byte for byte.
func New(name string, specs []SiteSpec, to usage.Date, seed uint64) (*Network, error) {
	n := &Network{Name: name, Seed: seed}
	codes := map[string]bool{}
	for _, spec := range specs {
		if !validCode(spec.Code) || codes[spec.Code] {
			return nil, fmt.Errorf("forge site %q: want a code of its own, 1 to 8 of A-Z and 0-9", spec.Code)
		}
		codes[spec.Code] = true
		s, err := NewSite(spec, to, seed)
		if err != nil {
			return nil, err
		}
		n.Sites = append(n.Sites, s)
	}
	return n, nil
}

func validCode(code string) bool {
	for _, c := range code {
		if (c < 'A' || c > 'Z') && (c < '0' || c > '9') {
			return false
		}
	}
	return len(code) >= 1 && len(code) <= 8
}

// lastDate is the last day of the networks that Random makes, so that they
// depend on nothing but their arguments.
var lastDate = usage.DateOf(2026, time.September, 30)

// Random makes a network of so many sites and days, ending on 2026-09-30, with
// characters, dialects, clocks and rounds drawn by the seed: clocks drift, and
// nothing else goes wrong.
func Random(days, sites int, seed uint64) (*Network, error) {
	if days < 2 || days > 36525 || sites < 1 || sites > 1000 {
		return nil, fmt.Errorf("forge %d days of %d sites: want 2 to 36525 days, 1 to 1000 sites", days, sites)
	}
	rng := stream(seed, "", "network")
	zone := pick(rng, "Europe/Dublin", "Europe/Berlin", "Europe/Lisbon", "America/New_York", "Australia/Adelaide")
	specs := make([]SiteSpec, sites)
	for i := range specs {
		specs[i] = randomSite(rng, i, zone, lastDate+1-usage.Date(days))
	}
	return New(fmt.Sprintf("Forged %d", seed), specs, lastDate+1, seed)
}

// centres are points in the open sea, or invented ones, off the zones of Random and of the scenarios.
var centres = map[string][2]float64{
	"Europe/Dublin": {50.6, -8.2}, "Europe/Berlin": {54.9, 13.6}, "Europe/Lisbon": {38.4, -10.3},
	"America/New_York": {39.6, -72.1}, "Australia/Adelaide": {-36.6, 136.2}, "Pacific/Auckland": {-38.2, 178.9},
	"America/Santiago": {-33.4, -73.2}, "Australia/Lord_Howe": {-31.9, 158.4}, "Asia/Kolkata": {15.3, 71.2},
}

func randomSite(rng *rand.Rand, i int, zone string, installed usage.Date) SiteSpec {
	c := pick(rng, Characters()...)
	c.PerDay *= 0.5 + rng.Float64()
	s := SiteSpec{
		Code: fmt.Sprintf("S%03d", i+1), Name: fmt.Sprintf("Forged box %d", i+1), Zone: zone,
		Latitude:    degrees(centres[zone][0] + 0.0001*float64(rng.IntN(200))),
		Longitude:   degrees(centres[zone][1] + 0.0001*float64(rng.IntN(200))),
		InstalledOn: installed,
		Character:   c, Dialect: RandomDialect(rng),
		Rounds: Rounds{Kind: pick(rng, Growing, Cleared, Rotation), EveryDays: 14 + rng.IntN(36)},
	}
	s.Clock = randomClock(rng, s)
	return s
}

// randomClock draws a clock that a careful volunteer set, and whose crystal is
// within 40 ppm.
func randomClock(rng *rand.Rand, s SiteSpec) Clock {
	c := Clock{
		Keeping: pick(rng, usage.ClockFixed, usage.ClockFixed, usage.ClockCivil, usage.ClockUTC),
		ErrorS:  rng.Int32N(41) - 20, DriftPPM: float64(rng.IntN(801)-400) / 10,
	}
	if s.Dialect.Zulu || s.Dialect.has(ColUnix) {
		c.Keeping = usage.ClockUTC
	}
	if c.Keeping == usage.ClockFixed {
		c.OffsetS = civilOffset(s.Zone, s.InstalledOn)
	}
	return c
}

// civilOffset returns the zone's offset to UTC at noon of a date, seconds east;
// 0 for an unknown zone, which NewSite refuses.
func civilOffset(zone string, date usage.Date) int32 {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return 0
	}
	y, m, d := date.YMD()
	_, offset := time.Date(y, m, d, 12, 0, 0, 0, loc).Zone()
	return int32(offset)
}

// WriteDir writes DIR/cards/<SITE>/<date>/<file> and DIR/truth.json. It
// makes DIR where there is none, and refuses one that holds either already.
func (n *Network) WriteDir(dir string) error {
	for _, name := range []string{"cards", "truth.json"} {
		_, err := os.Lstat(filepath.Join(dir, name))
		if err == nil {
			return &usage.Fault{
				Kind: usage.Conflict, What: fmt.Sprintf("%s already holds %s", dir, name),
				Try: "name a new or an empty folder",
			}
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("write network: %w", err)
		}
	}
	for _, s := range n.Sites {
		for _, c := range s.Cards {
			if err := c.write(filepath.Join(dir, "cards")); err != nil {
				return err
			}
		}
	}
	return n.writeTruthFile(dir)
}

func (c Card) write(dir string) error {
	name := filepath.Join(dir, filepath.FromSlash(c.Path()))
	b, err := c.Bytes()
	if err != nil {
		return fmt.Errorf("write card %s: %w", name, err)
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return fmt.Errorf("write card: %w", err)
	}
	if err := os.WriteFile(name, b, 0o644); err != nil {
		return fmt.Errorf("write card: %w", err)
	}
	return nil
}

func (n *Network) writeTruthFile(dir string) (err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write truth: %w", err)
	}
	f, err := os.Create(filepath.Join(dir, "truth.json"))
	if err != nil {
		return fmt.Errorf("write truth: %w", err)
	}
	defer func() {
		if e := f.Close(); err == nil && e != nil {
			err = fmt.Errorf("write truth: %w", e)
		}
	}()
	return n.WriteTruth(f)
}
