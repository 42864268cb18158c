package web

import (
	"encoding/base64"
	"fmt"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/words"
)

// Written is a figure as pages and reports write it: its value, and what stands
// below it in small type, mostly its limits. The functions that make one write what
// the template parts of the same figures write.
type Written struct{ Value, Fine string }

const notKnown words.Text = "not known"

// fromTo writes the limits of an estimate for small type: 11 to 17.
func fromTo(w *words.Words, low, high string) string { return w.Say("%s to %s", low, high) }

// WrittenCount is what was counted, and in how many days of how many.
func WrittenCount(w *words.Words, f usage.SeasonFigures) Written {
	return Written{w.Number(f.Counted), w.Say("in %s of %s", w.Days(f.CoveredDays), w.Number(int64(f.Days)))}
}

// WrittenCover is how many days were covered, of how many.
func WrittenCover(w *words.Words, f usage.SeasonFigures) Written {
	return Written{w.Days(f.CoveredDays), w.Say("of %s", w.Number(int64(f.Days)))}
}

// WrittenEstimate is an estimate between its limits.
func WrittenEstimate(w *words.Words, e *usage.Estimate) Written {
	if e == nil {
		return Written{"", w.Say(notKnown)}
	}
	r := w.Round(e)
	return Written{r.Value, fromTo(w, r.Low, r.High)}
}

// WrittenRatio is a season against the one a year before.
func WrittenRatio(w *words.Words, e *usage.Estimate) Written {
	if e == nil {
		return Written{"", w.Say("none")}
	}
	r := w.RoundRatio(e)
	ratio := Written{"× " + r.Value, fromTo(w, r.Low, r.High)}
	if !r.Known {
		ratio.Value = w.Say(notKnown)
	}
	return ratio
}

// WrittenShare is a share in per cent.
func WrittenShare(w *words.Words, e *usage.Estimate) Written {
	share := WrittenEstimate(w, Percent(e))
	if e != nil {
		share.Value += " %"
	}
	return share
}

// WrittenOpen is how long the door stood open in all.
func WrittenOpen(w *words.Words, f usage.SeasonFigures) Written {
	open := Written{Value: w.OpenTime(float64(f.OpenS))}
	if f.WeekOpenS != nil {
		r := w.OpenWeek(f.WeekOpenS)
		open.Fine = w.Say("%s a week, %s to %s", r.Value, r.Low, r.High)
	}
	return open
}

// WrittenMedian is how long the door stood open in a visit.
func WrittenMedian(w *words.Words, f usage.SeasonFigures) Written {
	m := f.MedianOpenS
	if m == nil {
		return Written{"", w.Say(notKnown)}
	}
	median := Written{w.Seconds(m.Value), fromTo(w, w.Seconds(m.Low), w.Seconds(m.High))}
	if !w.Round(m).LowKnown {
		median.Fine = w.Say("too few for limits")
	}
	if f.LowerOpenS != nil && f.UpperOpenS != nil {
		median.Fine = w.Say("%s; half: %s to %s", median.Fine, w.Seconds(*f.LowerOpenS), w.Seconds(*f.UpperOpenS))
	}
	return median
}

// ReportStyle returns the style sheet of a report for print with its typefaces
// inside it, so that a page which holds it needs no other file. Without built
// assets the faces are left out.
func ReportStyle() (string, error) {
	css, err := files.ReadFile("static/report.css")
	if err != nil {
		return "", fmt.Errorf("web: style of reports: %w", err)
	}
	sheet := string(css)
	for _, name := range fontNames() {
		data, err := assets.Read(name)
		if err != nil {
			continue
		}
		sheet = strings.ReplaceAll(sheet, "/static/fonts/"+name, "data:font/woff2;base64,"+base64.StdEncoding.EncodeToString(data))
	}
	return sheet, nil
}
