package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Number writes a whole number with a mark between thousands: 1,234 where the decimal
// mark is a full stop, 1.234 where it is a comma.
func (w *Words) Number(n int64) string {
	digits := strconv.FormatInt(n, 10)
	sign := ""
	if strings.HasPrefix(digits, "-") {
		sign, digits = "−", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + w.thousands() + digits[i:]
	}
	return sign + digits
}

func (w *Words) thousands() string {
	if w.region.Decimal == "," {
		return "."
	}
	return ","
}

// Mark puts the region's decimal mark in a number that has a full stop.
func (w *Words) Mark(number string) string {
	if w.region.Decimal == "." {
		return number
	}
	return strings.Replace(number, ".", w.region.Decimal, 1)
}

// Fixed writes v with so many decimals, and no mark between thousands.
func (w *Words) Fixed(v float64, decimals int) string {
	return w.Mark(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Shortest writes v with as many decimals as it has.
func (w *Words) Shortest(v float64) string { return w.Fixed(v, -1) }

// OneFigure writes a rate with no more digits than a reader can use: whole
// numbers from ten up, one decimal below, two below one.
func (w *Words) OneFigure(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return w.Say("unknown")
	case math.Abs(v) >= 9.95:
		return w.Number(int64(math.Round(v)))
	case math.Abs(v) >= 0.995 || v == 0:
		return w.Fixed(v, 1)
	}
	return w.Fixed(v, 2)
}

// Bytes writes a size.
func (w *Words) Bytes(n int64) string {
	switch {
	case n < 1<<10:
		return w.Plural(n, "byte", "bytes")
	case n < 1<<20:
		return w.inUnits(n, 1<<10) + " kB"
	}
	return w.inUnits(n, 1<<20) + " MB"
}

func (w *Words) inUnits(n, unit int64) string {
	return w.Mark(strings.TrimSuffix(fmt.Sprintf("%.1f", float64(n)/float64(unit)), ".0"))
}

// decimal is a number that a format writes with the region's decimal mark.
type decimal struct {
	w *Words
	v float64
}

// Format implements fmt.Formatter.
func (d decimal) Format(s fmt.State, verb rune) {
	fmt.Fprint(s, d.w.Mark(fmt.Sprintf(fmt.FormatString(s, verb), d.v)))
}

// Typed writes a number as a person would type it, with no mark between thousands.
func (w *Words) Typed(v float64) string { return w.Mark(strconv.FormatFloat(v, 'g', -1, 64)) }
