package web

import (
	"html/template"
	"math"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

// GlanceDays is how many covered days a season needs for its box to be judged by it.
// Common practice, no source.
const GlanceDays = 28

// handDays is how many days without a card make a box need a hand: as many as put it
// on a round.
var handDays = usage.DefaultRoundRule.CardDays

// Glance is how a box does, at first sight.
type Glance struct {
	Use  chart.Use
	Says string // how its use stands against the year before
	Hand string // why it needs a hand; "" where it does not
}

// GlanceOf judges a box by its latest season against the same one a year before: it
// thrives where the limits of their ratio lie above 1, is quiet where they lie below 1
// or nobody came, and is steady where they hold 1. A box without figures of both
// years has no state. season is that which f is of.
//
// A box needs a hand where there are open questions that ask for one, or where its last
// card was read more than handDays days before now (Unix s), or there is none.
func GlanceOf(w *words.Words, f usage.SeasonFigures, season usage.Season, questions int, lastCard *int64, now int64) Glance {
	g := Glance{Hand: handWords(w, questions, lastCard, now)}
	switch {
	case f.PerDay == nil:
		g.Says = w.Say("Nothing recorded to judge it by.")
	case f.Counted == 0 && f.CoveredDays >= GlanceDays:
		g.Use, g.Says = chart.UseQuiet, w.Say("Quiet: no visit in %s.", season)
	case f.RatioToLast == nil || math.IsNaN(f.RatioToLast.Value):
		g.Says = w.Say("Not compared: nothing was recorded in %s.", season.LastYear())
	default:
		g.Use = useOf(f.RatioToLast)
		g.Says = w.Say(useWords[g.Use], w.Limits(w.RoundRatio(f.RatioToLast)), season.LastYear())
	}
	return g
}

func useOf(ratio *usage.Estimate) chart.Use {
	switch usage.DirectionOf(ratio) {
	case usage.Rise:
		return chart.UseThrives
	case usage.Fall:
		return chart.UseQuiet
	}
	return chart.UseSteady
}

// useWords say how the use of a box stands against a season a year before.
var useWords = map[chart.Use]words.Text{
	chart.UseThrives: "Thrives: %s times the visits a day of %s.",
	chart.UseQuiet:   "Quiet: %s times the visits a day of %s.",
	chart.UseSteady:  "No clear change: %s times the visits a day of %s.",
}

func handWords(w *words.Words, questions int, lastCard *int64, now int64) string {
	var why []string
	if questions > 0 {
		why = append(why, w.Plural(int64(questions), "open question", "open questions"))
	}
	switch {
	case lastCard == nil:
		why = append(why, w.Say("no card with a time yet"))
	case now-*lastCard > int64(handDays)*86400:
		why = append(why, w.Say("no card for %s", words.Count((now-*lastCard)/86400, "day", "days")))
	}
	return strings.Join(why, ", ")
}

// Whole says all of a glance in a sentence or two.
func (g Glance) Whole(w *words.Words) string {
	if g.Hand == "" {
		return g.Says
	}
	return g.Says + " " + w.Say("Needs a hand: %s.", g.Hand)
}

// GlanceLead says of all boxes which thrive, which are quiet and which need a hand.
func GlanceLead(w *words.Words, sites []NetworkSite) string {
	var thrives, quiet, hand []string
	judged := 0
	for _, s := range sites {
		switch s.Glance.Use {
		case chart.UseThrives:
			thrives = append(thrives, s.Name)
		case chart.UseQuiet:
			quiet = append(quiet, s.Name)
		}
		if s.Glance.Use != chart.UseUnknown {
			judged++
		}
		if s.Glance.Hand != "" {
			hand = append(hand, s.Name)
		}
	}
	var says []string
	add := func(names []string, one, many words.Text) {
		if len(names) > 0 {
			says = append(says, w.SayOf(int64(len(names)), one, many, namesOf(w, names)))
		}
	}
	add(thrives, "%s thrives.", "%s thrive.")
	add(quiet, "%s is quiet.", "%s are quiet.")
	if len(says) == 0 {
		says = append(says, unjudged(w, judged))
	}
	if len(hand) == len(sites) && len(hand) > 1 {
		return strings.Join(append(says, w.Say("Every box needs a hand.")), " ")
	}
	add(hand, "%s needs a hand.", "%s need a hand.")
	return strings.Join(says, " ")
}

func unjudged(w *words.Words, judged int) string {
	if judged > 0 {
		return w.Say("No box is clearly busier or quieter than a year before.")
	}
	return w.Say("There is no year before to compare with yet.")
}

// namesMost is how many names a sentence bears.
const namesMost = 3

func namesOf(w *words.Words, names []string) string {
	return listOf(w, names, func(n int64) words.Counted { return words.Count(n, "other box", "other boxes") })
}

// sideList is namesOf of sides that are set side by side.
func sideList(w *words.Words, names []string) string {
	return listOf(w, names, func(n int64) words.Counted { return words.Count(n, "other", "others") })
}

// listOf writes names as a part of a sentence, the rest of them as a number.
func listOf(w *words.Words, names []string, rest func(int64) words.Counted) string {
	shown := make([]string, 0, namesMost+1)
	most := namesMost
	if len(names) == namesMost+1 {
		most++ // a fourth name is no longer than its number
	}
	for _, n := range names[:min(len(names), most)] {
		shown = append(shown, Visible(n))
	}
	if more := len(names) - len(shown); more > 0 {
		shown = append(shown, w.Say("%s", rest(int64(more))))
	}
	return w.List(shown)
}

// MapKey is an entry of the key to a map.
type MapKey struct {
	Use  chart.Use
	Hand bool
	Says string
}

// Symbol is the entry's drawing.
func (k MapKey) Symbol() template.HTML {
	return `<svg class="map keymark" viewBox="0 0 30 30" aria-hidden="true" focusable="false">` +
		template.HTML(chart.Symbol(13, 17, 7, k.Use, k.Hand)) + `</svg>`
}

// mapKeys are the entries of the key, each with its rule.
func mapKeys(w *words.Words) []MapKey {
	return []MapKey{
		{chart.UseThrives, false, w.Say("thrives: the limits of its visits a day, against the same season a year before, lie above 1")},
		{chart.UseQuiet, false, w.Say("is quiet: they lie below 1, or nobody came")},
		{chart.UseSteady, false, w.Say("shows no clear change: they hold 1")},
		{chart.UseUnknown, false, w.Say("cannot be judged: one of the two seasons has no recording")},
		{chart.UseUnknown, true, w.Say("needs a hand: an open question about its clock, its card or its silence, or no card for %d days", handDays)},
	}
}

// NetworkMap is the map of the network page with its key.
type NetworkMap struct {
	Panel
	Keys []MapKey
}

// MapOf draws the sites of a page, whose places are given in the same order; nil
// without any.
func MapOf(w *words.Words, sites []NetworkSite, places []usage.Point) *NetworkMap {
	if len(sites) == 0 {
		return nil
	}
	spots := make([]chart.Spot, len(sites))
	for i, s := range sites {
		spots[i] = chart.Spot{
			Name: Visible(s.Name), At: places[i], Weekly: s.Weekly, Use: s.Glance.Use, NeedsHand: s.Glance.Hand != "",
			Href: "/sites/" + s.Code, Visits: "/sites/" + s.Code + "/visits", Says: s.Glance.Whole(w),
		}
	}
	return &NetworkMap{Panel: Panel{Figure: chart.Map(w, "map", spots)}, Keys: mapKeys(w)}
}
