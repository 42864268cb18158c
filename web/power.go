package web

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"doorleaf/usage"
)

// Fact is a figure with its name and what stands under it.
type Fact struct{ Term, Value, Fine string }

// SourcedFact is a value of a setting with where it is from.
type SourcedFact struct{ Term, Value, Source string }

// PastPackRow is a pack that was changed, in words.
type PastPackRow struct{ From, To, Predicted, Came string }

// PowerPage says when the batteries of a site's logger, the coin cell of its clock
// and the memory of its counter want a hand.
type PowerPage struct {
	Base
	Site
	Set      bool // a power setting is kept
	Due      bool
	Lead     string
	Mind     []string
	Panel    *Panel
	Facts    []Fact
	Learned  string
	Past     []PastPackRow
	CoinLead string
	Coin     []Fact
	CoinMind []string
	WearLead string
	Wear     []Fact
	Setting  []SourcedFact
	Cautions []string
}

// Template implements Page.
func (PowerPage) Template() string { return "power" }

// PowerFormPage sets the pack and profile of a site.
type PowerFormPage struct {
	Base
	Site
	Kept    bool // a setting stands
	Since   string
	Form    PowerForm
	Packs   []Link // presets to begin from
	Coins   []Link
	Faults  FieldFaults
	Earlier []EarlierPower
}

// Template implements Page.
func (PowerFormPage) Template() string { return "powerform" }

// EarlierPower is a setting that was given once.
type EarlierPower struct {
	When, Says, Href string
	Stands           bool
}

// PowerForm holds the groups of fields of a power setting as they were typed.
type PowerForm struct {
	Cells, CoinCells string // presets
	Groups           []PowerGroup
	Memory           string
}

// PowerGroup is some fields of a power setting.
type PowerGroup struct {
	Legend, Hint string
	Fields       []NumberField
}

// NumberField is a field for a number.
type NumberField struct{ Name, Label, Hint, Value, Fault string }

// Cautions of screens that touch batteries, cards and wiring. Common practice, no
// source.
const (
	CautionCoin  = "A button cell can kill a child who swallows it: keep it behind a screwed lid, and take the old one home."
	CautionCard  = "Memory cards take 3.3 V, not 5 V."
	CautionLight = "Lights and outdoor wiring follow the local electrical code; beyond extra-low voltage they are work for a licensed electrician."
	CautionPack  = "Never mix old and new cells, or two kinds, in one pack."
)

// RangeWords writes a date with its limits.
func RangeWords(r usage.DateRange) string {
	switch {
	case r.Low == nil:
		return "later than can be said"
	case r.High == nil:
		return "not before " + DateWords(*r.Low)
	case *r.Low == *r.High:
		return DateWords(*r.Low)
	}
	return "between " + DateWords(*r.Low) + " and " + DateWords(*r.High)
}

// PowerLead says in one sentence what to do about the batteries.
func PowerLead(f *usage.PowerForecast, zone string) string {
	switch {
	case f.Stopped != nil:
		return fmt.Sprintf("Change the batteries now: the logger stopped about %s.", When(*f.Stopped, zone))
	case f.LeftPct == nil:
		return "Nothing has been recorded yet, so that nobody can say when the batteries will be empty."
	case f.ActBy == nil:
		return fmt.Sprintf("The batteries need no hand in sight: about %s %% is left.", Round(f.LeftPct).Value)
	case f.Due:
		return fmt.Sprintf("Change the batteries at the next visit: they are empty %s, and the early end of that has come.", RangeWords(f.Empty))
	}
	return fmt.Sprintf("Change the batteries by %s: they will be empty %s.", DateWords(*f.ActBy), RangeWords(f.Empty))
}

// PowerFacts are the figures under it.
func PowerFacts(f *usage.PowerForecast, zone string) []Fact {
	facts := []Fact{putIn("Batteries put in", f.From, f.Changed, zone)}
	if f.LeftPct == nil {
		return facts
	}
	left, used := Round(f.LeftPct), Round(f.Used)
	facts = append(facts,
		Fact{"Left now", left.Value + " %", left.Low + " to " + left.High},
		Fact{"Drawn since then", used.Value + " mAh", fmt.Sprintf("%s to %s, of %s in a new pack; %s lost by itself", used.Low, used.High, OneFigure(f.Usable), OneFigure(f.Lost))},
		Fact{"Draws a day", OneFigure(f.Load.Sum()) + " mAh", fmt.Sprintf("door open %s, starting %s, standing by %s", OneFigure(f.Load.Active), OneFigure(f.Load.Start), OneFigure(f.Load.Standby))})
	if l := f.Empty.Likely; l != nil {
		facts = append(facts, Fact{"Empty, most likely", DateWords(*l), RangeWords(f.Empty)})
	}
	return facts
}

// putIn says since when a cell is in.
func putIn(term string, at int64, changed bool, zone string) Fact {
	if changed {
		return Fact{term, When(at, zone), "by the service calls"}
	}
	day := usage.DateOf(time.Unix(at, 0).In(zoneOf(zone)).Date())
	return Fact{term, DateWords(day), "taken as new when the box was installed: no change is kept among the service calls"}
}

// PowerRule says how the date to act by is chosen.
const PowerRule = "The date to act by is the early end of the range: one pack in forty would be empty sooner. The range holds what is not known of the pack, of the draw, and of how often the door will be opened in the seasons ahead."

// PastRule says which packs teach what.
const PastRule = "A pack counts as run empty when the quiet stretch before its change is answered as an outage among the questions; else as changed in time. What is predicted for a past pack is of the openings that came, so that it is draw and charge alone that are put to the test."

// LearnedWords says what earlier packs taught.
func LearnedWords(l usage.Learned) string {
	if l.Packs+l.Before == 0 {
		return "No pack has been changed yet that could teach how much the logger really draws."
	}
	r := RoundRatio(&l.Ratio)
	by := Plural(int64(l.Packs), "pack that ran empty", "packs that ran empty")
	switch {
	case l.Packs == 0:
		by = Plural(int64(l.Before), "pack", "packs") + " changed in time"
	case l.Before > 0:
		by += fmt.Sprintf(" and %d changed in time", l.Before)
	}
	return fmt.Sprintf("By %s, this logger draws %s times what its profile says (%s to %s); the dates above allow for it.", by, r.Value, r.Low, r.High)
}

// PastPacks writes packs that were changed, the latest first.
func PastPacks(past []usage.PastPack, zone string) []PastPackRow {
	var rows []PastPackRow
	for i := len(past) - 1; i >= 0; i-- {
		p := past[i]
		row := PastPackRow{From: When(p.From, zone), To: When(p.To, zone), Predicted: RangeWords(p.Predicted)}
		switch {
		case p.Empty == nil:
			row.Came = fmt.Sprintf("changed in time, after %s mAh by the profile", OneFigure(p.Used))
		case p.Within:
			row.Came = fmt.Sprintf("stopped %s, as predicted, after %s mAh by the profile", When(*p.Empty, zone), OneFigure(p.Used))
		default:
			row.Came = fmt.Sprintf("stopped %s, not as predicted, after %s mAh by the profile", When(*p.Empty, zone), OneFigure(p.Used))
		}
		rows = append(rows, row)
	}
	return rows
}

// CoinLead says in one sentence what to do about the coin cell.
func CoinLead(f *usage.CoinForecast) string {
	if f.Due {
		return fmt.Sprintf("Change the coin cell of the clock at the next visit: it was due by %s.", DateWords(*f.ActBy))
	}
	return fmt.Sprintf("Change the coin cell of the clock by %s.", DateWords(*f.ActBy))
}

// CoinFacts are the figures under it.
func CoinFacts(f *usage.CoinForecast, zone string) []Fact {
	return []Fact{
		putIn("Coin cell put in", f.From, f.Changed, zone),
		{"By charge alone it lasts", yearWords(f.DaysMost) + " to " + yearWords(f.DaysTypical), "at the most and at the typical draw of the clock chip"},
	}
}

func yearWords(days float64) string {
	if years := days / 365.25; years < 50 {
		return OneFigure(years) + " years"
	}
	return "more than 50 years"
}

// CoinMinds are what to bear in mind about a coin cell.
func CoinMinds(f *usage.CoinForecast) []string {
	var mind []string
	if f.Shelf {
		mind = append(mind, "By charge it would last longer; but no coin cell is trusted beyond ten years (common practice, no source).")
	}
	if f.Resets > 0 {
		mind = append(mind, fmt.Sprintf("Since it was put in, the clock was found reset or standing still %s: a bad contact or a bad cell, whatever the sum says.", Plural(int64(f.Resets), "time", "times")))
	}
	return mind
}

// WearLead says in one sentence what to do about the counter's memory.
func WearLead(c usage.Counter, f *usage.WearForecast) string {
	switch {
	case c.Memory == usage.CounterRAM:
		return "The counter’s memory does not wear: it counts in the clock chip’s battery-backed RAM."
	case c.Memory == usage.CounterNone:
		return "The logger has no counter whose memory could wear."
	case f.ActBy == nil:
		return fmt.Sprintf("The counter’s memory is %s %% worn: no end in sight.", OneFigure(f.UsedPct))
	case f.Due:
		return fmt.Sprintf("The counter’s memory has had the %s hours of open door that its maker vouches for: distrust its seconds.", OneFigure(f.LimitH))
	}
	return fmt.Sprintf("The counter’s memory is %s %% worn, and through %s.", OneFigure(f.UsedPct), RangeWords(f.Through))
}

// WearFacts are the figures under it.
func WearFacts(c usage.Counter, f *usage.WearForecast) []Fact {
	if !f.Wears {
		return nil
	}
	return []Fact{
		{"Door open so far", OneFigure(f.OpenH) + " h", "since the box was installed, time not recorded estimated"},
		{"It bears", OneFigure(f.LimitH) + " h", fmt.Sprintf("%s writes, one each %s s, %s in turn: the least that makers vouch for", Number(int64(c.Writes)), trimNumber(c.EveryS), Plural(int64(c.Cells), "cell", "cells"))},
	}
}

// trimNumber writes a number as a person would type it.
func trimNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// percentOf writes a share as hundredths, free of binary dust.
func percentOf(share float64) string { return trimNumber(math.Round(share*1e4) / 100) }

func presetOf(list []usage.CellPreset, id string) *usage.CellPreset {
	for i := range list {
		if list[i].ID == id {
			return &list[i]
		}
	}
	return nil
}

// sourceOf says where a value is from: the preset's source where it is the preset's.
func sourceOf(v float64, s usage.Sourced) string {
	if s.Source != "" && v == s.Value {
		return s.Source
	}
	return "set here"
}

// SettingFacts lists the values of a setting with where each is from.
func SettingFacts(s usage.PowerSetting) []SourcedFact {
	pack, coin := usage.CellPreset{Name: "own values"}, usage.CellPreset{Name: "own values"}
	if p := presetOf(usage.PackPresets, s.Pack.Cells); p != nil {
		pack = *p
	}
	if c := presetOf(usage.CoinPresets, s.Coin.Cells); c != nil {
		coin = *c
	}
	facts := []SourcedFact{
		{"Pack", pack.Name, ""},
		{"Capacity", trimNumber(s.Pack.CapacityMAh) + " mAh", sourceOf(s.Pack.CapacityMAh, pack.Capacity)},
		{"Usable", percentOf(s.Pack.Derating) + " %", sourceOf(s.Pack.Derating, pack.Derating)},
		{"Self-discharge", trimNumber(s.Pack.SelfPct) + " % a year", sourceOf(s.Pack.SelfPct, pack.Self)},
		{"Packs differ by", "± " + trimNumber(s.Pack.TolerancePct) + " %", sourceOf(s.Pack.TolerancePct, pack.TolerancePct)},
		{"Draws, door open", trimNumber(s.Draw.ActiveMA) + " mA", sourceOf(s.Draw.ActiveMA, usage.DrawActive)},
		{"Draws at each start", trimNumber(s.Draw.StartMAs) + " mA·s", sourceOf(s.Draw.StartMAs, usage.DrawStart)},
		{"Draws standing by", trimNumber(s.Draw.StandbyUA) + " µA", sourceOf(s.Draw.StandbyUA, usage.DrawStandby)},
		{"Draw known to", "± " + trimNumber(s.Draw.TolerancePct) + " %", sourceOf(s.Draw.TolerancePct, usage.DrawTolerance)},
		{"Coin cell", coin.Name, ""},
		{"Its capacity", trimNumber(s.Coin.CapacityMAh) + " mAh", sourceOf(s.Coin.CapacityMAh, coin.Capacity)},
		{"Usable", percentOf(s.Coin.Derating) + " %", sourceOf(s.Coin.Derating, coin.Derating)},
		{"Self-discharge", trimNumber(s.Coin.SelfPct) + " % a year", sourceOf(s.Coin.SelfPct, coin.Self)},
		{"Clock draws, typically", trimNumber(s.Coin.TypicalNA) + " nA", sourceOf(s.Coin.TypicalNA, usage.ClockTypical)},
		{"Clock draws, at most", trimNumber(s.Coin.MostNA) + " nA", sourceOf(s.Coin.MostNA, usage.ClockMost)},
	}
	if s.Counter.Memory == usage.CounterEEPROM {
		facts = append(facts, SourcedFact{"Counter’s EEPROM bears", Number(int64(s.Counter.Writes)) + " writes", sourceOf(s.Counter.Writes, usage.EEPROMWrites)})
	}
	if s.Since != nil {
		facts = append(facts, SourcedFact{"Holds since", DateWords(*s.Since), "set here"})
	}
	return facts
}

// The fields of the form of a power setting.
const (
	FieldCapacity  = "capacity"
	FieldUsable    = "usable"
	FieldSelf      = "self-discharge"
	FieldTolerance = "tolerance"
	FieldActive    = "active"
	FieldStart     = "start"
	FieldStandby   = "standby"
	FieldDrawn     = "draw-tolerance"
	FieldCoin      = "coin-capacity"
	FieldCoinUse   = "coin-usable"
	FieldCoinSelf  = "coin-self-discharge"
	FieldTypical   = "clock-typical"
	FieldMost      = "clock-most"
	FieldWrites    = "writes"
	FieldEvery     = "every"
	FieldTurns     = "turns"
)

// PowerValues writes the numbers of a setting as a form has them.
func PowerValues(s usage.PowerSetting) map[string]string {
	return map[string]string{
		FieldCapacity: trimNumber(s.Pack.CapacityMAh), FieldUsable: percentOf(s.Pack.Derating),
		FieldSelf: trimNumber(s.Pack.SelfPct), FieldTolerance: trimNumber(s.Pack.TolerancePct),
		FieldActive: trimNumber(s.Draw.ActiveMA), FieldStart: trimNumber(s.Draw.StartMAs),
		FieldStandby: trimNumber(s.Draw.StandbyUA), FieldDrawn: trimNumber(s.Draw.TolerancePct),
		FieldCoin: trimNumber(s.Coin.CapacityMAh), FieldCoinUse: percentOf(s.Coin.Derating), FieldCoinSelf: trimNumber(s.Coin.SelfPct),
		FieldTypical: trimNumber(s.Coin.TypicalNA), FieldMost: trimNumber(s.Coin.MostNA),
		FieldWrites: trimNumber(s.Counter.Writes), FieldEvery: trimNumber(s.Counter.EveryS), FieldTurns: trimNumber(s.Counter.Cells),
	}
}

// NewPowerForm returns the form with values by the names of its fields.
func NewPowerForm(cells, coin, memory string, values map[string]string, faults FieldFaults) PowerForm {
	pack, cell := usage.CellPreset{}, usage.CellPreset{}
	if p := presetOf(usage.PackPresets, cells); p != nil {
		pack = *p
	}
	if c := presetOf(usage.CoinPresets, coin); c != nil {
		cell = *c
	}
	field := func(name, label string, source usage.Sourced) NumberField {
		hint := ""
		if source.Source != "" {
			hint = fmt.Sprintf("%s: %s.", trimNumber(source.Value), source.Source)
		}
		return NumberField{Name: name, Label: label, Hint: hint, Value: values[name], Fault: faults.On(name)}
	}
	hundredths := func(s usage.Sourced) usage.Sourced {
		return usage.Sourced{Value: math.Round(s.Value * 100), Source: s.Source}
	}
	return PowerForm{Cells: cells, CoinCells: coin, Memory: memory, Groups: []PowerGroup{
		{"The pack", "Cells in series have the capacity of one.", []NumberField{
			field(FieldCapacity, "Capacity, mAh", pack.Capacity),
			field(FieldUsable, "Usable share, %", hundredths(pack.Derating)),
			field(FieldSelf, "Self-discharge, % a year", pack.Self),
			field(FieldTolerance, "Packs differ by ± %", pack.TolerancePct),
		}},
		{"What the logger draws", "By a meter in the pack’s lead. A guess will do, if its tolerance says so.", []NumberField{
			field(FieldActive, "While the door is open, mA", usage.DrawActive),
			field(FieldStart, "At each start, mA·s", usage.DrawStart),
			field(FieldStandby, "Standing by, µA", usage.DrawStandby),
			field(FieldDrawn, "Known to ± %", usage.DrawTolerance),
		}},
		{"The clock’s coin cell", "", []NumberField{
			field(FieldCoin, "Capacity, mAh", cell.Capacity),
			field(FieldCoinUse, "Usable share, %", hundredths(cell.Derating)),
			field(FieldCoinSelf, "Self-discharge, % a year", cell.Self),
			field(FieldTypical, "Clock draws, typically, nA", usage.ClockTypical),
			field(FieldMost, "Clock draws, at most, nA", usage.ClockMost),
		}},
		{"For a counter in EEPROM", "", []NumberField{
			field(FieldWrites, "Writes that a cell bears", usage.EEPROMWrites),
			field(FieldEvery, "Seconds between writes", usage.Sourced{}),
			field(FieldTurns, "Cells that take turns", usage.Sourced{}),
		}},
	}}
}

// NumberUnread is what is wrong with a field that holds no number.
const NumberUnread = "Give a number."

// MemoryUnread is what is wrong with a choice of memory that there is not.
const MemoryUnread = "Choose where the logger counts."

// SettingSays writes a setting in one line.
func SettingSays(s usage.PowerSetting) string {
	name := "own values"
	if p := presetOf(usage.PackPresets, s.Pack.Cells); p != nil {
		name = p.Name
	}
	return fmt.Sprintf("%s: %s mAh, %s %% usable; draws %s mA, %s mA·s a start, %s µA standing by.", name, trimNumber(s.Pack.CapacityMAh),
		percentOf(s.Pack.Derating), trimNumber(s.Draw.ActiveMA), trimNumber(s.Draw.StartMAs), trimNumber(s.Draw.StandbyUA))
}
