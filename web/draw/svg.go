package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// kept maps each element that a drawing may hold to nothing more; any other is
// an error, except those in dropped.
var kept = set("svg", "g", "path", "rect", "circle", "line", "polyline", "polygon", "ellipse",
	"text", "tspan", "defs", "clipPath", "linearGradient", "radialGradient", "stop", "pattern")

var dropped = set("style", "title", "desc", "metadata")

// The attributes that a drawing may hold, by how their values are written.
// Attributes in neither set are an error, except those in silent.
var (
	numeric = set("d", "x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "fx", "fy", "dx", "dy",
		"width", "height", "points", "transform", "viewBox", "offset", "font-size", "stroke-width",
		"stroke-dasharray", "stroke-dashoffset", "stroke-miterlimit", "opacity", "fill-opacity",
		"stroke-opacity", "stop-opacity", "gradientTransform", "patternTransform", "textLength")
	coloured = set("fill", "stroke", "stop-color", "color")
	verbal   = set("stroke-linecap", "stroke-linejoin", "fill-rule", "clip-rule", "text-anchor", "dominant-baseline",
		"font-weight", "font-style", "gradientUnits", "patternUnits", "patternContentUnits", "clipPathUnits",
		"paint-order", "spreadMethod")
	silent = set("class", "font-family", "pointer-events", "cursor", "user-select", "position", "left", "top",
		"version", "baseProfile", "white-space", "role", "aria-label")
)

func set(names ...string) map[string]bool {
	m := make(map[string]bool, len(names))
	for _, n := range names {
		m[n] = true
	}
	return m
}

// rewriter copies an SVG that ECharts wrote, token by token.
//
// The copy has no style attribute or element, no class, no font family, no
// script or event, no reference out of itself; it scales with its box; its ids
// begin with prefix and are numbered in order of appearance; its numbers have
// at most two decimals; its colours are themed. Whatever the rewriter does not
// know is an error, so a new kind of drawing is noticed and not let through.
type rewriter struct {
	out    bytes.Buffer
	prefix string
	ids    map[string]string
	open   bool // the last start tag still lacks its ">"
	words  int  // depth of text elements
}

// rewrite returns the copy of svg described at rewriter.
func rewrite(svg, prefix string) ([]byte, error) {
	rw := &rewriter{prefix: prefix, ids: make(map[string]string)}
	rw.out.Grow(len(svg))
	dec := xml.NewDecoder(strings.NewReader(legible(svg)))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return rw.out.Bytes(), nil
		}
		if err != nil {
			return nil, fmt.Errorf("rewrite svg: %w", err)
		}
		if err := rw.token(dec, tok); err != nil {
			return nil, fmt.Errorf("rewrite svg: %w", err)
		}
	}
}

// legible replaces what XML 1.0 (section 2.2) forbids by U+FFFD. A label may
// hold anything, and ECharts passes control characters on.
func legible(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n' || r == '\r',
			r >= 0x20 && r <= 0xD7FF, r >= 0xE000 && r <= 0xFFFD, r >= 0x10000 && r <= utf8.MaxRune:
			return r
		}
		return utf8.RuneError
	}, s)
}

func (rw *rewriter) token(dec *xml.Decoder, tok xml.Token) error {
	switch t := tok.(type) {
	case xml.StartElement:
		return rw.start(dec, t)
	case xml.EndElement:
		rw.end(t.Name.Local)
	case xml.CharData:
		if rw.words > 0 {
			rw.close()
			escape(&rw.out, string(t))
		} else if len(bytes.TrimSpace(t)) > 0 {
			return fmt.Errorf("text %q outside a text element", t)
		}
	case xml.Comment:
	default:
		return fmt.Errorf("unexpected %T", tok)
	}
	return nil
}

func (rw *rewriter) start(dec *xml.Decoder, t xml.StartElement) error {
	name := t.Name.Local
	if dropped[name] {
		return dec.Skip()
	}
	if !kept[name] {
		return fmt.Errorf("element %q is not allowed", name)
	}
	rw.close()
	rw.out.WriteString("<" + name)
	rw.open = true
	if name == "text" || name == "tspan" {
		rw.words++
	}
	if name == "svg" {
		return rw.root(t)
	}
	return rw.attributes(name, t.Attr)
}

// root writes the attributes of the outermost element: only what lets it stand
// alone and scale.
func (rw *rewriter) root(t xml.StartElement) error {
	rw.put("xmlns", "http://www.w3.org/2000/svg")
	for _, a := range t.Attr {
		if a.Name.Local == "viewBox" {
			return rw.attribute("svg", a.Name, a.Value)
		}
	}
	return nil
}

func (rw *rewriter) attributes(element string, attrs []xml.Attr) error {
	for _, a := range attrs {
		if a.Name.Local == "style" {
			if err := rw.style(element, a.Value); err != nil {
				return err
			}
			continue
		}
		if err := rw.attribute(element, a.Name, a.Value); err != nil {
			return err
		}
	}
	return nil
}

// style writes each declaration of a style attribute as the presentation
// attribute of that name.
func (rw *rewriter) style(element, css string) error {
	for decl := range strings.SplitSeq(css, ";") {
		prop, value, ok := strings.Cut(decl, ":")
		if !ok {
			continue
		}
		name := xml.Name{Local: strings.ToLower(strings.TrimSpace(prop))}
		if err := rw.attribute(element, name, strings.TrimSpace(value)); err != nil {
			return err
		}
	}
	return nil
}

func (rw *rewriter) attribute(element string, name xml.Name, value string) error {
	local := name.Local
	switch {
	case local == "id":
		rw.put("id", rw.rename(value))
	case local == "clip-path", coloured[local]:
		return rw.paint(local, value)
	case numeric[local] && plain.MatchString(value):
		rw.put(local, shorten(strings.ReplaceAll(value, "px", "")))
	case verbal[local] && plain.MatchString(value):
		rw.put(local, value)
	case local == "space" && value == "preserve":
		rw.put("xml:space", value)
	case silent[local], strings.HasPrefix(local, "ecmeta_"), name.Space == "xmlns":
	default:
		return fmt.Errorf("attribute %s=%q of %s is not allowed", local, value, element)
	}
	return nil
}

var (
	localURL = regexp.MustCompile(`^url\(['"]?#([\w-]+)['"]?\)$`)
	plain    = regexp.MustCompile(`^[\w\s.,%+-]*(\([\w\s.,%+-]*\)[\w\s.,%+-]*)*$`) // words, numbers, transforms
	colour   = regexp.MustCompile(`^(none|[a-z]+|#[0-9a-fA-F]{3,8}|rgba?\([0-9., %]+\))$`)
)

// paint writes a colour or a reference to something in the same drawing.
func (rw *rewriter) paint(name, value string) error {
	if m := localURL.FindStringSubmatch(value); m != nil {
		rw.put(name, "url(#"+rw.rename(m[1])+")")
		return nil
	}
	if !colour.MatchString(value) {
		return fmt.Errorf("%s %q is neither a colour nor a part of the drawing", name, value)
	}
	rw.put(name, themed(value))
	return nil
}

// rename returns the id that stands for id in this drawing.
func (rw *rewriter) rename(id string) string {
	if _, ok := rw.ids[id]; !ok {
		rw.ids[id] = rw.prefix + strconv.Itoa(len(rw.ids))
	}
	return rw.ids[id]
}

func (rw *rewriter) put(name, value string) {
	rw.out.WriteString(" " + name + `="`)
	escape(&rw.out, value)
	rw.out.WriteByte('"')
}

func (rw *rewriter) close() {
	if rw.open {
		rw.out.WriteByte('>')
		rw.open = false
	}
}

func (rw *rewriter) end(name string) {
	if name == "text" || name == "tspan" {
		rw.words--
	}
	if rw.open {
		rw.out.WriteString("/>")
		rw.open = false
		return
	}
	rw.out.WriteString("</" + name + ">")
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&#34;", "'", "&#39;")

func escape(w io.Writer, s string) { _, _ = escaper.WriteString(w, s) }

var number = regexp.MustCompile(`-?(\d+\.\d*|\.\d+|\d+)(e[-+]?\d+)?`)

// shorten rounds every number in s to two decimals.
func shorten(s string) string {
	return number.ReplaceAllStringFunc(s, func(n string) string {
		v, err := strconv.ParseFloat(n, 64)
		if err != nil {
			return n
		}
		v = math.Round(v*100) / 100
		if v == 0 {
			v = 0 // no minus nought
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	})
}
