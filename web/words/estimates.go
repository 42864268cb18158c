package words

import (
	"math"
	"strconv"
	"strings"

	"doorleaf/usage"
)

// Rounded is an estimate written with the digits that it can bear. A part that is
// infinite or not known is written "unknown", and its flag is down.
type Rounded struct {
	Value, Low, High           string
	Known, LowKnown, HighKnown bool
}

// Round writes an estimate in steps of the power of ten next below a quarter of the
// distance between its limits, so that the last digit shown is one that is in doubt.
// Steps are not finer than a hundredth.
func (w *Words) Round(e *usage.Estimate) Rounded { return w.roundTo(e, stepOf(e.Low, e.High)) }

func stepOf(low, high float64) int {
	quarter := (high - low) / 4
	if !(quarter > 0) || math.IsInf(quarter, 0) {
		return -2
	}
	return max(-2, int(math.Floor(math.Log10(quarter))))
}

// RoundRatio is Round for a ratio, with as many decimals more as it takes to show
// that a limit is not 1.
func (w *Words) RoundRatio(e *usage.Estimate) Rounded {
	power := min(-1, stepOf(e.Low, e.High))
	r := w.roundTo(e, power)
	for ; power > -6; power-- {
		one := w.trimmed(1, -power)
		if r = w.roundTo(e, power); (r.Low == one) == (e.Low == 1) && (r.High == one) == (e.High == 1) {
			break
		}
	}
	return r
}

func (w *Words) roundTo(e *usage.Estimate, power int) Rounded {
	write := func(v float64) (string, bool) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return w.Say("unknown"), false
		}
		if power < 0 {
			return w.trimmed(v, -power), true
		}
		unit := math.Pow(10, float64(power))
		return w.Number(int64(math.Round(v/unit) * unit)), true
	}
	var r Rounded
	r.Value, r.Known = write(e.Value)
	r.Low, r.LowKnown = write(e.Low)
	r.High, r.HighKnown = write(e.High)
	return r
}

// trimmed writes v with so many decimals, nought as "0", and no nought that is
// none: then it says that v is less.
func (w *Words) trimmed(v float64, decimals int) string {
	if v == 0 {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "0.") == "" {
		return w.Say("less than %s", w.Mark(s[:len(s)-1]+"1"))
	}
	return w.Mark(s)
}

// Between writes the limits of an estimate: "between 11 and 17".
func (w *Words) Between(e *usage.Estimate) string { return w.Limits(w.Round(e)) }

// Limits is Between for an estimate that is rounded already.
func (w *Words) Limits(r Rounded) string {
	switch {
	case !r.LowKnown && !r.HighKnown:
		return w.Say("too few to say how sure that is")
	case !r.HighKnown:
		return w.Say("%s or more", r.Low)
	}
	return w.Say("between %s and %s", r.Low, r.High)
}
