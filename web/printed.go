package web

import (
	"encoding/base64"
	"fmt"
	"math"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/assets"
)

// Written is a figure as pages and reports write it: its value, and what stands
// below it in small type, mostly its limits. The functions that make one write what
// the template parts of the same figures write.
type Written struct{ Value, Fine string }

const notKnown = "not known"

// WrittenCount is what was counted, and in how many days of how many.
func WrittenCount(f usage.SeasonFigures) Written {
	return Written{Number(f.Counted), "in " + daysWords(f.CoveredDays) + " of " + Number(int64(f.Days))}
}

// WrittenCover is how many days were covered, of how many.
func WrittenCover(f usage.SeasonFigures) Written {
	return Written{daysWords(f.CoveredDays), "of " + Number(int64(f.Days))}
}

// WrittenEstimate is an estimate between its limits.
func WrittenEstimate(e *usage.Estimate) Written {
	if e == nil {
		return Written{"", notKnown}
	}
	r := Round(e)
	return Written{r.Value, r.Low + " to " + r.High}
}

// WrittenRatio is a season against the one a year before.
func WrittenRatio(e *usage.Estimate) Written {
	if e == nil {
		return Written{"", "none"}
	}
	r := RoundRatio(e)
	w := Written{"× " + r.Value, r.Low + " to " + r.High}
	if !r.Known {
		w.Value = notKnown
	}
	return w
}

// WrittenShare is a share in per cent.
func WrittenShare(e *usage.Estimate) Written {
	w := WrittenEstimate(Percent(e))
	if e != nil {
		w.Value += " %"
	}
	return w
}

// WrittenOpen is how long the door stood open in all.
func WrittenOpen(f usage.SeasonFigures) Written {
	w := Written{Value: OpenTime(float64(f.OpenS))}
	if f.WeekOpenS != nil {
		r := OpenWeek(f.WeekOpenS)
		w.Fine = r.Value + " a week, " + r.Low + " to " + r.High
	}
	return w
}

// WrittenMedian is how long the door stood open in a visit.
func WrittenMedian(f usage.SeasonFigures) Written {
	m := f.MedianOpenS
	if m == nil {
		return Written{"", notKnown}
	}
	seconds := func(s float64) string { return DurationWords(int32(math.Round(min(s, math.MaxInt32)))) }
	w := Written{seconds(m.Value), seconds(m.Low) + " to " + seconds(m.High)}
	if !Round(m).LowKnown {
		w.Fine = "too few for limits"
	}
	if f.LowerOpenS != nil && f.UpperOpenS != nil {
		w.Fine += "; half: " + seconds(*f.LowerOpenS) + " to " + seconds(*f.UpperOpenS)
	}
	return w
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
