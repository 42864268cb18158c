package web

// JournalPage lists who changed what, the latest first.
type JournalPage struct {
	Base
	Zone    string // times of the page are in it
	Earlier bool   // not the first page
	Entries []JournalEntry
	Next    string // address of the page with older ones; ""
}

// Template implements Page.
func (JournalPage) Template() string { return "journal" }

// JournalEntry is one change.
type JournalEntry struct {
	At   int64 // Unix s
	Role string
	Who  string // ""
	Deed string
	Site string // code; ""
	Says string
	Undo string // address of the page on which it can be taken back; ""
}

// By says who made the change.
func (e JournalEntry) By() string {
	if e.Who == "" {
		return capital(e.Role)
	}
	return e.Who
}

// ByRole is the role beside the name; "" where By says it.
func (e JournalEntry) ByRole() string {
	if e.Who == "" {
		return ""
	}
	return e.Role
}
