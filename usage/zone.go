package usage

import (
	"errors"
	"math"
	"sort"
	"sync"
	"time"
)

const (
	daySeconds  = 86400
	hourSeconds = 3600
)

// Zone converts between instants and the civil time of one IANA time zone.
//
// Instants are Unix seconds. "Wall seconds" are what the wall clock shows, taken
// as if it were UTC: 1970-01-01 00:00:00 on the wall is 0 wherever the wall is.
//
// A Zone never changes and may be shared between goroutines. Offsets from 1970
// to 2100 are looked up in a table; other instants go through the time package,
// with the same answers, more slowly.
type Zone struct {
	name  string
	loc   *time.Location
	spans []span // ascending, without holes
}

// span is the time [from, to) in which a zone keeps one offset.
type span struct {
	from, to int64
	offset   int32 // s east of UTC
}

// The instants that the table of a Zone covers at least.
var (
	tableFrom = time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	tableTo   = time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
)

// LoadZone returns the zone of an IANA name such as "Europe/Dublin". The names
// "" and "Local", which the time package would take to mean UTC and the zone of
// the machine, are refused. The error is a Fault of kind Invalid.
//
// The offsets are those of the zone database that the time package finds: the
// system's where it has one, else the one that the program carries. A zone is tabulated
// once, which takes a quarter of a millisecond: a page of a thousand sites asks for it
// some thousand times.
func LoadZone(name string) (*Zone, error) {
	if z, ok := loadedZones.Load(name); ok {
		return z.(*Zone), nil
	}
	err := errors.New("no zone of that name")
	var loc *time.Location
	if name != "" && name != "Local" {
		loc, err = time.LoadLocation(name)
	}
	if err != nil {
		return nil, &Fault{Kind: Invalid, What: "time zone \"" + name + "\" is not known",
			Try: "give a name from the IANA time zone database, such as Europe/Dublin", Err: err}
	}
	z, _ := loadedZones.LoadOrStore(name, &Zone{name: name, loc: loc, spans: spansOf(loc)})
	return z.(*Zone), nil
}

// loadedZones are those loaded, by name: as many as the zone database has at most.
var loadedZones sync.Map

// spansOf tabulates the offsets of loc from tableFrom to tableTo, in spans that are
// as long as the offset stays the same.
func spansOf(loc *time.Location) []span {
	spans := []span{boundsAt(loc, tableFrom)}
	for {
		last := &spans[len(spans)-1]
		if last.to >= tableTo {
			return spans
		}
		next := boundsAt(loc, last.to)
		if next.offset == last.offset {
			last.to = next.to
			continue
		}
		spans = append(spans, next)
	}
}

// boundsAt asks the time package for a span that holds unix and in which the
// offset does not change; it need not be the longest. (The time package cuts at
// New Year, and in Go 1.26 it gives 31 December of a leap year beyond a zone's
// own table an end that has passed; that day then gets a span of its own.)
func boundsAt(loc *time.Location, unix int64) span {
	t := time.Unix(unix, 0).In(loc)
	_, offset := t.Zone()
	s := span{math.MinInt64, math.MaxInt64, int32(offset)}
	start, end := t.ZoneBounds()
	if !start.IsZero() {
		s.from = start.Unix()
	}
	if !end.IsZero() {
		s.to = end.Unix()
	}
	s.from = min(s.from, unix)
	if s.to <= unix {
		date, _ := splitWall(unix)
		s.to = (int64(date) + 1) * daySeconds
	}
	return s
}

// spanAt returns the span that holds unix.
func (z *Zone) spanAt(unix int64) span {
	if unix < z.spans[0].from || unix >= z.spans[len(z.spans)-1].to {
		return boundsAt(z.loc, unix)
	}
	return z.spans[sort.Search(len(z.spans), func(i int) bool { return z.spans[i].to > unix })]
}

// String returns the IANA name of z.
func (z *Zone) String() string { return z.name }

// OffsetAt returns how far civil time is ahead of UTC at an instant, in seconds:
// wall seconds = unix + OffsetAt(unix).
func (z *Zone) OffsetAt(unix int64) int32 { return z.spanAt(unix).offset }

// Civil returns the civil date and the second of the day, 0 to 86399, that the
// wall clock shows at an instant. On a day with a change of offset the second of
// the day is what the clock shows, not the time that has passed since midnight.
func (z *Zone) Civil(unix int64) (Date, int32) {
	return splitWall(unix + int64(z.OffsetAt(unix)))
}

// splitWall splits wall seconds into date and second of the day.
func splitWall(wall int64) (Date, int32) {
	days, second := wall/daySeconds, wall%daySeconds
	if second < 0 {
		days, second = days-1, second+daySeconds
	}
	return Date(days), int32(second)
}

// WallKind says how often the wall clock shows a reading.
type WallKind uint8

// The kinds of wall-clock reading.
const (
	Unique  WallKind = iota // once
	Gap                     // never: the clock jumps over it
	Overlap                 // twice: the clock is set back over it
)

// Resolve returns the instants at which the wall clock shows wall (wall seconds).
//
//   - Unique: first and second are the one instant.
//   - Overlap, the hour that comes twice: first is the earlier instant (by the
//     offset before the change), second the later (by the offset after it).
//   - Gap, the hour that is missing: no instant answers. first is what the offset
//     before the jump makes of the reading, an instant at or after the jump;
//     second is what the offset after the jump makes of it, an instant before the
//     jump. So first > second. A clock that had not been moved forward in time
//     showed wall at first.
//
// The reading at which a gap ends exists, and is unique; the one at which it
// begins does not. In an overlap the reading at its beginning comes twice, the
// one at its end once.
func (z *Zone) Resolve(wall int64) (first, second int64, kind WallKind) {
	first, second, _, kind = z.resolve(wall)
	return first, second, kind
}

// resolve is Resolve; in a gap, jump is the instant at which the clock jumps.
func (z *Zone) resolve(wall int64) (first, second, jump int64, kind WallKind) {
	const reach = 26 * hourSeconds // farther than any zone has been from UTC
	found := 0
	for s := z.spanAt(wall - reach); ; {
		if at := wall - int64(s.offset); s.from <= at && at < s.to {
			if found == 0 {
				first = at
			}
			second = at
			found++
		}
		if s.to > wall+reach {
			break
		}
		next := z.spanAt(s.to)
		before, after := wall-int64(s.offset), wall-int64(next.offset)
		if found == 0 && before >= s.to && after < s.to {
			first, second, jump = before, after, s.to
		}
		s = next
	}
	switch found {
	case 0:
		return first, second, jump, Gap
	case 1:
		return first, second, 0, Unique
	}
	return first, second, 0, Overlap
}

// StartOfDay returns the first instant whose civil date is d. Where midnight does
// not exist, that is the instant of the jump over it; where midnight comes twice,
// the earlier one. A date that the zone left out altogether (Pacific/Apia has no
// 2011-12-30) gets the first instant of the date after it, and so no length.
//
// StartOfDay(d+1) − StartOfDay(d) is the length of d: 86400 s, or 23 or 25 hours
// and the like where the offset changes. In the rare zones that have set clocks
// back over a midnight that had just passed, a date comes in two pieces and that
// difference is only nearly the time that the calendar showed d.
func (z *Zone) StartOfDay(d Date) int64 {
	first, _, jump, kind := z.resolve(int64(d) * daySeconds)
	if kind == Gap {
		return jump
	}
	return first
}

// Cursor is a reader of a Zone that remembers the last offset it met, which makes
// it faster than the Zone when instants come nearly in order. It must not be
// shared between goroutines.
type Cursor struct {
	zone *Zone
	span
}

// Cursor returns a new cursor of z.
func (z *Zone) Cursor() *Cursor { return &Cursor{zone: z} }

// OffsetAt is Zone.OffsetAt.
func (c *Cursor) OffsetAt(unix int64) int32 {
	if unix < c.from || unix >= c.to {
		c.span = c.zone.spanAt(unix)
	}
	return c.offset
}

// Civil is Zone.Civil.
func (c *Cursor) Civil(unix int64) (Date, int32) {
	return splitWall(unix + int64(c.OffsetAt(unix)))
}
