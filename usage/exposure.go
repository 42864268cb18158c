package usage

import (
	"cmp"
	"slices"
)

// DayExposure is the recording time of one civil date.
type DayExposure struct {
	Date    Date
	Seconds int32
}

// MonthExposure is the recording time of one civil month by hour of the week, s.
type MonthExposure struct {
	Month   Month
	Seconds [HoursOfWeek]int32
}

// Exposure is recording time, in real seconds, sorted by what the wall clock
// showed. An hour that comes twice counts twice, a missing one not at all.
type Exposure struct {
	TotalS int64
	Hours  [HoursOfWeek]int64 // by hour of the week
	Days   []DayExposure      // ascending, only dates with exposure
	Months []MonthExposure    // ascending, only months with exposure
}

// ExposureOf sums the stretches of kind Recording, exact to the second, in the
// civil time of z. The stretches must be disjoint: time that two of them share
// counts twice. Stretches that end before they begin are empty.
func ExposureOf(z *Zone, stretches []Stretch) Exposure {
	s := exposureSum{
		cursor: z.Cursor(),
		days:   newBook(func(d Date) DayExposure { return DayExposure{Date: d} }),
		months: newBook(func(m Month) MonthExposure { return MonthExposure{Month: m} }),
		month:  MonthOf(0),
	}
	for _, st := range stretches {
		if st.Kind == Recording {
			s.add(st.From, st.To)
		}
	}
	s.Days = s.days.sorted(func(d DayExposure) Date { return d.Date })
	s.Months = s.months.sorted(func(m MonthExposure) Month { return m.Month })
	return s.Exposure
}

type exposureSum struct {
	Exposure
	cursor *Cursor
	days   book[Date, DayExposure]
	months book[Month, MonthExposure]
	date   Date // month is the month of date
	month  Month
}

// add counts [from, to) by steps that end at each full civil hour and at each
// change of the offset.
func (s *exposureSum) add(from, to int64) {
	for at := from; at < to; {
		offset := int64(s.cursor.OffsetAt(at))
		for end := min(to, s.cursor.to); at < end; {
			date, second := splitWall(at + offset)
			step := min(int64(hourSeconds-second%hourSeconds), end-at)
			s.put(date, int(second/hourSeconds), int32(step))
			at += step
		}
	}
}

func (s *exposureSum) put(date Date, hour int, seconds int32) {
	if date != s.date {
		s.date, s.month = date, MonthOf(date)
	}
	cell := hourOfWeek(date, hour)
	s.TotalS += int64(seconds)
	s.Hours[cell] += int64(seconds)
	s.days.row(date).Seconds += seconds
	s.months.row(s.month).Seconds[cell] += seconds
}

// hourOfWeek returns the cell of an hour, 0 to 23, of a date.
func hourOfWeek(d Date, hour int) int { return 24*(d.Weekday()-1) + hour }

// book keeps one row a key, made when it is first asked for. It is fastest when
// the same key is asked for many times in succession.
type book[K cmp.Ordered, V any] struct {
	blank func(K) V
	index map[K]int
	rows  []V
	key   K // the key last asked for, and its position
	at    int
}

func newBook[K cmp.Ordered, V any](blank func(K) V) book[K, V] {
	return book[K, V]{blank: blank, index: map[K]int{}}
}

// row returns the row of k; the pointer holds until the next call.
func (b *book[K, V]) row(k K) *V {
	if len(b.rows) > 0 && k == b.key {
		return &b.rows[b.at]
	}
	at, ok := b.index[k]
	if !ok {
		at = len(b.rows)
		b.rows = append(b.rows, b.blank(k))
		b.index[k] = at
	}
	b.key, b.at = k, at
	return &b.rows[at]
}

// sorted returns the rows in the order of their keys and ends the use of b.
func (b *book[K, V]) sorted(key func(V) K) []V {
	slices.SortFunc(b.rows, func(x, y V) int { return cmp.Compare(key(x), key(y)) })
	return b.rows
}
