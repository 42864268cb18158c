package logbook

import (
	"math"
	"time"

	"doorleaf/importer/cardfile"
)

// goesOn reports whether a row that broke off at the end of its file goes on in another:
// it begins at the same byte there, shows as much, and is longer. Power that goes while a
// row is written leaves such a stump; what is written next, when the card is back, is
// glued to it.
func goesOn(stump, whole *item) bool {
	return stump.ragged && stump.offset == whole.offset && stump.length < whole.length && stump.begins(whole.shown)
}

// shown is what a row shows, as far as it can be read.
type shown struct {
	hour     int32 // hours from 1970-01-01 00:00 to that of the stamp; unread
	min, sec int8  // -1 for what cannot be read
}

// unread is shown.hour of a row whose date or hour cannot be read.
const unread = -1 << 31

func shownOf(r *cardfile.Row) shown {
	if r.Timed {
		return shown{int32(math.Floor(float64(r.Reading) / 3600)), int8(((r.Reading/60)%60 + 60) % 60), int8((r.Reading%60 + 60) % 60)}
	}
	p := r.Part
	if p.Year < 0 || p.Month < 0 || p.Day < 0 || p.Hour < 0 {
		return shown{unread, -1, -1}
	}
	day := time.Date(int(p.Year), time.Month(p.Month), int(p.Day), 0, 0, 0, 0, time.UTC).Unix() / 86400
	return shown{int32(day*24) + int32(p.Hour), p.Min, p.Sec}
}

// begins reports whether s may be the beginning of w: the date and the hour are the same
// (but for an a.m. or p.m. that is missing), and of what is behind them each is the same,
// or its first digit, or not written yet, or cannot be read in w, to which something else
// may be glued.
func (s shown) begins(w shown) bool {
	if s.hour == unread || s.hour/24 != w.hour/24 || (s.hour-w.hour)%12 != 0 {
		return false
	}
	digit := func(a, b int8) bool { return a == b || a < 10 && b/10 == a || b < 0 }
	if s.min != w.min {
		return digit(s.min, w.min)
	}
	return s.sec <= 0 || digit(s.sec, w.sec)
}
