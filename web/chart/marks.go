package chart

import (
	"fmt"

	"doorleaf/web/draw"
)

// addMarks makes each bar that has an address and is drawn a link of the drawing. Its
// area is the whole slot of the bar and not the bar alone, which may be too low to
// hit; box gives it in axis units, pad is that of draw.Marks.
func addMarks(o map[string]any, pad int, bars []bar, box func(i int) [4]float64) {
	addTips(o, pad, bars, box)
	var links []draw.Mark
	for i, b := range bars {
		if b.href != "" && (b.rate != nil || b.visits > 0) {
			links = append(links, draw.Mark{Box: box(i), Href: b.href, Says: b.name()})
		}
	}
	if len(links) > 0 {
		o["marks"] = draw.Marks{Pad: pad, Links: links}
	}
}

var unitWords = map[float64]string{hour: "an hour", day: "a day", week: "a week"}

// name says what a bar counts, as the name of its link: "Monday 14:00–15:00: 12
// visits, 0.9 an hour, between 0.5 and 1.6".
func (b bar) name() string {
	switch {
	case b.says != "":
		return b.says
	case b.rate == nil:
		return b.label + ": " + counted(b.visits, "visit")
	}
	return fmt.Sprintf("%s: %s, %s %s, between %s and %s", b.label, counted(b.visits, "visit"),
		short(b.rate.Value), unitWords[b.unitH], short(b.rate.Low), short(b.rate.High))
}

// countedName is the name of a bar that shows a count and no rate.
func (b bar) countedName() string {
	says := b.label + ": " + counted(b.visits, "visit") + " counted"
	if b.thin {
		says += ", partly covered"
	}
	return says
}
