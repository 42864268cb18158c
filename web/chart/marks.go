package chart

import (
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// addMarks makes each bar that has an address and is drawn a link of the drawing. Its
// area is the whole slot of the bar and not the bar alone, which may be too low to
// hit; box gives it in axis units, pad is that of draw.Marks.
func addMarks(w *words.Words, o map[string]any, pad int, bars []bar, box func(i int) [4]float64) {
	addTips(w, o, pad, bars, box)
	var links []draw.Mark
	for i, b := range bars {
		if b.href != "" && (b.rate != nil || b.visits > 0) {
			links = append(links, draw.Mark{Box: box(i), Href: b.href, Says: b.name(w)})
		}
	}
	if len(links) > 0 {
		o["marks"] = draw.Marks{Pad: pad, Links: links}
	}
}

// nameWords name a bar by the unit of its rate.
var nameWords = map[float64]words.Text{
	hour: "%s: %s, %s an hour, between %s and %s",
	day:  "%s: %s, %s a day, between %s and %s",
	week: "%s: %s, %s a week, between %s and %s",
}

// name says what a bar counts, as the name of its link: "Monday 14:00–15:00: 12
// visits, 0.9 an hour, between 0.5 and 1.6".
func (b bar) name(w *words.Words) string {
	switch {
	case b.says != "":
		return b.says
	case b.rate == nil:
		return w.Say("%s: %s", b.label, visitsOf(b.visits))
	}
	return w.Say(nameWords[b.unitH], b.label, visitsOf(b.visits), short(w, b.rate.Value), short(w, b.rate.Low), short(w, b.rate.High))
}

// countedName is the name of a bar that shows a count and no rate.
func (b bar) countedName(w *words.Words) string {
	if b.thin {
		return w.Say("%s: %s counted, partly covered", b.label, visitsOf(b.visits))
	}
	return w.Say("%s: %s counted", b.label, visitsOf(b.visits))
}
