package forge

// Trouble is something that goes wrong at a site, other than with its clock,
// which has events of its own.
type Trouble struct {
	Kind  string `json:"kind"`
	At    int64  `json:"at"`    // true instant, Unix seconds; it takes effect from then on
	Count int    `json:"count"` // see the kinds
}

// The kinds of trouble.
const (
	TroubleFF      = "0xff"      // the clock chip does not answer for Count openings: every register reads 0xFF
	TroubleFFDate  = "0xff date" // the bus drops in the middle of Count reads: time good, weekday and date 0xFF
	TroubleFFHour  = "0xff hour" // as 0xff, the hour masked to six bits: 45
	TroubleCentury = "century"   // the century bit is left in the month for Count openings: month + 80
	TroubleTwelve  = "12-hour"   // 12-hour and PM bits are left in the hour for Count openings, the century is off
	TroubleYear    = "year bit"  // one bit of the year is read wrong, for Count openings
	TroubleStuck   = "stuck"     // reads fail for Count openings: the row before is written again, with its stamp
	TroubleTorn    = "torn"      // power is cut while a row is written, for Count openings; the next write goes on there
	TroubleLost    = "lost"      // the seconds of Count openings are lost
	TroubleOutage  = "outage"    // the batteries are dead for Count days: nothing is recorded
	TroubleNUL     = "nul"       // the next card to be taken out ends in Count NUL bytes, allocated and never written
	TroubleAway    = "away"      // the next card to be taken out stays away for Count days, the logger without one
	TroubleAjar    = "ajar"      // the next visitor leaves the door ajar; Count is not used
)

// ReadFault says in what a reading of the clock chip failed.
type ReadFault uint8

// The faults of a reading.
const (
	ReadWell    ReadFault = iota
	ReadFF                // every register 0xFF
	ReadFFDate            // weekday and date 0xFF
	ReadFFHour            // every register 0xFF, the hour masked
	ReadCentury           // month + 80
	ReadTwelve            // hour with its mode bits, year of the last century
	ReadYear              // a year that is wrong by one bit: a valid date
	ReadStuck             // the reading of the row before
)

var readFaults = map[string]ReadFault{
	TroubleFF: ReadFF, TroubleFFDate: ReadFFDate, TroubleFFHour: ReadFFHour, TroubleCentury: ReadCentury,
	TroubleTwelve: ReadTwelve, TroubleYear: ReadYear, TroubleStuck: ReadStuck,
}

// faultNames name the faults as the truth tells them: as their troubles.
var faultNames = func() map[ReadFault]string {
	names := map[ReadFault]string{}
	for name, f := range readFaults {
		names[f] = name
	}
	return names
}()

// ofKind returns the troubles of a kind, in their order.
func ofKind(all []Trouble, kind string) []Trouble {
	var out []Trouble
	for _, t := range all {
		if t.Kind == kind {
			out = append(out, t)
		}
	}
	return out
}

// spells are the troubles of a site that come to its openings, by kind.
type spells map[string][]Trouble

func spellsOf(all []Trouble) spells {
	s := spells{}
	for _, t := range all {
		s[t.Kind] = append(s[t.Kind], t)
	}
	return s
}

// strikes says whether a trouble of the kind, which takes Count openings, takes
// the opening at this instant.
func (s spells) strikes(kind string, at int64) bool {
	list := s[kind]
	if len(list) == 0 || at < list[0].At {
		return false
	}
	if list[0].Count--; list[0].Count <= 0 {
		s[kind] = list[1:]
	}
	return true
}

// lasts says whether a trouble of the kind, which takes Count days, lasts at
// this instant.
func (s spells) lasts(kind string, at int64) bool {
	for len(s[kind]) > 0 && at >= s[kind][0].until() {
		s[kind] = s[kind][1:]
	}
	return len(s[kind]) > 0 && at >= s[kind][0].At
}

// until is the end of a trouble that takes Count days.
func (t Trouble) until() int64 { return t.At + int64(t.Count)*86400 }

// read returns the fault of the reading at an opening.
func (s spells) read(at int64) ReadFault {
	fault := ReadWell
	for _, kind := range []string{TroubleFF, TroubleFFDate, TroubleFFHour, TroubleCentury, TroubleTwelve, TroubleYear, TroubleStuck} {
		if fault == ReadWell && s.strikes(kind, at) {
			fault = readFaults[kind]
		}
	}
	return fault
}

// FaultName returns the kind of trouble that a fault comes of; "" for none.
func FaultName(f ReadFault) string { return faultNames[f] }
