package report

import (
	"encoding/json"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"

	"doorleaf/usage"
)

// CreateFile makes a file of an export; its name is a path with slashes.
type CreateFile func(name string) (io.WriteCloser, error)

// WriteParquet writes a network as Parquet files for an engine that queries many
// networks together: sites, openings, visits and days, the last three split by site
// and civil year in folders that such engines know (openings/site=MILL/year=2026/).
// What has no time is below year=__HIVE_DEFAULT_PARTITION__, which they take for
// null. A datapackage.json says what each column is.
//
// Every row names its network (n.Name) and its site, and carries the civil date,
// hour and season at the site beside the instant, so that no engine needs to know a
// time zone. The same network gives the same bytes. No more is held than a few parts
// of files at a time; a part that is left and come back to goes on in part-2.parquet.
//
// With coarse above 0 it is made for publication as WritePackage is: dates and
// hours, and no openings and visits. Errors are those of create and of n.
func WriteParquet(create CreateFile, n Network, coarse int) error {
	tables := fineParquet
	if coarse > 0 {
		tables = coarseParquet
	}
	w := parquetWriter{create: create, rows: rows{n, int64(coarse)}}
	var resources []any
	for _, t := range tables {
		files, err := w.write(t)
		if err != nil {
			return fmt.Errorf("table %s: %w", t.table.name, err)
		}
		if len(files) > 0 {
			resources = append(resources, describeParquet(t.table, files, coarse > 0))
		}
	}
	if err := w.describe(resources); err != nil {
		return fmt.Errorf("datapackage.json: %w", err)
	}
	return nil
}

// parquetTable is a table and what hands over the rows of one site.
type parquetTable struct {
	table *table
	rows  func(*parquetWriter, parquetSite) error
}

var (
	fineParquet = []parquetTable{
		{&sitesParquet, (*parquetWriter).site}, {&openingsParquet, (*parquetWriter).openings},
		{&visitsParquet, (*parquetWriter).visits}, {&daysParquet, (*parquetWriter).days},
	}
	coarseParquet = []parquetTable{
		{&sitesParquet, (*parquetWriter).site}, {&dateHoursParquet, (*parquetWriter).dateHours}, {&daysParquet, (*parquetWriter).days},
	}
)

var networkColumn = column{name: "network", kind: typeText, says: "name of the network", need: true}

// civilColumns are the civil time of an opening or of a visit's first.
var civilColumns = []column{
	{name: "date", kind: typeDate, says: "civil date of at at the site"},
	{name: "hour", kind: typeInteger, says: "civil hour of at at the site, 0 to 23"},
	{name: "season", kind: typeText, says: "season of at; of what has no time, the one that holds all of earliest to latest, if one does"},
}

var sitesParquet = table{
	name: "sites", says: sitesTable.says, key: []string{"network", "code"}, columns: append([]column{networkColumn}, sitesTable.columns...),
}

var openingsParquet = table{
	name: "openings", says: "Every opening of a door, in the order in which the logger wrote them. Card, line and offset lead to the line on the card.",
	key: []string{"network", "site", "position"},
	columns: slices.Concat(
		[]column{networkColumn, siteColumn, {name: "position", kind: typeInteger, says: "place in the logbook, 0 first", need: true}},
		timeColumns, civilColumns,
		[]column{
			{name: "open_s", kind: typeInteger, says: "seconds that the door stood open"},
			{name: "engaged_s", kind: typeInteger, says: "of open_s, the seconds that figures of open time count: those in a visit, a door left ajar capped", need: true},
			{name: "class", kind: typeText, says: "visitor, service, rattle or ajar", need: true},
			{name: "visit", kind: typeInteger, says: "number of its visit within the site; empty: part of none"},
			{name: "card", kind: typeText, says: "SHA-256 of the card file, hexadecimal", need: true},
			{name: "line", kind: typeInteger, says: "line of the card file, 1 first", need: true},
			{name: "offset", kind: typeInteger, says: "offset of the line in the card file, bytes", need: true},
		}),
}

var visitsParquet = table{
	name: "visits", says: visitsTable.says, key: []string{"network", "site", "visit"},
	columns: slices.Concat([]column{networkColumn}, visitsTable.columns[:6], civilColumns, visitsTable.columns[6:]),
}

var daysParquet = table{
	name: "days", says: daysTable.says, key: []string{"network", "site", "date"},
	columns: slices.Concat(
		[]column{networkColumn}, daysTable.columns[:2], []column{seasonColumn}, daysTable.columns[2:8],
		[]column{{name: "exposure_s", kind: typeInteger, says: "seconds of the date in which the logger was recording", need: true}}),
}

var dateHoursParquet = table{
	name: "date_hours", says: dateHoursTable.says, key: []string{"network", "site", "date", "hour"},
	columns: slices.Concat([]column{networkColumn}, dateHoursTable.columns[:3], []column{seasonColumn}, dateHoursTable.columns[3:]),
}

// parquetWriter writes one table after the other.
type parquetWriter struct {
	rows
	create CreateFile
	parts  *parquetParts // of the table in hand
}

// write writes a table and returns the names of its files.
func (w *parquetWriter) write(t parquetTable) ([]string, error) {
	w.parts = &parquetParts{create: w.create, table: t.table, network: w.network.Name, made: map[string]int{}}
	defer w.parts.abandon()
	for _, site := range w.network.Sites {
		if err := t.rows(w, newParquetSite(w.network.Name, site)); err != nil {
			return nil, fmt.Errorf("site %s: %w", site.Code, err)
		}
		if t.table != &sitesParquet {
			if err := w.parts.close(); err != nil {
				return nil, err
			}
		}
	}
	return w.parts.files, w.parts.close()
}

func (w *parquetWriter) site(s parquetSite) error {
	return w.parts.row("sites", append([]cell{s.network}, siteCells(s.Site)...))
}

func (w *parquetWriter) openings(s parquetSite) error {
	for o, err := range w.network.Openings(s.Code) {
		if err != nil {
			return err
		}
		cells := slices.Concat(
			[]cell{s.network, s.Code, o.Position}, timeCells(s.clocks, o.Opening), s.civil(o.Opening),
			[]cell{knownCount(o.OpenS), usage.EngagedS(o.Opening, s.Thresholds), o.Class.String(), knownCount(o.Visit), o.CardID, whole(o.Line), o.Offset})
		if err := w.parts.row(s.folder("openings", s.yearOf(o.Opening)), cells); err != nil {
			return err
		}
	}
	return nil
}

func (w *parquetWriter) visits(s parquetSite) error {
	return eachVisit(s.Site, w.network.Openings(s.Code), func(v visit) error {
		cells := visitCells(s.Code, s.clocks, v)
		cells = slices.Concat([]cell{s.network}, cells[:6], s.civil(v.first.Opening), cells[6:])
		return w.parts.row(s.folder("visits", s.yearOf(v.first.Opening)), cells)
	})
}

func (w *parquetWriter) days(s parquetSite) error {
	days, err := w.network.Days(s.Code)
	if err != nil {
		return err
	}
	for _, d := range days {
		cells := w.day(s.Code, d)
		cells = slices.Concat([]cell{s.network}, cells[:2], []cell{s.season(d.Date)}, cells[2:8], []cell{whole(d.ExposureS)})
		if err := w.parts.row(s.folder("days", yearText(d.Date)), cells); err != nil {
			return err
		}
	}
	return nil
}

func (w *parquetWriter) dateHours(s parquetSite) error {
	return w.rows.dateHours(s.Site, func(cells []cell) error {
		date := cells[1].(usage.Date)
		cells = slices.Concat([]cell{s.network}, cells[:3], []cell{s.season(date)}, cells[3:])
		return w.parts.row(s.folder("date_hours", yearText(date)), cells)
	})
}

// describe writes datapackage.json.
func (w *parquetWriter) describe(resources []any) error {
	f, err := w.create("datapackage.json")
	if err != nil {
		return err
	}
	defer f.Close()
	out := json.NewEncoder(f)
	out.SetEscapeHTML(false)
	out.SetIndent("", "  ")
	if err := out.Encode(packageOf(resources, packageSays(w.coarse, parquetNote))); err != nil {
		return err
	}
	return f.Close()
}

// describeParquet is a table in several files as a data resource.
func describeParquet(t *table, files []string, coarse bool) map[string]any {
	d := t.describe(coarse)
	delete(d, "encoding") // of text
	d["path"], d["format"], d["mediatype"] = files, "parquet", "application/vnd.apache.parquet"
	return d
}

// parquetSite is a site with what its rows are made from.
type parquetSite struct {
	usage.Site
	network string
	clocks  clocks
	seasons map[usage.Month]string
}

func newParquetSite(network string, site usage.Site) parquetSite {
	return parquetSite{site, network, clocksOf(site), map[usage.Month]string{}}
}

// season is the name of the season that holds a date.
func (s parquetSite) season(d usage.Date) string {
	month := usage.MonthOf(d)
	name, ok := s.seasons[month]
	if !ok {
		name = usage.SeasonOf(d, usage.HemisphereOf(s.Latitude)).String()
		s.seasons[month] = name
	}
	return name
}

// civil are the cells of civilColumns.
func (s parquetSite) civil(o usage.Opening) []cell {
	if o.Timed {
		date, hour := s.clocks.civil(o.At)
		return []cell{date, whole(hour), s.season(date)}
	}
	if o.Earliest <= 0 || o.Latest >= usage.Beyond {
		return []cell{nil, nil, nil}
	}
	from, _ := s.clocks.civil(o.Earliest)
	to, _ := s.clocks.civil(o.Latest)
	if season := s.season(from); season == s.season(to) {
		return []cell{nil, nil, season}
	}
	return []cell{nil, nil, nil}
}

// yearOf is the civil year of an opening as a folder has it.
func (s parquetSite) yearOf(o usage.Opening) string {
	if !o.Timed {
		return "__HIVE_DEFAULT_PARTITION__" // Apache Hive, property hive.exec.default.partition.name
	}
	date, _ := s.clocks.civil(o.At)
	return yearText(date)
}

func yearText(d usage.Date) string {
	year, _ := usage.MonthOf(d).YM()
	return strconv.Itoa(year)
}

// folder is where the rows of a year are.
func (s parquetSite) folder(table, year string) string {
	return path.Join(table, "site="+s.Code, "year="+year)
}

// civil is the civil date and hour of an instant.
func (c clocks) civil(unix int64) (usage.Date, int32) {
	wall := unix + int64(c.at(unix).offset)
	days, second := wall/86400, wall%86400
	if second < 0 {
		days, second = days-1, second+86400
	}
	return usage.Date(days), int32(second / 3600)
}
