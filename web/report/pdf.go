package report

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"

	"doorleaf/web/words"
)

// Paper is a size of paper.
type Paper string

// The papers that a report may be for.
const (
	A4     Paper = "a4"     // ISO 216
	Letter Paper = "letter" // ANSI/ASME Y14.1
)

// The sheet, mm. The column of text, across mm wide, is the same on every paper, and so is what
// stands in it but for the breaks of pages.
const (
	across    = 170.0
	topEdge   = 24.0 // from the second page on
	lowEdge   = 20.0
	headLevel = 14.0 // baseline of the line above the text
)

// The inks of a report.
var (
	inkDark  = paper["ink"]
	inkFaint = paper["faint"]
	inkRule  = paper["rule"]
	inkUse   = paper["use"]
	inkBrick = paper["brick"]
)

// The styles of a report.
var (
	styleTitle   = style{faceBook, 27, inkDark}
	styleSubject = style{faceBook, 13, inkUse}
	styleSection = style{faceBook, 16, inkDark}
	styleSite    = style{faceBook, 12.5, inkDark}
	styleLead    = style{faceBook, 13, inkDark}
	styleBody    = style{faceText, 10, inkDark}
	styleFigure  = style{faceBold, 14, inkDark}
	styleSmallF  = style{faceBold, 10.5, inkDark}
	styleTerm    = style{faceText, 8, inkFaint}
	styleFine    = style{faceText, 8, inkFaint}
	styleCell    = style{faceText, 8.5, inkDark}
	styleCellB   = style{faceBold, 8.5, inkDark}
	styleHead    = style{faceBold, 8, inkFaint}
	styleChart   = style{faceBook, 10, inkDark}
)

// WritePDF writes a season report as PDF: page one tells the season in sentences,
// figures and the hours of the week; then come the table of sites, half a page for
// each of them, what was done, what is doubtful, and how it was counted. Text can
// be searched and copied, charts are lines and not pixels, typefaces are embedded
// as far as they are used, and every section and site is in the outline. Letters
// that no face has are written as □; scripts that join their letters, or run from
// right to left, are not shaped.
//
// The same season gives the same bytes. Errors: a drawing that could not be made or
// has something in it that the painter does not know.
func WritePDF(ctx context.Context, w io.Writer, s Season, on Paper, d Drawing) error {
	if on != A4 && on != Letter {
		return fmt.Errorf("write pdf: paper %q is not known", on)
	}
	doc, err := d.illustrated(ctx, s)
	if err != nil {
		return err
	}
	l, err := newLayout(doc, s, on)
	if err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	if err := l.all(); err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	if err := l.Output(w); err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	return nil
}

// layout is a document on its way onto pages. It goes down the page; y is where the
// next thing begins, mm from the upper edge.
type layout struct {
	*pen
	words  *words.Words
	doc    *document
	left   float64
	bottom float64 // the lowest that text may reach
	y      float64
	err    error
}

func newLayout(doc *document, s Season, on Paper) (*layout, error) {
	pdf := fpdf.New("P", "mm", map[Paper]string{A4: "A4", Letter: "Letter"}[on], "")
	made := time.Unix(int64(s.Made)*86400, 0).UTC()
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(made)
	pdf.SetModificationDate(made)
	pdf.SetTitle(basic(doc.Title), true)
	pdf.SetSubject(basic(doc.Subject), true)
	pdf.SetCreator("Doorleaf", true)
	pdf.SetProducer("Doorleaf", true)
	pdf.SetLang(s.words().Language())
	pdf.SetDisplayMode("fullpage", "continuous")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	p, err := newPen(pdf)
	if err != nil {
		return nil, err
	}
	wide, high := pdf.GetPageSize()
	return &layout{pen: p, words: s.words(), doc: doc, left: (wide - across) / 2, bottom: high - lowEdge}, nil
}

// all lays the whole document out.
func (l *layout) all() error {
	l.pageOne()
	l.siteTable()
	l.sites()
	l.own()
	for i := range l.doc.Done {
		l.sheet(&l.doc.Done[i], i == 0)
	}
	l.sheet(l.doc.Doubtful, true)
	l.sheet(l.doc.Proposed, true)
	l.closing()
	l.edges()
	if l.err == nil {
		l.err = l.Error()
	}
	return l.err
}

func (l *layout) keep(err error) {
	if l.err == nil {
		l.err = err
	}
}

// newPage begins a page.
func (l *layout) newPage() {
	l.AddPage()
	l.y = topEdge
}

// room begins a page unless the next h mm have room on this one.
func (l *layout) room(h float64) {
	if l.y+h > l.bottom {
		l.newPage()
	}
}

// body is the height of a page's text.
func (l *layout) body() float64 { return l.bottom - topEdge }

// edges writes what stands above and below the text of every page, once their
// number is known.
func (l *layout) edges() {
	_, high := l.GetPageSize()
	all := l.PageCount()
	for n := 1; n <= all; n++ {
		l.SetPage(n)
		l.SetFillColor(255, 255, 255) // else the library takes this page's colour to be the last page's
		foot := high - 11
		l.rule(l.left, foot-4.5, across, 0.15, inkRule)
		l.write(l.left, foot, l.words.Say("Doorleaf · made on %s", l.doc.Made), styleFine)
		l.writeRight(l.left+across, foot, l.words.Say("%d of %d", n, all), styleFine)
		if n > 1 {
			head := l.shortened(l.doc.Subject, styleFine, across*0.6)
			l.write(l.left, headLevel, l.doc.Season, styleFine)
			l.writeRight(l.left+across, headLevel, head, styleFine)
			l.rule(l.left, headLevel+2.5, across, 0.15, inkRule)
		}
	}
}

// lines writes a text in lines of a width from x on, and returns its height.
func (l *layout) lines(x, y float64, s string, st style, width float64) float64 {
	lines := l.wrap(s, st, width)
	for i, line := range lines {
		l.write(x, y+st.rise()+float64(i)*st.leading(), line, st)
	}
	return float64(len(lines)) * st.leading()
}

// height is that of lines.
func (l *layout) height(s string, st style, width float64) float64 {
	return float64(len(l.wrap(s, st, width))) * st.leading()
}

// mark says where the outline leads to.
func (l *layout) mark(title string, level int) {
	l.Bookmark(basic(l.shortened(title, styleBody, 150)), level, l.y)
}

// basic writes □ for what the library cannot write in titles and the outline:
// letters beyond the first 65,536 and bytes that are no text.
func basic(s string) string {
	return strings.Map(func(r rune) rune {
		if r > 0xffff || r == utf8.RuneError {
			return missing
		}
		return r
	}, s)
}
