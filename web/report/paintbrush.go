package report

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// ink is a colour of paint with its opacity; none paints nothing.
type ink struct {
	none     bool
	r, g, b  int
	opacity  float64
	gradient *element // in its place, a linearGradient
}

// paper holds the colours that drawings have on paper, by the names of the CSS
// variables that stand in them: those of the style sheet's own for print.
var paper = map[string][3]int{
	"ink": {0x1a, 0x18, 0x14}, "faint": {0x55, 0x4f, 0x45}, "rule": {0xcc, 0xc5, 0xb8}, "ground": {255, 255, 255},
	"use": {0x2f, 0x6b, 0x53}, "pale": {0xb5, 0xca, 0xbb}, "brick": {0xa4, 0x45, 0x2c}, "hatch": {0x8a, 0x82, 0x72},
}

var (
	variable  = regexp.MustCompile(`^var\(--c-([a-z]+),\s*(#[0-9a-fA-F]{6})\)$`)
	hexColour = regexp.MustCompile(`^#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})$`)
	rgbColour = regexp.MustCompile(`^rgba?\(\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*(?:,\s*([\d.]+)\s*)?\)$`)
	reference = regexp.MustCompile(`^url\(#([\w-]+)\)$`)
)

// inkOf reads a colour (SVG 1.1, 11.2): hexadecimal, rgb(), one of the variables of
// paper, black, white, none, or a gradient of the same drawing.
func (p *painting) inkOf(s string) (ink, error) {
	if m := variable.FindStringSubmatch(s); m != nil {
		if c, ok := paper[m[1]]; ok {
			return ink{r: c[0], g: c[1], b: c[2], opacity: 1}, nil
		}
		s = m[2]
	}
	if m := hexColour.FindStringSubmatch(s); m != nil {
		return hexInk(m[1]), nil
	}
	if m := rgbColour.FindStringSubmatch(s); m != nil {
		return rgbInk(m)
	}
	if m := reference.FindStringSubmatch(s); m != nil {
		if e := p.byID[m[1]]; e != nil && e.name == "linearGradient" {
			return ink{opacity: 1, gradient: e}, nil
		}
	}
	switch s {
	case "none", "transparent":
		return ink{none: true}, nil
	case "black":
		return ink{opacity: 1}, nil
	case "white":
		return ink{r: 255, g: 255, b: 255, opacity: 1}, nil
	}
	return ink{}, fmt.Errorf("paint: colour %q is not known", s)
}

func hexInk(hex string) ink {
	if len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	v, _ := strconv.ParseUint(hex, 16, 32)
	return ink{r: int(v >> 16), g: int(v >> 8 & 255), b: int(v & 255), opacity: 1}
}

func rgbInk(m []string) (ink, error) {
	c := ink{opacity: 1}
	for i, to := range []*int{&c.r, &c.g, &c.b} {
		v, err := strconv.Atoi(m[i+1])
		if err != nil || v > 255 {
			return c, fmt.Errorf("paint: colour %q is not known", m[0])
		}
		*to = v
	}
	if m[4] != "" {
		v, err := strconv.ParseFloat(m[4], 64)
		if err != nil {
			return c, fmt.Errorf("paint: colour %q is not known", m[0])
		}
		c.opacity = min(1, v)
	}
	return c, nil
}

// brush is how an element is painted, most of it handed down from those around it.
type brush struct {
	to           affine // from the element's units to mm on the page
	fill, stroke ink
	width        float64 // of a stroke, in the element's units
	opacity      float64 // of the element and all around it
	fillOpacity  float64
	strokOpacity float64
	evenOdd      bool
	linecap      string
	join         string
	dash         []float64
	dashOffset   float64
	fontSize     float64
	bold         bool
	anchor       string
	central      bool
}

func freshBrush(to affine) brush {
	return brush{
		to: to, fill: ink{opacity: 1}, stroke: ink{none: true}, width: 1, opacity: 1, fillOpacity: 1, strokOpacity: 1,
		linecap: "butt", join: "miter", fontSize: 16, anchor: "start",
	}
}

// take returns the brush of an element whose parent is painted with b. Opacity of a
// group is handed down to what is in it, which differs from SVG where its parts lie
// on each other.
func (b brush) take(p *painting, e *element) (brush, error) {
	for name, value := range e.attr {
		if err := b.set(p, e, name, value); err != nil {
			return b, err
		}
	}
	return b, nil
}

func (b *brush) set(p *painting, e *element, name, value string) (err error) {
	switch name {
	case "transform":
		var m affine
		m, err = transformOf(value)
		b.to = b.to.then(m)
	case "fill":
		b.fill, err = p.inkOf(value)
	case "stroke":
		b.stroke, err = p.inkOf(value)
	case "stroke-width":
		b.width, err = e.number(name, 1)
	case "opacity":
		var v float64
		v, err = e.number(name, 1)
		b.opacity *= v
	case "fill-opacity":
		b.fillOpacity, err = e.number(name, 1)
	case "stroke-opacity":
		b.strokOpacity, err = e.number(name, 1)
	case "font-size":
		b.fontSize, err = e.number(name, 16)
	case "stroke-dashoffset":
		b.dashOffset, err = e.number(name, 0)
	case "stroke-dasharray":
		b.dash = nil
		if value != "none" {
			b.dash, err = numbersOf(value)
		}
	case "fill-rule", "stroke-linecap", "stroke-linejoin", "font-weight", "text-anchor", "dominant-baseline":
		err = b.setWord(name, value)
	}
	return err
}

// setWord sets what is written in words.
func (b *brush) setWord(name, value string) error {
	known := map[string]string{
		"fill-rule": "nonzero evenodd", "stroke-linecap": "butt round square", "stroke-linejoin": "miter round bevel",
		"font-weight": "normal bold 400 700", "text-anchor": "start middle end", "dominant-baseline": "auto alphabetic central middle",
	}[name]
	if !strings.Contains(" "+known+" ", " "+value+" ") {
		return fmt.Errorf("paint: %s %q is not known", name, value)
	}
	switch name {
	case "fill-rule":
		b.evenOdd = value == "evenodd"
	case "stroke-linecap":
		b.linecap = value
	case "stroke-linejoin":
		b.join = value
	case "font-weight":
		b.bold = value == "bold" || value == "700"
	case "text-anchor":
		b.anchor = value
	case "dominant-baseline":
		b.central = value == "central" || value == "middle"
	}
	return nil
}
