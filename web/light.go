package web

import (
	"doorleaf/usage"
	"doorleaf/web/words"
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
func LightRuleWords(w *words.Words, r usage.LightRule) string {
	return w.Say("Yes when surely %s or more visits a week come after dark at midwinter (the low limit), no when surely fewer do (the high limit), and else it cannot be told yet. What is worth it is for you to say, below.", w.Typed(r.VisitsAWeek))
}

// LightMinds are what to bear in mind about the answer.
func LightMinds(w *words.Words, a usage.LightAnswer) []string {
	if a.Midwinter == nil {
		return nil
	}
	if a.FromWinter {
		return []string{w.Say("Midwinter is made of %s weeks of recorded winter and of how much of each hour is dark on %s.", w.OneFigure(a.WinterWeeks), a.Winter)}
	}
	return []string{w.Say("Less than four weeks of winter were recorded: the hours are those of the whole year, and people may come at others in winter. The limits are wider for it. Midwinter is %s.", a.Winter)}
}

// LightRates are the rates that the verdict rests on.
func LightRates(w *words.Words, a usage.LightAnswer) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate, fine string) {
		if e == nil {
			facts = append(facts, Fact{term, w.Say(notKnown), fine})
			return
		}
		r := w.Round(e)
		facts = append(facts, Fact{term, r.Value, w.Say("%s to %s; %s", r.Low, r.High, fine)})
	}
	add(w.Say("After dark a week, lately"), a.Now, w.Say("%s in %s weeks of recording", words.Count(a.NowVisits, "visit", "visits"), w.OneFigure(a.NowWeeks)))
	add(w.Say("After dark a week, at midwinter"), a.Midwinter, w.Say("estimated for %s", a.Winter))
	return facts
}

// LightCostFacts are what the lamp would draw.
func LightCostFacts(w *words.Words, c usage.LightCost) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate) {
		if e != nil {
			r := w.Round(e)
			facts = append(facts, Fact{term, w.Say("%s mAh a week", r.Value), fromTo(w, r.Low, r.High)})
		}
	}
	if c.BurnS > 0 {
		facts = append(facts, Fact{w.Say("Burns an opening"), w.Duration(int32(c.BurnS + 0.5)), w.Say("the door’s mean open time, and what it burns on")})
	}
	add(w.Say("Draws lately"), c.NowMAh)
	add(w.Say("Draws at midwinter"), c.WinterMAh)
	if c.Life != nil {
		facts = append(facts, Fact{w.Say("A pack put in today is empty"), RangeWords(w, *c.Life), w.Say("without the light")},
			Fact{w.Say("With the light"), RangeWords(w, *c.With), ""})
	}
	return facts
}

// LightCostSays says how much earlier the pack must be changed.
func LightCostSays(w *words.Words, c usage.LightCost) string {
	switch {
	case c.Life == nil:
		return w.Say("How much earlier the batteries must be changed can be said once the pack is set.")
	case c.EarlierD == nil:
		return w.Say("How much earlier the batteries must be changed is too far ahead to be said.")
	case *c.EarlierD < 1:
		return w.Say("The batteries would last as long, to the day.")
	}
	return w.Say("The batteries must be changed about %s earlier, if the light burns from the same pack.", words.Count(int64(*c.EarlierD+0.5), "day", "days"))
}

// LampUnread is what is wrong with a number of the form.
func LampUnread(w *words.Words, low, high float64) string {
	return w.Say("Give a number from %s to %s.", w.Typed(low), w.Typed(high))
}
