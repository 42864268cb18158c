package report

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/parquet-go/parquet-go"

	"doorleaf/usage"
)

// mostParts is how many files of one table are written at the same time: a logbook
// goes through its years in order, but for clocks that went wrong.
const mostParts = 12

// parquetParts writes the rows of one table to the files that they belong in.
type parquetParts struct {
	create  CreateFile
	table   *table
	network string
	open    []*parquetPart // the one written to last is last
	made    map[string]int // files begun, by folder
	files   []string
}

// parquetPart is one file in the making.
type parquetPart struct {
	folder string
	file   io.WriteCloser
	out    *parquet.GenericWriter[any]
	rows   []parquet.Row
}

// row writes a row to the file of a folder. Cells that do not fit the columns are a
// programmer's mistake.
func (p *parquetParts) row(folder string, cells []cell) error {
	part, err := p.part(folder)
	if err != nil {
		return err
	}
	part.rows = append(part.rows, parquetRow(p.table, cells))
	if len(part.rows) < parquetBatch {
		return nil
	}
	return part.flush()
}

// part returns the open file of a folder; it opens one, and closes the one that was
// not written to for longest where there are too many.
func (p *parquetParts) part(folder string) (*parquetPart, error) {
	last := len(p.open) - 1
	for i := last; i >= 0; i-- {
		if part := p.open[i]; part.folder == folder {
			if i < last {
				p.open = append(slices.Delete(p.open, i, i+1), part)
			}
			return part, nil
		}
	}
	if len(p.open) == mostParts {
		oldest := p.open[0]
		p.open = slices.Delete(p.open, 0, 1)
		if err := oldest.close(); err != nil {
			return nil, err
		}
	}
	return p.begin(folder)
}

// begin opens the next file of a folder.
func (p *parquetParts) begin(folder string) (*parquetPart, error) {
	p.made[folder]++
	name := folder + "/part.parquet"
	if n := p.made[folder]; n > 1 {
		name = fmt.Sprintf("%s/part-%d.parquet", folder, n)
	}
	file, err := p.create(name)
	if err != nil {
		return nil, err
	}
	p.files = append(p.files, name)
	part := &parquetPart{folder: folder, file: file, out: parquet.NewGenericWriter[any](file, p.options()...)}
	p.open = append(p.open, part)
	return part, nil
}

// close finishes all files that are open.
func (p *parquetParts) close() error {
	open := p.open
	p.open = nil
	p.made = map[string]int{}
	var errs []error
	for _, part := range open {
		errs = append(errs, part.close())
	}
	return errors.Join(errs...)
}

// abandon closes the files that a failure left open.
func (p *parquetParts) abandon() {
	for _, part := range p.open {
		part.file.Close()
	}
}

func (p *parquetPart) flush() error {
	_, err := p.out.WriteRows(p.rows)
	p.rows = p.rows[:0]
	return err
}

func (p *parquetPart) close() error {
	defer p.file.Close()
	if err := p.flush(); err != nil {
		return err
	}
	if err := p.out.Close(); err != nil {
		return err
	}
	return p.file.Close()
}

// parquetBatch is how many rows are handed to the library together.
const parquetBatch = 256

// parquetGroup is how many rows are written before a file begins another group: as
// many as DuckDB gives to one thread (DuckDB documentation, Parquet tips, row group
// sizes; from memory), and what bounds the memory of one file.
const parquetGroup = 122_880

// options are those of every file. The writer's name is without a version, so that
// the same rows are the same bytes.
func (p *parquetParts) options() []parquet.WriterOption {
	return []parquet.WriterOption{
		p.table.parquetSchema(),
		parquet.CreatedBy("doorleaf", "1", "0"),
		parquet.KeyValueMetadata("network", p.network),
		parquet.KeyValueMetadata("table", p.table.name),
		parquet.Compression(&parquet.Zstd),
		parquet.MaxRowsPerRowGroup(parquetGroup),
		parquet.PageBufferSize(64 << 10),
		parquet.DataPageStatistics(true),
	}
}

// parquetSchema is the schema of a table's files: text as UTF-8 with a dictionary,
// integers of 64 bits, dates, and instants in milliseconds of UTC (Apache Parquet
// format, LogicalTypes: STRING, INT, DATE, TIMESTAMP). What may be unknown or held
// back is optional.
func (t *table) parquetSchema() *parquet.Schema {
	group := orderedGroup{Group: parquet.Group{}}
	for _, c := range t.columns {
		node := c.parquetNode()
		if !c.need {
			node = parquet.Optional(node)
		}
		group.Group[c.name] = node
		group.names = append(group.names, c.name)
	}
	return parquet.NewSchema(t.name, group)
}

func (c column) parquetNode() parquet.Node {
	switch c.kind {
	case typeInteger:
		if c.name == "position" || c.name == "visit" || c.name == "line" || c.name == "offset" {
			return parquet.Encoded(parquet.Int(64), &parquet.DeltaBinaryPacked) // they go up
		}
		return parquet.Encoded(parquet.Int(64), &parquet.RLEDictionary)
	case typeNumber:
		return parquet.Leaf(parquet.DoubleType)
	case typeBoolean:
		return parquet.Leaf(parquet.BooleanType)
	case typeDate:
		return parquet.Encoded(parquet.Date(), &parquet.DeltaBinaryPacked)
	case typeDatetime:
		return parquet.Encoded(parquet.Timestamp(parquet.Millisecond), &parquet.DeltaBinaryPacked)
	}
	return parquet.Encoded(parquet.String(), &parquet.RLEDictionary)
}

// orderedGroup is a group whose columns keep their order; the library's own are in
// that of the alphabet.
type orderedGroup struct {
	parquet.Group
	names []string
}

// Fields implements parquet.Node.
func (g orderedGroup) Fields() []parquet.Field {
	fields := g.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int { return slices.Index(g.names, a.Name()) - slices.Index(g.names, b.Name()) })
	return fields
}

// parquetRow makes the values of a row.
func parquetRow(t *table, cells []cell) parquet.Row {
	if len(cells) != len(t.columns) {
		panic(fmt.Sprintf("table %s: %d cells for %d columns", t.name, len(cells), len(t.columns)))
	}
	row := make(parquet.Row, len(cells))
	for i, c := range cells {
		level := 1
		if t.columns[i].need {
			level = 0
		}
		if c == nil {
			if level == 0 {
				panic(fmt.Sprintf("table %s: nothing in column %s", t.name, t.columns[i].name))
			}
			row[i] = parquet.NullValue().Level(0, 0, i)
			continue
		}
		row[i] = parquetValue(c).Level(0, level, i)
	}
	return row
}

func parquetValue(c cell) parquet.Value {
	switch v := c.(type) {
	case string:
		return parquet.ByteArrayValue([]byte(v))
	case int64:
		return parquet.Int64Value(v)
	case float64:
		return parquet.DoubleValue(v)
	case bool:
		return parquet.BooleanValue(v)
	case usage.Date:
		return parquet.Int32Value(int32(v))
	case instant:
		return parquet.Int64Value(v.unix * 1000)
	}
	panic(fmt.Sprintf("no Parquet value for a %T", c))
}
