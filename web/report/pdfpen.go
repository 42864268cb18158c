package report

import (
	"fmt"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"doorleaf/web"
	"doorleaf/web/assets"
)

const mmPerPt = 25.4 / 72

// A face is a typeface with those that stand in for letters that it lacks.
type face string

const (
	faceBook face = "book" // headings
	faceText face = "text"
	faceBold face = "bold"
)

// style is how a text is written.
type style struct {
	face   face
	size   float64 // pt
	colour [3]int
}

// cast is one font file. It goes into the document when it is first written with.
type cast struct {
	name    string // in the document
	data    []byte
	font    *sfnt.Font
	buffer  sfnt.Buffer
	widths  map[rune]int // thousandths of the size; -1: no such letter
	carried bool
}

// pen writes on the pages of a document.
type pen struct {
	*fpdf.Fpdf
	faces map[face][]*cast
}

// newPen opens the faces: those of the pages, and the Go fonts, which have Greek,
// Cyrillic and signs, for what those lack.
func newPen(pdf *fpdf.Fpdf) (*pen, error) {
	p := &pen{pdf, map[face][]*cast{}}
	for name, files := range assets.PaperFonts {
		for _, file := range files {
			data, err := assets.Read(file)
			if err != nil {
				return nil, err
			}
			if err := p.carry(face(name), data); err != nil {
				return nil, err
			}
		}
		spare := gobold.TTF
		if face(name) == faceText {
			spare = goregular.TTF
		}
		if err := p.carry(face(name), slices.Clone(spare)); err != nil {
			return nil, err
		}
	}
	return p, nil
}

func (p *pen) carry(f face, data []byte) error {
	font, err := sfnt.Parse(data)
	if err != nil {
		return fmt.Errorf("typeface %s: %w", f, err)
	}
	n := len(p.faces[f])
	p.faces[f] = append(p.faces[f], &cast{name: fmt.Sprintf("%s%d", f, n), data: data, font: font, widths: map[rune]int{}})
	return nil
}

// width returns how wide a letter is, in thousandths of the size; -1 for one that
// the font does not have, or that the document cannot hold: letters beyond the
// first 65,536.
func (c *cast) width(r rune) int {
	if w, ok := c.widths[r]; ok {
		return w
	}
	w := -1
	if g, err := c.font.GlyphIndex(&c.buffer, r); err == nil && g != 0 && r <= 0xffff {
		em := c.font.UnitsPerEm()
		if a, err := c.font.GlyphAdvance(&c.buffer, g, fixed.I(int(em)), font.HintingNone); err == nil {
			w = (a.Round()*1000 + int(em)/2) / int(em)
		}
	}
	c.widths[r] = w
	return w
}

// missing stands for a letter that no face has.
const missing = '□'

// run is a piece of a text that one font has all letters of.
type run struct {
	*cast
	text  string
	width int // thousandths of the size
}

// runs cuts a text into runs.
func (p *pen) runs(s string, f face) (out []run) {
	var text []rune
	var now *cast
	width := 0
	flush := func() {
		if len(text) > 0 {
			out = append(out, run{now, string(text), width})
		}
		text, width = nil, 0
	}
	for _, r := range s {
		c, r, w := p.castOf(r, f)
		if c != now {
			flush()
			now = c
		}
		text, width = append(text, r), width+w
	}
	flush()
	return out
}

func (p *pen) castOf(r rune, f face) (*cast, rune, int) {
	for _, c := range p.faces[f] {
		if w := c.width(r); w >= 0 {
			return c, r, w
		}
	}
	spare := p.faces[f][len(p.faces[f])-1]
	return spare, missing, max(0, spare.width(missing))
}

// measure returns how wide a text is, mm.
func (p *pen) measure(s string, st style) float64 {
	w := 0
	for _, r := range p.runs(s, st.face) {
		w += r.width
	}
	return float64(w) / 1000 * st.size * mmPerPt
}

// write writes a line of text from x on, its baseline at y, mm.
func (p *pen) write(x, y float64, s string, st style) {
	p.SetTextColor(st.colour[0], st.colour[1], st.colour[2])
	for _, r := range p.runs(s, st.face) {
		if !r.carried {
			p.AddUTF8FontFromBytes(r.name, "", r.data)
			r.carried = true
		}
		p.SetFont(r.name, "", st.size)
		p.Text(x, y, r.text)
		x += float64(r.width) / 1000 * st.size * mmPerPt
	}
}

// writeRight ends the line at x.
func (p *pen) writeRight(x, y float64, s string, st style) { p.write(x-p.measure(s, st), y, s, st) }

// leading is the distance of two lines, mm.
func (st style) leading() float64 { return st.size * 1.32 * mmPerPt }

// rise is the distance of a line's top from its baseline, mm.
func (st style) rise() float64 { return st.size * 0.95 * mmPerPt }

// in returns the style in another colour.
func (st style) in(colour [3]int) style {
	st.colour = colour
	return st
}

// wrap breaks a text into lines no wider than width, at spaces, and inside a word
// that is wider. What cannot be seen is written out, as on the pages.
func (p *pen) wrap(s string, st style, width float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(web.Visible(s)) {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if p.measure(joined, st) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		parts := p.chop(word, st, width)
		lines = append(lines, parts[:len(parts)-1]...)
		line = parts[len(parts)-1]
	}
	return append(lines, line)
}

// chop breaks a word wherever it must.
func (p *pen) chop(word string, st style, width float64) (parts []string) {
	part := ""
	for _, r := range word {
		if part != "" && p.measure(part+string(r), st) > width {
			parts = append(parts, part)
			part = ""
		}
		part += string(r)
	}
	return append(parts, part)
}

// shortened cuts a text to a width.
func (p *pen) shortened(s string, st style, width float64) string {
	s = strings.Join(strings.Fields(web.Visible(s)), " ")
	if p.measure(s, st) <= width {
		return s
	}
	letters := []rune(s)
	for len(letters) > 0 && p.measure(string(letters)+"…", st) > width {
		letters = letters[:len(letters)-1]
	}
	return strings.TrimSpace(string(letters)) + "…"
}

// plainLines undoes what a drawing did to lines.
func (p *pen) plainLines() {
	p.SetDashPattern([]float64{}, 0)
	p.SetLineCapStyle("butt")
	p.SetLineJoinStyle("miter")
}

// rule draws a level line, mm wide and thick.
func (p *pen) rule(x, y, width, thick float64, colour [3]int) {
	p.SetDrawColor(colour[0], colour[1], colour[2])
	p.SetLineWidth(thick)
	p.Line(x, y, x+width, y)
}
