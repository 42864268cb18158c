package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"doorleaf/usage"
)

// RoundPage lists the boxes in the order worth walking.
type RoundPage struct {
	Base
	Lead     string
	Mind     []string
	Planned  string // when, for the printed sheet
	Stops    []RoundStop
	Codes    []string    // of the stops
	Others   []RoundStop // boxes that are not on the round
	Form     RoundForm
	Cautions []string
}

// Template implements Page.
func (RoundPage) Template() string { return "round" }

// RoundStop is one box of a round, in words.
type RoundStop struct {
	Site
	First bool // there is no way to it
	Leg   string
	Dues  []DueRow
	Next  DueRow // of a box where nothing is due yet: what will be first
}

// DueRow is a reason to go to a box, in words.
type DueRow struct {
	Do, Why, When string
	Tick          string // value of its tick box; "" where it cannot be ticked off
	ID            string // of the tick box
	Link          string // where it is done instead
	Late          bool
}

// RoundForm is what was asked.
type RoundForm struct {
	From                  string
	Back                  bool
	Days, ClockMin, Ahead int32
	Sites                 []Option
}

// MetresWords writes a distance.
func MetresWords(m float64) string {
	switch {
	case m < 995:
		return strconv.Itoa(int(math.Round(m/10)*10)) + " m"
	case m < 99_500:
		return strconv.FormatFloat(m/1000, 'f', 1, 64) + " km"
	}
	return Number(int64(math.Round(m/1000))) + " km"
}

// RoundLead says in one sentence what the round is.
func RoundLead(stops, all int, metres float64, ahead int32, chosen bool) string {
	within := "now"
	if ahead > 0 {
		within = "within " + Plural(int64(ahead), "day", "days")
	}
	switch {
	case all == 0:
		return "There is no box to walk to yet."
	case stops == 0 && chosen:
		return "No box was chosen for this round."
	case stops == 0:
		return fmt.Sprintf("No box wants a visit %s.", within)
	case stops == 1 && metres == 0:
		return fmt.Sprintf("One of %s is on this round.", Plural(int64(all), "box", "boxes"))
	}
	verb := "want a visit " + within
	if chosen {
		verb = "are on this round"
	} else if stops == 1 {
		verb = "wants a visit " + within
	}
	return fmt.Sprintf("%d of %s %s; in this order the walk is %s in straight lines.", stops, Plural(int64(all), "box", "boxes"), verb, MetresWords(metres))
}

// RoundMinds are what to bear in mind.
func RoundMinds(stops int, exact, started, back bool) []string {
	minds := []string{"Distances are straight lines over the ground: paths, fences and rivers are not known."}
	switch {
	case stops < 2:
	case exact:
		minds = append(minds, "No other order is shorter.")
	default:
		minds = append(minds, "With so many boxes the order is a good one, not surely the shortest.")
	}
	if !started && stops > 1 {
		minds = append(minds, "It starts at whichever box makes it shortest; say where you start, and the way there counts.")
	}
	if back && stops > 0 {
		minds = append(minds, "The way back is counted.")
	}
	return minds
}

// RoundCautions are those of what is done on a round.
func RoundCautions(coin bool) []string {
	all := []string{CautionCard}
	if coin {
		all = append(all, CautionCoin)
	}
	return all
}

// DueWords writes a reason to go to a box.
func DueWords(d usage.Due, code string) DueRow {
	row := DueRow{When: dueWhen(d), Late: d.Now, Tick: code + ":" + string(d.Kind),
		ID: "done-" + code + "-" + strings.ReplaceAll(string(d.Kind), " ", "-")}
	switch d.Kind {
	case usage.DueCard:
		row.Do, row.Why = "Read the card", cardWhy(d)
	case usage.DueClock:
		row.Do, row.Why = "Set the clock", "it may be off by "+offWords(d.ErrorS)
	case usage.DueBatteries:
		row.Do, row.Why = "Change the batteries", "they may be empty from then on"
	case usage.DueCoin:
		row.Do, row.Why = "Change the clock’s coin cell", "it may be empty from then on"
	case usage.DueCounter:
		row.Do, row.Why = "See to the counter", "its memory may be worn out from then on"
	case usage.DueShelf:
		row.Do, row.Why = "Restock the shelf", "it is likely to be empty then"
	case usage.DueQuestions:
		row.Do, row.Why, row.When = "Look into "+Plural(int64(d.Count), "open question", "open questions"), "", ""
		row.Tick, row.Link = "", "/sites/"+code+"/questions"
	}
	return row
}

// offWords writes how far a clock may be off, no finer than can be told.
func offWords(s int32) string {
	if s < 120 {
		return DurationWords(s)
	}
	return DurationWords((s + 30) / 60 * 60)
}

func cardWhy(d usage.Due) string {
	days := Plural(int64(d.Days), "day", "days")
	switch {
	case d.Out:
		return "one came out " + days + " ago and is not brought in yet"
	case d.Never:
		return "none has been read since the box was installed " + days + " ago"
	}
	return "last read " + days + " ago"
}

func dueWhen(d usage.Due) string {
	if d.Now {
		return "due since " + DateWords(d.By)
	}
	return "due by " + DateWords(d.By)
}

// RoundDonePage takes all that was done on a round.
type RoundDonePage struct {
	Base
	Date    string
	Withins []Within
	Stops   []DoneStop
	Faults  FieldFaults

	Cautions []string
}

// Template implements Page.
func (RoundDonePage) Template() string { return "rounddone" }

// DoneStop is one box on the form after a round, as it was typed. The names of its
// fields end in its code.
type DoneStop struct {
	Site
	Time, BooksIn, BooksNow, Reading, Note string
	Kinds                                  []KindBox
}

// RoundKeptPage says what was kept of a round, and takes it back.
type RoundKeptPage struct {
	Base
	Calls []KeptCall
}

// Template implements Page.
func (RoundKeptPage) Template() string { return "roundkept" }

// KeptCall is a service call of a round.
type KeptCall struct {
	Site
	Ref  string // names it in the form that takes it back
	At   int64
	Did  []string
	Gone bool // withdrawn or changed since
}

// What is wrong with the form of a round.
const (
	RoundDateUnread = "Give the date of the round, such as 2026-05-01."
	RoundNothing    = "Tick what was done at one box at least."
)

// RoundTimeMissing asks for the time at a box.
func RoundTimeMissing(name string) string {
	return name + ": give the time, as 14:30. To the half hour will do; choose that above."
}

// AtBox puts the name of a box before what is wrong there.
func AtBox(name, says string) string { return name + ": " + says }

// TrailToRound leads back to the round.
func TrailToRound() []Link { return []Link{{Href: "/round", Text: "The round"}} }
