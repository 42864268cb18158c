package web

import (
	"fmt"

	"doorleaf/usage"
)

// LightPage answers whether a light would help at a site.
type LightPage struct {
	Base
	Site
	Lead     string
	Verdict  string // yes, no, cannot tell yet
	Rule     string
	Mind     []string
	Rates    []Fact
	Cost     []Fact
	CostSays string
	Form     LightForm
	Faults   FieldFaults
	Cautions []string
}

// Template implements Page.
func (LightPage) Template() string { return "light" }

// LightForm is what was asked.
type LightForm struct {
	Current, After, Need, Weeks string
	Always                      bool
}

// LightRuleWords shows the rule of the verdict.
func LightRuleWords(r usage.LightRule) string {
	return fmt.Sprintf("Yes when surely %s or more visits a week come after dark at midwinter (the low limit), no when surely fewer do (the high limit), and else it cannot be told yet. What is worth it is for you to say, below.", trimNumber(r.VisitsAWeek))
}

// LightMinds are what to bear in mind about the answer.
func LightMinds(a usage.LightAnswer) []string {
	if a.Midwinter == nil {
		return nil
	}
	if a.FromWinter {
		return []string{fmt.Sprintf("Midwinter is made of %s weeks of recorded winter and of how much of each hour is dark on %s.", OneFigure(a.WinterWeeks), DateWords(a.Winter))}
	}
	return []string{fmt.Sprintf("Less than four weeks of winter were recorded: the hours are those of the whole year, and people may come at others in winter. The limits are wider for it. Midwinter is %s.", DateWords(a.Winter))}
}

// LightRates are the rates that the verdict rests on.
func LightRates(a usage.LightAnswer) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate, fine string) {
		if e == nil {
			facts = append(facts, Fact{term, "not known", fine})
			return
		}
		r := Round(e)
		facts = append(facts, Fact{term, r.Value, fmt.Sprintf("%s to %s%s", r.Low, r.High, fine)})
	}
	add("After dark a week, lately", a.Now, fmt.Sprintf("; %s in %s weeks of recording", Plural(a.NowVisits, "visit", "visits"), OneFigure(a.NowWeeks)))
	add("After dark a week, at midwinter", a.Midwinter, "; estimated for "+DateWords(a.Winter))
	return facts
}

// LightCostFacts are what the lamp would draw.
func LightCostFacts(c usage.LightCost) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate) {
		if e != nil {
			r := Round(e)
			facts = append(facts, Fact{term, r.Value + " mAh a week", r.Low + " to " + r.High})
		}
	}
	if c.BurnS > 0 {
		facts = append(facts, Fact{"Burns an opening", DurationWords(int32(c.BurnS + 0.5)), "the door’s mean open time, and what it burns on"})
	}
	add("Draws lately", c.NowMAh)
	add("Draws at midwinter", c.WinterMAh)
	if c.Life != nil {
		facts = append(facts, Fact{"A pack put in today is empty", RangeWords(*c.Life), "without the light"},
			Fact{"With the light", RangeWords(*c.With), ""})
	}
	return facts
}

// LightCostSays says how much earlier the pack must be changed.
func LightCostSays(c usage.LightCost) string {
	switch {
	case c.Life == nil:
		return "How much earlier the batteries must be changed can be said once the pack is set."
	case c.EarlierD == nil:
		return "How much earlier the batteries must be changed is too far ahead to be said."
	case *c.EarlierD < 1:
		return "The batteries would last as long, to the day."
	}
	return fmt.Sprintf("The batteries must be changed about %s earlier, if the light burns from the same pack.", Plural(int64(*c.EarlierD+0.5), "day", "days"))
}

// LampUnread is what is wrong with a number of the form.
func LampUnread(low, high float64) string {
	return fmt.Sprintf("Give a number from %s to %s.", trimNumber(low), trimNumber(high))
}
