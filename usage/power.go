package usage

// PowerSetting says what feeds a site's logger and what the logger draws. It is kept
// by the store, one a site; a site without one has no power outlook.
type PowerSetting struct {
	Pack    Pack     `json:"pack"`
	Draw    Draw     `json:"draw"`
	Coin    CoinCell `json:"coin"`
	Counter Counter  `json:"counter"`
	// Since is the civil date from which pack and draw hold; battery changes before
	// it teach nothing about them. Nil: they always did.
	Since *Date `json:"since,omitempty"`
}

// Pack is the battery pack of a logger.
type Pack struct {
	Cells        string  `json:"cells,omitempty"` // ID of the preset that the values come from; "" for own values
	CapacityMAh  float64 `json:"capacity_mah"`
	Derating     float64 `json:"derating"`           // share of the capacity that the logger can use, 0 to 1
	SelfPct      float64 `json:"self_discharge_pct"` // % of what is left that is lost in a year
	TolerancePct float64 `json:"tolerance_pct"`      // 95 packs in 100 are within this of the usable capacity, %
}

// Draw is what a logger draws from its pack.
type Draw struct {
	ActiveMA     float64 `json:"active_ma"`     // while the door is open
	StartMAs     float64 `json:"start_mas"`     // mA·s each time it starts: once an opening
	StandbyUA    float64 `json:"standby_ua"`    // all day
	TolerancePct float64 `json:"tolerance_pct"` // how well the three are known together: 95 in 100 within this, %
}

// PowerIn is what a power outlook is made from.
type PowerIn struct {
	Site     Site
	Setting  PowerSetting
	Doors    []DoorDay // ascending; see store.Store.Doors
	Untimed  []Bracket // as in SeasonData
	Coverage []Stretch // as in Derived
	Calls    []ServiceCall
	Now      int64 // Unix s
}

// DoorDay is what one civil date asked of a logger: all openings, those of service
// and rattles too, since each draws current.
type DoorDay struct {
	Date      Date
	Openings  int32
	Unknown   int32 // openings whose seconds are not known; they are in Openings
	OpenS     int64 // seconds that the door stood open in the others, uncapped
	Ajar      int32 // openings in which it was left ajar; they are in Openings
	AjarS     int64 // their seconds; they are in OpenS
	ExposureS int32 // seconds of the date in which the logger was recording
}

// DateRange is a date with its limits; a nil end lies beyond what can be said.
type DateRange struct {
	Likely *Date   `json:"likely"`
	Low    *Date   `json:"low"`
	High   *Date   `json:"high"`
	Level  float64 `json:"level"`
}

// PowerForecast is what can be said of a site's pack.
type PowerForecast struct {
	From    int64     // Unix s of the battery change that it counts from
	Changed bool      // false: no change is kept, and the pack is taken as new on the date of installation
	Usable  float64   // mAh of a new pack, capacity × derating
	Used    *Estimate // mAh drawn since From, self-discharge not counted
	Lost    float64   // mAh lost to self-discharge since then
	LeftPct *Estimate // % of the usable charge that is left now
	Load    PowerLoad // mAh a day, mean of the days from From to now
	Empty   DateRange // when the pack is empty, at the level Confidence
	ActBy   *Date     // the date by which to change it: the early end of Empty; nil where Empty has none
	Due     bool      // ActBy has come
	Learned Learned   // what earlier packs taught
	Past    []PastPack
	Stopped *int64 // Unix s since when an outage is ruled that goes on to the end of coverage; nil: none
}

// PowerLoad is a mean load by what causes it, mAh a day.
type PowerLoad struct {
	Active, Start, Standby float64
}

// Sum returns the whole load, mAh a day.
func (l PowerLoad) Sum() float64 { return l.Active + l.Start + l.Standby }

// Learned says by how much a logger draws more than its profile says: 1 as much.
type Learned struct {
	Ratio  Estimate // of the true draw to the profile's
	Packs  int      // packs that ran empty and were learned from
	Before int      // packs that were changed before they were empty, which teach less
}

// PastPack is a pack that has been changed: what was predicted and what came.
type PastPack struct {
	From, To  int64     // Unix s of the change in and the change out
	Predicted DateRange // as it would have been said at From, of the openings that came after it
	Empty     *int64    // Unix s at which an outage began that lasted until To; nil: it was changed in time
	Used      float64   // mAh that the profile says it gave until Empty, or until To
	Within    bool      // Empty lies within Predicted; meaningless without Empty
}

// PowerOutlook returns what can be said of the pack of a site's logger at in.Now:
// what it has given, when it will be empty, by when to act.
//
// It is nil with a Fault of kind Invalid where the setting makes no sense (a
// capacity of nought and the like); other errors are those of LoadZone.
func PowerOutlook(in PowerIn) (*PowerForecast, error) { return powerOutlook(in) }
