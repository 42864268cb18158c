package server

import (
	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
)

// glance is what is left of a card file once it was read: the cards of a tray are held
// against each other, and all their rows together would fill the memory.
type glance struct {
	cardfile.File // without rows, and of its complaints the first

	rows, untimed, noSeconds, complaints int

	first, last *int64 // readings of the first and last row that have one
	stamps      store.Stamps
}

// glanceOf goes once through a card file, of which it keeps nothing.
func glanceOf(f *cardfile.File) *glance {
	g := &glance{File: *f, rows: len(f.Rows), complaints: len(f.Complaints), stamps: store.StampsOf(f)}
	g.first, g.last = span(f)
	for i := range f.Rows {
		row := &f.Rows[i]
		if !row.Timed {
			g.untimed++
		}
		if row.OpenS == usage.Unknown && row.Event != cardfile.Open {
			g.noSeconds++
		}
	}
	g.Rows = nil
	g.Complaints = append([]cardfile.Complaint(nil), f.Complaints[:min(len(f.Complaints), trayComplaints)]...)
	return g
}

// span returns the readings of the first and last row that have one.
func span(f *cardfile.File) (first, last *int64) {
	for i := range f.Rows {
		if !f.Rows[i].Timed {
			continue
		}
		at := f.Rows[i].Reading // not a pointer into the rows, which would hold them all
		if first == nil {
			first = &at
		}
		last = &at
	}
	return first, last
}
