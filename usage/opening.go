package usage

import "fmt"

// Class sorts openings by what they were.
type Class uint8

// The classes of an opening.
const (
	Visitor Class = iota // somebody at the shelf
	Service              // inside a service call, or the card's removal
	Rattle               // open for less than the rattle limit
	Ajar                 // open for longer than the ajar limit: one visit, its seconds capped
)

var classNames = [...]string{"visitor", "service", "rattle", "ajar"}

// String returns the word that screens and JSON use.
func (c Class) String() string {
	if int(c) < len(classNames) {
		return classNames[c]
	}
	return fmt.Sprintf("class %d", uint8(c))
}

// MarshalText writes the word of c.
func (c Class) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// Unknown stands for an unknown number of open seconds and for "no visit".
const Unknown = -1

// Opening is one opening of the door. All instants are Unix seconds (UTC).
type Opening struct {
	At       int64 // true instant of the opening; meaningless when Timed is false
	Earliest int64 // the true instant lies in [Earliest, Latest];
	Latest   int64 // for a timed opening that is At ∓ ErrorS
	ErrorS   int32 // half width of the error of At, s; 0 when untimed
	OpenS    int32 // seconds that the door stood open, or Unknown
	Visit    int32 // 1-based number of its visit within the site, or Unknown
	Run      int32 // index into Logbook.Runs, or Unknown
	Card     int32 // index into Logbook.Cards
	Line     int32 // 1-based line in the card file
	Offset   int64 // byte offset of the line in the card file
	Length   int32 // bytes of the line, without its line end
	Timed    bool  // false: the time could not be recovered
	Removal  bool  // the opening in which the card was taken out
	Class    Class
}

// Anchor ties a reading of a logger's clock to a true instant.
type Anchor struct {
	Reading int64  // wall seconds: the reading taken as if it were UTC
	True    int64  // Unix seconds
	ErrorS  int32  // how well the true instant is known, s
	Kind    string // "clock set", "card out", "service call"
}

// Run is a stretch of the logbook in which the clock ran undisturbed.
type Run struct {
	First, Last  int      // positions of its first and last opening in the logbook
	FirstReading int64    // wall seconds
	LastReading  int64    // wall seconds
	OffsetS      int32    // clock's offset to UTC at its start, s (reading − UTC)
	Zone         bool     // true: the offset follows the site's civil time
	Anchors      []Anchor // none in a run that is taken as it reads
	Why          string   // what began it: "first row", "step back", …
}

// StretchKind says what a stretch of time was to the logger.
type StretchKind string

// The kinds of stretch.
const (
	Recording StretchKind = "recording" // held to have been recording
	Away      StretchKind = "away"      // the card was out of the logger
	Outage    StretchKind = "outage"    // ruled to have been out of order
)

// Stretch is the time [From, To), Unix seconds.
type Stretch struct {
	From, To int64
	Kind     StretchKind
}

// CardRef names a card whose lines a logbook holds.
type CardRef struct {
	ID   string // SHA-256 of its bytes, lower-case hex
	Name string // file name as it came
}

// RowRef names a line of a card.
type RowRef struct {
	Card   int32 // index into Logbook.Cards
	Line   int32 // 1-based
	Offset int64
}

// Finding is something the tool noticed that a person should know.
type Finding struct {
	Key      string // stable under derivation from the same kept things
	Kind     string
	From, To int64  // Unix seconds, 0 where unknown
	Says     string // what was noticed, in plain words
	Changes  string // what it changes in the counts
	Choices  []Choice
	Ruling   *Ruling // the answer, once there is one
	Evidence []RowRef
}

// atDesk are the kinds of findings that nobody has to go to a box for.
var atDesk = map[string]bool{
	KindAjar: true, KindRattle: true, KindChange: true, "missing seconds": true, "weekday register": true, "unread lines": true,
}

// Pressing reports whether a finding may ask for a hand at the box: for its clock, its
// chip, its card or its silence. The others can be answered at a desk.
func (f Finding) Pressing() bool { return !atDesk[f.Kind] }

// Logbook is what the importer makes of a site's kept cards.
type Logbook struct {
	Openings  []Opening // in the order in which the logger wrote them
	Runs      []Run
	Stretches []Stretch // ascending and disjoint
	Cards     []CardRef
	Findings  []Finding
	Calls     []ServiceCall // kept, by time
	Rulings   []Ruling      // kept, oldest first
}

// Beyond stands for an unknown bound of an untimed opening's bracket: later
// than everything.
const Beyond int64 = 1 << 40
