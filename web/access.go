package web

import "doorleaf/web/words"

// May is how much a page offers. It hides what would be refused; the server
// refuses it whatever a page shows.
type May string

// The zero value offers everything.
const (
	MayAll     May = ""
	MayReport  May = "report"
	MayRead    May = "read"
	MayNothing May = "nothing"
)

// SignInPage asks for a name and a passphrase.
type SignInPage struct {
	Base
	Who    string // as it was typed
	To     string // address to go on to
	Unset  bool   // there is no coordinating passphrase yet
	Remote bool   // other machines reach this server
	Plain  bool   // what is typed crosses the network unencrypted
	Faults FieldFaults
}

// Template implements Page.
func (SignInPage) Template() string { return "signin" }

// AccessPage tells who has a passphrase and who is signed in.
type AccessPage struct {
	Base
	Roles       []RoleState
	ReadingOpen bool
	Local       bool // the server is for the person at the machine
	Zone        string
	Sessions    []SessionRow
}

// Template implements Page.
func (AccessPage) Template() string { return "access" }

// Called is the role's name in words.
func (r RoleState) Called(w *words.Words) string { return RoleWords(w, r.Role) }

var roleWords = map[string]words.Text{"reading": "reading", "reports": "reports", "coordinating": "coordinating"}

// RoleWords names a role.
func RoleWords(w *words.Words, role string) string {
	if text, ok := roleWords[role]; ok {
		return w.Say(text)
	}
	return w.Retell(role)
}

// RoleState is a role and its passphrase.
type RoleState struct {
	Role  string
	SetAt *int64 // Unix s; nil: it has none
}

// Can says what a role may do.
func (r RoleState) Can(w *words.Words) string { return w.Say(roleCan[r.Role]) }

var roleCan = map[string]words.Text{
	"reading":      "look at pages and charts",
	"reports":      "look, and take reports, open data and card files away",
	"coordinating": "do everything",
}

// SessionRow is somebody who is signed in.
type SessionRow struct {
	ID          int64
	Who, Role   string
	Begun, Seen int64 // Unix s
	Mine        bool  // whoever looks at the page
}

// Coordinated reports whether there is a coordinating passphrase.
func (p AccessPage) Coordinated() bool {
	for _, r := range p.Roles {
		if r.Role == "coordinating" {
			return r.SetAt != nil
		}
	}
	return false
}

// What is wrong with the form of sign-in.
const (
	WhoMissing        words.Text = "Give the name that you want to sign with, of at most 80 characters."
	PassphraseMissing words.Text = "Type the passphrase."
	PassphraseWrong   words.Text = "That passphrase opens nothing here. Capitals and spaces count."
	TooManyTries      words.Text = "Too many tries. Wait ten minutes, then try again."
)
