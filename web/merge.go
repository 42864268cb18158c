package web

import (
	"strings"

	"doorleaf/web/words"
)

// MergePage takes over what another network's bundle holds.
type MergePage struct {
	Base
	Lead   string
	Bundle string // the name under which it waits; "" while there is none
	Name   string // of its file
	Done   bool   // it was taken over

	Questions []MergeQuestion
	Sites     []MergedSite // that change, or that have changed
	Faults    FieldFaults
	Most      string // the largest bundle that can be brought here, in words
}

// Template implements Page.
func (MergePage) Template() string { return "merge" }

// MergeQuestion is something that only a person can decide.
type MergeQuestion struct {
	ID      string // of its fields
	Key     string
	Says    string
	Choices []MergeChoice
	Code    string // the free code, as it was typed
}

// MergeChoice is one answer to a question.
type MergeChoice struct {
	Value  string
	Says   string
	Chosen bool
	Coded  bool // it wants a free code beside it
}

// MergedSite says in words what becomes of a site.
type MergedSite struct{ Code, Says string }

// Words of the merge.
const (
	MergeAsk      words.Text = "Take over what another network holds: its bundle is read first, and you see what will change before anything does."
	MergeNone     words.Text = "Everything in the bundle is kept here already; there is nothing to take over."
	MergeNoFile   words.Text = "Choose the bundle that the other network wrote."
	MergeAnswered words.Text = "You have answered:"
	MergeChoose   words.Text = "Choose one of the answers."
	MergeNoCode   words.Text = "Give a code of one to eight capitals and digits that no box has."
	MergeBigFile  words.Text = "The bundle is larger than this page takes."
	MergeTry      words.Text = "On the machine itself, “doorleaf merge” takes larger ones."
)

// MergeLead says in one sentence how things stand with a bundle.
func MergeLead(w *words.Words, questions, sites int, done bool) string {
	switch {
	case questions > 0:
		return w.Say("The two networks contradict each other: %s only you can answer, and nothing changes before.", words.Count(int64(questions), "question", "questions"))
	case sites == 0 && !done:
		return w.Say(MergeNone)
	case done:
		return w.Say("%s taken over what the other network held.", words.Count(int64(sites), "box has", "boxes have"))
	}
	return w.Say("%s will take over what the other network holds.", words.Count(int64(sites), "box", "boxes"))
}

// MergedWords says what becomes of a site.
func MergedWords(w *words.Words, isNew bool, cards, withdrawn, records, facts int, openings int64) string {
	says := []string{w.Say("%s gained", words.Count(int64(cards), "card", "cards"))}
	if isNew {
		says[0] = w.Say("New, with %s", words.Count(int64(cards), "card", "cards"))
	}
	for _, part := range []struct {
		n         int
		one, many words.Text
	}{
		{withdrawn, "card withdrawn", "cards withdrawn"},
		{records, "service call, answer or setting", "service calls, answers and settings"},
		{facts, "fact changed", "facts changed"},
	} {
		if part.n > 0 {
			says = append(says, w.Plural(int64(part.n), part.one, part.many))
		}
	}
	if openings < 0 {
		says = append(says, w.Say("the logbook loses %s", words.Count(-openings, "opening", "openings")))
	} else {
		says = append(says, w.Say("the logbook gains %s", words.Count(openings, "opening", "openings")))
	}
	return strings.Join(says, "; ") + "."
}
