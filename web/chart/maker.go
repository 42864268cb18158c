// Package chart turns tallies into figures: a finding in words, a drawing made
// by ECharts from an option that go-echarts builds, and the table of the same
// numbers. It decides what is drawn; the package draw does the drawing.
package chart

import (
	"context"
	"fmt"
	"html/template"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// A Drawer draws an ECharts option, given as JSON, to SVG of width × height
// CSS px. *draw.Engine is one.
type Drawer interface {
	Draw(ctx context.Context, option []byte, width, height int) (svg []byte, err error)
}

// Maker makes figures. It is safe for concurrent use. Without Words it is not usable.
type Maker struct {
	Draw  Drawer
	Words *words.Words        // what is written, and on which day weeks begin
	days  usage.Dispersion    // of the days that are drawn; the zero value: they vary by chance alone
	link  func(Visits) string // where the visits are listed that a bar counts; nil: bars lead nowhere
}

// New returns a maker with English words that draws with d.
func New(d Drawer) *Maker { return &Maker{Draw: d, Words: words.English} }

// In returns a maker that writes with w.
func (m *Maker) In(w *words.Words) *Maker {
	said := *m
	said.Words = w
	return &said
}

// Dispersed returns a maker whose figures draw the limits of days that vary as d says:
// those of weekdays, of spans of days, and of hours of the day, see
// usage.Dispersion.At. Single hours of the week keep the limits of chance, see
// usage.PatternOf.
func (m *Maker) Dispersed(d usage.Dispersion) *Maker {
	spread := *m
	spread.days = d
	return &spread
}

// Linked returns a maker whose bars, cells and rows of tables lead to the visits that
// they count, by the address that link gives.
func (m *Maker) Linked(link func(Visits) string) *Maker {
	linked := *m
	linked.link = link
	return &linked
}

// addressed gives the bars the addresses of their visits.
func (m *Maker) addressed(bars []bar) []bar {
	for i := range bars {
		if m.link != nil {
			bars[i].href = m.link(bars[i].which)
		}
	}
	return bars
}

// A drawing is an option and the size that it is meant for, in CSS px.
type drawing struct {
	option        map[string]any
	width, height int
}

// The widths that figures are drawn for, in CSS px: a column of text, and a
// phone 390 px wide less its margins. Text is 12 px in both.
const (
	wideWidth   = 720
	narrowWidth = 344
)

// draw fills in f.Wide and, where there is a narrow drawing, f.Narrow. With a context
// that is Wanting it draws nothing.
func (m *Maker) draw(ctx context.Context, f Figure, wide drawing, narrow ...drawing) (Figure, error) {
	var err error
	_, f.Linked = wide.option["marks"]
	_, f.Live = wide.option[tipsKey]
	if w := Wanted(ctx); w != nil {
		w.answer(f.ID, wide, narrow)
		return f, nil
	}
	if f.Wide, err = m.svg(ctx, wide); err != nil {
		return Figure{}, fmt.Errorf("chart %s: %w", f.ID, err)
	}
	for _, d := range narrow {
		if f.Narrow, err = m.svg(ctx, d); err != nil {
			return Figure{}, fmt.Errorf("chart %s: %w", f.ID, err)
		}
	}
	return f, nil
}

func (m *Maker) svg(ctx context.Context, d drawing) (template.HTML, error) {
	option, err := d.json()
	if err != nil {
		return "", err
	}
	svg, err := m.Draw.Draw(ctx, option, d.width, d.height)
	return template.HTML(svg), err // the drawer has checked every element and escaped every text
}
