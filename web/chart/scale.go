package chart

import (
	"math"

	"doorleaf/usage"
)

// A scale is a value axis: from nought to max, a grid line each step.
type scale struct{ max, step float64 }

// maxStretch is how far the whiskers of shorter bars may stretch a scale beyond
// its longest bar, whose own whisker always has room. A little exposure has
// limits so wide that the bars of all others would lie flat; such a whisker is
// cut and has no cap.
const maxStretch = 2.5

// scaleOf chooses the scale on which all bars fit, and their whiskers as far
// as maxStretch allows.
func scaleOf(bars []bar) scale {
	var top, ownHigh, high float64
	for _, b := range bars {
		if b.rate == nil {
			continue
		}
		if b.rate.Value >= top {
			top, ownHigh = b.rate.Value, b.rate.High
		}
		high = math.Max(high, b.rate.High)
	}
	if top == 0 {
		return niceScale(high)
	}
	return niceScale(math.Min(high, math.Max(ownHigh, top*maxStretch)))
}

// niceScale is the scale of at most five steps of 1, 2 or 5 times a power of
// ten that reaches top. Without a positive finite top it goes to 1.
func niceScale(top float64) scale {
	if !(top > 0) || math.IsInf(top, 1) {
		top = 1
	}
	power := math.Pow(10, math.Floor(math.Log10(top/5)))
	for _, m := range []float64{1, 2, 5, 10} {
		step := m * power
		if n := math.Ceil(top/step - 1e-9); n <= 5 {
			return scale{max: tidy(n * step), step: tidy(step)}
		}
	}
	return scale{max: top, step: top} // not reached: 10·power ≥ top/5
}

// tidy takes off the binary dust of a product of short decimals.
func tidy(v float64) float64 {
	if v == 0 {
		return 0
	}
	unit := math.Pow(10, 9-math.Ceil(math.Log10(math.Abs(v))))
	if math.IsInf(unit, 0) || unit == 0 {
		return v
	}
	return math.Round(v*unit) / unit
}

// whisker is the value of a whisker at a place on the other axis; see
// shapes.mjs.
func (s scale) whisker(at float64, e *usage.Estimate) []float64 {
	if e.High > s.max {
		return []float64{at, e.Low, s.max, 1}
	}
	return []float64{at, e.Low, e.High, 0}
}
