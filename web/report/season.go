// Package report writes what leaves the house: the season report as PDF, HTML,
// XLSX and CSV. It gets plain values and writes bytes; the same values give the
// same bytes, but for the day on which they were made.
package report

import (
	"cmp"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// Season is all that a season report says.
type Season struct {
	Words     *words.Words // what it is written with; nil for words.English
	Name      string       // as in the address: 2026-summer
	Title     string       // as people say it: summer 2026
	Called    string       // the name of the network; "" where it has none
	Made      usage.Date
	Network   usage.SeasonFigures
	Pattern   usage.Pattern // of all sites together
	Sites     []Site        // by code
	OneSite   bool          // the report is about Sites[0] alone
	Sentence  []string      // the season in five sentences or fewer
	Proposals []Proposal    // what is proposed; empty: nothing is said of it
}

// words are what the report is written with.
func (s Season) words() *words.Words { return cmp.Or(s.Words, words.English) }

// Site is one site in a season report.
type Site struct {
	usage.Site
	Figures  usage.SeasonFigures
	Pattern  usage.Pattern
	Days     []usage.Day     // of the season, ascending
	Coverage []usage.Stretch // of the season, ascending
	Findings []usage.Finding // that touch the season, answered ones too
	Calls    []usage.ServiceCall
	Place    string // in the order of sites, with its uncertainty: "2nd"; "" where it cannot be told
}

// Proposal is something that the report proposes to do.
type Proposal struct {
	Site string // its code; "" for the network
	Says string // a sentence: what to do, and why
}
