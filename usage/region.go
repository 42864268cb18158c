package usage

import "slices"

// Languages are the codes (ISO 639-1) of the languages that the pages are written in,
// the one in which they are first written first.
var Languages = []string{"en", "de"}

// Region is how a network's pages write: in which language, and dates, times and
// numbers in which way. The JSON and the command line are not touched by it.
type Region struct {
	Language string `json:"language"`  // one of Languages
	Dates    string `json:"dates"`     // "dmy", "mdy" or "ymd"
	Decimal  string `json:"decimal"`   // the decimal mark: "." or ","
	FirstDay int    `json:"first_day"` // of the week: 1 Monday … 7 Sunday (ISO 8601)
	Clock    int    `json:"clock"`     // hours on the face: 12 or 24
}

// DefaultRegion is how a network writes that has not said otherwise: in English, with
// weeks from Monday (ISO 8601) and hours from 0 to 23.
var DefaultRegion = Region{Language: "en", Dates: "dmy", Decimal: ".", FirstDay: 1, Clock: 24}

// Valid reports a fault in the region; nil for none.
func (r Region) Valid() error {
	switch {
	case !slices.Contains(Languages, r.Language):
		return &Fault{Kind: Invalid, What: "the pages are not written in the language " + r.Language, Try: "choose one of those offered"}
	case !slices.Contains([]string{"dmy", "mdy", "ymd"}, r.Dates):
		return &Fault{Kind: Invalid, What: "no order of day, month and year: " + r.Dates, Try: "say dmy, mdy or ymd"}
	case r.Decimal != "." && r.Decimal != ",":
		return &Fault{Kind: Invalid, What: "no decimal mark: " + r.Decimal, Try: "say a full stop or a comma"}
	case r.FirstDay < 1 || r.FirstDay > 7:
		return &Fault{Kind: Invalid, What: "no day of the week to begin with", Try: "say 1 for Monday to 7 for Sunday"}
	case r.Clock != 12 && r.Clock != 24:
		return &Fault{Kind: Invalid, What: "no clock face", Try: "say 12 or 24"}
	}
	return nil
}
