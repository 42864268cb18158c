package web

import (
	"math"
	"time"

	"doorleaf/usage"
	"doorleaf/web/words"
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
	CautionCoin  words.Text = "A button cell can kill a child who swallows it: keep it behind a screwed lid, and take the old one home."
	CautionCard  words.Text = "Memory cards take 3.3 V, not 5 V."
	CautionLight words.Text = "Lights and outdoor wiring follow the local electrical code; beyond extra-low voltage they are work for a licensed electrician."
	CautionPack  words.Text = "Never mix old and new cells, or two kinds, in one pack."
)

// RangeWords writes a date with its limits.
func RangeWords(w *words.Words, r usage.DateRange) string {
	switch {
	case r.Low == nil:
		return w.Say("later than can be said")
	case r.High == nil:
		return w.Say("not before %s", *r.Low)
	case *r.Low == *r.High:
		return w.Date(*r.Low)
	}
	return w.Say("between %s and %s", *r.Low, *r.High)
}

// PowerLead says in one sentence what to do about the batteries.
func PowerLead(w *words.Words, f *usage.PowerForecast, zone string) string {
	switch {
	case f.Stopped != nil:
		return w.Say("Change the batteries now: the logger stopped about %s.", w.When(*f.Stopped, zone))
	case f.LeftPct == nil:
		return w.Say("Nothing has been recorded yet, so that nobody can say when the batteries will be empty.")
	case f.ActBy == nil:
		return w.Say("The batteries need no hand in sight: about %s %% is left.", w.Round(f.LeftPct).Value)
	case f.Due:
		return w.Say("Change the batteries at the next visit: they are empty %s, and the early end of that has come.", RangeWords(w, f.Empty))
	}
	return w.Say("Change the batteries by %s: they will be empty %s.", *f.ActBy, RangeWords(w, f.Empty))
}

// PowerFacts are the figures under it.
func PowerFacts(w *words.Words, f *usage.PowerForecast, zone string) []Fact {
	facts := []Fact{putIn(w, w.Say("Batteries put in"), f.From, f.Changed, zone)}
	if f.LeftPct == nil {
		return facts
	}
	left, used := w.Round(f.LeftPct), w.Round(f.Used)
	facts = append(facts,
		Fact{w.Say("Left now"), left.Value + " %", fromTo(w, left.Low, left.High)},
		Fact{w.Say("Drawn since then"), used.Value + " mAh", w.Say("%s to %s, of %s in a new pack; %s lost by itself", used.Low, used.High, w.OneFigure(f.Usable), w.OneFigure(f.Lost))},
		Fact{w.Say("Draws a day"), w.OneFigure(f.Load.Sum()) + " mAh", w.Say("door open %s, starting %s, standing by %s", w.OneFigure(f.Load.Active), w.OneFigure(f.Load.Start), w.OneFigure(f.Load.Standby))})
	if l := f.Empty.Likely; l != nil {
		facts = append(facts, Fact{w.Say("Empty, most likely"), w.Date(*l), RangeWords(w, f.Empty)})
	}
	return facts
}

// putIn says since when a cell is in.
func putIn(w *words.Words, term string, at int64, changed bool, zone string) Fact {
	if changed {
		return Fact{term, w.When(at, zone), w.Say("by the service calls")}
	}
	day := usage.DateOf(time.Unix(at, 0).In(zoneOf(zone)).Date())
	return Fact{term, w.Date(day), w.Say("taken as new when the box was installed: no change is kept among the service calls")}
}

// PowerRule says how the date to act by is chosen.
const PowerRule words.Text = "The date to act by is the early end of the range: one pack in forty would be empty sooner. The range holds what is not known of the pack, of the draw, and of how often the door will be opened in the seasons ahead."

// PastRule says which packs teach what.
const PastRule words.Text = "A pack counts as run empty when the quiet stretch before its change is answered as an outage among the questions; else as changed in time. What is predicted for a past pack is of the openings that came, so that it is draw and charge alone that are put to the test."

// LearnedWords says what earlier packs taught.
func LearnedWords(w *words.Words, l usage.Learned) string {
	if l.Packs+l.Before == 0 {
		return w.Say("No pack has been changed yet that could teach how much the logger really draws.")
	}
	r := w.RoundRatio(&l.Ratio)
	by := w.Plural(int64(l.Packs), "pack that ran empty", "packs that ran empty")
	switch {
	case l.Packs == 0:
		by = w.Say("%s changed in time", words.Count(int64(l.Before), "pack", "packs"))
	case l.Before > 0:
		by = w.Say("%s and %d changed in time", by, l.Before)
	}
	return w.Say("By %s, this logger draws %s times what its profile says (%s to %s); the dates above allow for it.", by, r.Value, r.Low, r.High)
}

// PastPacks writes packs that were changed, the latest first.
func PastPacks(w *words.Words, past []usage.PastPack, zone string) []PastPackRow {
	var rows []PastPackRow
	for i := len(past) - 1; i >= 0; i-- {
		p := past[i]
		row := PastPackRow{From: w.When(p.From, zone), To: w.When(p.To, zone), Predicted: RangeWords(w, p.Predicted)}
		switch {
		case p.Empty == nil:
			row.Came = w.Say("changed in time, after %s mAh by the profile", w.OneFigure(p.Used))
		case p.Within:
			row.Came = w.Say("stopped %s, as predicted, after %s mAh by the profile", w.When(*p.Empty, zone), w.OneFigure(p.Used))
		default:
			row.Came = w.Say("stopped %s, not as predicted, after %s mAh by the profile", w.When(*p.Empty, zone), w.OneFigure(p.Used))
		}
		rows = append(rows, row)
	}
	return rows
}

// CoinLead says in one sentence what to do about the coin cell.
func CoinLead(w *words.Words, f *usage.CoinForecast) string {
	if f.Due {
		return w.Say("Change the coin cell of the clock at the next visit: it was due by %s.", *f.ActBy)
	}
	return w.Say("Change the coin cell of the clock by %s.", *f.ActBy)
}

// CoinFacts are the figures under it.
func CoinFacts(w *words.Words, f *usage.CoinForecast, zone string) []Fact {
	return []Fact{
		putIn(w, w.Say("Coin cell put in"), f.From, f.Changed, zone),
		{w.Say("By charge alone it lasts"), fromTo(w, yearWords(w, f.DaysMost), yearWords(w, f.DaysTypical)), w.Say("at the most and at the typical draw of the clock chip")},
	}
}

func yearWords(w *words.Words, days float64) string {
	if years := days / 365.25; years < 50 {
		return w.Say("%s years", w.OneFigure(years))
	}
	return w.Say("more than 50 years")
}

// CoinMinds are what to bear in mind about a coin cell.
func CoinMinds(w *words.Words, f *usage.CoinForecast) []string {
	var mind []string
	if f.Shelf {
		mind = append(mind, w.Say("By charge it would last longer; but no coin cell is trusted beyond ten years (common practice, no source)."))
	}
	if f.Resets > 0 {
		mind = append(mind, w.Say("Since it was put in, the clock was found reset or standing still %s: a bad contact or a bad cell, whatever the sum says.", words.Count(int64(f.Resets), "time", "times")))
	}
	return mind
}

// WearLead says in one sentence what to do about the counter's memory.
func WearLead(w *words.Words, c usage.Counter, f *usage.WearForecast) string {
	switch {
	case c.Memory == usage.CounterRAM:
		return w.Say("The counter’s memory does not wear: it counts in the clock chip’s battery-backed RAM.")
	case c.Memory == usage.CounterNone:
		return w.Say("The logger has no counter whose memory could wear.")
	case f.ActBy == nil:
		return w.Say("The counter’s memory is %s %% worn: no end in sight.", w.OneFigure(f.UsedPct))
	case f.Due:
		return w.Say("The counter’s memory has had the %s hours of open door that its maker vouches for: distrust its seconds.", w.OneFigure(f.LimitH))
	}
	return w.Say("The counter’s memory is %s %% worn, and through %s.", w.OneFigure(f.UsedPct), RangeWords(w, f.Through))
}

// WearFacts are the figures under it.
func WearFacts(w *words.Words, c usage.Counter, f *usage.WearForecast) []Fact {
	if !f.Wears {
		return nil
	}
	return []Fact{
		{w.Say("Door open so far"), w.OneFigure(f.OpenH) + " h", w.Say("since the box was installed, time not recorded estimated")},
		{w.Say("It bears"), w.OneFigure(f.LimitH) + " h", w.Say("%s writes, one each %s s, %s in turn: the least that makers vouch for", w.Number(int64(c.Writes)), w.Typed(c.EveryS), words.Count(int64(c.Cells), "cell", "cells"))},
	}
}

// trimNumber writes a number as a form has it.
func trimNumber(v float64) string { return words.English.Typed(v) }

// percentOf writes a share as hundredths, free of binary dust.
func percentOf(w *words.Words, share float64) string { return w.Typed(math.Round(share*1e4) / 100) }

const ownValues words.Text = "own values"

func presetOf(list []usage.CellPreset, id string) *usage.CellPreset {
	for i := range list {
		if list[i].ID == id {
			return &list[i]
		}
	}
	return nil
}

// sourceOf says where a value is from: the preset's source where it is the preset's.
func sourceOf(w *words.Words, v float64, s usage.Sourced) string {
	if s.Source != "" && v == s.Value {
		return w.Retell(s.Source)
	}
	return w.Say("set here")
}

// SettingFacts lists the values of a setting with where each is from.
func SettingFacts(w *words.Words, s usage.PowerSetting) []SourcedFact {
	pack, coin := usage.CellPreset{Name: w.Say(ownValues)}, usage.CellPreset{Name: w.Say(ownValues)}
	if p := presetOf(usage.PackPresets, s.Pack.Cells); p != nil {
		pack = *p
		pack.Name = w.Retell(pack.Name)
	}
	if c := presetOf(usage.CoinPresets, s.Coin.Cells); c != nil {
		coin = *c
		coin.Name = w.Retell(coin.Name)
	}
	facts := []SourcedFact{
		{w.Say("Pack"), pack.Name, ""},
		{w.Say("Capacity"), w.Typed(s.Pack.CapacityMAh) + " mAh", sourceOf(w, s.Pack.CapacityMAh, pack.Capacity)},
		{w.Say("Usable"), percentOf(w, s.Pack.Derating) + " %", sourceOf(w, s.Pack.Derating, pack.Derating)},
		{w.Say("Self-discharge"), w.Say("%s %% a year", w.Typed(s.Pack.SelfPct)), sourceOf(w, s.Pack.SelfPct, pack.Self)},
		{w.Say("Packs differ by"), "± " + w.Typed(s.Pack.TolerancePct) + " %", sourceOf(w, s.Pack.TolerancePct, pack.TolerancePct)},
		{w.Say("Draws, door open"), w.Typed(s.Draw.ActiveMA) + " mA", sourceOf(w, s.Draw.ActiveMA, usage.DrawActive)},
		{w.Say("Draws at each start"), w.Typed(s.Draw.StartMAs) + " mA·s", sourceOf(w, s.Draw.StartMAs, usage.DrawStart)},
		{w.Say("Draws standing by"), w.Typed(s.Draw.StandbyUA) + " µA", sourceOf(w, s.Draw.StandbyUA, usage.DrawStandby)},
		{w.Say("Draw known to"), "± " + w.Typed(s.Draw.TolerancePct) + " %", sourceOf(w, s.Draw.TolerancePct, usage.DrawTolerance)},
		{w.Say("Coin cell"), coin.Name, ""},
		{w.Say("Its capacity"), w.Typed(s.Coin.CapacityMAh) + " mAh", sourceOf(w, s.Coin.CapacityMAh, coin.Capacity)},
		{w.Say("Usable"), percentOf(w, s.Coin.Derating) + " %", sourceOf(w, s.Coin.Derating, coin.Derating)},
		{w.Say("Self-discharge"), w.Say("%s %% a year", w.Typed(s.Coin.SelfPct)), sourceOf(w, s.Coin.SelfPct, coin.Self)},
		{w.Say("Clock draws, typically"), w.Typed(s.Coin.TypicalNA) + " nA", sourceOf(w, s.Coin.TypicalNA, usage.ClockTypical)},
		{w.Say("Clock draws, at most"), w.Typed(s.Coin.MostNA) + " nA", sourceOf(w, s.Coin.MostNA, usage.ClockMost)},
	}
	if s.Counter.Memory == usage.CounterEEPROM {
		facts = append(facts, SourcedFact{w.Say("Counter’s EEPROM bears"), w.Say("%s writes", w.Number(int64(s.Counter.Writes))), sourceOf(w, s.Counter.Writes, usage.EEPROMWrites)})
	}
	if s.Since != nil {
		facts = append(facts, SourcedFact{w.Say("Holds since"), w.Date(*s.Since), w.Say("set here")})
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
		FieldCapacity: trimNumber(s.Pack.CapacityMAh), FieldUsable: percentOf(words.English, s.Pack.Derating),
		FieldSelf: trimNumber(s.Pack.SelfPct), FieldTolerance: trimNumber(s.Pack.TolerancePct),
		FieldActive: trimNumber(s.Draw.ActiveMA), FieldStart: trimNumber(s.Draw.StartMAs),
		FieldStandby: trimNumber(s.Draw.StandbyUA), FieldDrawn: trimNumber(s.Draw.TolerancePct),
		FieldCoin: trimNumber(s.Coin.CapacityMAh), FieldCoinUse: percentOf(words.English, s.Coin.Derating), FieldCoinSelf: trimNumber(s.Coin.SelfPct),
		FieldTypical: trimNumber(s.Coin.TypicalNA), FieldMost: trimNumber(s.Coin.MostNA),
		FieldWrites: trimNumber(s.Counter.Writes), FieldEvery: trimNumber(s.Counter.EveryS), FieldTurns: trimNumber(s.Counter.Cells),
	}
}

// NewPowerForm returns the form with values by the names of its fields.
func NewPowerForm(w *words.Words, cells, coin, memory string, values map[string]string, faults FieldFaults) PowerForm {
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
			hint = w.Say("%s: %s.", w.Typed(source.Value), w.Retell(source.Source))
		}
		return NumberField{Name: name, Label: label, Hint: hint, Value: values[name], Fault: faults.On(name)}
	}
	hundredths := func(s usage.Sourced) usage.Sourced {
		return usage.Sourced{Value: math.Round(s.Value * 100), Source: s.Source}
	}
	return PowerForm{Cells: cells, CoinCells: coin, Memory: memory, Groups: []PowerGroup{
		{w.Say("The pack"), w.Say("Cells in series have the capacity of one."), []NumberField{
			field(FieldCapacity, w.Say("Capacity, mAh"), pack.Capacity),
			field(FieldUsable, w.Say("Usable share, %"), hundredths(pack.Derating)),
			field(FieldSelf, w.Say("Self-discharge, % a year"), pack.Self),
			field(FieldTolerance, w.Say("Packs differ by ± %"), pack.TolerancePct),
		}},
		{w.Say("What the logger draws"), w.Say("By a meter in the pack’s lead. A guess will do, if its tolerance says so."), []NumberField{
			field(FieldActive, w.Say("While the door is open, mA"), usage.DrawActive),
			field(FieldStart, w.Say("At each start, mA·s"), usage.DrawStart),
			field(FieldStandby, w.Say("Standing by, µA"), usage.DrawStandby),
			field(FieldDrawn, w.Say("Known to ± %"), usage.DrawTolerance),
		}},
		{w.Say("The clock’s coin cell"), "", []NumberField{
			field(FieldCoin, w.Say("Capacity, mAh"), cell.Capacity),
			field(FieldCoinUse, w.Say("Usable share, %"), hundredths(cell.Derating)),
			field(FieldCoinSelf, w.Say("Self-discharge, % a year"), cell.Self),
			field(FieldTypical, w.Say("Clock draws, typically, nA"), usage.ClockTypical),
			field(FieldMost, w.Say("Clock draws, at most, nA"), usage.ClockMost),
		}},
		{w.Say("For a counter in EEPROM"), "", []NumberField{
			field(FieldWrites, w.Say("Writes that a cell bears"), usage.EEPROMWrites),
			field(FieldEvery, w.Say("Seconds between writes"), usage.Sourced{}),
			field(FieldTurns, w.Say("Cells that take turns"), usage.Sourced{}),
		}},
	}}
}

// NumberUnread is what is wrong with a field that holds no number.
const NumberUnread words.Text = "Give a number."

// MemoryUnread is what is wrong with a choice of memory that there is not.
const MemoryUnread words.Text = "Choose where the logger counts."

// SettingSays writes a setting in one line.
func SettingSays(w *words.Words, s usage.PowerSetting) string {
	name := w.Say(ownValues)
	if p := presetOf(usage.PackPresets, s.Pack.Cells); p != nil {
		name = w.Retell(p.Name)
	}
	return w.Say("%s: %s mAh, %s %% usable; draws %s mA, %s mA·s a start, %s µA standing by.", name, w.Typed(s.Pack.CapacityMAh),
		percentOf(w, s.Pack.Derating), w.Typed(s.Draw.ActiveMA), w.Typed(s.Draw.StartMAs), w.Typed(s.Draw.StandbyUA))
}
