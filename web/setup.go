package web

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// SetUpPage is where a network begins: what it is called, how its pages write, who may
// do what, and its first box.
type SetUpPage struct {
	Base
	Form        SetUpForm
	Example     []string // how dates, times and numbers would look
	Kept        bool     // the form was just kept
	Before      bool     // the form says what stood before a change, which is to be taken back
	Sites       int
	Cards       int
	Coordinated bool // there is a coordinating passphrase
	Local       bool // the server is for the person at the machine
	Faults      FieldFaults
}

// Template implements Page.
func (SetUpPage) Template() string { return "setup" }

// Scripts names the page's scripts.
func (SetUpPage) Scripts() []string { return []string{"preview.js"} }

// SetUpForm is the form of a network as it was typed.
type SetUpForm struct {
	Name, Language, Dates, Decimal, FirstDay, Clock string
}

// SetUpFormOf is the form of a network as it is kept.
func SetUpFormOf(n usage.Network) SetUpForm {
	r := n.Region
	return SetUpForm{
		Name: n.Name, Language: r.Language, Dates: r.Dates, Decimal: r.Decimal,
		FirstDay: strconv.Itoa(r.FirstDay), Clock: strconv.Itoa(r.Clock),
	}
}

// Network is what the form says, and the fields that make no sense.
func (f SetUpForm) Network(w *words.Words) (usage.Network, FieldFaults) {
	first, _ := strconv.Atoi(f.FirstDay) // 0 for what is no number, which no day is
	clock, _ := strconv.Atoi(f.Clock)
	n := usage.Network{Name: f.Name, Region: usage.Region{Language: f.Language, Dates: f.Dates, Decimal: f.Decimal, FirstDay: first, Clock: clock}}.Tidy()
	var faults FieldFaults
	probe := usage.Network{Region: usage.DefaultRegion}
	for _, part := range []struct {
		field string
		put   func()
	}{
		{"name", func() { probe.Name = n.Name }},
		{"language", func() { probe.Region.Language = n.Region.Language }},
		{"dates", func() { probe.Region.Dates = n.Region.Dates }},
		{"decimal", func() { probe.Region.Decimal = n.Region.Decimal }},
		{"first-day", func() { probe.Region.FirstDay = n.Region.FirstDay }},
		{"clock", func() { probe.Region.Clock = n.Region.Clock }},
	} {
		before := probe
		part.put()
		if err := probe.Valid(); err != nil {
			faults = append(faults, FieldFault{Field: part.field, Says: Problem(w, err) + " " + Try(w, err)})
			probe = before
		}
	}
	return n, faults
}

// languageNames are the names of the languages in themselves.
var languageNames = map[string]string{"en": "English", "de": "Deutsch"}

// Languages are the choices of a language.
func (f SetUpForm) Languages() []Option {
	var all []Option
	for _, code := range usage.Languages {
		all = append(all, Option{Value: code, Says: languageNames[code]})
	}
	return choose(all, f.Language)
}

// DateOrders are the choices of the order of a date.
func (f SetUpForm) DateOrders(w *words.Words) []Option {
	return choose([]Option{
		{Value: "dmy", Says: w.Say("day, month, year")}, {Value: "mdy", Says: w.Say("month, day, year")}, {Value: "ymd", Says: w.Say("year, month, day")},
	}, f.Dates)
}

// Decimals are the choices of a decimal mark.
func (f SetUpForm) Decimals(w *words.Words) []Option {
	return choose([]Option{{Value: ".", Says: w.Say("a full stop: 3.5")}, {Value: ",", Says: w.Say("a comma: 3,5")}}, f.Decimal)
}

// Clocks are the choices of a clock face.
func (f SetUpForm) Clocks(w *words.Words) []Option {
	return choose([]Option{{Value: "24", Says: w.Say("24 hours: 17:30")}, {Value: "12", Says: w.Say("12 hours: 5:30 pm")}}, f.Clock)
}

// FirstDays are the choices of the day on which a week begins.
func (f SetUpForm) FirstDays(w *words.Words) []Option {
	var all []Option
	for day := 1; day <= 7; day++ {
		all = append(all, Option{Value: fmt.Sprint(day), Says: w.Weekday(day)})
	}
	return choose(all, f.FirstDay)
}

// ExampleOf writes a date, a time, a number and a week in the ways of a region that is
// valid.
func ExampleOf(r usage.Region) []string {
	w := words.Of(r)
	at := time.Date(2026, time.March, 27, 17, 30, 0, 0, time.UTC)
	var week []string
	for _, day := range w.Week() {
		week = append(week, w.WeekdayShort(day))
	}
	return []string{w.Time(at), w.Number(1234) + w.Mark(".5"), strings.Join(week, " ")}
}
