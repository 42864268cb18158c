package report

import (
	"fmt"

	"github.com/xuri/excelize/v2"

	"doorleaf/usage"
)

const summarySheet = "Summary"

// summary writes the first sheet: the season in sentences, the key figures, how it
// was counted, cautions.
func (b *book) summary() error {
	if err := b.SetSheetName("Sheet1", summarySheet); err != nil {
		return err
	}
	p := page{book: b}
	p.style()
	p.widths()
	p.text(b.season.heading(), p.title)
	for _, says := range b.season.Sentence {
		p.text(says, p.body)
	}
	p.keyFigures()
	p.part("How it was counted", countedNotes())
	p.part("Take care", cautionNotes())
	p.text("Made on "+b.season.Made.String()+".", p.body)
	return p.err
}

// page is a sheet that is written from the top down. The first error stays.
type page struct {
	book              *book
	row               int
	title, head, body int
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
	wrap := &excelize.Alignment{WrapText: true, Vertical: "top"}
	p.title = make(excelize.Style{Font: &excelize.Font{Bold: true, Size: 16}, Alignment: wrap})
	p.head = make(excelize.Style{Font: &excelize.Font{Bold: true, Size: 12}, Alignment: wrap})
	p.body = make(excelize.Style{Alignment: wrap})
}

func (p *page) widths() {
	p.try(p.book.SetColWidth(summarySheet, "A", "A", 38))
	p.try(p.book.SetColWidth(summarySheet, "B", "D", 16))
}

// text writes a line of text over the four columns, as high as it needs.
func (p *page) text(s string, style int) {
	p.row++
	from, to := address(1, p.row), address(4, p.row)
	p.try(p.book.MergeCell(summarySheet, from, to))
	p.try(p.book.SetCellStr(summarySheet, from, sheetText(s)))
	p.try(p.book.SetCellStyle(summarySheet, from, to, style))
	lines, high := 1+len([]rune(s))/88, 15.0
	if style == p.title {
		lines, high = 1+len([]rune(s))/55, 22
	}
	p.try(p.book.SetRowHeight(summarySheet, p.row, min(409, float64(lines)*high))) // 409 points: the most that a row may have
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
	for i, name := range []string{"Key figures", "Value", "Low (95 %)", "High (95 %)"} {
		p.cell(i+1, name, p.head)
	}
	p.figure("Visits counted", formatWhole, f.Counted)
	p.figure("Covered days (of 24 hours)", formatReal, f.CoveredDays)
	p.figure("Days", formatWhole, whole(f.Days))
	p.estimate("Visits estimated", formatWhole, f.Estimated)
	p.estimate("Visits a day", formatReal, f.PerDay)
	p.estimate("Against last year", formatReal, f.RatioToLast)
	p.estimate("Share of visits in the dark", formatShare, f.DarkShare)
	p.figure("Seconds that the door stood open", formatWhole, f.OpenS)
	p.estimate("Median seconds a visit", formatReal, f.MedianOpenS)
	if f.Until != nil && !f.Complete {
		p.figure("Figures reach up to", formatDate, *f.Until)
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
	p.cell(1, name, p.body)
	style, err := p.book.style(format)
	p.try(err)
	for i, v := range values {
		if v := typed(v); v != nil {
			p.cell(i+2, v, style)
		}
	}
}

func (p *page) cell(column int, value any, style int) {
	at := address(column, p.row)
	p.try(p.book.SetCellValue(summarySheet, at, value))
	p.try(p.book.SetCellStyle(summarySheet, at, at, style))
}

func countedNotes() []string {
	return []string{
		"Counted visits are what the loggers wrote; openings close together are one visit. Estimated visits are for the whole season, days without recording included, by weekday.",
		fmt.Sprintf("Low and high are limits at a confidence of %.0f %%: from how many visits there were and how uneven their days were.", 100*usage.Confidence),
		"Covered days are the time in which a logger is held to have been recording. An empty cell is not known, and is not nought.",
		"Days and hours are civil time at the site. It is dark with the sun more than 6 degrees below the horizon.",
	}
}

// cautionNotes are common practice, no source.
func cautionNotes() []string {
	return []string{
		"Opening times of a box beside a home say something about that home: publish coarse figures only.",
		"Button cells are dangerous when swallowed: keep them behind a screwed lid, out of children's reach.",
	}
}

// charts draws the sites with their estimates, and the hours of the day, beside
// their tables.
func (b *book) charts() error {
	if n := len(b.season.reported()); n > 0 {
		if err := b.AddChart("Sites", address(len(sitesOfSeason.columns)+2, 2), sitesChart(n)); err != nil {
			return fmt.Errorf("chart of sites: %w", err)
		}
	}
	if len(hourRows(b.season)) > 0 {
		if err := b.AddChart("Hours", "G2", hoursChart()); err != nil {
			return fmt.Errorf("chart of hours: %w", err)
		}
	}
	return nil
}

// sitesChart shows of each site what is estimated between its limits.
func sitesChart(sites int) *excelize.Chart {
	c := &excelize.Chart{
		Type: excelize.Bar, Title: chartTitle("Estimated visits in the season, with 95 % limits"),
		Dimension: excelize.ChartDimension{Width: 720, Height: uint(max(260, min(1600, 90+46*sites)))},
		Legend:    excelize.ChartLegend{Position: "bottom"},
		XAxis:     excelize.ChartAxis{ReverseOrder: true},
		YAxis:     excelize.ChartAxis{MajorGridLines: true, Title: chartTitle("visits")},
	}
	colours := map[string]string{"estimated_visits_low": "9DB3A6", "estimated_visits": "2F5D4A", "estimated_visits_high": "C9D6CE"}
	for i, col := range sitesOfSeason.columns {
		if colour, ok := colours[col.name]; ok {
			c.Series = append(c.Series, series("Sites", 3, i+1, sites, colour))
		}
	}
	return c
}

func hoursChart() *excelize.Chart {
	gap := uint(40)
	return &excelize.Chart{
		Type: excelize.Col, Title: chartTitle("Visits in an hour of recording, by hour of the day"), GapWidth: &gap,
		Dimension: excelize.ChartDimension{Width: 720, Height: 340},
		Legend:    excelize.ChartLegend{Position: "none"},
		Series:    []excelize.ChartSeries{series("Hours", 1, 4, 24, "2F5D4A")},
		XAxis:     excelize.ChartAxis{Title: chartTitle("hour of the day, civil time")},
		YAxis:     excelize.ChartAxis{MajorGridLines: true, Title: chartTitle("visits an hour")},
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

func chartTitle(s string) excelize.ChartTitle {
	return excelize.ChartTitle{Paragraph: []excelize.RichTextRun{{Text: s, Font: &excelize.Font{Size: 11}}}}
}
