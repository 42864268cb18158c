package cardfile

import (
	"fmt"
	"time"
)

// Orders of a date.
const (
	DMY = "dmy"
	MDY = "mdy"
	YMD = "ymd"
)

var orders = [...]string{DMY, MDY, YMD}

// yearFrom and yearTo bound the years that four digits may give. Clock chips
// count two digits from 2000; older years are read and left to be judged with
// their neighbours.
const (
	yearFrom = 1800
	yearTo   = 2105
)

// century is what the century bit of a clock chip's month register adds when
// firmware leaves it in: months 81 to 92.
const century = 80

// calendar returns year, month and day of the groups in an order. A first or
// last group of more than two digits is the year whatever the order.
func (d digits) calendar(order string) (y, m, day int) {
	switch {
	case d.a > 99 || order == YMD && d.c <= 99:
		y, m, day = int(d.a), int(d.b), int(d.c)
	case order == MDY:
		y, m, day = int(d.c), int(d.a), int(d.b)
	default:
		y, m, day = int(d.c), int(d.b), int(d.a)
	}
	return longYear(y), m, day
}

// longYear expands two digits: 00–69 are 2000–2069, 70–99 are 1970–1999.
// Source of the pivot: POSIX.1-2017, strptime, %y uses 69; ours is one later,
// as clock chips know no year before 2000.
func longYear(y int) int {
	switch {
	case y < 70:
		return 2000 + y
	case y < 100:
		return 1900 + y
	}
	return y
}

// dayNumber returns the days since 1970-01-01, if there is such a date.
func dayNumber(y, m, day int) (int, bool) {
	if y < yearFrom || y > yearTo || m < 1 || m > 12 || day < 1 || day > daysIn(y, m) {
		return 0, false
	}
	return daysFromCivil(y, m, day), true
}

func daysIn(y, m int) int {
	switch m {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// daysFromCivil counts days since 1970-01-01 in the proleptic Gregorian calendar.
func daysFromCivil(y, m, day int) int {
	return int(time.Date(y, time.Month(m), day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// isoWeekday returns 1 = Monday to 7 = Sunday of a day number.
func isoWeekday(day int) int { return ((day+3)%7+7)%7 + 1 }

// Weights of the evidence for a date order, in natural-log units. They are
// ours: a digit fault or a clock reset makes an exception in a file of some
// hundred rows, and no single exception may outweigh two witnesses.
const (
	weightImpossible = 4.0 // a date that the order makes impossible and another does not
	weightWeekday    = 4.0 // a weekday that disagrees
	weightStepBack   = 3.0 // a date before the last one
	weightShift      = 2.0 // weekdays agree only when all are shifted
	weightJump       = 3.0 // a date more than jumpDays after the last one
	weightShortYear  = 3.0 // two-digit year first
	jumpDays         = 300
	marginNeeded     = 2.5
	followShare      = 0.6 // weekdays that agree less often than this tell nothing
)

// trial is one order with what the file says of it.
type trial struct {
	order      string
	impossible int
	back       int
	jumps      int
	agree      [][7]int // by reading of the weekday words, by shift
	dated      int      // dates with a weekday
	last       int
	seen       bool
}

// verdict is what the weekdays and dates of a file add up to.
type verdict struct {
	order    string  // "" where the file cannot tell
	follow   bool    // weekdays follow the dates
	shift    int     // weekday as written − true weekday, 0..6
	words    []uint8 // ISO weekday of every weekday word
	language string
	evidence []string
}

// weigh weighs the evidence of all rows for each order.
func weigh(dates []dateRun, p *parser, hint Hint) verdict {
	names, tables := p.words.readings()
	if p.numbered {
		names, tables = []string{"numbers"}, [][]uint8{{0, 1, 2, 3, 4, 5, 6, 7}}
	}
	trials := tally(dates, tables)
	best, second := rank(trials, tables, names)
	v := verdicts(trials, best, names, tables)
	switch {
	case hint.DateOrder != "":
		return told(trials, hint.DateOrder, names, tables)
	case len(trials) == 1:
		v.evidence = append([]string{"the year stands first"}, v.evidence...)
	case second >= 0 && scoreOf(trials[second], tables, names)+marginNeeded > scoreOf(trials[best], tables, names) &&
		differ(dates, trials[best].order, trials[second].order):
		v.order = ""
		v.evidence = append(v.evidence, fmt.Sprintf("cannot tell %s from %s: no date in the file is impossible as either, no weekday decides, and both keep the order of time",
			trials[best].order, trials[second].order))
	}
	return v
}

// tally counts, for every order that the digits allow, what speaks against it.
// Rows whose date stands still count once.
func tally(dates []dateRun, tables [][]uint8) []trial {
	trials := candidates(dates)
	for _, run := range dates {
		countDate(trials, run.digits(), run.weekday, tables)
	}
	return trials
}

// dateRun are rows beside each other whose date and weekday are the same digits and the
// same word.
type dateRun struct {
	date    int64 // packed, without the time
	rows    int
	weekday uint8
}

func (r dateRun) digits() digits { return unpack(r.date) }

// dateBits are those of a packed stamp that are its date.
const dateBits = (1<<(3*groupBits) - 1) << 24

// datesOf gathers the dates of rows that are not resolved yet.
func datesOf(rows []Row) []dateRun {
	parts := make([][]dateRun, (len(rows)+chunkLines-1)/chunkLines)
	inChunks(len(rows), chunkLines, func(chunk, from, to int) {
		var dates []dateRun
		for i := from; i < to; i++ {
			dates = joinRun(dates, dateRun{rows[i].Reading & dateBits, 1, rows[i].Weekday})
		}
		parts[chunk] = dates
	})
	var dates []dateRun
	for _, part := range parts {
		for _, run := range part {
			dates = joinRun(dates, run)
		}
	}
	return dates
}

func joinRun(dates []dateRun, run dateRun) []dateRun {
	if n := len(dates); n > 0 && dates[n-1].date == run.date && dates[n-1].weekday == run.weekday {
		dates[n-1].rows += run.rows
		return dates
	}
	return append(dates, run)
}

// candidates are the orders that the length of the groups allows.
func candidates(dates []dateRun) []trial {
	first, last, all := 0, 0, 0
	for _, run := range dates {
		d := run.digits()
		if d.a > 99 {
			first += run.rows
		}
		if d.c > 99 {
			last += run.rows
		}
		all += run.rows
	}
	switch {
	case first*2 > all && first > last:
		return []trial{{order: YMD}}
	case last*2 > all:
		return []trial{{order: DMY}, {order: MDY}}
	}
	return []trial{{order: DMY}, {order: MDY}, {order: YMD}}
}

func countDate(trials []trial, d digits, weekday uint8, tables [][]uint8) {
	var days [len(orders)]int
	var ok [len(orders)]bool
	possible := false
	for i := range trials {
		days[i], ok[i] = dayNumber(d.calendar(trials[i].order))
		possible = possible || ok[i]
	}
	if !possible {
		return
	}
	for i := range trials {
		trials[i].count(days[i], ok[i], weekday, tables)
	}
}

func (t *trial) count(day int, ok bool, weekday uint8, tables [][]uint8) {
	if !ok {
		t.impossible++
		return
	}
	if t.seen && day < t.last {
		t.back++
	}
	if t.seen && day > t.last+jumpDays {
		t.jumps++
	}
	t.last, t.seen = day, true
	if weekday == 0 {
		return
	}
	if t.agree == nil {
		t.agree = make([][7]int, len(tables))
	}
	t.dated++
	for l, table := range tables {
		if w := table[weekday]; w != 0 {
			t.agree[l][(int(w)-isoWeekday(day)+7)%7]++
		}
	}
}

// weekdays returns the language and shift that agree best with the dates, and
// in how many dates they do.
func (t trial) weekdays(numbered bool) (language, shift, agree int) {
	best := -1.0
	for l := range t.agree {
		for s, n := range t.agree[l] {
			score := float64(n)
			if s != 0 && !(numbered && s == 1) {
				score -= weightShift / weightWeekday
			}
			if score > best {
				best, language, shift, agree = score, l, s, n
			}
		}
	}
	return language, shift, agree
}

func (t trial) follows(agree int) bool {
	return t.dated > 0 && float64(agree) >= followShare*float64(t.dated)
}

// scoreOf is the weight of what speaks against an order, as a negative number.
func scoreOf(t trial, tables [][]uint8, names []string) float64 {
	score := -weightImpossible*float64(t.impossible) - weightStepBack*float64(t.back) - weightJump*float64(t.jumps)
	if t.order == YMD {
		score -= weightShortYear
	}
	numbered := len(names) == 1 && names[0] == "numbers"
	_, shift, agree := t.weekdays(numbered)
	if len(tables) > 0 && t.dated > 0 {
		score -= weightWeekday * float64(t.dated-agree)
		if shift != 0 && !(numbered && shift == 1) {
			score -= weightShift
		}
	}
	return score
}

// rank returns the best order and the next, or -1. Where no order makes the
// weekdays follow the dates, weekdays are left out of the scores.
func rank(trials []trial, tables [][]uint8, names []string) (best, second int) {
	followed := false
	for _, t := range trials {
		_, _, agree := t.weekdays(false)
		followed = followed || t.follows(agree)
	}
	if !followed {
		for i := range trials {
			trials[i].dated, trials[i].agree = 0, nil
		}
	}
	best, second = 0, -1
	for i := 1; i < len(trials); i++ {
		s := scoreOf(trials[i], tables, names)
		switch {
		case s > scoreOf(trials[best], tables, names):
			best, second = i, best
		case second < 0 || s > scoreOf(trials[second], tables, names):
			second = i
		}
	}
	return best, second
}

func told(trials []trial, order string, names []string, tables [][]uint8) verdict {
	for i := range trials {
		if trials[i].order == order {
			v := verdicts(trials, i, names, tables)
			v.evidence = append([]string{"date order " + order + " as told"}, v.evidence...)
			return v
		}
	}
	v := verdicts(trials, 0, names, tables)
	v.order = order
	v.evidence = append([]string{"date order " + order + " as told; the digits do not look like it"}, v.evidence...)
	return v
}

// verdicts puts the evidence for one order into words.
func verdicts(trials []trial, best int, names []string, tables [][]uint8) verdict {
	t := trials[best]
	v := verdict{order: t.order}
	numbered := len(names) == 1 && names[0] == "numbers"
	l, shift, agree := t.weekdays(numbered)
	if t.follows(agree) {
		v.follow, v.shift, v.words, v.language = true, shift, tables[l], names[l]
		v.evidence = append(v.evidence, fmt.Sprintf("%d of %d weekdays agree with the date as %s", agree, t.dated, t.order))
		v.evidence = append(v.evidence, shiftEvidence(numbered, shift)...)
		if !numbered {
			v.evidence = append(v.evidence, "weekday names are "+v.language)
		}
	} else if len(tables) > 0 {
		v.words = tables[0]
		v.evidence = append(v.evidence, "the weekday column does not follow the date and is left out")
	}
	for i, other := range trials {
		if i != best {
			v.evidence = append(v.evidence, against(other, t)...)
		}
	}
	return v
}

func shiftEvidence(numbered bool, shift int) []string {
	day := [...]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}
	if numbered {
		return []string{"weekday 1 is " + day[(7-shift)%7]}
	}
	if shift != 0 {
		return []string{fmt.Sprintf("every weekday is %d days ahead of the date: the weekday register was set wrongly", shift)}
	}
	return nil
}

// against says what speaks against an order that was not taken.
func against(t, taken trial) []string {
	var out []string
	if t.impossible > taken.impossible {
		out = append(out, fmt.Sprintf("%d dates are impossible as %s", t.impossible, t.order))
	}
	if t.back > taken.back {
		out = append(out, fmt.Sprintf("as %s the date steps back %d times, as %s %d times", t.order, t.back, taken.order, taken.back))
	}
	if t.jumps > taken.jumps {
		out = append(out, fmt.Sprintf("as %s the date jumps by a year %d times, as %s %d times", t.order, t.jumps, taken.order, taken.jumps))
	}
	if t.dated > 0 {
		if _, _, agree := t.weekdays(false); agree < t.dated {
			out = append(out, fmt.Sprintf("as %s only %d of %d weekdays agree", t.order, agree, t.dated))
		}
	}
	return out
}

// differ reports whether any row reads differently in two orders.
func differ(dates []dateRun, a, b string) bool {
	for _, run := range dates {
		d := run.digits()
		x, okX := dayNumber(d.calendar(a))
		y, okY := dayNumber(d.calendar(b))
		if okX != okY || x != y {
			return true
		}
	}
	return false
}
