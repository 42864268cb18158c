package web

import (
	"fmt"
	"strings"

	"doorleaf/web/words"
)

// BenchPage judges the first card of a new logger.
type BenchPage struct {
	Base
	Lead     string
	Done     bool // a card was judged
	Ready    bool
	Name     string // of the card
	Groups   []BenchGroup
	Form     BenchForm
	Faults   FieldFaults
	Cautions []string
}

// Template implements Page.
func (BenchPage) Template() string { return "bench" }

// BenchGroup are the checks that came to one verdict.
type BenchGroup struct {
	Title  string
	Brick  bool
	Checks []BenchCheck
}

// BenchCheck is one thing that was looked at.
type BenchCheck struct{ Topic, Says, Try, Lines string }

// BenchForm is what was asked.
type BenchForm struct {
	Site, At string
	Sites    []Option
}

// Words of the bench check.
const (
	BenchAsk     words.Text = "Open the door of a new logger a few times, shut it, and see here what its first card tells; nothing is kept."
	BenchWrong   words.Text = "Wrong"
	BenchUnclear words.Text = "Not clear yet"
	BenchRight   words.Text = "Right"
	BenchNoFile  words.Text = "Choose the file that the logger wrote."
)

// BenchCautions stand where a logger lies open on the bench.
func BenchCautions(w *words.Words) []string { return []string{w.Say(CautionCard), w.Say(CautionCoin)} }

// BenchLead says in one sentence what came of it.
func BenchLead(w *words.Words, wrong, unclear int, ready bool) string {
	switch {
	case wrong > 0:
		return w.Say("%s wrong with this logger; mend that before it goes out.", words.Count(int64(wrong), "thing is", "things are"))
	case !ready:
		return w.Say("Nothing is wrong that these few openings show, but they are too few to tell.")
	case unclear > 0:
		return w.Say("Nothing is wrong with this logger; %s not clear yet.", words.Count(int64(unclear), "thing is", "things are"))
	}
	return w.Say("This logger is ready to hang: all that was looked at is right.")
}

// LinesWords names some lines of a card.
func LinesWords(w *words.Words, lines []int32) string {
	var numbers []string
	for _, n := range lines {
		numbers = append(numbers, fmt.Sprint(n))
	}
	switch len(numbers) {
	case 0:
		return ""
	case 1:
		return w.Say("line %s", numbers[0])
	}
	return w.Say("lines %s", strings.Join(numbers, ", "))
}
