package web

import "doorleaf/usage"

// BringPage is where card files come in.
type BringPage struct {
	Base
	Sites   int // sites in the network
	Limits  []string
	Bounds  BringBounds
	Fault   string // why the last upload was not taken; "" for none
	Try     string
	Skipped []Skipped
}

// Template implements Page.
func (BringPage) Template() string { return "bring" }

// Skipped is an uploaded file that was left out.
type Skipped struct {
	Path    string
	Why     string
	Refused bool // it was to be a card and cannot be one
}

// TrayPage shows what was read from cards that are not kept yet.
type TrayPage struct {
	Base
	Tray    string // its name
	Sites   []Site
	Cards   []TrayCard
	Skipped []Skipped
	Faults  FieldFaults
}

// Template implements Page.
func (TrayPage) Template() string { return "tray" }

// TrayCard is one card on the tray.
type TrayCard struct {
	Key        string // suffix of its form fields
	Number     int    // its place on the tray, 1 first
	Name       string
	Folder     string
	Size       int64
	Problem    string // why it cannot be kept at all; "" when it can
	Keep       bool   // the box is ticked
	Lines      int
	Rows       int
	Headers    int
	Blanks     int
	Untimed    int
	NoSeconds  int
	Complaints []Complaint // the first few
	AllFaults  int         // number of complaints
	First      *int64      // wall seconds
	Last       *int64
	Reads      []string // how the file is written, in words
	Evidence   []string
	AskOrder   bool   // the date order must be told
	Order      string // the date order as told, "" for none
	OrderWhy   string // where Order comes from
	Dates      []DateReading
	Site       string // code of the suggested or chosen site; "" for none
	Why        string // why that site
	Held       string // question to answer before it may be kept; ""
	Sure       bool   // the question was answered
	Twin       string // card before it on the tray that has the same bytes; ""
	Already    string // code of the site that keeps the same bytes; ""
	Removed    string // true time of removal as typed
}

// DateReading is what the first and last dates of a card would be in one date
// order.
type DateReading struct {
	Order string // "dmy", "mdy", "ymd"
	Says  string
}

// Complaint is a line that could not be read.
type Complaint struct {
	Line   int
	Reason string
	Raw    string
}

// ReceiptPage says what became of each card of a tray.
type ReceiptPage struct {
	Base
	Tray     string
	Receipts []Receipt
	Left     int // cards that still lie on the tray
}

// Template implements Page.
func (ReceiptPage) Template() string { return "receipt" }

// Outcome says what became of a card.
type Outcome string

// The outcomes of a card.
const (
	Kept    Outcome = "kept"
	Already Outcome = "already"
	Refused Outcome = "refused"
	Left    Outcome = "left" // the coordinator did not want it
)

// Receipt is what became of one card.
type Receipt struct {
	Number       int // its place on the tray, 1 first
	Name, Folder string
	Outcome      Outcome
	CardID       string // "" where it is not kept
	Site         Site
	Rows         int
	Complaints   int
	New          int64  // openings that the site gained by all its cards of this tray
	With         int    // cards that brought New together
	Why, Try     string // of a refusal
}

// CardsPage lists the cards of a site.
type CardsPage struct {
	Base
	Site
	Cards []CardRow
}

// Template implements Page.
func (CardsPage) Template() string { return "cards" }

// CardRow is what the store knows of a kept card.
type CardRow struct {
	ID         string
	Name       string
	Size       int64
	Rows       int
	Lines      int
	Complaints int
	First      *int64 // wall seconds
	Last       *int64
	ImportedAt int64 // Unix s
	RemovedAt  *int64
	DateOrder  string
}

// CardPage shows the lines of one kept card.
type CardPage struct {
	Base
	Site
	Card     CardRow
	Reads    []string
	Evidence []string
	Lines    []CardLine
	From     int // first and last line shown, 1-based
	To       int
	Pages    []Link // to the other pages of lines
	Faults   []CardFault
	MoreBad  int    // complaints left out of Faults
	Removed  string // true time of removal as typed, local
	Form     FieldFaults
}

// Template implements Page.
func (CardPage) Template() string { return "card" }

// CardLine is one line of a card.
type CardLine struct {
	Line      int
	Raw       string
	What      string // "row", "header", "blank", "complaint"
	Reason    string // of a complaint or a doubtful row
	Open      string // open time in words; "" when the line is no row
	Shortened bool   // Raw is not the whole line
}

// CardFault links to a line that could not be read.
type CardFault struct {
	Line   int
	Reason string
	Href   string
}

// WithdrawPage asks before a card is withdrawn.
type WithdrawPage struct {
	Base
	Site
	Card CardRow
}

// Template implements Page.
func (WithdrawPage) Template() string { return "withdraw" }

// OpeningsPage lists openings of a site.
type OpeningsPage struct {
	Base
	Site
	From, To string // dates as asked, "" open-ended
	Openings []Opening
	Next     string // address of the next page, ""
	Faults   FieldFaults
}

// Template implements Page.
func (OpeningsPage) Template() string { return "openings" }

// Opening is one opening in a list.
type Opening struct {
	usage.Opening
	Raw  string
	Href string // of its line on its card
	Page string // of the opening itself
}
