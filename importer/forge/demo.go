package forge

import (
	"fmt"
	"math"
	"time"

	"doorleaf/usage"
)

// demoDays is how long the demo network has been running.
const demoDays = 1000

// Demo makes the demo network, a made-up town's boxes in the open sea, over the
// 1,000 days before end; the last cards came home in the week before end. The
// town, its places and everything that happens there are invented.
func Demo(end time.Time, seed uint64) (*Network, error) {
	zone, err := time.LoadLocation(demoZone)
	if err != nil {
		return nil, fmt.Errorf("forge demo: %w", err)
	}
	y, m, d := end.In(zone).Date()
	to := usage.DateOf(y, m, d)
	first := town{start: to - demoDays, zone: zone}
	specs := []SiteSpec{
		first.mill(), first.gate(), first.yard(), first.cross(),
		first.river(), first.lantern(), first.green(), first.quay(),
	}
	return New("Larkenhythe", specs, to, seed)
}

const demoZone = "Europe/Dublin"

// town makes the sites of the demo network.
type town struct {
	start usage.Date
	zone  *time.Location
}

// on returns midday of the date so many days after the start, Unix seconds.
func (t town) on(days int) int64 {
	y, m, d := (t.start + usage.Date(days)).YMD()
	return time.Date(y, m, d, 12, 0, 0, 0, t.zone).Unix()
}

func (t town) site(code, name string, east, north float64, c Character) SiteSpec {
	return SiteSpec{
		Code: code, Name: name, Zone: demoZone, Latitude: degrees(50.61 + north), Longitude: degrees(-8.21 + east),
		InstalledOn: t.start, Character: c,
		Clock: Clock{Keeping: usage.ClockFixed, OffsetS: civilOffset(demoZone, t.start)},
	}
}

// degrees rounds to the four places that a map on paper gives.
func degrees(d float64) float64 { return math.Round(d*1e4) / 1e4 }

// mill: the card is read at the box; in a wet week the clock chip does not answer.
func (t town) mill() SiteSpec {
	s := t.site("MILL", "Mill Lane", 0.004, 0.006, quietLane())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "tab", Columns: []string{ColWeekday, ColDate, ColTime, ColSeconds},
		Language: "en", DateOrder: "mdy", DateSep: "/", LineEnd: "crlf",
	}
	s.Clock.ErrorS, s.Clock.DriftPPM = 12, -19
	s.Rounds = Rounds{Growing, 42}
	s.Troubles = []Trouble{{TroubleFF, t.on(402), 7}}
	return s
}

// gate: the coin cell fails, the clock begins again at 2000 and is set at a round.
func (t town) gate() SiteSpec {
	s := t.site("GATE", "School Gate", 0.009, 0.002, schoolRun())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "comma", Columns: []string{ColDate, ColTime, ColWeekday, ColSeconds}, Header: true,
		Language: "en", Weekday: "full", DateOrder: "dmy", DateSep: "/", YearTwo: true, LineEnd: "crlf",
	}
	s.Clock.ErrorS, s.Clock.DriftPPM = -8, 24
	s.Clock.Events = []ClockEvent{
		{At: t.on(621) + 53217, Kind: ClockReset},
		{At: t.on(640), Kind: ClockSet, OffsetS: civilOffset(demoZone, t.start), ErrorS: 5},
	}
	s.Rounds = Rounds{Cleared, 28}
	return s
}

// yard: firmware that follows the civil time; two cards in rotation.
func (t town) yard() SiteSpec {
	s := t.site("YARD", "Station Yard", -0.006, -0.001, commuter())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "semicolon", Columns: []string{ColWeekday, ColDate, ColTime, ColSeconds}, Header: true,
		Language: "de", Accents: true, Weekday: "2", DateOrder: "dmy", DateSep: ".", LineEnd: "lf", Encoding: "utf-8 bom",
	}
	s.Clock = Clock{Keeping: usage.ClockCivil, ErrorS: 3, DriftPPM: 8}
	s.Rounds = Rounds{Rotation, 35}
	return s
}

// cross: openings as OPEN and CLOSE; one night the door stands ajar.
func (t town) cross() SiteSpec {
	s := t.site("CROSS", "Market Cross", 0.001, 0.001, marketDay())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "comma", Columns: []string{ColEvent, ColDate, ColTime}, Language: "en", Case: "upper",
		DateOrder: "dmy", DateSep: "-", LineEnd: "crlf",
	}
	s.Clock.DriftPPM = -31
	s.Rounds = Rounds{Growing, 49}
	s.Troubles = []Trouble{{TroubleAjar, t.on(515) + 6*3600, 0}}
	return s
}

// river: ISO stamps in UTC, and a summer crowd; for twelve days the batteries
// are dead.
func (t town) river() SiteSpec {
	s := t.site("RIVER", "River Walk", -0.002, 0.011, riverside())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "comma", Columns: []string{ColStamp, ColSeconds}, Header: true, Language: "en",
		Zulu: true, LineEnd: "lf",
	}
	s.Clock = Clock{Keeping: usage.ClockUTC, ErrorS: 1, DriftPPM: 2}
	s.Rounds = Rounds{Cleared, 42}
	s.Troubles = []Trouble{{TroubleOutage, t.on(640), 12}}
	return s
}

// lantern: a 12-hour clock, and visitors by night.
func (t town) lantern() SiteSpec {
	s := t.site("LANTERN", "Lantern Court", 0.007, -0.005, nightOwls())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "pipe", Columns: []string{ColDate, ColTime, ColWeekday, ColSeconds},
		Language: "en", Case: "upper", DateOrder: "mdy", DateSep: "/", DateBare: true,
		TimeBare: "hour", Hours: 12, HalfGap: true, LineEnd: "crlf",
	}
	s.Clock.ErrorS, s.Clock.DriftPPM = 25, 14
	s.Rounds = Rounds{Rotation, 42}
	return s
}

// green: installed a year later; weekdays as numbers from Sunday, seconds as m:ss.
func (t town) green() SiteSpec {
	s := t.site("GREEN", "Lower Green", -0.008, 0.005, lunchBreak())
	s.InstalledOn += 389
	s.Clock.OffsetS = civilOffset(demoZone, s.InstalledOn)
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "spaces", Gap: 2, Columns: []string{ColWeekday, ColDate, ColTime, ColSeconds},
		Language: "en", Weekday: "number", FirstDay: 7, DateOrder: "ymd", DateSep: "-", Clocked: true, LineEnd: "cr",
	}
	s.Clock.DriftPPM = -6
	s.Rounds = Rounds{Growing, 35}
	return s
}

// quay: an accented header; a card stays away for a month, one ends in a
// cluster that was never written, and the clock stands still for some weeks.
func (t town) quay() SiteSpec {
	s := t.site("QUAY", "Old Quay", 0.013, -0.009, allDay())
	s.Dialect = Dialect{
		File: "LOG.TXT", Delimiter: "semicolon", Columns: []string{ColWeekday, ColDate, ColTime, ColSeconds}, Header: true,
		Language: "fr", Accents: true, Case: "lower", DateOrder: "dmy", DateSep: "/", LineEnd: "crlf", Encoding: "windows-1252",
	}
	s.Clock.ErrorS, s.Clock.DriftPPM = -15, -12
	s.Clock.Events = []ClockEvent{
		{At: t.on(712) + 19431, Kind: ClockHalt},
		{At: t.on(730), Kind: ClockSet, OffsetS: civilOffset(demoZone, t.start), ErrorS: -4},
	}
	s.Rounds = Rounds{Cleared, 31}
	s.Troubles = []Trouble{{TroubleAway, t.on(340), 30}, {TroubleNUL, t.on(860), 512}}
	return s
}
