package web

import (
	"math"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
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
func MetresWords(w *words.Words, m float64) string {
	switch {
	case m < 995:
		return w.Fixed(math.Round(m/10)*10, 0) + " m"
	case m < 99_500:
		return w.Fixed(m/1000, 1) + " km"
	}
	return w.Number(int64(math.Round(m/1000))) + " km"
}

// RoundLead says in one sentence what the round is.
func RoundLead(w *words.Words, stops, all int, metres float64, ahead int32, chosen bool) string {
	within := w.Say("now")
	if ahead > 0 {
		within = w.Say("within %s", words.Count(int64(ahead), "day", "days"))
	}
	boxes, walk := words.Count(int64(all), "box", "boxes"), MetresWords(w, metres)
	switch {
	case all == 0:
		return w.Say("There is no box to walk to yet.")
	case stops == 0 && chosen:
		return w.Say("No box was chosen for this round.")
	case stops == 0:
		return w.Say("No box wants a visit %s.", within)
	case stops == 1 && metres == 0:
		return w.Say("One of %s is on this round.", boxes)
	case chosen:
		return w.Say("%d of %s are on this round; in this order the walk is %s in straight lines.", stops, boxes, walk)
	case stops == 1:
		return w.Say("%d of %s wants a visit %s; in this order the walk is %s in straight lines.", stops, boxes, within, walk)
	}
	return w.Say("%d of %s want a visit %s; in this order the walk is %s in straight lines.", stops, boxes, within, walk)
}

// RoundMinds are what to bear in mind.
func RoundMinds(w *words.Words, stops int, exact, started, back bool) []string {
	minds := []string{w.Say("Distances are straight lines over the ground: paths, fences and rivers are not known.")}
	switch {
	case stops < 2:
	case exact:
		minds = append(minds, w.Say("No other order is shorter."))
	default:
		minds = append(minds, w.Say("With so many boxes the order is a good one, not surely the shortest."))
	}
	if !started && stops > 1 {
		minds = append(minds, w.Say("It starts at whichever box makes it shortest; say where you start, and the way there counts."))
	}
	if back && stops > 0 {
		minds = append(minds, w.Say("The way back is counted."))
	}
	return minds
}

// RoundCautions are those of what is done on a round.
func RoundCautions(w *words.Words, coin bool) []string {
	all := []string{w.Say(CautionCard)}
	if coin {
		all = append(all, w.Say(CautionCoin))
	}
	return all
}

// DueWords writes a reason to go to a box.
func DueWords(w *words.Words, d usage.Due, code string) DueRow {
	row := DueRow{When: dueWhen(w, d), Late: d.Now, Tick: code + ":" + string(d.Kind),
		ID: "done-" + code + "-" + strings.ReplaceAll(string(d.Kind), " ", "-")}
	switch d.Kind {
	case usage.DueCard:
		row.Do, row.Why = w.Say("Read the card"), cardWhy(w, d)
	case usage.DueClock:
		row.Do, row.Why = w.Say("Set the clock"), w.Say("it may be off by %s", offWords(w, d.ErrorS))
	case usage.DueBatteries:
		row.Do, row.Why = w.Say("Change the batteries"), w.Say("they may be empty from then on")
	case usage.DueCoin:
		row.Do, row.Why = w.Say("Change the clock’s coin cell"), w.Say("it may be empty from then on")
	case usage.DueCounter:
		row.Do, row.Why = w.Say("See to the counter"), w.Say("its memory may be worn out from then on")
	case usage.DueShelf:
		row.Do, row.Why = w.Say("Restock the shelf"), w.Say("it is likely to be empty then")
	case usage.DueQuestions:
		row.Do, row.Why, row.When = w.Say("Look into %s", words.Count(int64(d.Count), "open question", "open questions")), "", ""
		row.Tick, row.Link = "", "/sites/"+code+"/questions"
	}
	return row
}

// offWords writes how far a clock may be off, no finer than can be told.
func offWords(w *words.Words, s int32) string {
	if s < 120 {
		return w.Duration(s)
	}
	return w.Duration((s + 30) / 60 * 60)
}

func cardWhy(w *words.Words, d usage.Due) string {
	days := words.Count(int64(d.Days), "day", "days")
	switch {
	case d.Out:
		return w.Say("one came out %s ago and is not brought in yet", days)
	case d.Never:
		return w.Say("none has been read since the box was installed %s ago", days)
	}
	return w.Say("last read %s ago", days)
}

func dueWhen(w *words.Words, d usage.Due) string {
	if d.Now {
		return w.Say("due since %s", d.By)
	}
	return w.Say("due by %s", d.By)
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
	RoundDateUnread words.Text = "Give the date of the round, such as 2026-05-01."
	RoundNothing    words.Text = "Tick what was done at one box at least."
)

// RoundTimeMissing asks for the time at a box.
func RoundTimeMissing(w *words.Words, name string) string {
	return w.Say("%s: give the time, as 14:30. To the half hour will do; choose that above.", name)
}

// AtBox puts the name of a box before what is wrong there.
func AtBox(name, says string) string { return name + ": " + says }

// TrailToRound leads back to the round.
func TrailToRound(w *words.Words) []Link { return []Link{{Href: "/round", Text: w.Say("The round")}} }
