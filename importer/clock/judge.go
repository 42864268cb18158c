package clock

import (
	"fmt"

	"doorleaf/usage"
)

const (
	minute = 60
	hour   = 3600
	day    = 86400
)

// judge decides what each row's reading is good for.
func (k *keeper) judge() {
	for i := range k.Rows {
		r := &k.Rows[i]
		switch {
		case !r.Timed:
		case r.Reading < k.Site.Installed-day:
			k.state[i] = lost
		default:
			k.state[i] = good
		}
	}
	k.dateless()
	k.stands()
	k.bases()
	k.strays()
}

// dateless gives rows whose time is good and whose month was never set (month 0
// of the year 2000, with or without a day) readings that run on: days count
// where they are there, and a smaller time of day is the next day.
func (k *keeper) dateless() {
	days, last := int64(0), int64(-1)
	for i := range k.Rows {
		r := &k.Rows[i]
		if !r.counting() {
			if r.Timed {
				days, last = 0, -1
			}
			continue
		}
		at := int64(max(r.Clock.Day, 0))*day + int64(r.Clock.Hour)*hour + int64(r.Clock.Min)*minute + int64(r.Clock.Sec)
		if r.Clock.Day < 0 && last >= 0 && at+days*day < last {
			days++
		}
		last = at + days*day
		r.Reading = last
		k.state[i] = lost
	}
}

// counting reports whether an untimed row is of a clock that counts on without
// having been set: year 2000, no month, a good time of day.
func (r *Row) counting() bool {
	c := r.Clock
	return !r.Timed && c.Year == 2000 && c.Month < 0 && c.Hour >= 0 && c.Min >= 0 && c.Sec >= 0
}

// manyRepeats is how often a reading that cannot be read anew may be written
// again before the clock is held to have stopped and to have been set since.
const manyRepeats = 60

// stopped tells a clock that stopped over the rows i to j-1 from one that could
// not be read for a while: the reading repeats too often, or the clock shows
// afterwards that less than a third of the time has passed that as many openings
// take at this box.
func (k *keeper) stopped(i, j int) bool {
	if j-i > manyRepeats || j == len(k.Rows) || !k.Rows[j].Timed {
		return true
	}
	first, last := k.Rows[0], k.Rows[len(k.Rows)-1]
	if !first.Timed || !last.Timed || last.Reading <= first.Reading {
		return k.Rows[j].Reading-k.Rows[i].Reading < hour
	}
	each := (last.Reading - first.Reading) / int64(len(k.Rows))
	return 3*(k.Rows[j].Reading-k.Rows[i].Reading) < int64(j-i)*each
}

// standing is how many equal readings in a row mean that the clock stands
// still, by the resolution of the readings. Two people in one second are
// unlikely, three impossible; in an hour there may be many.
func standing(resolution int64) int {
	switch {
	case resolution >= hour:
		return 60
	case resolution >= minute:
		return 6
	}
	return 3
}

// stands takes the time from rows of a clock that stands still. The first row
// that shows a reading may be right, unless it is the first of the logbook.
func (k *keeper) stands() {
	for i := 0; i < len(k.Rows); {
		j := i + 1
		for j < len(k.Rows) && k.state[i] != none && k.state[j] != none && k.Rows[j].Reading == k.Rows[i].Reading {
			j++
		}
		if j-i >= standing(k.Site.Resolution) {
			from := i + 1
			if i == 0 || k.state[i] == lost {
				from = i
			}
			k.still(i, j)
			k.stood[k.Rows[i].Reading] = true
			k.woke[j] = k.stopped(i, j)
			for n := from; n < j; n++ {
				k.state[n] = none
			}
		}
		i = j
	}
}

func (k *keeper) still(from, to int) {
	k.notice(Notice{
		Kind: "clock stopped", Rows: upTo(from, to, 20), Stint: -1,
		Says:    fmt.Sprintf("the clock stood still for %d openings, or the same reading was written again", to-from),
		Changes: "They are counted, but in no hour or day.",
	})
}

// upTo lists the numbers from a to b-1, at most n.
func upTo(a, b, n int) []int {
	var out []int
	for i := a; i < b && len(out) < n; i++ {
		out = append(out, i)
	}
	return out
}

// mostStrays is how many rows beside each other may be misread before they are
// held for a clock that was set twice.
const mostStrays = 3

// strays takes the time from rows that jump away while the rows around them run
// on: a misread digit and not a clock that was set.
func (k *keeper) strays() {
	end := k.ends()
	var kept []int // rows with a date that stand so far
	var found []int
	for i := range k.Rows {
		if k.state[i] != good && !k.old(i) {
			continue
		}
		n := 0
		if k.state[i] == good {
			n = k.straysBefore(kept, i)
		}
		if n == 1 && k.setBack([3]int{kept[len(kept)-2], kept[len(kept)-1], i}, end) {
			n = 0
		}
		for _, s := range kept[len(kept)-n:] {
			k.state[s] = none
			found = append(found, s)
		}
		kept = append(kept[:len(kept)-n], i)
	}
	if len(found) > 0 {
		k.notice(Notice{
			Kind: "bad rows", Rows: found[:min(len(found), 20)], Stint: -1,
			Says:    fmt.Sprintf("%s out of the order of the rows around: a digit was misread", plural(len(found), "reading falls", "readings fall")),
			Changes: "They are counted between their neighbours, and in no hour unless these are close.",
		})
	}
}

// ends marks the rows with which a card's stay in the logger ended: somebody was
// at the box.
func (k *keeper) ends() map[int]bool {
	out := make(map[int]bool, len(k.Stints))
	for _, st := range k.Stints {
		out[st.Last] = true
	}
	return out
}

// setBack reports whether the clock was set back at the end of a stay between two
// of these rows, which follow each other, by as much as people set clocks back:
// to winter time, or to another zone. Then none of them is misread.
func (k *keeper) setBack(rows [3]int, end map[int]bool) bool {
	for j := 0; j+1 < len(rows); j++ {
		back := k.base[rows[j]] - k.base[rows[j+1]]
		if end[rows[j]] && back > 0 && back <= day {
			return true
		}
	}
	return false
}

// old reports whether a row shows a date from before the site was installed that
// is not a chip's power-on default: a misread year, perhaps.
func (k *keeper) old(i int) bool {
	return k.state[i] == lost && k.Rows[i].Timed && k.Rows[i].Reading >= defaultYear
}

// defaultYear is where the year ends with which clock chips begin: 2000-01-01 is
// the DS1307's date at power-on (Maxim, DS1307 data sheet, Clock and Calendar).
const defaultYear = 978307200 // 2001-01-01T00:00:00

// straysBefore returns how many of the last rows kept are misread, now that
// row i comes: it runs on from the row before them and not from them.
func (k *keeper) straysBefore(kept []int, i int) int {
	at := k.base[i]
	for n := 1; n <= mostStrays && n < len(kept); n++ {
		before := k.base[kept[len(kept)-n-1]]
		if at < before || at-before > 30*day {
			continue
		}
		away := true
		for _, s := range kept[len(kept)-n:] {
			x := k.base[s]
			far := min(abs(x-before), abs(x-at))
			outside := x < before || x > at
			away = away && outside && (far > day || n == 1 && far > 10*minute || k.Rows[s].Suspect && far > minute)
		}
		if away {
			return n
		}
	}
	return 0
}

func abs(v int64) int64 { return max(v, -v) }

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// bases gives every row its base: what its reading is worth as an instant if
// the clock is exact. On a fixed clock the base is the reading itself, and the
// offset to UTC stays in what anchors find.
func (k *keeper) bases() {
	last := int64(-1 << 62)
	for i := range k.Rows {
		r := &k.Rows[i]
		k.base[i] = r.Reading
		if k.state[i] != good || r.UTC || k.Site.Keeping != usage.ClockCivil {
			continue
		}
		first, second, kind := k.Site.Zone.Resolve(r.Reading)
		if k.base[i] = first; kind == usage.Overlap && last > first && last <= second+10*minute {
			k.base[i] = second
		}
		if kind == usage.Overlap && k.base[i] == first && !k.goesBack(i, second-first) {
			k.twice[i] = int32(second - first)
		}
		last = k.base[i]
	}
}

// goesBack reports whether a row after i, within the time that comes twice, reads
// less than it: then i was in the first of the two.
func (k *keeper) goesBack(i int, span int64) bool {
	for j := i + 1; j < len(k.Rows); j++ {
		if k.state[j] != good {
			continue
		}
		if k.Rows[j].Reading < k.Rows[i].Reading {
			return k.Rows[i].Reading-k.Rows[j].Reading <= span
		}
		if k.Rows[j].Reading-k.Rows[i].Reading > span {
			return false
		}
	}
	return false
}

// baseOf is the base of a reading that stands on no card.
func (k *keeper) baseOf(reading int64) int64 {
	if k.Site.Keeping != usage.ClockCivil {
		return reading
	}
	first, _, _ := k.Site.Zone.Resolve(reading)
	return first
}
