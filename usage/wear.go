package usage

import (
	"fmt"
	"math"
)

// CounterMemory is where a logger counts the seconds of an open door.
type CounterMemory string

// The memories of a counter.
const (
	CounterRAM    CounterMemory = "ram"    // the battery-backed RAM of the clock chip, which does not wear
	CounterEEPROM CounterMemory = "eeprom" // wears with every write
	CounterNone   CounterMemory = "none"   // the logger does not count, or counts in its working memory
)

// Counter says where and how a logger counts seconds.
type Counter struct {
	Memory CounterMemory `json:"memory"`
	Writes float64       `json:"writes"`  // that a cell of the memory bears; EEPROM only
	EveryS float64       `json:"every_s"` // s between two writes while the door is open
	Cells  float64       `json:"cells"`   // cells that take turns
}

// EEPROMWrites is the endurance that makers give.
var EEPROMWrites = Sourced{100_000, "ATmega328P data sheet, features, read in pages that quote it"}

func (c Counter) check() error {
	switch c.Memory {
	case CounterRAM, CounterNone:
		return nil
	case CounterEEPROM:
		return checkBounds(
			bound{"an endurance", c.Writes, 1000, 1e9, " writes"},
			bound{"a time between writes", c.EveryS, 0.1, 3600, " s"},
			bound{"a number of cells", c.Cells, 1, 100_000, ""})
	}
	return &Fault{Kind: Invalid, What: fmt.Sprintf("%q is no memory of a counter", c.Memory), Try: "give ram, eeprom or none"}
}

// OpenHours returns the hours of open door that the counter's memory bears: writes ×
// seconds between writes × cells ÷ 3600. It is +Inf for a memory that does not wear.
func (c Counter) OpenHours() float64 {
	if c.Memory != CounterEEPROM {
		return math.Inf(1)
	}
	return c.Writes * c.EveryS * c.Cells / hourSeconds
}

// WearForecast is what can be said of the memory in which a logger counts. Makers
// give the least that a cell bears; most bear more.
type WearForecast struct {
	Wears   bool
	LimitH  float64   // hours of open door that it bears
	OpenH   float64   // hours of open door so far, those not recorded expected
	UsedPct float64   // OpenH of LimitH, %
	Through DateRange // when LimitH is reached
	ActBy   *Date     // the early end of Through
	Due     bool
}

// CounterWear returns what can be said of the counter of a site's logger, which is
// taken to have been new when the box was installed, and to write at all openings,
// those of service and rattles too. Errors are those of PowerOutlook.
func CounterWear(in PowerIn) (*WearForecast, error) {
	c := in.Setting.Counter
	if err := c.check(); err != nil {
		return nil, err
	}
	f := &WearForecast{Wears: c.Memory == CounterEEPROM, LimitH: c.OpenHours(), Through: DateRange{Level: Confidence}}
	if !f.Wears {
		return f, nil
	}
	u, err := newDoorUse(in, func(_, seconds float64) float64 { return seconds })
	if err != nil || u == nil {
		return f, err
	}
	drain := u.drain(u.indexOf(in.Site.InstalledOn, 0), 0, 1.0/hourSeconds, func(i int) (visits, steady float64) {
		return u.seconds[i] / hourSeconds, 0
	})
	f.OpenH = drain.at(u.now, expected)
	f.UsedPct = 100 * f.OpenH / f.LimitH
	f.Through = drain.dates(f.LimitH, []weighted{{0, 1}})
	f.ActBy = f.Through.Low
	f.Due = f.ActBy != nil && u.today >= *f.ActBy
	return f, nil
}
