package web

import (
	"doorleaf/usage"
	"doorleaf/web/words"
)

// Trial says what other limits would change at a site.
type Trial struct {
	Says string
	Of   string // the stretch that is counted, in words
	Rows []TrialRow
}

// TrialRow is one count as it is kept and as it would be.
type TrialRow struct {
	What       string
	Kept, Then int64
}

// Scripts names the page's scripts.
func (p SiteFormPage) Scripts() []string {
	if p.Code == "" {
		return nil
	}
	return []string{"preview.js"}
}

// What the trial says where it cannot count.
const (
	TrialNone  words.Text = "Nothing is recorded yet that the limits could sort."
	TrialAll   words.Text = "all that is recorded"
	TrialWrong words.Text = "Give the three limits as whole numbers first."
)

// TrialOf sets what is kept beside what would be, of a stretch such as a season, in
// words.
func TrialOf(w *words.Words, of string, kept, then usage.Trial) *Trial {
	t := &Trial{Of: words.Capital(of), Rows: []TrialRow{
		{w.Say("Visits"), kept.Visits, then.Visits},
		{w.Say("Rattles"), kept.Rattles, then.Rattles},
		{w.Say("Left ajar"), kept.Ajar, then.Ajar},
	}}
	switch {
	case kept == then:
		t.Says = w.Say("Nothing would change in %s: %s.", of, words.Count(kept.Visits, "visit", "visits"))
	case kept.Visits == then.Visits:
		t.Says = w.Say("In %s the visits would stay at %s; rattles or doors left ajar would change.", of, w.Number(kept.Visits))
	default:
		t.Says = w.Say("In %s there would be %s instead of %s.", of, words.Count(then.Visits, "visit", "visits"), w.Number(kept.Visits))
	}
	return t
}

// LimitFault says what a field of the limits wants.
func LimitFault(w *words.Words, field string) FieldFault {
	says := ""
	switch field {
	case "join":
		says = w.Say("Give the gap in whole seconds, 0 to %d.", usage.MaxJoinS)
	case "rattle":
		says = w.Say("Give the seconds of a rattle, 0 to %d.", usage.MaxRattleS)
	case "ajar":
		says = w.Say("Give the seconds from which a door is ajar: more than a rattle has, at most %d.", usage.MaxAjarS)
	}
	return FieldFault{Field: field, Says: says}
}
