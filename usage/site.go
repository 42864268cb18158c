package usage

// ClockKeeping says what a site's logger clock is held to keep; see the
// package importer/clock for what follows from it.
type ClockKeeping string

// The settings of a site's clock.
const (
	ClockFixed ClockKeeping = "fixed" // a fixed offset to UTC within a run; the default
	ClockCivil ClockKeeping = "civil" // follows the civil time of the site, daylight saving included
	ClockUTC   ClockKeeping = "utc"   // UTC
)

// Thresholds are the limits that sort openings into classes and join them into
// visits, in seconds. They are settings of a site.
type Thresholds struct {
	RattleS int32 `json:"rattle_s"` // open for less than this: a rattle
	AjarS   int32 `json:"ajar_s"`   // open for more than this: ajar
	JoinS   int32 `json:"join_s"`   // begins within this after the last close: the same visit
}

// DefaultThresholds are the thresholds of a new site.
// Common practice, no source.
var DefaultThresholds = Thresholds{RattleS: 2, AjarS: 30 * 60, JoinS: 3 * 60}

// The most that thresholds may be, seconds. Common practice, no source: wide enough for
// any real box, narrow enough to catch minutes typed for seconds.
const (
	MaxRattleS = 60
	MaxAjarS   = 24 * 3600
	MaxJoinS   = 3600
)

// Profile says how a site's logger writes rows. An empty field means "infer".
type Profile struct {
	DateOrder string `json:"date_order,omitempty"` // "dmy", "mdy", "ymd"
}

// Site is one book box at one place.
type Site struct {
	Code        string       `json:"code"` // 1 to 8 of A-Z, 0-9; unique in the network
	Name        string       `json:"name"`
	Latitude    float64      `json:"latitude"`  // degrees, north positive
	Longitude   float64      `json:"longitude"` // degrees, east positive
	Zone        string       `json:"time_zone"` // IANA name
	InstalledOn Date         `json:"installed_on"`
	Clock       ClockKeeping `json:"clock"`
	Profile     Profile      `json:"profile"`
	Thresholds  Thresholds   `json:"thresholds"`
}
