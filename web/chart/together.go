package chart

import (
	"context"

	"doorleaf/usage"
)

// HourSide is one of several sides whose hours of the day are drawn on one scale.
type HourSide struct {
	ID, Name string // of its figure, see Figure.ID and Figure.Title
	Pattern  usage.Pattern
	Days     usage.Dispersion    // see Maker.Dispersed
	Link     func(Visits) string // see Maker.Linked; nil: its bars lead nowhere
}

// HoursTogether draws visits an hour by hour of the day of each side, small, all on
// one scale, with 95 % limits. The title of each figure is the name of its side.
func (m *Maker) HoursTogether(ctx context.Context, sides []HourSide) ([]Figure, error) {
	bars, all := make([][]bar, len(sides)), []bar(nil)
	for i, s := range sides {
		bars[i] = m.Dispersed(s.Days).Linked(s.Link).hourBars(s.Pattern)
		all = append(all, bars[i]...)
	}
	figures, common := make([]Figure, len(sides)), scaleOf(all)
	for i, s := range sides {
		f := Figure{
			ID: s.ID, Title: s.Name,
			Says:  hourTitle(m.Words, bars[i]) + ". " + patternSays(m.Words, "Visits an hour by hour of the day", s.Pattern),
			Table: tableOf(m.Words, m.Words.Say("Visits by hour of the day, %s", s.Name), "Hour", "Visits an hour", bars[i]),
		}
		drawn := uprightOn(m.Words, common, bars[i], hourTicks(m.Words, 6), visitsAnHour, "", frame{narrowWidth, 230, 36, 50, 16, 30})
		var err error
		if figures[i], err = m.draw(ctx, f, drawn); err != nil {
			return nil, err
		}
	}
	return figures, nil
}
