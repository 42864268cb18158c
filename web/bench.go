package web

import (
	"fmt"
	"strings"
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
	BenchAsk     = "Open the door of a new logger a few times, shut it, and see here what its first card tells; nothing is kept."
	BenchWrong   = "Wrong"
	BenchUnclear = "Not clear yet"
	BenchRight   = "Right"
	BenchNoFile  = "Choose the file that the logger wrote."
)

// BenchCautions stand where a logger lies open on the bench.
var BenchCautions = []string{CautionCard, CautionCoin}

// BenchLead says in one sentence what came of it.
func BenchLead(wrong, unclear int, ready bool) string {
	switch {
	case wrong > 0:
		return Plural(int64(wrong), "thing is", "things are") + " wrong with this logger; mend that before it goes out."
	case !ready:
		return "Nothing is wrong that these few openings show, but they are too few to tell."
	case unclear > 0:
		return "Nothing is wrong with this logger; " + Plural(int64(unclear), "thing is", "things are") + " not clear yet."
	}
	return "This logger is ready to hang: all that was looked at is right."
}

// LinesWords names some lines of a card.
func LinesWords(lines []int32) string {
	if len(lines) == 0 {
		return ""
	}
	var words []string
	for _, n := range lines {
		words = append(words, fmt.Sprint(n))
	}
	if len(words) == 1 {
		return "line " + words[0]
	}
	return "lines " + strings.Join(words, ", ")
}
