package web

import (
	"fmt"

	"doorleaf/usage"
)

// SeasonSentences says a season of a network of so many boxes in a few sentences,
// each with its limits; nothing is called a rise or a fall whose limits hold 1.
func SeasonSentences(title string, f usage.SeasonFigures, boxes int) []string {
	if f.Until == nil {
		return []string{fmt.Sprintf("Nothing was recorded in %s.", title)}
	}
	out := []string{fmt.Sprintf("%s counted in %s at %s, in %s of %s.", Plural(f.Counted, "visit was", "visits were"), title,
		Plural(int64(boxes), "box", "boxes"), OneFigure(f.CoveredDays), Plural(int64(f.Days), "day", "days"))}
	if !f.Complete {
		out = append(out, fmt.Sprintf("The figures go as far as the cards do, to %s.", DateWords(*f.Until)))
	}
	if f.Estimated != nil {
		out = append(out, fmt.Sprintf("For all of these days that makes about %s.", rounded(f.Estimated)))
	}
	if r := f.RatioToLast; r != nil {
		out = append(out, ratioSentence(r))
	}
	if f.DarkShare != nil {
		out = append(out, fmt.Sprintf("Of every hundred visits about %s were in the dark.", rounded(Percent(f.DarkShare))))
	}
	return out
}

func rounded(e *usage.Estimate) string {
	r := Round(e)
	return fmt.Sprintf("%s (between %s and %s)", r.Value, r.Low, r.High)
}

func ratioSentence(r *usage.Estimate) string {
	n := RoundRatio(r)
	says := fmt.Sprintf("between %s and %s times as many visits a day as a year before", n.Low, n.High)
	switch usage.DirectionOf(r) {
	case usage.Rise:
		return "That is a rise: " + says + "."
	case usage.Fall:
		return "That is a fall: " + says + "."
	}
	return "Whether that is more or fewer than a year before cannot be told: " + says + "."
}
