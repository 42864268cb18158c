package web

import (
	"fmt"

	"doorleaf/usage"
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
	TrialNone  = "Nothing is recorded yet that the limits could sort."
	TrialAll   = "all that is recorded"
	TrialWrong = "Give the three limits as whole numbers first."
)

// TrialOf sets what is kept beside what would be, of a stretch such as a season, in
// words.
func TrialOf(of string, kept, then usage.Trial) *Trial {
	t := &Trial{Of: capital(of), Rows: []TrialRow{
		{"Visits", kept.Visits, then.Visits},
		{"Rattles", kept.Rattles, then.Rattles},
		{"Left ajar", kept.Ajar, then.Ajar},
	}}
	switch {
	case kept == then:
		t.Says = fmt.Sprintf("Nothing would change in %s: %s.", of, Plural(kept.Visits, "visit", "visits"))
	case kept.Visits == then.Visits:
		t.Says = fmt.Sprintf("In %s the visits would stay at %s; rattles or doors left ajar would change.", of, Number(kept.Visits))
	default:
		t.Says = fmt.Sprintf("In %s there would be %s instead of %s.", of, Plural(then.Visits, "visit", "visits"), Number(kept.Visits))
	}
	return t
}

// Faults of the limits in the form of a site.
var limitFaults = map[string]string{
	"join":   fmt.Sprintf("Give the gap in whole seconds, 0 to %d.", usage.MaxJoinS),
	"rattle": fmt.Sprintf("Give the seconds of a rattle, 0 to %d.", usage.MaxRattleS),
	"ajar":   fmt.Sprintf("Give the seconds from which a door is ajar: more than a rattle has, at most %d.", usage.MaxAjarS),
}

// LimitFault says what a field of the limits wants.
func LimitFault(field string) FieldFault { return FieldFault{Field: field, Says: limitFaults[field]} }
