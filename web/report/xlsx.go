package report

import (
	"archive/zip"
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
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
	b := &book{File: excelize.NewFile(), season: s, styles: map[string]int{}}
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
	head   int
}

// sheetTable is a sheet and the table on it.
type sheetTable struct {
	sheet string
	table *table
	rows  [][]cell
	keep  bool // also without rows
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
	return b.SetDocProps(&excelize.DocProperties{
		Title: b.season.heading(), Creator: "Doorleaf", LastModifiedBy: "Doorleaf", Language: "en", Created: made, Modified: made,
	})
}

// heading is the title of a report.
func (s Season) heading() string {
	if s.OneSite && len(s.Sites) > 0 {
		return "Season report: " + s.Sites[0].Name + ", " + s.Title
	}
	return "Season report: " + s.Title
}

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
	return "General"
}

func (b *book) style(format string) (int, error) {
	if id, ok := b.styles[format]; ok {
		return id, nil
	}
	s := &excelize.Style{CustomNumFmt: &format, Alignment: &excelize.Alignment{Vertical: "top"}}
	id, err := b.NewStyle(s)
	b.styles[format] = id
	return id, err
}

// headStyle is that of a table's head.
func (b *book) headStyle() (int, error) {
	var err error
	if b.head == 0 {
		b.head, err = b.NewStyle(&excelize.Style{
			Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "bottom"},
			Border: []excelize.Border{{Type: "bottom", Style: 1, Color: "444444"}},
		})
	}
	return b.head, err
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
	}
	if err := b.dress(t); err != nil {
		return err
	}
	return b.AutoFilter(t.sheet, "A1:"+address(len(t.table.columns), len(t.rows)+1), nil)
}

// layOut sets the widths of a sheet and writes its frozen head.
func (b *book) layOut(t sheetTable) error {
	for i, c := range t.table.columns {
		name, _ := excelize.ColumnNumberToName(i + 1)
		if err := b.SetColWidth(t.sheet, name, name, c.width()); err != nil {
			return err
		}
		if err := b.SetCellStr(t.sheet, address(i+1, 1), words(c.name)); err != nil {
			return err
		}
	}
	style, err := b.headStyle()
	if err != nil {
		return err
	}
	if err := b.SetCellStyle(t.sheet, "A1", address(len(t.table.columns), 1), style); err != nil {
		return err
	}
	return b.SetPanes(t.sheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
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
		return 19
	case c.name == "says" || c.name == "changes" || c.name == "note":
		return 60
	case c.name == "name" || c.kind == typeText && c.name != "code" && c.name != "season":
		return 24
	}
	return 13
}

// words makes a heading of a column's name: Covered days.
func words(name string) string {
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
func cut(s string) string {
	if r := []rune(s); len(r) > excelize.TotalCellChars {
		return string(r[:excelize.TotalCellChars-1]) + "…"
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
	t := sheetTable{sheet: "Columns", table: &columnsTable}
	for _, of := range tables {
		for _, c := range of.table.columns {
			t.rows = append(t.rows, []cell{of.sheet, words(c.name), c.says})
		}
	}
	return b.sheet(t)
}

var columnsTable = table{name: "columns", columns: []column{
	{name: "sheet", kind: typeText, need: true}, {name: "column", kind: typeText, need: true}, {name: "says", kind: typeText, need: true},
}}
