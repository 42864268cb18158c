package usage

import (
	"fmt"
	"math"
)

// yearDays is the length of a year for self-discharge, days.
const yearDays = 365.25

// selfRate returns the rate k of self-discharge a day, dQ/dt = −k·Q, of a cell that
// loses so many per cent of what is left in a year.
func selfRate(pct float64) float64 { return -math.Log1p(-pct/100) / yearDays }

// Usable returns what a new pack gives, mAh: capacity × derating.
func (p Pack) Usable() float64 { return p.CapacityMAh * p.Derating }

// Load returns the mean load, mAh a day, of a day with so many openings in which the
// door stands open for so many seconds altogether. Standby is drawn all day, also
// while the door is open.
func (d Draw) Load(openings, seconds float64) PowerLoad {
	return PowerLoad{
		Active:  d.ActiveMA * seconds / hourSeconds,
		Start:   d.StartMAs * openings / hourSeconds,
		Standby: d.StandbyUA * 24 / 1000,
	}
}

// Life returns the days that a charge of so many mAh lasts under a constant load in
// mAh a day, when it loses so many per cent a year by itself: the T at which the
// solution of dQ/dt = −load − k·Q reaches nought,
//
//	T = (1/k)·ln(1 + k·Q₀/load),  Q₀/load for k = 0
//
// (The linear differential equation solved; by textbook.) Without a load it is +Inf:
// a decay never reaches nought, and an idle cell needs a shelf life of its own.
func Life(charge, load, selfPct float64) float64 {
	k := selfRate(selfPct)
	switch {
	case load <= 0:
		return math.Inf(1)
	case k == 0:
		return charge / load
	}
	return math.Log1p(k*charge/load) / k
}

// CoinCell is the cell that keeps a logger's clock running.
type CoinCell struct {
	Cells       string  `json:"cells,omitempty"` // ID of the preset; "" for own values
	CapacityMAh float64 `json:"capacity_mah"`
	Derating    float64 `json:"derating"`
	SelfPct     float64 `json:"self_discharge_pct"`
	TypicalNA   float64 `json:"typical_na"` // what the clock chip draws, nA
	MostNA      float64 `json:"most_na"`    // the most that its maker allows, nA
}

// shelfYears is how long a coin cell is trusted, whatever the sum says: seals dry out
// and tabs corrode. Common practice, no source; makers of lithium cells name ten
// years of shelf life (from memory).
const shelfYears = 10

// CoinIn is what a coin cell's outlook is made from.
type CoinIn struct {
	Site     Site
	Coin     CoinCell
	Calls    []ServiceCall
	Findings []Finding // of the site; those about a clock that was reset or stood still count
	Now      int64     // Unix s
}

// CoinForecast is what can be said of the coin cell of a logger's clock.
type CoinForecast struct {
	From    int64 // Unix s of the change that it counts from
	Changed bool  // false: taken as new on the date of installation
	// DaysMost and DaysTypical are the life by charge alone under the most and the
	// typical draw of the chip; +Inf without draw.
	DaysMost, DaysTypical float64
	Empty                 DateRange // from the most to the typical draw, no later than the shelf life
	Shelf                 bool      // the shelf life comes first
	ActBy                 *Date     // the early end of Empty
	Due                   bool
	Resets                int // times since From that the clock was found reset or standing still
}

// CoinOutlook returns what can be said of the coin cell of a site's logger. A Fault
// of kind Invalid says that the setting makes no sense; other errors are those of
// LoadZone.
//
// The cell is taken to feed the clock all the time: a logger that the door powers is
// off nearly all day.
func CoinOutlook(in CoinIn) (*CoinForecast, error) {
	if err := in.Coin.check(); err != nil {
		return nil, err
	}
	zone, err := LoadZone(in.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("coin cell of site %s: %w", in.Site.Code, err)
	}
	f := &CoinForecast{}
	f.From, f.Changed = lastChange(in.Calls, CallCoinCell, zone.StartOfDay(in.Site.InstalledOn), in.Now)
	charge := in.Coin.CapacityMAh * in.Coin.Derating
	life := func(na float64) float64 { return Life(charge, na*24/1e6, in.Coin.SelfPct) }
	f.DaysMost, f.DaysTypical = life(in.Coin.MostNA), life(in.Coin.TypicalNA)
	shelf := shelfYears * yearDays
	f.Shelf = f.DaysMost > shelf
	start, _ := zone.Civil(f.From)
	day := func(days float64) *Date { d := start + Date(min(days, shelf)); return &d }
	f.Empty = DateRange{Low: day(f.DaysMost), Likely: day((f.DaysMost + f.DaysTypical) / 2), High: day(f.DaysTypical), Level: Confidence}
	f.ActBy = f.Empty.Low
	today, _ := zone.Civil(in.Now)
	f.Due = today >= *f.ActBy
	for _, n := range in.Findings {
		if (n.Kind == "clock reset" || n.Kind == "clock stopped") && n.From >= f.From {
			f.Resets++
		}
	}
	return f, nil
}

// lastChange returns the time of the last service call of a kind up to now, or else
// installed, at which the part is taken to have been new.
func lastChange(calls []ServiceCall, kind CallKind, installed, now int64) (at int64, changed bool) {
	at = installed
	for _, c := range calls {
		if c.Did(kind) && c.At > 0 && c.At <= now && (!changed || c.At >= at) {
			at, changed = c.At, true
		}
	}
	return at, changed
}

// Sourced is a value with where it is from.
type Sourced struct {
	Value  float64
	Source string
}

// CellPreset is a common cell with the values to begin from. Cells in series give
// the capacity of one.
type CellPreset struct {
	ID, Name                               string
	Capacity, Derating, Self, TolerancePct Sourced // mAh, share, % a year, %
}

const (
	byMemory = "from memory"
	byHabit  = "common practice, no source"
)

// PackPresets are the packs to choose from, the commonest first.
var PackPresets = []CellPreset{
	{
		ID: "aa-alkaline", Name: "AA alkaline, in series",
		Capacity:     Sourced{2800, "Energizer E91 data sheet, capacity at 25 mA to 0.8 V, read in a page that cites it: ± 100"},
		Derating:     Sourced{0.8, byHabit + ": a regulator stops before the cells are empty, and cold takes its share"},
		Self:         Sourced{3, "makers give 2 to 3 % (" + byMemory + "); a page read gives 85 % left after 4 years, 4 %"},
		TolerancePct: Sourced{25, byHabit},
	},
	{
		ID: "aa-nimh", Name: "AA NiMH of low self-discharge, in series",
		Capacity:     Sourced{1900, byMemory},
		Derating:     Sourced{0.9, byHabit},
		Self:         Sourced{15, byMemory},
		TolerancePct: Sourced{20, byHabit},
	},
	{
		ID: "aa-lithium", Name: "AA lithium (1.5 V, not rechargeable), in series",
		Capacity:     Sourced{3000, byMemory},
		Derating:     Sourced{0.9, byHabit},
		Self:         Sourced{1, byMemory},
		TolerancePct: Sourced{15, byHabit},
	},
	{
		ID: "d-alkaline", Name: "D alkaline, in series",
		Capacity:     Sourced{12000, byMemory},
		Derating:     Sourced{0.8, byHabit},
		Self:         Sourced{3, byMemory},
		TolerancePct: Sourced{25, byHabit},
	},
	{
		ID: "9v-alkaline", Name: "9 V alkaline block",
		Capacity:     Sourced{550, byMemory},
		Derating:     Sourced{0.75, byHabit},
		Self:         Sourced{2.5, byMemory},
		TolerancePct: Sourced{25, byHabit},
	},
}

// CoinPresets are the coin cells to choose from, the commonest first.
var CoinPresets = []CellPreset{
	{
		ID: "cr2032", Name: "CR2032",
		Capacity: Sourced{225, "Panasonic and Renata data sheets, read in pages that cite them; makers give 220 to 240"},
		Derating: Sourced{0.9, byHabit},
		Self:     Sourced{1, "makers give less than 1 % (read in pages that cite them)"},
	},
	{
		ID: "cr1220", Name: "CR1220",
		Capacity: Sourced{35, byMemory},
		Derating: Sourced{0.9, byHabit},
		Self:     Sourced{1, byMemory},
	},
	{
		ID: "48mah", Name: "48 mAh lithium cell",
		Capacity: Sourced{48, "the example of the DS1307 data sheet, pin description of VBAT"},
		Derating: Sourced{1, "the same example"},
		Self:     Sourced{0, "the same example leaves it out"},
	},
}

// What the clock chip draws from its coin cell, nA.
var (
	ClockTypical = Sourced{300, "DS1307 data sheet, DC characteristics, IBAT1 typical (" + byMemory + ")"}
	ClockMost    = Sourced{500, "DS1307 data sheet, features: less than 500 nA with the oscillator running"}
)

// What a home-made logger draws until somebody has measured his.
var (
	DrawActive    = Sourced{25, byHabit + ": a small board with a memory card; measure yours"}
	DrawStart     = Sourced{60, byHabit + ": mounting the card; measure yours"}
	DrawStandby   = Sourced{0, "the door cuts the power; a regulator that stays on draws 5 to 500 µA (" + byMemory + ")"}
	DrawTolerance = Sourced{20, byHabit + ": by a meter 10, by guess 50"}
)

// NewPowerSetting returns the setting that a form begins with.
func NewPowerSetting() PowerSetting {
	p, c := PackPresets[0], CoinPresets[0]
	return PowerSetting{
		Pack:    Pack{p.ID, p.Capacity.Value, p.Derating.Value, p.Self.Value, p.TolerancePct.Value},
		Draw:    Draw{DrawActive.Value, DrawStart.Value, DrawStandby.Value, DrawTolerance.Value},
		Coin:    CoinCell{c.ID, c.Capacity.Value, c.Derating.Value, c.Self.Value, ClockTypical.Value, ClockMost.Value},
		Counter: Counter{Memory: CounterRAM, Writes: 100_000, EveryS: 1, Cells: 1},
	}
}

// Check returns a Fault of kind Invalid for the first thing about a setting that
// makes no sense. The limits are common practice, no source: wide enough for any real
// logger, narrow enough to catch milliamperes typed for microamperes.
func (s PowerSetting) Check() error {
	for _, err := range []error{s.Pack.check(), s.Draw.check(), s.Coin.check(), s.Counter.check()} {
		if err != nil {
			return err
		}
	}
	return nil
}

// bound is a value with the limits that make sense of it.
type bound struct {
	name      string
	v         float64
	low, high float64
	unit      string
}

func checkBounds(all ...bound) error {
	for _, b := range all {
		if !(b.v >= b.low && b.v <= b.high) {
			return &Fault{Kind: Invalid, What: fmt.Sprintf("%s of %v%s makes no sense", b.name, b.v, b.unit),
				Try: fmt.Sprintf("give a number from %v to %v%s", b.low, b.high, b.unit)}
		}
	}
	return nil
}

func (p Pack) check() error {
	return checkBounds(
		bound{"a capacity", p.CapacityMAh, 1, 1e6, " mAh"},
		bound{"a usable share", p.Derating, 0.05, 1, ""},
		bound{"a self-discharge", p.SelfPct, 0, 90, " % a year"},
		bound{"a tolerance of the pack", p.TolerancePct, 0, 200, " %"})
}

func (d Draw) check() error {
	return checkBounds(
		bound{"an active current", d.ActiveMA, 0, 5000, " mA"},
		bound{"a start charge", d.StartMAs, 0, 100_000, " mA·s"},
		bound{"a standby current", d.StandbyUA, 0, 100_000, " µA"},
		bound{"a tolerance of the draw", d.TolerancePct, 0, 200, " %"})
}

func (c CoinCell) check() error {
	return checkBounds(
		bound{"a capacity of the coin cell", c.CapacityMAh, 1, 10_000, " mAh"},
		bound{"a usable share of the coin cell", c.Derating, 0.05, 1, ""},
		bound{"a self-discharge of the coin cell", c.SelfPct, 0, 90, " % a year"},
		bound{"a typical draw of the clock", c.TypicalNA, 1, 1e6, " nA"},
		bound{"a highest draw of the clock", c.MostNA, c.TypicalNA, 1e6, " nA"})
}
