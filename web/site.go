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
	LastCard            *int64               // Unix s
	Weekly              *usage.Estimate      // visits a week of recording in the chosen season; nil without exposure
	Visits              int64                // in the chosen season
	ExposedS            int64                // in the chosen season
	From, To            *usage.Date          // first and last date with data
	Season              string               // name of the chosen season in words; "" for all time
	Seasons             []Link               // all time first
	SeasonName          string               // of the chosen season, as in addresses
	Figures             *usage.SeasonFigures // of the chosen season; nil for all time
	Lead                []string             // what they say, the first sentence leads
	Remarks             []string             // what stands beside them
	VisitsAt            string               // address of the list of the visits counted
	Panels              []Panel
	Findings            []Finding // without a ruling
	MoreFindings        int       // findings left out of Findings
	Answered            int       // findings that somebody has ruled on
	Calls               int       // service calls
}

// Template implements Page.
func (SitePage) Template() string { return "site" }

// Finding is a finding with where to look.
type Finding struct {
	Says     string
	From, To int64 // Unix s, 0 where unknown
	Lines    []Link
}
