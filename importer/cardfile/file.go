package cardfile

// Event says what a row reports.
type Event uint8

// The events of a row.
const (
	Whole Event = iota // a whole opening: when, and for how long
	Open               // the door opened (open/close pair dialects)
	Close              // the door closed
)

// NoZone is Row.ZoneMin of a row whose stamp carries no offset to UTC.
const NoZone = -32768

// Row is one line of a card file that reports an opening or one end of it.
type Row struct {
	Line    int32  // 1-based
	Length  int32  // bytes, without the line end
	Offset  int64  // byte offset of its first byte in the file
	Reading int64  // wall seconds: the clock reading taken as if it were UTC; valid if Timed
	Key     uint64 // hash of the stamp as written, seconds column left out; equal rows have equal keys
	OpenS   int32  // seconds that the door stood open, or usage.Unknown
	ZoneMin int16  // offset to UTC that the stamp itself carries, minutes east, or NoZone
	Weekday uint8  // weekday as written, 1 = Monday or the number as written; 0 = none
	Event   Event
	Timed   bool // false: the digits are no time
	Suspect bool // true: a valid time that its weekday or its digits make doubtful
	Part    Part // of an untimed row: what of its stamp is good
}

// Part holds the fields of a stamp that were good although the whole was not.
// A field that was not good is -1.
type Part struct {
	Year           int16
	Month, Day     int8
	Hour, Min, Sec int8
}

// Complaint is a line that is no row, header or blank.
type Complaint struct {
	Line   int    `json:"line"`
	Offset int64  `json:"offset"`
	Reason string `json:"reason"`
	Raw    string `json:"raw"` // the line as text, shortened to 200 characters; not escaped
}

// Dialect is how a logger writes its rows, as inferred or as told.
type Dialect struct {
	Delimiter    string   `json:"delimiter"` // "tab", "comma", "semicolon", "pipe", "spaces"
	Header       bool     `json:"header"`
	Columns      []string `json:"columns"`       // roles in the order of the columns, see the package comment
	DateOrder    *string  `json:"date_order"`    // "dmy", "mdy", "ymd"; null: the file alone cannot tell
	Hours        int      `json:"hours"`         // 12 or 24
	WeekdayShift int      `json:"weekday_shift"` // weekday as written − true weekday, 0..6
	Evidence     []string `json:"evidence"`
	WeekdayNames bool     `json:"-"` // weekdays are written as names; a shift of these is a mistake
}

// File is a card file as read.
type File struct {
	Encoding   string // "utf-8", "utf-8 bom", "utf-16le", "utf-16be", "windows-1252"
	LineEnd    string // "crlf", "lf", "cr", "mixed", "none"
	Dialect    Dialect
	Lines      int // Rows + Headers + Blanks + Complaints = Lines
	Headers    int
	Blanks     int
	Rows       []Row
	Complaints []Complaint
	// LeadingS is a lone number before the first row: the seconds of the row
	// that ended the card file before this one; usage.Unknown without one.
	LeadingS int32
	// Resolution is the smallest step that the readings show: 1, 60 or 3600 s.
	Resolution int32
	// Pairs is true when openings are written as open and close rows.
	Pairs bool
	// Ragged is true when the last line has no line end: it may go on in a later card.
	Ragged bool
	// Ambiguous is true when rows carry dates whose order the file cannot tell;
	// then no row is Timed until a hint decides.
	Ambiguous bool
}

// Hint overrides what Read would infer. The zero Hint infers everything.
type Hint struct {
	DateOrder string // "dmy", "mdy", "ymd"
}
