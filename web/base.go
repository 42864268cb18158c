package web

// Place is a part of the site that the navigation names.
type Place string

// The places of the navigation.
const (
	PlaceNetwork   Place = "network"
	PlaceSeasons   Place = "seasons"
	PlaceQuestions Place = "questions"
	PlaceRound     Place = "round"
	PlaceBring     Place = "bring"
	PlaceNewSite   Place = "new"
)

// Base is what every page has.
type Base struct {
	Here  Place  // the entry of the navigation that the page is; "" for none
	Trail []Link // the pages above this one, outermost first
}

// Scripts are the script files in static/ that the page loads; none, unless a page
// says otherwise. A page must be whole without them.
func (Base) Scripts() []string { return nil }

// Link is an address and its words.
type Link struct {
	Href string
	Text string
	Here bool // the page itself
}

// FieldFault is a form field that cannot be taken as it is.
type FieldFault struct {
	Field string // id of the field
	Says  string // what is wrong and what to do
}

// FieldFaults are the faults of one form.
type FieldFaults []FieldFault

// On returns what is wrong with one field, or "".
func (f FieldFaults) On(field string) string {
	for _, fault := range f {
		if fault.Field == field {
			return fault.Says
		}
	}
	return ""
}

// Note is a remark in the margin beside a figure.
type Note struct {
	Term string // what it is about; may be empty
	Text string
	Link *Link
}

// Site is what the pages of a site say of it at their head.
type Site struct {
	Code string
	Name string
	Zone string // IANA name; times of the page are in it
}

// FaultPage says that something could not be done, and what to try.
type FaultPage struct {
	Base
	Status int
	What   string
	Try    string
	ID     string // of the entry in the log, for an error that nobody foresaw; else ""
}

// Template implements Page.
func (FaultPage) Template() string { return "fault" }
