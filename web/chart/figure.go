package chart

import (
	"html/template"

	"doorleaf/usage"
)

// Figure is one chart as a page shows it: a finding, a sentence, the drawing
// at two widths, and the same numbers as a table.
//
// A page shows Drawing() inside its <figure>, Title as the heading or caption,
// Says below it, and Table behind one click.
type Figure struct {
	ID    string // as given by the caller; unique on the page, [a-z0-9-]
	Title string // the finding, ten words at most
	Says  string // one sentence: what is drawn, over how much exposure; the text alternative

	// The drawing for a column of about 720 CSS px, and for a phone's 344.
	// Both scale with their box. Narrow is empty where one drawing serves
	// every width (the sparks).
	Wide, Narrow template.HTML

	Linked bool // the marks of the drawing lead to their visits
	Live   bool // it has a live form: see Want
	Table  Table
}

// Table holds the numbers of a figure, formatted for people.
type Table struct {
	Caption string
	Head    []string
	Rows    [][]string // each as long as Head; the first column heads its row
	Visits  []Visits   // which visits each row counts, in its second column; empty: none
	Links   []string   // where the list of those visits is; empty: for whoever shows the table to fill in
}

// Visits says which visits of a site a number counts: those of a period, a weekday
// and an hour. What is not set lets every visit through.
type Visits struct {
	From, To *usage.Date // civil dates, both included
	Weekday  int         // ISO weekday, 1 = Monday; 0: any
	Hour     *int        // civil hour of the day
}

// visitsFrom are the visits from one date to another, both included.
func visitsFrom(from, to usage.Date) Visits { return Visits{From: &from, To: &to} }

// Drawing returns both drawings, each in a block of its own with an accessible
// name: <div class="fig-wide" role="img" aria-label="…"> and the same with
// fig-narrow. The page's CSS shows one of them; where there is only one, its
// class is fig-only. The role of one with links is group: an image holds none.
func (f Figure) Drawing() template.HTML {
	if f.Narrow == "" {
		return f.box("fig-only", f.Wide)
	}
	return f.box("fig-wide", f.Wide) + f.box("fig-narrow", f.Narrow)
}

func (f Figure) box(class string, svg template.HTML) template.HTML {
	name := template.HTMLEscapeString(f.Title + ". " + f.Says)
	role := "img"
	if f.Linked {
		role = "group"
	}
	return template.HTML(`<div class="`+class+`" role="`+role+`" aria-label="`+name+`">`) + svg + `</div>`
}
