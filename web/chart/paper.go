package chart

import (
	"context"
	"fmt"
)

// Widths says which of its two drawings a figure gets.
type Widths int

// The drawings of a figure.
const (
	WideOnly   Widths = wideWidth
	NarrowOnly Widths = narrowWidth
)

// OnPaper returns a maker whose figures have one drawing and leave the other empty:
// a sheet of paper has one width, and drawing is what takes the time.
func (m *Maker) OnPaper(w Widths) *Maker {
	paper := *m
	paper.Draw = oneWidth{m.Draw, int(w)}
	return &paper
}

// oneWidth draws what has one width, and nothing for the others.
type oneWidth struct {
	Drawer
	width int
}

func (d oneWidth) Draw(ctx context.Context, option []byte, width, height int) ([]byte, error) {
	if width != d.width {
		return nil, nil
	}
	svg, err := d.Drawer.Draw(ctx, option, width, height)
	if err != nil {
		return nil, fmt.Errorf("draw for paper: %w", err)
	}
	return svg, nil
}
