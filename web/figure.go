package web

import (
	"html/template"

	"doorleaf/web/chart"
)

// Panel is a figure with the notes that stand in the margin beside it.
type Panel struct {
	chart.Figure
	Problem string // why there is no drawing; "" when there is one
	Notes   []Note

	Written template.HTML // the panel as it stands on a page, where Set.Made made it
}

// Range is an estimate with its limits on a line, in units of a drawing 100
// wide.
type Range struct {
	Low, Value, High float64
	Drawn            bool
}

// NewRange places an estimate on a scale from nought to top.
func NewRange(value, low, high, top float64) Range {
	if !(top > 0) {
		return Range{}
	}
	at := func(v float64) float64 { return min(max(100*v/top, 0), 100) }
	return Range{Low: at(low), Value: at(value), High: at(high), Drawn: true}
}

// Width is the distance between the limits.
func (r Range) Width() float64 { return r.High - r.Low }
