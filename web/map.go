package web

import (
	"fmt"
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
// A box needs a hand where there are open questions, or where its last card was read
// more than handDays days before now (Unix s), or there is none.
func GlanceOf(f usage.SeasonFigures, season usage.Season, questions int, lastCard *int64, now int64) Glance {
	g := Glance{Hand: handWords(questions, lastCard, now)}
	name, before := SeasonWords(season), SeasonWords(season.LastYear())
	switch {
	case f.PerDay == nil:
		g.Says = "Nothing recorded to judge it by."
	case f.Counted == 0 && f.CoveredDays >= GlanceDays:
		g.Use, g.Says = chart.UseQuiet, "Quiet: no visit in "+name+"."
	case f.RatioToLast == nil || math.IsNaN(f.RatioToLast.Value):
		g.Says = "No " + before + " to set " + name + " against."
	default:
		g.Use, g.Says = useOf(f.RatioToLast), againstWords(f.RatioToLast, before)
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

var useWords = map[chart.Use]string{
	chart.UseThrives: "Thrives", chart.UseQuiet: "Quiet", chart.UseSteady: "No clear change", chart.UseUnknown: "Not known",
}

func againstWords(ratio *usage.Estimate, before string) string {
	return fmt.Sprintf("%s: %s times the visits a day of %s.", useWords[useOf(ratio)], words.English.Limits(RoundRatio(ratio)), before)
}

func handWords(questions int, lastCard *int64, now int64) string {
	var why []string
	if questions > 0 {
		why = append(why, Plural(int64(questions), "open question", "open questions"))
	}
	switch {
	case lastCard == nil:
		why = append(why, "no card with a time yet")
	case now-*lastCard > int64(handDays)*86400:
		why = append(why, fmt.Sprintf("no card for %s days", Number((now-*lastCard)/86400)))
	}
	return strings.Join(why, ", ")
}

// Whole says all of a glance in a sentence or two.
func (g Glance) Whole() string {
	if g.Hand == "" {
		return g.Says
	}
	return g.Says + " Needs a hand: " + g.Hand + "."
}

// GlanceLead says of all boxes which thrive, which are quiet and which need a hand.
func GlanceLead(sites []NetworkSite) string {
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
	add := func(names []string, one, many string) {
		if len(names) > 0 {
			says = append(says, namesOf(names)+" "+verb(len(names), one, many)+".")
		}
	}
	add(thrives, "thrives", "thrive")
	add(quiet, "is quiet", "are quiet")
	if len(says) == 0 {
		says = append(says, unjudged(judged))
	}
	if len(hand) == len(sites) && len(hand) > 1 {
		return strings.Join(append(says, "Every box needs a hand."), " ")
	}
	add(hand, "needs a hand", "need a hand")
	return strings.Join(says, " ")
}

func unjudged(judged int) string {
	if judged > 0 {
		return "No box is clearly busier or quieter than a year before."
	}
	return "No box has two years to compare yet."
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// namesMost is how many names a sentence bears.
const namesMost = 3

func namesOf(names []string) string {
	return listOf(names, "other box", "other boxes")
}

// sideList is namesOf of sides that are set side by side.
func sideList(names []string) string { return listOf(names, "other", "others") }

// listOf writes names as a part of a sentence, the rest of them as a number.
func listOf(names []string, one, many string) string {
	shown := make([]string, 0, namesMost+1)
	most := namesMost
	if len(names) == namesMost+1 {
		most++ // a fourth name is no longer than its number
	}
	for _, n := range names[:min(len(names), most)] {
		shown = append(shown, Visible(n))
	}
	if more := len(names) - len(shown); more > 0 {
		shown = append(shown, Plural(int64(more), one, many))
	}
	if n := len(shown); n > 1 {
		return strings.Join(shown[:n-1], ", ") + " and " + shown[n-1]
	}
	return shown[0]
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
func mapKeys() []MapKey {
	return []MapKey{
		{chart.UseThrives, false, "thrives: the limits of its visits a day, against the same season a year before, lie above 1"},
		{chart.UseQuiet, false, "is quiet: they lie below 1, or nobody came"},
		{chart.UseSteady, false, "shows no clear change: they hold 1"},
		{chart.UseUnknown, false, "cannot be judged: one of the two seasons has no recording"},
		{chart.UseUnknown, true, fmt.Sprintf("needs a hand: an open question, or no card for %d days", handDays)},
	}
}

// NetworkMap is the map of the network page with its key.
type NetworkMap struct {
	Panel
	Keys []MapKey
}

// MapOf draws the sites of a page, whose places are given in the same order; nil
// without any.
func MapOf(sites []NetworkSite, places []usage.Point) *NetworkMap {
	if len(sites) == 0 {
		return nil
	}
	spots := make([]chart.Spot, len(sites))
	for i, s := range sites {
		spots[i] = chart.Spot{
			Name: Visible(s.Name), At: places[i], Weekly: s.Weekly, Use: s.Glance.Use, NeedsHand: s.Glance.Hand != "",
			Href: "/sites/" + s.Code, Visits: "/sites/" + s.Code + "/visits", Says: s.Glance.Whole(),
		}
	}
	return &NetworkMap{Panel: Panel{Figure: chart.Map("map", spots)}, Keys: mapKeys()}
}
