// Package chart turns tallies into figures: a finding in words, a drawing made
// by ECharts from an option that go-echarts builds, and the table of the same
// numbers. It decides what is drawn; the package draw does the drawing.
package chart

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"

	"doorleaf/usage"
)

// A Drawer draws an ECharts option, given as JSON, to SVG of width × height
// CSS px. *draw.Engine is one.
type Drawer interface {
	Draw(ctx context.Context, option []byte, width, height int) (svg []byte, err error)
}

// Maker makes figures. It is safe for concurrent use. The zero value of Words
// is not usable: take English.
type Maker struct {
	Draw  Drawer
	Words Words
	phi   float64 // dispersion of the days that are drawn; 1 at most where they vary by chance alone
}

// New returns a maker with English words that draws with d.
func New(d Drawer) *Maker { return &Maker{Draw: d, Words: English} }

// Dispersed returns a maker whose figures of whole days and more draw the limits of
// days that vary by phi times what chance makes of them, see usage.DispersedLimits.
// Single hours keep the limits of chance: by how much days differ says little of
// one hour.
func (m *Maker) Dispersed(phi float64) *Maker {
	spread := *m
	spread.phi = phi
	return &spread
}

// spread gives the bars the limits of the maker's dispersion.
func (m *Maker) spread(bars []bar) []bar {
	for i := range bars {
		if b := &bars[i]; b.rate != nil {
			b.rate = usage.DispersedRate(b.visits, b.exposureH/b.unitH, m.phi, usage.Confidence)
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

// draw fills in f.Wide and, where there is a narrow drawing, f.Narrow.
func (m *Maker) draw(ctx context.Context, f Figure, wide drawing, narrow ...drawing) (Figure, error) {
	var err error
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
	option, err := json.Marshal(d.option)
	if err != nil {
		return "", fmt.Errorf("write option: %w", err)
	}
	svg, err := m.Draw.Draw(ctx, option, d.width, d.height)
	return template.HTML(svg), err // the drawer has checked every element and escaped every text
}
