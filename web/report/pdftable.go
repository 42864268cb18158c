package report

import (
	"slices"
	"strings"
)

// A table is ruled as on the pages: a double line below its head, a thin one below
// each row.
const (
	padAbove = 1.1 // mm within a row
	padBelow = 1.2
	gutter   = 2.5 // mm between columns
)

// laidRow is a row broken into lines.
type laidRow struct {
	cells [][]laidLine
	sum   bool
	high  float64
}

type laidLine struct {
	text string
	style
}

// sheet lays a table out, its caption as a section where section is true. A head
// stands above the rows on every page, and no row is cut but one that is higher
// than a page.
func (l *layout) sheet(t *sheet, section bool) {
	if t == nil {
		return
	}
	t = l.fitted(t)
	rows := make([]laidRow, len(t.Rows))
	for i, r := range t.Rows {
		rows[i] = l.layRow(t, r)
	}
	head := l.layHead(t)
	first := head.high
	if len(rows) > 0 {
		first += min(rows[0].high, l.body()/2)
	}
	l.titled(t.Caption, section, first)
	l.head(t, head)
	for i, r := range rows {
		need := r.high
		if need > l.body()-head.high {
			need = l.body() / 4 // it is cut in any case
		}
		if i == len(rows)-2 && rows[i+1].sum {
			need += rows[i+1].high // a sum never stands alone
		}
		if l.y+need > l.bottom && l.y > topEdge+head.high+1 {
			l.newPage()
			l.head(t, head)
		}
		l.rows(t, r, head)
	}
	if t.Note != "" {
		l.room(8)
		l.y += 1.5
		l.y += l.lines(l.left, l.y, t.Note, styleFine, across)
	}
	l.y += 6
}

// leastFirst is how narrow the first column may get, mm.
const leastFirst = 30

// fitted is a table whose columns of figures hold every word of their heads whole: what
// a column lacks for the longest is taken from the first.
func (l *layout) fitted(t *sheet) *sheet {
	fit := *t
	fit.Columns = slices.Clone(t.Columns)
	for i := 1; i < len(fit.Columns); i++ {
		c := &fit.Columns[i]
		if !c.Right {
			continue
		}
		for _, word := range strings.Fields(c.Head) {
			lack := min(l.measure(word, styleHead)+gutter+0.1-c.Width, fit.Columns[0].Width-leastFirst)
			if lack > 0 {
				c.Width, fit.Columns[0].Width = c.Width+lack, fit.Columns[0].Width-lack
			}
		}
	}
	return &fit
}

// rows writes a row, over several pages where it is higher than one.
func (l *layout) rows(t *sheet, r laidRow, head laidRow) {
	for l.y+r.high > l.bottom {
		part, rest := r.cut(l.bottom - l.y - padAbove - padBelow)
		l.row(t, part)
		l.newPage()
		l.head(t, head)
		if rest.high >= r.high {
			break // not one line has room
		}
		r = rest
	}
	l.row(t, r)
}

// cut parts a row in two, of which the first is no higher than h.
func (r laidRow) cut(h float64) (part, rest laidRow) {
	for _, lines := range r.cells {
		n, used := 0, 0.0
		for n < len(lines) && used+lines[n].leading() <= h {
			used += lines[n].leading()
			n++
		}
		part.cells, rest.cells = append(part.cells, lines[:n]), append(rest.cells, lines[n:])
	}
	part.measure()
	rest.measure()
	return part, rest
}

func (r *laidRow) measure() {
	r.high = 0
	for _, lines := range r.cells {
		h := 0.0
		for _, line := range lines {
			h += line.leading()
		}
		r.high = max(r.high, h)
	}
	r.high += padAbove + padBelow
}

func (l *layout) layRow(t *sheet, r sheetRow) laidRow {
	out := laidRow{sum: r.Sum}
	for i, c := range r.Cells {
		width := t.Columns[i].Width - gutter
		lead, fine := styleCell, styleFine
		if c.Bold {
			lead = styleCellB
		}
		fine.size = 7.5
		var lines []laidLine
		if c.Lead != "" {
			for _, s := range l.wrap(c.Lead, lead, width) {
				lines = append(lines, laidLine{s, lead})
			}
		}
		for _, f := range c.Fine {
			for _, s := range l.wrap(f, fine, width) {
				lines = append(lines, laidLine{s, fine})
			}
		}
		out.cells = append(out.cells, lines)
	}
	out.measure()
	return out
}

func (l *layout) layHead(t *sheet) laidRow {
	var out laidRow
	for _, c := range t.Columns {
		var lines []laidLine
		for _, s := range l.wrap(c.Head, styleHead, c.Width-gutter) {
			lines = append(lines, laidLine{s, styleHead})
		}
		out.cells = append(out.cells, lines)
	}
	out.measure()
	out.high++
	return out
}

// head writes a table's head, whose words stand on its lower edge.
func (l *layout) head(t *sheet, head laidRow) {
	most := 0
	for _, lines := range head.cells {
		most = max(most, len(lines))
	}
	low := laidRow{high: head.high}
	for _, lines := range head.cells {
		low.cells = append(low.cells, append(make([]laidLine, most-len(lines)), lines...))
	}
	for _, lines := range low.cells {
		for i := range lines {
			lines[i].style = styleHead
		}
	}
	l.cells(t, low)
	l.y += head.high
	l.rule(l.left, l.y-0.9, across, 0.2, inkFaint)
	l.rule(l.left, l.y-0.3, across, 0.2, inkFaint)
}

// row writes a row and the line below it; a sum has a double one above.
func (l *layout) row(t *sheet, r laidRow) {
	if r.sum {
		l.rule(l.left, l.y, across, 0.2, inkFaint)
		l.rule(l.left, l.y+0.6, across, 0.2, inkFaint)
		l.y += 0.6
	}
	l.cells(t, r)
	l.y += r.high
	l.rule(l.left, l.y, across, 0.12, inkRule)
}

func (l *layout) cells(t *sheet, r laidRow) {
	x := l.left
	for i, lines := range r.cells {
		c := t.Columns[i]
		y := l.y + padAbove
		for _, line := range lines {
			if c.Right {
				l.writeRight(x+c.Width, y+line.rise(), line.text, line.style)
			} else {
				l.write(x, y+line.rise(), line.text, line.style)
			}
			y += line.leading()
		}
		x += c.Width
	}
}
