package web

import (
	"fmt"
	"strconv"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// PreparePage shows what a card for a site's logger will hold, and gives it as a .zip.
type PreparePage struct {
	Base
	Site
	Lead     string
	Says     []string
	At       string // the moment as it was typed, in the site's zone
	Files    []PreparedFile
	Form     CardSettingForm
	Kept     bool // a setting stands
	Faults   FieldFaults
	Keeps    string // what the digits are
	Hint     string
	Cautions []string
}

// Template implements Page.
func (PreparePage) Template() string { return "prepare" }

// PreparedFile is a file of the card.
type PreparedFile struct{ Name, Text, Says string }

// CardSettingForm holds the fields of a card setting.
type CardSettingForm struct {
	LogFile, ClockFile, Template, Header string
	HeaderFrom                           string // "card", "own", "none"
	FirstDays                            []Option
	Places                               []string
}

// PrepareCautions stand where a card is prepared.
func PrepareCautions(w *words.Words) []string {
	return []string{w.Say(CautionCard), w.Say("Take a card out of the computer by its own command first, or the files may not be whole."), w.Say(CautionCoin)}
}

// NewCardSettingForm fills the form.
func NewCardSettingForm(w *words.Words, s usage.CardSetting) CardSettingForm {
	f := CardSettingForm{LogFile: s.LogFile, ClockFile: s.ClockFile, Template: s.Template, HeaderFrom: "card", FirstDays: FirstDays(w, max(s.FirstDay, 1))}
	if s.Header != nil {
		f.Header, f.HeaderFrom = *s.Header, "own"
		if *s.Header == "" {
			f.HeaderFrom = "none"
		}
	}
	for _, p := range usage.ClockPlaces {
		f.Places = append(f.Places, p.Place+" "+w.Retell(p.Says))
	}
	return f
}

// FirstDays are the weekdays that a clock may count as 1.
func FirstDays(w *words.Words, chosen int) []Option {
	var all []Option
	for day := 1; day <= 7; day++ {
		all = append(all, Option{Value: strconv.Itoa(day), Says: w.Weekday(day), Chosen: day == chosen})
	}
	return all
}

// PrepareLead says in one sentence what to do with the card.
func PrepareLead(w *words.Words, s usage.CardSetting, at, reading int64, offsetS int32, site usage.Site) string {
	if s.ClockFile == "" {
		return w.Say("Put this card in, and the logger begins its log; it sets no clock, since the logger reads no clock-set file.")
	}
	return w.Say("Put this card in and power the logger at %s, %s: that is when it must read %s, which sets its clock to %s (%s).",
		w.WhenSeconds(at, site.Zone), site.Zone, s.ClockFile, w.WallSeconds(reading), OffsetWords(offsetS))
}

// OffsetWords writes an offset to UTC.
func OffsetWords(s int32) string {
	sign := '+'
	if s < 0 {
		sign, s = '−', -s
	}
	if s == 0 {
		return "UTC"
	}
	return fmt.Sprintf("UTC%c%02d:%02d", sign, s/3600, s/60%60)
}

// PrepareKeeps says why the digits are those.
func PrepareKeeps(w *words.Words, keeping usage.ClockKeeping) string {
	switch keeping {
	case usage.ClockUTC:
		return w.Say("The clock of this box keeps UTC, so the digits are UTC.")
	case usage.ClockCivil:
		return w.Say("The clock of this box follows daylight saving, so the digits are civil time at the box.")
	}
	return w.Say("The clock of this box takes no notice of daylight saving: the digits are civil time at the box at that moment, and the clock keeps that offset until it is set again.")
}

// PrepareHint says how to hit the moment.
const PrepareHint words.Text = "Have the card in and the door shut beforehand; open the door when the second comes. A logger that needs a moment to start is late by that; note what it showed, if it shows anything."

// PrepareSays say where log and header are from.
func PrepareSays(w *words.Words, header string, taken bool) []string {
	switch {
	case header == "":
		return []string{w.Say("The log is empty: the logger writes no header.")}
	case taken:
		return []string{w.Say("The log begins as on the last card read of this box.")}
	}
	return []string{w.Say("No card of this box has been read, or its setting says so: the log begins with one line that names no columns.")}
}

// FileSays says what a file of the card is for.
func FileSays(w *words.Words, name string, s usage.CardSetting, tag string) string {
	switch name {
	case tag:
		return w.Say("names the box, so that the card finds its way home")
	case s.ClockFile:
		return w.Say("sets the clock")
	}
	return w.Say("the log, without a row")
}
