package web

import (
	"fmt"
	"slices"

	"doorleaf/usage"
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
var kindBoxes = []KindBox{
	{Kind: usage.CallRestock, Field: "did-restock", Label: "Restocked the shelf"},
	{Kind: usage.CallCardOut, Field: "did-card-out", Label: "Took the card out", Hint: "Switch off or shut the door first: a card pulled during a write loses rows."},
	{Kind: usage.CallCardIn, Field: "did-card-in", Label: "Put a card in", Hint: "Memory cards take 3.3 V, not 5 V."},
	{Kind: usage.CallBatteries, Field: "did-batteries", Label: "Changed the batteries"},
	{Kind: usage.CallCoinCell, Field: "did-coin-cell", Label: "Changed the clock’s coin cell", Hint: "A button cell can kill a child who swallows it: take the old one home, and screw the lid shut on the new one."},
	{Kind: usage.CallClockSet, Field: "did-clock-set", Label: "Set the clock"},
	{Kind: usage.CallRepair, Field: "did-repair", Label: "Repaired something"},
}

var kindWords = map[usage.CallKind]string{
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
func KindBoxes(done []usage.CallKind) []KindBox {
	boxes := slices.Clone(kindBoxes)
	for i := range boxes {
		boxes[i].Ticked = slices.Contains(done, boxes[i].Kind)
	}
	return boxes
}

// KindWords names the things that a service call did.
func KindWords(done []usage.CallKind) []string {
	var words []string
	for _, k := range done {
		words = append(words, kindWords[k])
	}
	if len(words) > 0 {
		words[0] = capital(words[0])
	}
	return words
}

// withins are how well a true time may be known; the first is usual.
var withins = []Within{
	{Value: "60", Says: "to the minute"},
	{Value: "300", Says: "to five minutes"},
	{Value: "1800", Says: "to half an hour"},
	{Value: "43200", Says: "to the day"},
}

// Withins returns how well a true time may be known, one of them chosen: that of
// a value in seconds, which is added where it is none of the usual ones.
func Withins(value string, errorS int32) []Within {
	all := slices.Clone(withins)
	if !slices.ContainsFunc(all, func(w Within) bool { return w.Value == value }) {
		all = append([]Within{{Value: value, Says: "to " + DurationWords(errorS)}}, all...)
	}
	for i := range all {
		all[i].Chosen = all[i].Value == value
	}
	return all
}

// GiveWords says how well an instant is known.
func GiveWords(errorS int32) string {
	if errorS <= 60 {
		return ""
	}
	return "give or take " + DurationWords(errorS)
}

// OfferWords offers the clock set of a card that was prepared.
func OfferWords(at, reading int64, zone string) string {
	return fmt.Sprintf("The card made for %s sets the clock to %s.", When(at, zone), WallSeconds(reading))
}

// CallsTitle leads back to the service calls of a site.
const CallsTitle = "Service calls"

// What is wrong with the form of a service call.
const (
	BooksUnread   = "Give a whole number of books, or leave it empty."
	ReadingUnread = "Give the date and time that the clock showed, or leave it empty."
	WithinUnread  = "Choose how well the time is known."
)
