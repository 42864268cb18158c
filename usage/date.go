package usage

import (
	"fmt"
	"time"
)

// Date is a civil date: days since 1970-01-01, with no zone of its own. A Date
// belongs to the civil calendar of the site whose figures it labels.
type Date int32

// DateOf returns the civil date year-month-day. Values outside their usual
// ranges are normalised as time.Date does.
func DateOf(year int, month time.Month, day int) Date {
	return Date(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// ParseDate reads YYYY-MM-DD.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("date %q: want YYYY-MM-DD", s)
	}
	return DateOf(t.Date()), nil
}

// YMD returns the year, month and day of d.
func (d Date) YMD() (int, time.Month, int) {
	return time.Unix(int64(d)*86400, 0).UTC().Date()
}

// Weekday returns the ISO 8601 weekday, 1 = Monday to 7 = Sunday.
func (d Date) Weekday() int {
	return (int(d)%7+7+3)%7 + 1 // 1970-01-01 was a Thursday
}

// String returns d as YYYY-MM-DD.
func (d Date) String() string {
	y, m, day := d.YMD()
	return fmt.Sprintf("%04d-%02d-%02d", y, m, day)
}

// MarshalText writes d as YYYY-MM-DD.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads YYYY-MM-DD.
func (d *Date) UnmarshalText(b []byte) (err error) {
	*d, err = ParseDate(string(b))
	return err
}

// Month is a civil month, counted as 12·year + (month−1).
type Month int32

// MonthOf returns the civil month that holds d.
func MonthOf(d Date) Month {
	y, m, _ := d.YMD()
	return Month(y*12 + int(m) - 1)
}

// First returns the first date of m.
func (m Month) First() Date {
	return DateOf(int(m)/12, time.Month(int(m)%12+1), 1)
}

// YM returns the year and month of m.
func (m Month) YM() (int, time.Month) {
	return int(m) / 12, time.Month(int(m)%12 + 1)
}

// String returns m as YYYY-MM.
func (m Month) String() string {
	return fmt.Sprintf("%04d-%02d", int(m)/12, int(m)%12+1)
}
