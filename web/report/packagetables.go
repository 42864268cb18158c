package report

import (
	"iter"
	"slices"

	"doorleaf/usage"
)

var toSites = [][2]string{{"site", "sites"}}

var sitesTable = table{
	name: "sites", says: "The book boxes.", key: []string{"code"},
	columns: []column{
		{name: "code", kind: typeText, says: "short code of the site", need: true},
		{name: "name", kind: typeText, says: "name of the site", need: true},
		{name: "latitude", kind: typeNumber, says: "degrees, north positive (WGS 84)", need: true},
		{name: "longitude", kind: typeNumber, says: "degrees, east positive (WGS 84)", need: true},
		{name: "time_zone", kind: typeText, says: "IANA time zone of its civil time", need: true},
		{name: "installed_on", kind: typeDate, says: "civil date of installation", need: true},
		{name: "rattle_s", kind: typeInteger, says: "an opening shorter than this, in seconds, is a rattle", need: true},
		{name: "ajar_s", kind: typeInteger, says: "an opening longer than this, in seconds, is a door left ajar", need: true},
		{name: "join_s", kind: typeInteger, says: "openings that begin within this many seconds of the last close are one visit", need: true},
	},
}

func siteCells(s usage.Site) []cell {
	return []cell{
		s.Code, s.Name, s.Latitude, s.Longitude, s.Zone, s.InstalledOn,
		whole(s.Thresholds.RattleS), whole(s.Thresholds.AjarS), whole(s.Thresholds.JoinS),
	}
}

// timeColumns are the time of an opening or of a visit's first.
var timeColumns = []column{
	{name: "at", kind: typeDatetime, says: "true instant, with the offset of the site's civil time; empty where the time could not be recovered"},
	{name: "error_s", kind: typeInteger, says: "half width of the error of at, seconds"},
	{name: "earliest", kind: typeDatetime, says: "of what has no time: not before; empty where nothing bounds it"},
	{name: "latest", kind: typeDatetime, says: "of what has no time: not after; empty where nothing bounds it"},
}

func timeCells(at clocks, o usage.Opening) []cell {
	if o.Timed {
		return []cell{at.at(o.At), whole(o.ErrorS), nil, nil}
	}
	return []cell{nil, nil, at.known(o.Earliest), at.known(o.Latest)}
}

var openingsTable = table{
	name: "openings", says: "Every opening of a door, in the order in which the logger wrote them.",
	key: []string{"site", "position"}, foreign: toSites,
	columns: slices.Concat(
		[]column{siteColumn, {name: "position", kind: typeInteger, says: "place in the logbook, 0 first", need: true}},
		timeColumns,
		[]column{
			{name: "open_s", kind: typeInteger, says: "seconds that the door stood open"},
			{name: "class", kind: typeText, says: "visitor, service, rattle or ajar", need: true},
			{name: "visit", kind: typeInteger, says: "number of its visit within the site; empty: part of none"},
			{name: "card", kind: typeText, says: "SHA-256 of the card file, hexadecimal", need: true},
			{name: "line", kind: typeInteger, says: "line of the card file, 1 first", need: true},
			{name: "offset", kind: typeInteger, says: "offset of the line in the card file, bytes", need: true},
			{name: "raw", kind: typeText, says: "the line as it stands on the card"},
		}),
}

// knownCount makes a cell of a number that may be usage.Unknown.
func knownCount(n int32) cell {
	if n == usage.Unknown {
		return nil
	}
	return int64(n)
}

func openingCells(site string, at clocks, o Opening) []cell {
	return slices.Concat(
		[]cell{site, o.Position}, timeCells(at, o.Opening),
		[]cell{knownCount(o.OpenS), o.Class.String(), knownCount(o.Visit), o.CardID, whole(o.Line), o.Offset, o.Raw},
	)
}

var visitsTable = table{
	name: "visits", says: "Every visit, in the order in which they begin in the logbook.",
	key: []string{"site", "visit"}, foreign: toSites,
	columns: slices.Concat(
		[]column{siteColumn, {name: "visit", kind: typeInteger, says: "number of the visit within the site, 1 first", need: true}},
		timeColumns,
		[]column{
			{name: "openings", kind: typeInteger, says: "openings that make up the visit", need: true},
			{name: "open_s", kind: typeInteger, says: "seconds that the door stood open, a door left ajar capped", need: true},
			{name: "openings_without_seconds", kind: typeInteger, says: "openings of the visit whose seconds are not known and not in open_s", need: true},
			{name: "light", kind: typeText, says: "at its beginning: daylight, twilight or dark; empty without a time"},
		}),
}

// visit is a visit with its first opening.
type visit struct {
	first    Opening
	openings int
	openS    int64
	unknown  int
	light    usage.Light // where it has a time
}

func visitCells(site string, at clocks, v visit) []cell {
	light := cell(nil)
	if v.first.Timed {
		light = v.light.String()
	}
	return slices.Concat(
		[]cell{site, whole(v.first.Visit)}, timeCells(at, v.first.Opening),
		[]cell{whole(v.openings), v.openS, whole(v.unknown), light},
	)
}

// eachVisit puts the visits together from openings in logbook order and hands them
// over by number. Only the last visit of timed visitor openings may go on, so that
// ajar and untimed visits which begin after it wait until it is over.
func eachVisit(site usage.Site, openings iter.Seq2[Opening, error], do func(visit) error) error {
	sun := usage.NewSun(site.Latitude, site.Longitude)
	var waiting []visit // the first is the one that may go on, where there is one
	for o, err := range openings {
		if err != nil {
			return err
		}
		if o.Visit == usage.Unknown {
			continue
		}
		if len(waiting) > 0 && waiting[0].first.Visit == o.Visit {
			waiting[0].add(o, site.Thresholds)
			continue
		}
		if o.Timed && o.Class == usage.Visitor {
			if err := handOver(waiting, do); err != nil {
				return err
			}
			waiting = waiting[:0]
		}
		v := visit{first: o}
		if o.Timed {
			v.light = sun.Light(o.At)
		}
		v.add(o, site.Thresholds)
		waiting = append(waiting, v)
	}
	return handOver(waiting, do)
}

func handOver(visits []visit, do func(visit) error) error {
	for _, v := range visits {
		if err := do(v); err != nil {
			return err
		}
	}
	return nil
}

func (v *visit) add(o Opening, limits usage.Thresholds) {
	v.openings++
	v.openS += usage.EngagedS(o.Opening, limits)
	if o.OpenS == usage.Unknown {
		v.unknown++
	}
}

var patternsTable = table{
	name: "patterns", says: "Visits of each site by civil hour of the week, of all time.",
	key: []string{"site", "weekday", "hour"}, foreign: toSites,
	columns: append([]column{siteColumn}, patternTable.columns[1:]...),
}

var seasonsTable = table{
	name: "seasons", says: "The figures of each site in each season.",
	key: []string{"season", "site"}, foreign: [][2]string{{"site", "sites"}, {"season", "network_seasons"}},
	columns: append([]column{seasonColumn, siteColumn}, figureColumns...),
}

var networkSeasonsTable = table{
	name: "network_seasons", says: "The figures of the whole network in each season.",
	key: []string{"season"}, columns: append([]column{seasonColumn}, figureColumns...),
}

var seasonColumn = column{name: "season", kind: typeText, says: "name of the season; meteorological, of the site's half of the world", need: true}

var dateHoursTable = table{
	name: "date_hours", says: "Visits in each civil hour of each date, where there are enough of them.",
	key: []string{"site", "date", "hour"}, foreign: toSites,
	columns: []column{
		siteColumn,
		{name: "date", kind: typeDate, says: "civil date at the site", need: true},
		{name: "hour", kind: typeInteger, says: "civil hour of the day, 0 to 23", need: true},
		{name: "visits", kind: typeInteger, says: "visits that begin in the hour", need: true},
	},
}
