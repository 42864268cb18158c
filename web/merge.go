package web

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
	MergeAsk      = "Take over what another network holds: its bundle is read first, and you see what will change before anything does."
	MergeNone     = "Everything in the bundle is kept here already; there is nothing to take over."
	MergeNoFile   = "Choose the bundle that the other network wrote."
	MergeAnswered = "You have answered:"
	MergeChoose   = "Choose one of the answers."
	MergeNoCode   = "Give a code of one to eight capitals and digits that no box has."
	MergeBigFile  = "The bundle is larger than this page takes."
	MergeTry      = "On the machine itself, “doorleaf merge” takes larger ones."
)

// MergeLead says in one sentence how things stand with a bundle.
func MergeLead(questions, sites int, done bool) string {
	switch {
	case questions > 0:
		return "The two networks contradict each other: " + Plural(int64(questions), "question", "questions") + " only you can answer, and nothing changes before."
	case sites == 0 && !done:
		return MergeNone
	case done:
		return Plural(int64(sites), "box has", "boxes have") + " taken over what the other network held."
	}
	return Plural(int64(sites), "box", "boxes") + " will take over what the other network holds."
}

// MergedWords says what becomes of a site.
func MergedWords(isNew bool, cards, withdrawn, records, facts int, openings int64) string {
	says := Plural(int64(cards), "card", "cards") + " gained"
	if isNew {
		says = "New, with " + Plural(int64(cards), "card", "cards")
	}
	for _, part := range []struct {
		n         int
		one, many string
	}{
		{withdrawn, "card withdrawn", "cards withdrawn"},
		{records, "service call, answer or setting", "service calls, answers and settings"},
		{facts, "fact changed", "facts changed"},
	} {
		if part.n > 0 {
			says += "; " + Plural(int64(part.n), part.one, part.many)
		}
	}
	if openings < 0 {
		return says + "; the logbook loses " + Plural(-openings, "opening", "openings") + "."
	}
	return says + "; the logbook gains " + Plural(openings, "opening", "openings") + "."
}
