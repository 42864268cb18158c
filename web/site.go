package web

import "doorleaf/usage"

// SitePage shows what is known of one site.
type SitePage struct {
	Base
	Site
	Latitude, Longitude float64
	Installed           usage.Date
	Clock               usage.ClockKeeping
	Thresholds          usage.Thresholds
	Totals              usage.Totals
	Cards               int
	LastCard            *int64          // Unix s
	Weekly              *usage.Estimate // visits a week of recording in the chosen season; nil without exposure
	Visits              int64           // in the chosen season
	ExposedS            int64           // in the chosen season
	From, To            *usage.Date     // first and last date with data
	Season              string          // name of the chosen season in words; "" for all time
	Seasons             []Link          // all time first
	Panels              []Panel
	Findings            []Finding
	MoreFindings        int // findings left out of Findings
}

// Template implements Page.
func (SitePage) Template() string { return "site" }

// Finding is a finding with where to look.
type Finding struct {
	Says     string
	From, To int64 // Unix s, 0 where unknown
	Lines    []Link
}
