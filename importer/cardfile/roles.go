package cardfile

import (
	"slices"
	"sort"
	"strings"
)

// assign gives every column its role.
func assign(columns []column, l *layout) []role {
	roles := make([]role, len(columns))
	for i := range columns {
		switch columns[i].shape() {
		case shapeWeekday:
			takeFirst(roles, i, roleWeekday)
		case shapeDate:
			takeFirst(roles, i, roleDate)
		case shapeStamp:
			takeFirst(roles, i, roleStamp)
		case shapeMarker:
			takeFirst(roles, i, roleMarker)
		case shapeEvent:
			takeFirst(roles, i, roleEvent)
		}
	}
	assignTimes(columns, roles, l)
	assignBareTime(columns, roles, l)
	assignNumbers(columns, roles, l)
	for i, r := range roles {
		if r != roleTime && r != roleStamp {
			continue
		}
		l.seconds = columns[i].mostly(columns[i].secs)
		l.padded = columns[i].unpadded == 0
		l.hours12 = columns[i].mostly(columns[i].marked) || holds(roles, roleMarker)
		if l.bare && r == roleTime {
			l.seconds, l.padded = true, false
		}
	}
	return roles
}

func takeFirst(roles []role, i int, r role) {
	if !holds(roles, r) {
		roles[i] = r
	}
}

func holds(roles []role, r role) bool { return slices.Contains(roles, r) }

// assignTimes tells the time of day from an open duration written with colons
// and from a closing time. The time of day is the first column of times,
// unless it has no seconds and a later one has; without a date there is none.
func assignTimes(columns []column, roles []role, l *layout) {
	var times []int
	for i := range columns {
		if columns[i].shape() == shapeTime {
			times = append(times, i)
		}
	}
	if !holds(roles, roleStamp) && holds(roles, roleDate) && len(times) > 0 {
		sort.SliceStable(times, func(a, b int) bool {
			return columns[times[a]].mostly(columns[times[a]].secs) && !columns[times[b]].mostly(columns[times[b]].secs)
		})
		roles[times[0]] = roleTime
		times = times[1:]
	}
	for _, i := range times {
		if columns[i].mostly(columns[i].secs) && headOf(columns[i].head) != roleSeconds {
			takeFirst(roles, i, roleClosed)
		} else {
			takeFirst(roles, i, roleSeconds)
		}
	}
}

// assignBareTime finds a time written without colons beside a date: six digits,
// or three groups with full stops.
func assignBareTime(columns []column, roles []role, l *layout) {
	if !holds(roles, roleDate) || holds(roles, roleTime) {
		return
	}
	for i := range columns {
		c := &columns[i]
		if roles[i] == roleOther && (c.shape() == shapeNumber && c.mostly(c.six) || c.shape() == shapeDate && c.mostly(c.clocks)) {
			roles[i], l.bare = roleTime, true
			return
		}
	}
}

// headWords are words in a column's name that tell its role. Order matters.
// Common practice, no source.
var headWords = []struct {
	role  role
	words []string
}{
	{roleWeekday, []string{"weekday", "dow", "wday", "wochentag", "jour", "giorno", "dia"}},
	{roleSeconds, []string{"sec", "dur", "open", "sek", "offen", "ouvert", "abiert", "apert", "seg", "held", "length"}},
	{roleUnix, []string{"unix", "epoch"}},
	{roleCounter, []string{"count", "no", "nr", "id", "index", "num", "#"}},
	{roleWeekday, []string{"day", "tag", "wd"}},
}

func headOf(name string) role {
	if name == "s" {
		return roleSeconds
	}
	for _, h := range headWords {
		for _, w := range h.words {
			if strings.HasPrefix(name, w) || len(w) > 3 && strings.Contains(name, w) {
				return h.role
			}
		}
	}
	return roleOther
}

// assignNumbers tells weekday numbers, counters, Unix time, 0/1 events and open
// seconds apart: by the header, by what the numbers can be, by where they stand.
func assignNumbers(columns []column, roles []role, l *layout) {
	stamped := -1 // last column of the stamp
	for i, r := range roles {
		if r == roleTime || r == roleStamp || r == roleDate {
			stamped = max(stamped, i)
		}
	}
	var left []int
	for i := range columns {
		c := &columns[i]
		if c.shape() != shapeNumber || roles[i] != roleOther {
			continue
		}
		switch {
		case stamped < 0 && c.mostly(c.unix+c.millis):
			takeFirst(roles, i, roleUnix)
			l.millis = c.millis > c.unix
			stamped = i
		case headOf(c.head) == roleCounter || c.neighbour >= 5 && c.steps*10 >= c.neighbour*9:
			roles[i] = roleCounter
		default:
			left = append(left, i)
		}
	}
	assignLeft(columns, roles, left, stamped, l)
}

func assignLeft(columns []column, roles []role, left []int, stamped int, l *layout) {
	seconds := -1
	for _, i := range left {
		if headOf(columns[i].head) == roleSeconds {
			seconds = i
			break
		}
	}
	for _, i := range left {
		c := &columns[i]
		weekday := headOf(c.head) == roleWeekday || i < stamped || holds(roles, roleSeconds) || i != seconds && larger(columns, left, i)
		if i != seconds && !holds(roles, roleWeekday) && c.small*20 >= (c.numbers-c.faults)*19 && c.small > 0 && weekday {
			roles[i], l.numbered = roleWeekday, true
		}
	}
	for _, i := range left {
		if seconds < 0 && roles[i] == roleOther && i > stamped {
			seconds = i
		}
	}
	for _, i := range left {
		if seconds < 0 && roles[i] == roleOther {
			seconds = i
		}
	}
	if seconds < 0 || holds(roles, roleSeconds) {
		return
	}
	c := &columns[seconds]
	if c.bits == c.numbers && c.numbers >= 6 && c.flips*10 >= c.numbers*8 && !holds(roles, roleEvent) && headOf(c.head) != roleSeconds {
		roles[seconds], l.binary = roleEvent, true
		return
	}
	roles[seconds] = roleSeconds
}

// lateWeekday tells a weekday number that stands alone behind the stamp from
// open seconds: it stays the same all day and changes with the date.
func (l *layout) lateWeekday(data []sampleLine, columns []column) {
	i := slices.Index(l.roles, roleSeconds)
	dated := max(slices.Index(l.roles, roleDate), slices.Index(l.roles, roleStamp))
	if i < 0 || dated < 0 || holds(l.roles, roleWeekday) {
		return
	}
	if c := &columns[i]; c.small < c.numbers-c.faults || c.small == 0 || headOf(c.head) == roleSeconds || c.mostly(c.seen[shapeTime]) {
		return
	}
	if followsDate(data, l.delim, i, dated) {
		l.roles[i], l.numbered = roleWeekday, true
	}
}

// followsDate reports whether column i changes just when the date does.
func followsDate(data []sampleLine, delim byte, i, dated int) bool {
	var fields [][]byte
	var lastDate, lastValue string
	same, sameEqual, other, otherDiffers := 0, 0, 0, 0
	for n, s := range data {
		fields = cut(s.text, delim, fields)
		if len(fields) <= max(i, dated) {
			continue
		}
		date, _, _ := strings.Cut(string(fields[dated]), " ")
		date, _, _ = strings.Cut(date, "T")
		value := string(fields[i])
		switch equal := value == lastValue; {
		case n == 0:
		case date == lastDate:
			same++
			if equal {
				sameEqual++
			}
		default:
			other++
			if !equal {
				otherDiffers++
			}
		}
		lastDate, lastValue = date, value
	}
	return same >= 8 && sameEqual*20 >= same*19 && other >= 3 && otherDiffers*10 >= other*8
}

// larger reports whether another of the columns holds numbers above 7, so that
// it, and not column i, can be the open seconds.
func larger(columns []column, of []int, i int) bool {
	for _, j := range of {
		if j != i && columns[j].small < columns[j].numbers-columns[j].faults {
			return true
		}
	}
	return false
}
