package report

import (
	"archive/zip"
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"doorleaf/usage"
)

// WriteXLSX writes a season report as a workbook (Office Open XML): a first sheet
// to be read, then one sheet a table, with typed cells, frozen heads, filters and
// charts. A table without rows has no sheet, but that of the sites. Text that a
// spreadsheet would take for a formula has an apostrophe before it, as in WriteCSV.
// Times are those of the wall clock at the site.
func WriteXLSX(w io.Writer, s Season) error {
	b := &book{File: excelize.NewFile(), season: s, styles: map[string]int{}, heads: map[string]int{}}
	defer b.Close()
	if err := b.fill(); err != nil {
		return fmt.Errorf("make workbook: %w", err)
	}
	var raw bytes.Buffer
	if err := b.Write(&raw); err != nil {
		return fmt.Errorf("make workbook: %w", err)
	}
	if err := packAgain(w, raw.Bytes()); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// packAgain writes the parts of a workbook in one order and without times, so
// that the same workbook is always the same bytes. The list of content types is
// first, where readers look for it.
func packAgain(w io.Writer, raw []byte) error {
	in, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		return err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return cmp.Compare(a.Name, b.Name) }) // "[" is before all letters that are used
	out := zip.NewWriter(w)
	for _, part := range in.File {
		if err := copyPart(out, part); err != nil {
			return fmt.Errorf("part %s: %w", part.Name, err)
		}
	}
	return out.Close()
}

func copyPart(out *zip.Writer, part *zip.File) error {
	from, err := part.Open()
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := out.CreateHeader(&zip.FileHeader{Name: part.Name, Method: zip.Deflate})
	if err != nil {
		return err
	}
	if part.Name == "[Content_Types].xml" {
		return orderTypes(to, from)
	}
	_, err = io.Copy(to, from)
	return err
}

// contentTypes is the list of the parts' types (ECMA-376 part 2, 7.2.3).
type contentTypes struct {
	XMLName  xml.Name `xml:"http://schemas.openxmlformats.org/package/2006/content-types Types"`
	Defaults []struct {
		Extension   string `xml:",attr"`
		ContentType string `xml:",attr"`
	} `xml:"Default"`
	Overrides []struct {
		PartName    string `xml:",attr"`
		ContentType string `xml:",attr"`
	} `xml:"Override"`
}

// orderTypes copies the list of content types, of which the library makes no two
// alike, in one order.
func orderTypes(to io.Writer, from io.Reader) error {
	var types contentTypes
	if err := xml.NewDecoder(from).Decode(&types); err != nil {
		return err
	}
	sort.Slice(types.Defaults, func(i, j int) bool { return types.Defaults[i].Extension < types.Defaults[j].Extension })
	sort.Slice(types.Overrides, func(i, j int) bool { return types.Overrides[i].PartName < types.Overrides[j].PartName })
	if _, err := io.WriteString(to, xml.Header); err != nil {
		return err
	}
	return xml.NewEncoder(to).Encode(types)
}

// book is a workbook in the making.
type book struct {
	*excelize.File
	season Season
	styles map[string]int // by number format
	heads  map[string]int // by the side that the words stand at
}

// sheetTable is a sheet and the table on it.
type sheetTable struct {
	sheet  string
	table  *table
	rows   [][]cell
	keep   bool    // also without rows
	names  int     // columns on the left that stay in sight; 0: none
	beside float64 // how wide a chart beside the table is, characters; 0: there is none
}

func (b *book) fill() error {
	if err := b.describe(); err != nil {
		return err
	}
	if err := b.summary(); err != nil {
		return err
	}
	tables := sheetTables(b.season)
	for _, t := range tables {
		if err := b.sheet(t); err != nil {
			return fmt.Errorf("sheet %s: %w", t.sheet, err)
		}
	}
	if err := b.columns(tables); err != nil {
		return err
	}
	return b.charts()
}

// describe sets the properties of the workbook.
func (b *book) describe() error {
	made := time.Unix(int64(b.season.Made)*86400, 0).UTC().Format(time.RFC3339)
	if err := b.SetDefaultFont(bookFont); err != nil {
		return err
	}
	return b.SetDocProps(&excelize.DocProperties{
		Title: b.season.heading(), Creator: "Doorleaf", LastModifiedBy: "Doorleaf", Language: b.season.words().Language(), Created: made, Modified: made,
	})
}

// heading is the title of a report.
func (s Season) heading() string {
	w := s.words()
	if s.OneSite && len(s.Sites) > 0 {
		return w.Say("Season report: %s, %s", s.Sites[0].Name, s.Title)
	}
	if s.Called != "" {
		return w.Say("Season report: %s, %s", s.Called, s.Title)
	}
	return w.Say("Season report: %s", s.Title)
}

// bookFont is the face of all cells: one that most machines have, or have another of
// the same widths for.
const bookFont = "Arial"

// Number formats of Office Open XML.
const (
	formatWhole = "#,##0"
	formatReal  = "#,##0.00"
	formatShare = "0.0%"
	formatDate  = "yyyy-mm-dd"
	formatTime  = "yyyy-mm-dd hh:mm:ss"
	formatText  = "@"
)

func (c column) format() string {
	switch c.kind {
	case typeInteger:
		return formatWhole
	case typeNumber:
		if c.share {
			return formatShare
		}
		return formatReal
	case typeDate:
		return formatDate
	case typeDatetime:
		return formatTime
	case typeText:
		return formatText
	}
	return "" // as the value is
}

// style is that of cells with a number format; "" leaves the value as it is.
func (b *book) style(format string) (int, error) {
	if id, ok := b.styles[format]; ok {
		return id, nil
	}
	s := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: format == formatText}}
	if format != "" {
		s.CustomNumFmt = &format
	}
	id, err := b.NewStyle(s)
	b.styles[format] = id
	return id, err
}

// headStyle is that of a column's head: over its numbers on the right.
func (b *book) headStyle(c column) (int, error) {
	side := "right"
	if c.kind == typeText {
		side = "left"
	}
	if id, ok := b.heads[side]; ok {
		return id, nil
	}
	id, err := b.NewStyle(&excelize.Style{
		Font:      &excelize.Font{Bold: true, Family: bookFont},
		Alignment: &excelize.Alignment{WrapText: true, Vertical: "bottom", Horizontal: side},
		Border:    []excelize.Border{{Type: "bottom", Style: 1, Color: "444444"}},
	})
	b.heads[side] = id
	return id, err
}

// sheet adds a sheet with a table: a frozen head, a filter, typed cells.
func (b *book) sheet(t sheetTable) error {
	if _, err := b.NewSheet(t.sheet); err != nil {
		return err
	}
	if err := b.layOut(t); err != nil {
		return err
	}
	for i, row := range t.rows {
		if len(row) != len(t.table.columns) {
			panic(fmt.Sprintf("table %s: %d cells for %d columns", t.table.name, len(row), len(t.table.columns)))
		}
		values := typedCells(row)
		if err := b.SetSheetRow(t.sheet, address(1, i+2), &values); err != nil {
			return err
		}
		if lines := t.table.lines(row); lines > 1 {
			if err := b.SetRowHeight(t.sheet, i+2, min(tallest, float64(lines)*lineHeight)); err != nil {
				return err
			}
		}
	}
	if err := b.dress(t); err != nil {
		return err
	}
	if err := b.AutoFilter(t.sheet, "A1:"+address(len(t.table.columns), len(t.rows)+1), nil); err != nil {
		return err
	}
	side, across := t.paper()
	return b.printed(t.sheet, side, across, t.titles()) // after the filter, which sets the sheet's properties anew
}

// layOut sets the widths of a sheet and writes its frozen head.
func (b *book) layOut(t sheetTable) error {
	lines := 1
	for i, c := range t.table.columns {
		name, _ := excelize.ColumnNumberToName(i + 1)
		if err := b.SetColWidth(t.sheet, name, name, c.width()); err != nil {
			return err
		}
		if err := b.SetCellStr(t.sheet, address(i+1, 1), b.inWords(c.name)); err != nil {
			return err
		}
		style, err := b.headStyle(c)
		if err != nil {
			return err
		}
		if err := b.SetCellStyle(t.sheet, address(i+1, 1), address(i+1, 1), style); err != nil {
			return err
		}
		lines = max(lines, linesOf(b.inWords(c.name), c.width()-4)) // 4: the button of the filter
	}
	if err := b.SetRowHeight(t.sheet, 1, float64(lines)*lineHeight+4); err != nil {
		return err
	}
	return b.freeze(t)
}

// paper is how a table is printed: the side of the paper, and how many pages across.
func (t sheetTable) paper() (side string, across int) {
	wide := t.beside
	for _, c := range t.table.columns {
		wide += c.width()
	}
	if wide <= uprightPage {
		return "portrait", 1
	}
	return "landscape", int(math.Ceil(wide / sheetPage))
}

// lines is how many lines a row takes.
func (t *table) lines(row []cell) int {
	most := 1
	for i, c := range row {
		if text, ok := c.(string); ok {
			most = max(most, linesOf(text, t.columns[i].width()))
		}
	}
	return most
}

// tallest is the most that a row may have, points (Excel specifications and limits).
const tallest = 409

// lineHeight is the height of a line of text, points; uprightPage and sheetPage are
// how wide a table may be on one page, upright and across, characters.
const (
	lineHeight  = 14
	uprightPage = 135
	sheetPage   = 170
)

// linesOf is how many lines a text takes that is broken between words.
func linesOf(s string, width float64) int {
	lines, used := 1, 0.0
	for _, word := range strings.Fields(s) {
		n := float64(len([]rune(word)))
		if used > 0 && used+1+n > width {
			lines, used = lines+1, 0
		}
		used += 1 + n
		lines += int((used - 1) / max(width, 1) * 0.999)
	}
	return lines
}

// freeze keeps the head in sight and, beside many columns, the names of the rows.
func (b *book) freeze(t sheetTable) error {
	if t.names == 0 {
		return b.SetPanes(t.sheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
	}
	return b.SetPanes(t.sheet, &excelize.Panes{Freeze: true, XSplit: t.names, YSplit: 1, TopLeftCell: address(t.names+1, 2), ActivePane: "bottomRight"})
}

// titles are the rows and columns that every printed page repeats.
func (t sheetTable) titles() string {
	row := fmt.Sprintf("'%s'!$1:$1", t.sheet)
	if t.names == 0 {
		return row
	}
	last, _ := excelize.ColumnNumberToName(t.names)
	return fmt.Sprintf("'%s'!$A:$%s,%s", t.sheet, last, row)
}

// printed says how a sheet prints: A4, so many pages across, with the sheet and the
// page below.
func (b *book) printed(sheet, side string, across int, titles string) error {
	fit, down, paper := true, 0, 9 // ECMA-376 part 1, 18.3.1.63: paper 9 is A4
	if err := b.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &fit}); err != nil {
		return err
	}
	if err := b.SetPageLayout(sheet, &excelize.PageLayoutOptions{Size: &paper, Orientation: &side, FitToWidth: &across, FitToHeight: &down}); err != nil {
		return err
	}
	foot := cutTo(sheetText(b.season.heading()), 120)
	if err := b.SetHeaderFooter(sheet, &excelize.HeaderFooterOptions{
		OddFooter: "&L" + strings.ReplaceAll(foot, "&", "&&") + "&C&A&R" + b.season.words().Say("%s of %s", "&P", "&N"),
	}); err != nil {
		return err
	}
	if titles == "" {
		return nil
	}
	return b.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: titles, Scope: sheet})
}

// dress gives each column its number format.
func (b *book) dress(t sheetTable) error {
	if len(t.rows) == 0 {
		return nil
	}
	for i, c := range t.table.columns {
		style, err := b.style(c.format())
		if err != nil {
			return err
		}
		if err := b.SetCellStyle(t.sheet, address(i+1, 2), address(i+1, len(t.rows)+1), style); err != nil {
			return err
		}
	}
	return nil
}

func (c column) width() float64 {
	switch {
	case c.kind == typeDatetime:
		return 20
	case c.kind != typeText:
		return 15
	}
	switch c.name {
	case "says", "changes", "note":
		return 60
	case "code", "site":
		return 11
	case "season":
		return 17
	}
	return 26
}

// inWords is the heading of a column: Covered days.
func (b *book) inWords(name string) string {
	if text, ok := headings[name]; ok {
		return b.season.words().Say(text)
	}
	return inWords(name)
}

// inWords makes a heading of a column's name.
func inWords(name string) string {
	s := strings.ReplaceAll(name, "_", " ")
	return strings.ToUpper(s[:1]) + s[1:]
}

// typedCells makes a row of values with the type that each has; what is unknown
// stays empty.
func typedCells(row []cell) []any {
	out := make([]any, len(row))
	for i, c := range row {
		out[i] = typed(c)
	}
	return out
}

// typed is the value of a cell as a workbook has it. Dates and times are counted in
// days of which 1970-01-01 is the 25,569th (ECMA-376 part 1, 18.17.4.1).
func typed(c cell) any {
	const epoch = 25569
	switch v := c.(type) {
	case string:
		if v == "" {
			return nil
		}
		return sheetText(v)
	case usage.Date:
		return int64(v) + epoch
	case instant:
		return float64(v.unix+int64(v.offset))/86400 + epoch
	}
	return c
}

// sheetText is a text as a workbook can hold it: XML knows no control characters
// but tab and line feed (XML 1.0, 2.2), and readers change a carriage return, which is left out as in CSV.
func sheetText(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0xfffe || r == 0xffff {
			return 0xfffd
		}
		return r
	}, cut(noReturns(plain(strings.ToValidUTF8(s, "\ufffd")))))
}

// cut keeps a text within what one cell of a workbook may hold.
func cut(s string) string { return cutTo(s, excelize.TotalCellChars) }

// cutTo keeps a text within so many characters.
func cutTo(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// address is the name of a cell, column and row counted from 1.
func address(column, row int) string {
	name, err := excelize.CoordinatesToCellName(column, row)
	if err != nil {
		panic(err) // a column beyond XFD
	}
	return name
}

// columns adds the sheet that says what each column is.
func (b *book) columns(tables []sheetTable) error {
	w := b.season.words()
	t := sheetTable{sheet: w.Say("Columns"), table: &columnsTable}
	for _, of := range tables {
		for _, c := range of.table.columns {
			t.rows = append(t.rows, []cell{of.sheet, b.inWords(c.name), b.describes(c)})
		}
	}
	return b.sheet(t)
}

// describes says what a column is. One that it belongs to goes by its name, or by its
// heading where that is in other words.
func (b *book) describes(c column) string {
	w, of := b.season.words(), c.of
	if of == "" {
		return w.Say(c.says)
	}
	if heading := b.inWords(of); heading != inWords(of) {
		of = heading
	}
	return w.Say(c.says, of)
}

var columnsTable = table{name: "columns", columns: []column{
	{name: "sheet", kind: typeText, need: true}, {name: "column", kind: typeText, need: true}, {name: "says", kind: typeText, need: true},
}}
