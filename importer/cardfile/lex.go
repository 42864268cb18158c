package cardfile

import (
	"bytes"

	"doorleaf/usage"
)

// digits is a stamp as its digits stand on the card, before anybody decides
// which group is the year. A group that is too long for its bits is clamped to
// their largest value, which no calendar knows.
type digits struct {
	a, b, c uint16 // the three groups of the date, 12 bits each
	h, m, s uint8  // 24-hour once a.m. and p.m. are folded in; 255 = not an hour
	marked  bool   // an AM or PM stood there
	secs    bool   // the time has seconds
	padded  bool   // the last group of the time has two digits
}

// Layout of a packed stamp, which Row.Reading holds until its date order is known.
const (
	groupBits = 12
	groupMax  = 1<<groupBits - 1
)

func (d digits) pack() int64 {
	v := int64(d.a)<<48 | int64(d.b)<<36 | int64(d.c)<<24 |
		int64(d.h)<<16 | int64(d.m)<<8 | int64(d.s)
	if d.marked {
		v |= 1 << 60
	}
	return v
}

func unpack(v int64) digits {
	return digits{
		a: uint16(v >> 48 & groupMax), b: uint16(v >> 36 & groupMax), c: uint16(v >> 24 & groupMax),
		h: uint8(v >> 16), m: uint8(v >> 8), s: uint8(v),
		marked: v>>60&1 == 1,
	}
}

// number reads the digits that b begins with, clamped to limit, and says how
// many there were.
func number(b []byte, limit int) (v, n int) {
	for n < len(b) {
		c := b[n] - '0'
		if c > 9 {
			break
		}
		if v <= limit {
			v = v*10 + int(c)
		}
		n++
	}
	return min(v, limit), n
}

// lexDate reads three groups of digits with one of / . - between them, or
// YYYYMMDD, and returns how many bytes it took; 0 when there is no date.
func lexDate(b []byte, d *digits) int {
	a, n := number(b, groupMax)
	if n == 8 {
		return lexShortDate(b, d)
	}
	if n == 0 || n > 5 || n >= len(b) || !dateSeparator(b[n]) {
		return 0
	}
	sep, at := b[n], n+1
	v, n := number(b[at:], groupMax)
	if n == 0 || n > 5 || at+n >= len(b) || b[at+n] != sep {
		return 0
	}
	at += n + 1
	w, n := number(b[at:], groupMax)
	if n == 0 || n > 5 {
		return 0
	}
	d.a, d.b, d.c = uint16(a), uint16(v), uint16(w)
	return at + n
}

// lexShortDate reads YYYYMMDD.
func lexShortDate(b []byte, d *digits) int {
	v, n := number(b, 99999999)
	if v < 19000000 || v > 21991231 {
		return 0
	}
	d.a, d.b, d.c = uint16(v/10000), uint16(v/100%100), uint16(v%100)
	return n
}

// lexBareTime reads hhmmss, or h.mm.ss: times without colons, which only their
// column tells from other numbers and from dates.
func lexBareTime(b []byte, d *digits) int {
	d.secs, d.padded, d.marked = true, true, false
	if v, n := number(b, 999999); n == 6 && n == len(b) {
		d.h, d.m, d.s = uint8(v/10000), uint8(v/100%100), uint8(v%100)
		return n
	}
	var g digits
	n := lexDate(b, &g)
	if n == 0 || bytes.IndexByte(b[:n], '.') < 0 {
		return 0
	}
	d.h, d.m, d.s = uint8(min(g.a, 255)), uint8(min(g.b, 255)), uint8(min(g.c, 255))
	return n
}

func dateSeparator(c byte) bool { return c == '/' || c == '.' || c == '-' }

// lexTime reads h:mm or h:mm:ss, a fraction that it drops, and AM or PM, and
// returns how many bytes it took; 0 when there is no time.
func lexTime(b []byte, d *digits) int {
	if len(b) == len("hh:mm:ss") && lexUsualTime(b, d) {
		return len(b)
	}
	h, n := number(b, 255)
	if n == 0 || n > 4 || n+1 >= len(b) || b[n] != ':' {
		return 0
	}
	at := n + 1
	m, n := number(b[at:], 255)
	if n == 0 || n > 4 {
		return 0
	}
	at += n
	s, secs := 0, false
	if at+1 < len(b) && b[at] == ':' {
		var k int
		if s, k = number(b[at+1:], 255); k > 0 && k <= 4 {
			secs, n = true, k
			at += 1 + k
		}
	}
	d.h, d.m, d.s, d.secs, d.padded, d.marked = uint8(h), uint8(m), uint8(s), secs, n == 2, false
	if secs && at+1 < len(b) && b[at] == '.' {
		if _, k := number(b[at+1:], 0); k > 0 {
			at += 1 + k
		}
	}
	if k := lexMarker(b[at:], d); k > 0 {
		at += k
	}
	return at
}

// lexUsualTime reads hh:mm:ss and nothing else, which most times are.
func lexUsualTime(b []byte, d *digits) bool {
	_ = b[7]
	if b[2] != ':' || b[5] != ':' {
		return false
	}
	h, hh, m, mm, s, ss := b[0]-'0', b[1]-'0', b[3]-'0', b[4]-'0', b[6]-'0', b[7]-'0'
	if h > 9 || hh > 9 || m > 9 || mm > 9 || s > 9 || ss > 9 {
		return false
	}
	d.h, d.m, d.s, d.secs, d.padded, d.marked = h*10+hh, m*10+mm, s*10+ss, true, true, false
	return true
}

// lexMarker reads AM, PM, a.m. or p.m. in any case, after spaces, folds it into
// the hour and returns how many bytes it took.
func lexMarker(b []byte, d *digits) int {
	at := skipSpaces(b, 0)
	if at >= len(b) {
		return 0
	}
	half := b[at] | 0x20
	if half != 'a' && half != 'p' {
		return 0
	}
	at++
	if at < len(b) && b[at] == '.' {
		at++
	}
	if at >= len(b) || b[at]|0x20 != 'm' {
		return 0
	}
	at++
	if at < len(b) && b[at] == '.' {
		at++
	}
	if at < len(b) && letter(b[at]) {
		return 0
	}
	fold(d, half == 'p')
	return at
}

// fold turns a 12-hour reading into a 24-hour one. Some firmware adds PM to a
// 24-hour time; then the hour stays. AM with such an hour is no time.
func fold(d *digits, pm bool) {
	d.marked = true
	switch {
	case pm && d.h < 12:
		d.h += 12
	case !pm && d.h == 12:
		d.h = 0
	case !pm && d.h > 12:
		d.h = 255
	}
}

// lexZone reads Z or an offset to UTC (+01:00, -0330, +02) and returns minutes
// east and the bytes it took, or NoZone and 0.
func lexZone(b []byte) (int16, int) {
	if len(b) == 0 {
		return NoZone, 0
	}
	if b[0]|0x20 == 'z' && (len(b) == 1 || !letter(b[1])) {
		return 0, 1
	}
	if b[0] != '+' && b[0] != '-' {
		return NoZone, 0
	}
	h, n := number(b[1:], 9999)
	at, m := 1+n, 0
	switch {
	case n == 4:
		h, m = h/100, h%100
	case n == 2 && at < len(b) && b[at] == ':':
		var k int
		if m, k = number(b[at+1:], 99); k != 2 {
			return NoZone, 0
		}
		at += 3
	case n != 2:
		return NoZone, 0
	}
	if h > 14 || m > 59 {
		return NoZone, 0
	}
	if b[0] == '-' {
		return int16(-h*60 - m), at
	}
	return int16(h*60 + m), at
}

// longestOpen is the longest open time that is believed, in seconds: a bit
// over three months. A counter memory that was never written reads more.
const longestOpen = 10_000_000

// lexSeconds reads an open duration: a number of seconds (a fraction is rounded
// half up, a unit such as s or sec is passed over), m:ss or h:mm:ss. What is no
// duration, or more than longestOpen, is usage.Unknown.
func lexSeconds(b []byte) int32 {
	v, n := number(b, longestOpen+1)
	if n == 0 {
		return usage.Unknown
	}
	for n < len(b) && b[n] == ':' {
		w, k := number(b[n+1:], 99)
		if k != 2 || w > 59 {
			return usage.Unknown
		}
		v, n = min(v*60+w, longestOpen+1), n+1+k
	}
	if n+1 < len(b) && (b[n] == '.' || b[n] == ',') && b[n+1]-'0' <= 9 {
		if b[n+1] >= '5' {
			v++
		}
		_, k := number(b[n+1:], 0)
		n += 1 + k
	}
	if v > longestOpen || !unit(b[skipSpaces(b, n):]) {
		return usage.Unknown
	}
	return int32(v)
}

// unit reports whether b is empty or a word for seconds.
func unit(b []byte) bool {
	switch string(b) {
	case "", "s", "S", "sec", "Sec", "SEC", "secs", "seconds", "sek", "Sek", "seg":
		return true
	}
	return false
}

func skipSpaces(b []byte, at int) int {
	for at < len(b) && (b[at] == ' ' || b[at] == '\t') {
		at++
	}
	return at
}

func letter(c byte) bool {
	c |= 0x20
	return c >= 'a' && c <= 'z'
}

// trim cuts spaces, tabs, quotes, brackets and string ends off both ends of a field.
func trim(b []byte) []byte {
	for len(b) > 0 && padding(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && padding(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}

func padding(c byte) bool { return paddings[c] }

var paddings = [256]bool{
	' ': true, '\t': true, '"': true, '\'': true, '[': true, ']': true, '(': true, ')': true, '<': true, '>': true, 0: true, 0x1A: true,
}
