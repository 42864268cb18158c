package web

import (
	"slices"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// CallsPage lists the service calls of a site and takes a new one.
type CallsPage struct {
	Base
	Site
	Calls  []Call // the latest first
	Gone   []Call // withdrawn, the latest withdrawn first
	Offers []Link // clock sets of cards that were prepared
	Form   CallForm
	Faults FieldFaults
}

// Template implements Page.
func (CallsPage) Template() string { return "calls" }

// CallPage changes a service call.
type CallPage struct {
	Base
	Site
	ID     int64
	Form   CallForm
	Faults FieldFaults
}

// Template implements Page.
func (CallPage) Template() string { return "call" }

// Call is a service call in words.
type Call struct {
	ID       int64
	At       int64 // Unix s
	Give     string
	Did      []string
	Reading  *int64 // wall seconds
	Set      bool   // the clock was set, to Reading where that is told
	BooksIn  *int32
	BooksNow *int32
	Note     string
}

// CallForm holds the fields of a service call as they were typed.
type CallForm struct {
	At, Within, Reading, BooksIn, BooksNow, Note string
	Kinds                                        []KindBox
	Withins                                      []Within
}

// KindBox is a thing to tick.
type KindBox struct {
	Kind   usage.CallKind
	Field  string // name and id of its field
	Label  string
	Hint   string // a short caution, ""
	Ticked bool
}

// Within is how well a true time is known.
type Within struct {
	Value  string // seconds
	Says   string
	Chosen bool
}

// kindBoxes are the things to tick, in the order of a visit to a box. What is
// not in it follows from the other fields: a reading without a set clock, and a
// note alone. The cautions are common practice, no source.
var kindBoxes = []struct {
	kind        usage.CallKind
	field       string
	label, hint words.Text
}{
	{usage.CallRestock, "did-restock", "Restocked the shelf", ""},
	{usage.CallCardOut, "did-card-out", "Took the card out", "Switch off or shut the door first: a card pulled during a write loses rows."},
	{usage.CallCardIn, "did-card-in", "Put a card in", CautionCard},
	{usage.CallBatteries, "did-batteries", "Changed the batteries", ""},
	{usage.CallCoinCell, "did-coin-cell", "Changed the clock’s coin cell", "A button cell can kill a child who swallows it: take the old one home, and screw the lid shut on the new one."},
	{usage.CallClockSet, "did-clock-set", "Set the clock", ""},
	{usage.CallRepair, "did-repair", "Repaired something", ""},
}

var kindWords = map[usage.CallKind]words.Text{
	usage.CallRestock:   "restocked",
	usage.CallCardOut:   "card out",
	usage.CallCardIn:    "card in",
	usage.CallBatteries: "new batteries",
	usage.CallCoinCell:  "new coin cell",
	usage.CallClockSet:  "clock set",
	usage.CallTimeNoted: "clock read",
	usage.CallRepair:    "repair",
	usage.CallNote:      "a note",
}

// KindBoxes returns the things to tick, those among done ticked.
func KindBoxes(w *words.Words, done []usage.CallKind) []KindBox {
	var boxes []KindBox
	for _, k := range kindBoxes {
		boxes = append(boxes, KindBox{Kind: k.kind, Field: k.field, Label: w.Say(k.label), Hint: w.Say(k.hint), Ticked: slices.Contains(done, k.kind)})
	}
	return boxes
}

// KindWords names the things that a service call did.
func KindWords(w *words.Words, done []usage.CallKind) []string {
	var all []string
	for _, k := range done {
		all = append(all, w.Say(kindWords[k]))
	}
	if len(all) > 0 {
		all[0] = capital(all[0])
	}
	return all
}

// withins are how well a true time may be known; the first is usual.
var withins = []struct {
	value string
	says  words.Text
}{
	{"60", "to the minute"},
	{"300", "to five minutes"},
	{"1800", "to half an hour"},
	{"43200", "to the day"},
}

// Withins returns how well a true time may be known, one of them chosen: that of
// a value in seconds, which is added where it is none of the usual ones.
func Withins(w *words.Words, value string, errorS int32) []Within {
	var all []Within
	for _, usual := range withins {
		all = append(all, Within{Value: usual.value, Says: w.Say(usual.says), Chosen: usual.value == value})
	}
	if !slices.ContainsFunc(all, func(w Within) bool { return w.Chosen }) {
		all = append([]Within{{Value: value, Says: w.Say("to %s", w.Duration(errorS)), Chosen: true}}, all...)
	}
	return all
}

// GiveWords says how well an instant is known.
func GiveWords(w *words.Words, errorS int32) string {
	if errorS <= 60 {
		return ""
	}
	return w.Say("give or take %s", w.Duration(errorS))
}

// OfferWords offers the clock set of a card that was prepared.
func OfferWords(w *words.Words, at, reading int64, zone string) string {
	return w.Say("The card made for %s sets the clock to %s.", w.When(at, zone), w.WallSeconds(reading))
}

// CallsTitle leads back to the service calls of a site.
const CallsTitle words.Text = "Service calls"

// What is wrong with the form of a service call.
const (
	BooksUnread   words.Text = "Give a whole number of books, or leave it empty."
	ReadingUnread words.Text = "Give the date and time that the clock showed, or leave it empty."
	WithinUnread  words.Text = "Choose how well the time is known."
)
