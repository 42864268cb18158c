package web

import (
	"doorleaf/web/words"
)

// MakingPage tells how far a report is. It asks for itself again each second, until
// the report comes in its place.
type MakingPage struct {
	Base
	Season    string // in words
	Name      string // as in the address
	Done, All int64  // pictures; All is 0 before they are counted
}

// Template implements Page.
func (MakingPage) Template() string { return "making" }

// Says tells how far it is.
func (p MakingPage) Says(w *words.Words) string {
	if p.All == 0 {
		return w.Say("The figures are being gathered.")
	}
	return w.Say("%d of %d pictures are drawn.", p.Done, p.All)
}
