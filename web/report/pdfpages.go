package report

import (
	"doorleaf/web"
)

// leaf is the mark, as the pages have it: 32 units wide and high.
const leaf = `<svg viewBox="0 0 32 32"><g fill="#2f6b53" fill-rule="evenodd"><path d="M16 4.5 2 1v30l14-3.5V24L5 26.75V5.25L16 8z"/>` +
	`<path d="M16 4.5 30 1v30l-14-3.5zM25 14a2 2 0 1 0 0 4 2 2 0 0 0 0-4z"/></g></svg>`

// pageOne tells the season.
func (l *layout) pageOne() {
	d := l.doc
	l.AddPage()
	_, err := l.paint(leaf, l.left, 15, 8)
	l.keep(err)
	l.write(l.left+10.5, 20.8, web.Program, styleSite)
	l.writeRight(l.left+across, 20.8, l.words.Say("Season report"), styleFine)
	l.rule(l.left, 26, across, 0.25, inkFaint)
	l.rule(l.left, 26.8, across, 0.25, inkFaint)
	l.y = 31
	l.mark(l.words.Say("The season in short"), 0)
	l.y += l.lines(l.left, l.y, d.Season, styleTitle, across) + 0.5
	l.y += l.lines(l.left, l.y, d.Subject, styleSubject, across) + 4
	for i, s := range d.Sentence {
		if i == 0 {
			l.y += l.lines(l.left, l.y, s, styleLead, across) + 2
			continue
		}
		l.room(styleBody.leading() * 2)
		l.y += l.lines(l.left, l.y, s, styleBody, across*0.94) + 1.2
	}
	if len(d.Key) > 0 {
		l.y += 3.5
		l.figures(d.Key, 4, styleFigure)
	}
	if d.Picture != nil {
		l.y += 2
		l.picture(*d.Picture)
	}
	if d.SideBy != nil && l.y+l.pictureHeight(*d.SideBy) <= l.bottom {
		l.picture(*d.SideBy)
		d.SideBy = nil
	}
}

// figures writes key figures in so many columns.
func (l *layout) figures(figures []figure, columns int, value style) {
	width := across / float64(columns)
	for len(figures) > 0 {
		row := figures[:min(columns, len(figures))]
		figures = figures[len(row):]
		h := l.figureRow(row, width, value, false)
		l.room(h)
		l.rule(l.left, l.y, across, 0.12, inkRule)
		l.figureRow(row, width, value, true)
		l.y += h
	}
}

// figureRow writes figures side by side where write is true, and returns the height
// that they take.
func (l *layout) figureRow(row []figure, width float64, value style, write bool) float64 {
	terms, values, fines := 0.0, value.leading(), 0.0
	for _, f := range row {
		terms = max(terms, l.height(f.Term, styleTerm, width-3))
		if f.Fine != "" {
			fines = max(fines, l.height(f.Fine, styleFine, width-3))
		}
	}
	if write {
		for i, f := range row {
			x, y := l.left+float64(i)*width, l.y+1.5
			l.lines(x, y, f.Term, styleTerm, width-3)
			if f.Value == "" {
				l.lines(x, y+terms, f.Fine, styleBody.in(inkFaint), width-3)
				continue
			}
			l.lines(x, y+terms, f.Value, value, width-3)
			if f.Fine != "" {
				l.lines(x, y+terms+values, f.Fine, styleFine, width-3)
			}
		}
	}
	return 1.5 + terms + values + fines + 2
}

// picture writes a chart over the whole column: what it finds, what it shows, and
// the drawing.
func (l *layout) picture(p picture) {
	l.room(l.pictureHeight(p))
	l.y += l.lines(l.left, l.y, p.Title, styleSite, across)
	l.y += l.lines(l.left, l.y, p.Says, styleFine, across) + 2
	high, err := l.paint(string(p.SVG), l.left, l.y, across)
	l.keep(err)
	l.y += high + 5
}

func (l *layout) pictureHeight(p picture) float64 {
	high, err := sizeOf(string(p.SVG), across)
	l.keep(err)
	return l.height(p.Title, styleSite, across) + l.height(p.Says, styleFine, across) + 2 + high
}

// titled begins a section, or a part of one, of which the first need mm stay with
// its title.
func (l *layout) titled(title string, section bool, need float64) {
	st, level := styleSite, 1
	if section {
		st, level = styleSection, 0
	}
	l.room(st.leading() + 8 + need)
	if section && l.y > topEdge {
		l.y += 3
	}
	l.mark(title, level)
	l.y += l.lines(l.left, l.y, title, st, across) + 1.5
}

// siteTable lays out the boxes side by side and their table, after page one.
func (l *layout) siteTable() {
	if l.doc.Sites == nil {
		return
	}
	if l.doc.Key != nil { // else page one is all but empty
		l.newPage()
	}
	if p := l.doc.SideBy; p != nil {
		l.mark(l.words.Say("The boxes side by side"), 0)
		l.picture(*p)
	}
	l.sheet(l.doc.Sites, true)
}

// own lays out the pictures of a report on one site.
func (l *layout) own() {
	for i, p := range l.doc.Own {
		if i == 0 {
			l.newPage()
			l.mark(l.words.Say("By hour and by week"), 0)
		}
		l.picture(p)
	}
}

// sites lays out half a page for every site.
func (l *layout) sites() {
	for i, part := range l.doc.Each {
		h := l.site(part, false)
		if i == 0 && l.doc.Key != nil {
			l.newPage()
		}
		l.room(h)
		if i == 0 {
			l.mark(l.words.Say("Site by site"), 0)
		}
		l.site(part, true)
	}
	l.y += 4
}

// The half page of a site: two drawings side by side, each so wide.
const (
	half       = 82.0
	betweenTwo = across - 2*half
)

// site writes the part of one site where write is true, and returns its height.
func (l *layout) site(part sitePart, write bool) float64 {
	from := l.y
	if write {
		l.mark(part.Name, 1)
	}
	down := func(h float64) { l.y += h }
	text := func(s string, st style) {
		if write {
			l.lines(l.left, l.y, s, st, across)
		}
		down(l.height(s, st, across))
	}
	if write {
		l.rule(l.left, l.y, across, 0.25, inkFaint)
	}
	down(2)
	text(part.Name, styleSite)
	text(part.About, styleFine)
	down(1)
	if part.Key != nil {
		const few = 5 // what has room in one row
		down(l.figureRow(part.Key[:few], across/few, styleSmallF, write))
		down(l.pair(part.Pictures, write))
	}
	for _, r := range part.Remarks {
		text(r, styleFine.in(inkBrick))
	}
	down(5)
	h := l.y - from
	if !write {
		l.y = from
	}
	return h
}

// pair writes two pictures side by side, and returns their height.
func (l *layout) pair(pictures []picture, write bool) (h float64) {
	words := 0.0
	for _, p := range pictures {
		words = max(words, l.height(p.Title, styleChart, half)+l.height(p.Says, styleFine, half))
	}
	for i, p := range pictures {
		high, err := sizeOf(string(p.SVG), half)
		l.keep(err)
		h = max(h, words+1.5+high)
		if !write {
			continue
		}
		x := l.left + float64(i)*(half+betweenTwo)
		under := l.lines(x, l.y, p.Title, styleChart, half)
		l.lines(x, l.y+under, p.Says, styleFine, half)
		_, err = l.paint(string(p.SVG), x, l.y+words+1.5, half)
		l.keep(err)
	}
	return h + 1
}

// closing says how it was counted, in a box, and what to take care of.
func (l *layout) closing() {
	l.boxed(l.words.Say(titleCounted), l.doc.Counted)
	l.boxed(l.words.Say(titleCare), l.doc.Cautions)
}

// boxed writes short notes beside a green line.
func (l *layout) boxed(title string, notes []string) {
	const inset = 5.0
	h := styleSite.leading() + 2
	for _, n := range notes {
		h += l.height(n, styleCell, across-inset) + 1
	}
	l.room(h + 8)
	l.y += 3
	l.mark(title, 0)
	top := l.y
	l.y += l.lines(l.left+inset, l.y, title, styleSite, across-inset) + 1
	for _, n := range notes {
		l.y += l.lines(l.left+inset, l.y, n, styleCell, across-inset) + 1
	}
	l.SetDrawColor(inkUse[0], inkUse[1], inkUse[2])
	l.SetLineWidth(0.8)
	l.Line(l.left+0.4, top, l.left+0.4, l.y)
	l.y += 3
}
