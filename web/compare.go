package web

import (
	"math"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// CompareMost is how many sides one page sets side by side.
const CompareMost = 12

// ComparePage sets sites or seasons side by side.
type ComparePage struct {
	Base
	Lead    []string // the first sentence leads
	Sides   []CompareSide
	Panels  []Panel // hours of the day, a side each, on one scale
	Problem string  // why there is no drawing
	Notes   []Note
	Sites   []Option // to choose from
	Seasons []Option
}

// Template implements Page.
func (ComparePage) Template() string { return "compare" }

// CompareSide is a season of a site among others.
type CompareSide struct {
	Site
	Name    string // what tells it from the other sides
	Href    string // page of the site in the season
	Visits  string // address of the list of its visits
	Figures usage.SeasonFigures
	First   bool            // the side that all others are set against
	Ratio   *usage.Estimate // of its visits a day to those of the first side; nil: nothing to set against each other
	Shared  bool            // Ratio is of the part of the season that both have
	Says    string          // Ratio in words
}

// SideNames names sides by what tells them apart: their sites, their seasons, or
// both. The slices are as long as there are sides.
func SideNames(sites []string, seasons []string) []string {
	names := make([]string, len(sites))
	for i := range names {
		switch {
		case !differ(sites):
			names[i] = capital(seasons[i])
		case !differ(seasons):
			names[i] = sites[i]
		default:
			names[i] = sites[i] + ", " + seasons[i]
		}
	}
	return names
}

func differ(words []string) bool {
	for _, w := range words {
		if w != words[0] {
			return true
		}
	}
	return false
}

// RatioSays says how the visits a day of one side stand against those of another. It
// speaks of more or fewer only where the limits leave out 1.
func RatioSays(w *words.Words, side, first string, ratio *usage.Estimate, shared bool) string {
	switch {
	case ratio == nil:
		return w.Say("%s and %s have nothing recorded to set against each other.", side, first)
	case math.IsNaN(ratio.Value):
		return w.Say("Neither %s nor %s had a visit to set against each other.", side, first)
	}
	limits := w.Limits(w.RoundRatio(ratio))
	say := ratioWords[usage.DirectionOf(ratio)]
	if shared {
		say = ratioSharedWords[usage.DirectionOf(ratio)]
	}
	return w.Say(say, side, first, limits)
}

// How the visits a day of one side stand against those of another: of all days, and
// of the part of the season that both have.
var (
	ratioWords = map[usage.Direction]words.Text{
		usage.Rise:    "%s has more visits a day than %s: %s times as many.",
		usage.Fall:    "%s has fewer visits a day than %s: %s times as many.",
		usage.Unclear: "Whether %s or %s has more visits a day cannot be told: the former may have %s times as many.",
	}
	ratioSharedWords = map[usage.Direction]words.Text{
		usage.Rise:    "%s has more visits a day than %s: %s times as many, on the part of the season that both have.",
		usage.Fall:    "%s has fewer visits a day than %s: %s times as many, on the part of the season that both have.",
		usage.Unclear: "Whether %s or %s has more visits a day cannot be told: the former may have %s times as many, on the part of the season that both have.",
	}
)

// CompareLead is what the page says first: every ratio of few sides, a summary of
// many.
func CompareLead(w *words.Words, sides []CompareSide) []string {
	if len(sides) < 2 {
		return []string{w.Say("Tick two boxes or more, or two seasons of one box, to set them side by side.")}
	}
	if len(sides) == 2 {
		return []string{sides[1].Says}
	}
	return []string{manySays(w, sides[0].Name, sides[1:])}
}

// manySays tells which of several sides have more or fewer visits than the first.
func manySays(w *words.Words, first string, sides []CompareSide) string {
	var more, fewer []string
	for _, s := range sides {
		switch usage.DirectionOf(s.Ratio) {
		case usage.Rise:
			more = append(more, s.Name)
		case usage.Fall:
			fewer = append(fewer, s.Name)
		}
	}
	var says []string
	add := func(names []string, one, many words.Text) {
		if len(names) > 0 {
			says = append(says, w.SayOf(int64(len(names)), one, many, sideList(w, names), first))
		}
	}
	add(more, "%s clearly has more visits a day than %s", "%s clearly have more visits a day than %s")
	add(fewer, "%s clearly has fewer visits a day than %s", "%s clearly have fewer visits a day than %s")
	rest := len(sides) - len(more) - len(fewer)
	switch {
	case rest == len(sides):
		says = append(says, w.Say("None of the other %d clearly has more or fewer visits a day than %s", rest, first))
	case rest > 0:
		says = append(says, w.Say("of %s it cannot be told", words.Count(int64(rest), "other", "others")))
	}
	return strings.Join(says, "; ") + "."
}

// CompareNotes stand beside the sides.
func CompareNotes(w *words.Words, sides []CompareSide) []Note {
	shared, whole := false, false
	for _, s := range sides {
		if !s.First {
			shared, whole = shared || s.Shared, whole || !s.Shared
		}
	}
	notes := []Note{{Term: w.Say("One scale"), Text: w.Say("All drawings share the scale of the tallest, so that a bar twice as high stands for twice the visits.")}}
	if shared {
		notes = append(notes, Note{Term: w.Say("The same dates"), Text: w.Say("A ratio is of the part of the season that both sides have; the other figures of a side are of all its own days, so that the two need not divide to it.")})
	}
	if whole {
		notes = append(notes, Note{Term: w.Say("Unlike seasons"), Text: w.Say("Seasons of different names are set against each other whole: light and weather differ too.")})
	}
	if len(sides) > 2 {
		notes = append(notes, Note{Term: w.Say("Many sides"), Text: w.Say("Each ratio stands for itself at 95 %: among twenty pairs that are alike, one looks different by chance.")})
	}
	return append(notes,
		Note{Term: w.Say("Limits"), Text: w.Say("95 % limits, which allow for good and bad days. Where those of a ratio hold 1, nothing is said of more or fewer.")},
		AboutNote(w, "/about-the-numbers"))
}
