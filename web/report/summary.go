package report

import (
	"fmt"
	"slices"

	"github.com/xuri/excelize/v2"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// summary writes the first sheet: the season in sentences, the key figures, the sites
// as picture and table, how it was counted, cautions.
func (b *book) summary() error {
	w := b.season.words()
	p := page{book: b, sheet: w.Say("Summary")}
	if err := b.SetSheetName("Sheet1", p.sheet); err != nil {
		return err
	}
	if err := b.printed(p.sheet, "portrait", 1, ""); err != nil {
		return err
	}
	p.style()
	p.widths()
	p.text(b.season.heading(), p.title)
	for _, says := range b.season.Sentence {
		p.text(says, p.body)
	}
	p.keyFigures()
	p.sites()
	p.part(w.Say(titleCounted), countedNotes(w))
	p.part(w.Say(titleCare), cautionNotes(w))
	p.text(w.Say("Made on %s.", b.season.Made.String()), p.body)
	return p.err
}

// page is a sheet that is written from the top down. The first error stays.
type page struct {
	book              *book
	sheet             string
	row               int
	title, head, body int
	number            int // the head of a column of numbers
	chart             int // the row at which the chart of the sites begins; 0: none
	err               error
}

func (p *page) try(err error) {
	if p.err == nil {
		p.err = err
	}
}

func (p *page) style() {
	make := func(s excelize.Style) int {
		id, err := p.book.NewStyle(&s)
		p.try(err)
		return id
	}
	wrap, right := &excelize.Alignment{WrapText: true, Vertical: "top"}, &excelize.Alignment{WrapText: true, Vertical: "top", Horizontal: "right"}
	bold := &excelize.Font{Bold: true, Family: bookFont}
	p.title = make(excelize.Style{Font: &excelize.Font{Bold: true, Size: 16, Family: bookFont}, Alignment: wrap})
	p.head = make(excelize.Style{Font: bold, Alignment: wrap})
	p.number = make(excelize.Style{Font: bold, Alignment: right})
	p.body = make(excelize.Style{Alignment: wrap})
}

// The columns of the first sheet, and how many characters they are wide: the first,
// each of the others, all.
const (
	summaryColumns = 6
	summaryFirst   = 34
	summaryOther   = 12
	summaryWide    = summaryFirst + (summaryColumns-1)*summaryOther
)

func (p *page) widths() {
	p.try(p.book.SetColWidth(p.sheet, "A", "A", summaryFirst))
	p.try(p.book.SetColWidth(p.sheet, "B", "F", summaryOther))
}

// text writes a line of text over all columns, as high as it needs.
func (p *page) text(s string, style int) {
	p.row++
	from, to := address(1, p.row), address(summaryColumns, p.row)
	p.try(p.book.MergeCell(p.sheet, from, to))
	p.try(p.book.SetCellStr(p.sheet, from, sheetText(s)))
	p.try(p.book.SetCellStyle(p.sheet, from, to, style))
	lines, high := linesOf(s, summaryWide), lineHeight+1.0
	if style == p.title {
		lines, high = linesOf(s, summaryWide*10/16), 24
	}
	p.try(p.book.SetRowHeight(p.sheet, p.row, min(tallest, float64(lines)*high)))
}

func (p *page) part(title string, notes []string) {
	p.row++
	p.text(title, p.head)
	for _, n := range notes {
		p.text(n, p.body)
	}
}

// keyFigures are those of the network, or of the one site.
func (p *page) keyFigures() {
	f := p.book.season.Network
	if sites := p.book.season.Sites; p.book.season.OneSite && len(sites) > 0 {
		f = sites[0].Figures
	}
	p.row += 2
	w := p.book.season.words()
	p.heads(w.Say("Key figures"), w.Say("Value"), w.Say(lowLimit), w.Say(highLimit))
	p.figure(w.Say("Visits counted"), formatWhole, f.Counted)
	p.figure(w.Say("Covered days (of 24 hours)"), formatReal, f.CoveredDays)
	p.figure(w.Say("Days"), formatWhole, whole(f.Days))
	p.estimate(w.Say("Visits estimated"), formatWhole, f.Estimated)
	p.estimate(w.Say("Visits a day"), formatReal, f.PerDay)
	p.estimate(w.Say("Against last year"), formatReal, f.RatioToLast)
	p.estimate(w.Say("Share of visits in the dark"), formatShare, f.DarkShare)
	p.figure(w.Say("Hours that the door stood open"), formatReal, float64(f.OpenS)/3600)
	p.estimate(w.Say("Median seconds a visit"), formatReal, f.MedianOpenS)
	if f.Until != nil && !f.Complete {
		p.figure(w.Say("Figures reach up to"), formatDate, *f.Until)
	}
}

const (
	lowLimit     words.Text = "Low (95 %)"
	highLimit    words.Text = "High (95 %)"
	titleCounted words.Text = "How it was counted"
	titleCare    words.Text = "Take care"
)

// sites leaves room for the chart of the sites and writes their table.
func (p *page) sites() {
	sites := p.book.season.reported()
	if len(sites) == 0 || p.book.season.OneSite {
		return
	}
	p.row += 2
	p.chart = p.row
	for range chartRows {
		p.try(p.book.SetRowHeight(p.sheet, p.row, 15))
		p.row++
	}
	p.row++
	w := p.book.season.words()
	p.heads(w.Say(sheetSites), w.Say("Visits counted"), w.Say("Covered days"), w.Say("Visits estimated"), w.Say(lowLimit), w.Say(highLimit))
	for _, site := range sites {
		f := site.Figures
		p.figure(site.Name, formatWhole, f.Counted)
		p.values(3, formatReal, finite(f.CoveredDays))
		p.values(4, formatWhole, estimated(f.Estimated)...)
	}
	p.try(p.book.AddChart(p.sheet, address(1, p.chart), sitesChart(w, sites)))
}

// heads writes the head of a table: words, then columns of numbers.
func (p *page) heads(first string, others ...string) {
	p.cell(1, first, p.head)
	for i, name := range others {
		p.cell(i+2, name, p.number)
	}
	for _, name := range others {
		if len([]rune(name)) > summaryOther-1 {
			p.try(p.book.SetRowHeight(p.sheet, p.row, 2*lineHeight+2))
		}
	}
}

// estimate writes an estimate, unless there is none.
func (p *page) estimate(name, format string, e *usage.Estimate) {
	if e != nil {
		p.figure(name, format, estimated(e)...)
	}
}

func (p *page) figure(name, format string, values ...cell) {
	p.row++
	p.cell(1, sheetText(name), p.body)
	if lines := linesOf(name, summaryFirst); lines > 1 {
		p.try(p.book.SetRowHeight(p.sheet, p.row, min(tallest, float64(lines)*(lineHeight+1))))
	}
	p.values(2, format, values...)
}

// values writes numbers from a column on; what is unknown stays empty.
func (p *page) values(column int, format string, values ...cell) {
	style, err := p.book.style(format)
	p.try(err)
	for i, v := range values {
		if v := typed(v); v != nil {
			p.cell(column+i, v, style)
		}
	}
}

func (p *page) cell(column int, value any, style int) {
	at := address(column, p.row)
	p.try(p.book.SetCellValue(p.sheet, at, value))
	p.try(p.book.SetCellStyle(p.sheet, at, at, style))
}

func countedNotes(w *words.Words) []string {
	return []string{
		w.Say("Counted visits are what the loggers wrote; openings close together are one visit. Estimated visits are for the whole season, days without recording included, by weekday."),
		w.Say("Low and high are limits at a confidence of %.0f %%: from how many visits there were and how uneven their days were.", 100*usage.Confidence),
		w.Say("Covered days are the time in which a logger is held to have been recording. An empty cell is not known, and is not nought."),
		w.Say("Days and hours are civil time at the site. It is dark with the sun more than 6 degrees below the horizon."),
	}
}

// cautionNotes are common practice, no source.
func cautionNotes(w *words.Words) []string {
	return []string{
		w.Say("Opening times of a box beside a home say something about that home: publish coarse figures only."),
		w.Say("Button cells are dangerous when swallowed: keep them behind a screwed lid, out of children's reach."),
	}
}

// charts draws the hours of the day beside their table; the sites are on the first
// sheet.
func (b *book) charts() error {
	if len(hourRows(b.season)) > 0 {
		w := b.season.words()
		if err := b.AddChart(w.Say(sheetHours), "F2", hoursChart(w)); err != nil {
			return fmt.Errorf("chart of hours: %w", err)
		}
	}
	return nil
}

// chartRows is how many rows of 15 points the chart of the sites takes on the first
// sheet; the library takes such a row for 18 pixels.
const (
	chartRows = 19
	chartRow  = 18
)

// sitesChart shows of each site what is estimated as a point between its limits. The
// figures are those of the sheet of sites.
func sitesChart(w *words.Words, sites []Site) *excelize.Chart {
	c := &excelize.Chart{
		Type: excelize.StockHighLowClose, Title: chartTitle(w.Say("Estimated visits in the season, with 95 % limits")),
		Dimension: excelize.ChartDimension{Width: 680, Height: chartRows * chartRow},
		Legend:    excelize.ChartLegend{Position: "none"},
		XAxis:     excelize.ChartAxis{Font: axisFont},
		YAxis:     excelize.ChartAxis{MajorGridLines: true, Title: chartTitle(w.Say("visits")), Minimum: new(float64), Font: axisFont},
	}
	labels := 2 // the code, where there is no room for names
	if len(sites) <= 10 {
		labels = 3
	}
	for _, name := range []string{"estimated_visits_high", "estimated_visits_low", "estimated_visits"} {
		i := slices.IndexFunc(sitesOfSeason.columns, func(c column) bool { return c.name == name })
		s := series(w.Say(sheetSites), labels, i+1, len(sites), "2F5D4A")
		s.Marker = excelize.ChartMarker{Symbol: "none"}
		if name == "estimated_visits" {
			s.Marker = excelize.ChartMarker{Symbol: "circle", Size: 8, Fill: s.Fill}
		}
		c.Series = append(c.Series, s)
	}
	return c
}

func hoursChart(w *words.Words) *excelize.Chart {
	gap := uint(40)
	return &excelize.Chart{
		Type: excelize.Col, Title: chartTitle(w.Say("Visits in an hour of recording, by hour of the day")), GapWidth: &gap,
		Dimension: excelize.ChartDimension{Width: 720, Height: 340},
		Legend:    excelize.ChartLegend{Position: "none"},
		Series:    []excelize.ChartSeries{series(w.Say(sheetHours), 1, 4, 24, "2F5D4A")},
		XAxis:     excelize.ChartAxis{Title: chartTitle(w.Say("hour of the day, civil time")), Font: axisFont},
		YAxis:     excelize.ChartAxis{MajorGridLines: true, Title: chartTitle(w.Say("visits an hour")), Minimum: new(float64), Font: axisFont},
	}
}

// series is a column of a table against its labels, the head left out.
func series(sheet string, labels, values, rows int, colour string) excelize.ChartSeries {
	column := func(n int) string { return span(sheet, n, 2, rows+1) }
	return excelize.ChartSeries{
		Name: span(sheet, values, 1, 1), Categories: column(labels), Values: column(values),
		Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{colour}},
	}
}

// span is the address of a column's rows from and to; of one cell where they are
// the same.
func span(sheet string, column, from, to int) string {
	name, err := excelize.ColumnNumberToName(column)
	if err != nil {
		panic(err) // a column beyond XFD
	}
	s := fmt.Sprintf("%s!$%s$%d", sheet, name, from)
	if to != from {
		s += fmt.Sprintf(":$%s$%d", name, to)
	}
	return s
}

// axisFont is that of what stands at an axis; the library's own is too pale to read.
var axisFont = excelize.Font{Size: 9, Color: "222222"}

func chartTitle(s string) excelize.ChartTitle {
	return excelize.ChartTitle{Paragraph: []excelize.RichTextRun{{Text: s, Font: &excelize.Font{Size: 11, Bold: true, Color: "222222"}}}}
}
