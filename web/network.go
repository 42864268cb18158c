package web

import (
	"html/template"

	"doorleaf/usage"
	"doorleaf/web/chart"
)

// NetworkPage shows all sites side by side.
type NetworkPage struct {
	Base
	Sites    []NetworkSite
	Visits   int64
	ExposedS int64       // recording time of all sites added up
	From     *usage.Date // first date with data in the network; nil without any
	Scale    float64     // visits a week at the right end of every Range; 0 without data
	Glance   string      // which boxes thrive, which are quiet, which need a hand
	Map      *NetworkMap // nil without sites
}

// Template implements Page.
func (NetworkPage) Template() string { return "network" }

// NetworkSite is one site on the network page.
type NetworkSite struct {
	Site
	Weekly   *usage.Estimate // visits a week of recording; nil without exposure
	Range    Range
	Hours    chart.Figure // small profile by hour of the day; no drawing without data
	Visits   int64
	ExposedS int64
	LastCard *int64 // Unix s of the moment its latest card was last read
	Age      string // of LastCard, in words
	Cards    int
	Odd      []string // what open findings say, first ones
	MoreOdd  int      // open findings left out of Odd
	Glance   Glance

	Written template.HTML // the row as it stands on the page, where Set.MadeRow made it
}

// SiteFormPage is the form that adds or changes a site.
type SiteFormPage struct {
	Base
	Code   string // of the site to change; "" for a new one
	Form   SiteForm
	Zones  []string // suggestions
	Faults FieldFaults
	First  bool   // the network has no site yet
	Trial  *Trial // what the form's limits would change; nil for a new site
}

// Template implements Page.
func (SiteFormPage) Template() string { return "siteform" }

// SiteForm holds the fields of a site as they were typed.
type SiteForm struct {
	Code, Name, Latitude, Longitude, Zone, Installed, Clock, DateOrder string

	Join, Rattle, Ajar string // seconds
}
