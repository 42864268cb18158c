package report

import (
	"archive/zip"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"

	"doorleaf/usage"
)

// Network is all of a network that leaves the house as data. Its functions are
// asked site by site, and openings come one by one, in logbook order, so that no
// more than one page of them need be held.
type Network struct {
	Name     string       // of the network, in tables that several networks are to share
	Sites    []usage.Site // by code
	Seasons  []Season     // name and figures
	Openings func(code string) iter.Seq2[Opening, error]
	Days     func(code string) ([]usage.Day, error)
	Pattern  func(code string) (usage.Pattern, error) // of all time
	Findings func(code string) ([]usage.Finding, error)
}

// Opening is an opening with its place in the logbook and on its card.
type Opening struct {
	usage.Opening
	Position int64
	CardID   string
	Raw      string
}

// WritePackage writes a network as a Frictionless Data Package (version 2,
// datapackage.org): one .zip of CSV files and the datapackage.json that says what
// each column is. It is streamed; the same network gives the same bytes. Licences
// are left to the coordinator.
//
// With coarse above 0 it is made for publication: no time is finer than the hour, no
// raw line and no finding is in it, single openings and visits give way to visits an
// hour of each date, and figures of fewer visits than coarse, nought included, are
// held back (empty).
func WritePackage(w io.Writer, n Network, coarse int) error {
	p := &packer{Writer: zip.NewWriter(w), rows: rows{n, int64(coarse)}}
	resources := fineResources
	if coarse > 0 {
		resources = coarseResources
	}
	for _, r := range resources {
		if err := p.table(r); err != nil {
			return fmt.Errorf("table %s: %w", r.table.name, err)
		}
	}
	if err := p.describe(resources); err != nil {
		return fmt.Errorf("datapackage.json: %w", err)
	}
	return p.Close()
}

// resource is one table of the package and what hands over its rows.
type resource struct {
	table *table
	rows  func(rows, put) error
}

// put takes the cells of one row.
type put func([]cell) error

var (
	fineResources = []resource{
		{&sitesTable, rows.sites}, {&openingsTable, eachSite(rows.openings)}, {&visitsTable, eachSite(rows.visits)},
		{&daysTable, eachSite(rows.days)}, {&patternsTable, eachSite(rows.patterns)},
		{&seasonsTable, rows.seasons}, {&networkSeasonsTable, rows.networkSeasons}, {&findingsTable, eachSite(rows.findings)},
	}
	coarseResources = []resource{
		{&sitesTable, rows.sites}, {&dateHoursTable, eachSite(rows.dateHours)},
		{&daysTable, eachSite(rows.days)}, {&patternsTable, eachSite(rows.patterns)},
		{&seasonsTable, rows.seasons}, {&networkSeasonsTable, rows.networkSeasons},
	}
)

type packer struct {
	*zip.Writer
	rows
}

// rows hands over the rows of a network's tables.
type rows struct {
	network Network
	coarse  int64 // 0: nothing is held back
}

func (p *packer) create(name string) (io.Writer, error) {
	return p.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
}

func (p *packer) table(r resource) error {
	w, err := p.create(r.table.name + ".csv")
	if err != nil {
		return err
	}
	out, err := newCSV(w, r.table)
	if err != nil {
		return err
	}
	if err := r.rows(p.rows, out.row); err != nil {
		return err
	}
	return out.flush()
}

func eachSite(one func(rows, usage.Site, put) error) func(rows, put) error {
	return func(r rows, out put) error {
		for _, site := range r.network.Sites {
			if err := one(r, site, out); err != nil {
				return fmt.Errorf("site %s: %w", site.Code, err)
			}
		}
		return nil
	}
}

// hide empties the cells from the given one on where there are fewer visits than
// may be published.
func (r rows) hide(cells []cell, from, to int, visits int64) {
	if visits < r.coarse {
		for i := from; i < to; i++ {
			cells[i] = nil
		}
	}
}

func (r rows) sites(out put) error {
	for _, s := range r.network.Sites {
		if err := out(siteCells(s)); err != nil {
			return err
		}
	}
	return nil
}

func (r rows) openings(site usage.Site, out put) error {
	at := clocksOf(site)
	for o, err := range r.network.Openings(site.Code) {
		if err != nil {
			return err
		}
		if err := out(openingCells(site.Code, at, o)); err != nil {
			return err
		}
	}
	return nil
}

func (r rows) visits(site usage.Site, out put) error {
	at := clocksOf(site)
	return eachVisit(site, r.network.Openings(site.Code), func(v visit) error { return out(visitCells(site.Code, at, v)) })
}

func (r rows) days(site usage.Site, out put) error {
	days, err := r.network.Days(site.Code)
	if err != nil {
		return err
	}
	for _, d := range days {
		if err := out(r.day(site.Code, d)); err != nil {
			return err
		}
	}
	return nil
}

// day is dayCells with what may not be published left empty.
func (r rows) day(site string, d usage.Day) []cell {
	cells := dayCells(site, d)
	r.hide(cells, 2, 8, int64(d.Visits))
	r.hide(cells, 2, 3, int64(d.Openings))
	r.hide(cells, 6, 7, int64(min(d.Dark, d.Visits-d.Dark)))
	r.hide(cells, 7, 8, int64(min(d.Twilight, d.Visits-d.Twilight)))
	return cells
}

func (r rows) patterns(site usage.Site, out put) error {
	pattern, err := r.network.Pattern(site.Code)
	if err != nil {
		return err
	}
	for _, c := range pattern.Cells {
		cells := patternCells(site.Code, c)
		r.hide(cells, 3, 4, c.Visits)
		r.hide(cells, 5, 8, c.Visits)
		if err := out(cells); err != nil {
			return err
		}
	}
	return nil
}

func (r rows) seasons(out put) error {
	for _, s := range r.network.Seasons {
		for _, site := range s.Sites {
			if err := out(append([]cell{s.Name, site.Code}, r.figures(site.Figures)...)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r rows) networkSeasons(out put) error {
	for _, s := range r.network.Seasons {
		if err := out(append([]cell{s.Name}, r.figures(s.Network)...)); err != nil {
			return err
		}
	}
	return nil
}

// figures are the cells of a season's figures; of too few visits, only those that
// tell of recording.
func (r rows) figures(f usage.SeasonFigures) []cell { return coarseFigures(f, r.coarse) }

// coarseFigures are figureCells with what tells of fewer than least visits left
// empty, the share of those in the dark included.
func coarseFigures(f usage.SeasonFigures, least int64) []cell {
	cells := figureCells(f)
	few := false
	if f.DarkShare != nil {
		timed := float64(f.Counted - f.Untimed)
		dark := int64(math.Round(f.DarkShare.Value * timed))
		few = min(dark, int64(timed)-dark) < least
	}
	for i, c := range figureColumns {
		switch c.name {
		case "covered_days", "days", "complete", "until":
			continue
		case "untimed_visits", "untimed_visits_about", "visits_without_seconds":
			if cells[i].(int64) < least {
				cells[i] = nil
			}
		}
		if f.Counted < least || c.share && few && least > 0 {
			cells[i] = nil
		}
	}
	return cells
}

func (r rows) findings(site usage.Site, out put) error {
	findings, err := r.network.Findings(site.Code)
	if err != nil {
		return err
	}
	at := clocksOf(site)
	for _, f := range findings {
		if err := out(findingCells(site.Code, at, f)); err != nil {
			return err
		}
	}
	return nil
}

// dateHours counts the timed visits of each hour of each date.
func (r rows) dateHours(site usage.Site, out put) error {
	type hour struct {
		date usage.Date
		hour int32
	}
	visits := map[hour]int64{}
	at := clocksOf(site)
	err := eachVisit(site, r.network.Openings(site.Code), func(v visit) error {
		if v.first.Timed {
			wall := v.first.At + int64(at.at(v.first.At).offset)
			visits[hour{usage.Date(wall / 86400), int32(wall % 86400 / 3600)}]++
		}
		return nil
	})
	if err != nil {
		return err
	}
	hours := make([]hour, 0, len(visits))
	for h := range visits {
		hours = append(hours, h)
	}
	slices.SortFunc(hours, func(a, b hour) int { return int(a.date-b.date)*24 + int(a.hour-b.hour) })
	for _, h := range hours {
		if visits[h] < r.coarse {
			continue // a row without its figure would still tell that somebody came
		}
		if err := out([]cell{site.Code, h.date, whole(h.hour), visits[h]}); err != nil {
			return err
		}
	}
	return nil
}

// describe writes datapackage.json.
func (p *packer) describe(resources []resource) error {
	var tables []any
	for _, r := range resources {
		tables = append(tables, r.table.describe(p.coarse > 0))
	}
	w, err := p.create("datapackage.json")
	if err != nil {
		return err
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", "  ")
	return out.Encode(packageOf(tables, packageSays(p.coarse, csvNote)))
}

// packageOf is the descriptor of a package.
func packageOf(resources []any, says string) map[string]any {
	return map[string]any{
		"$schema":     "https://datapackage.org/profiles/2.0/datapackage.json",
		"name":        "book-box-network",
		"title":       "A network of book boxes: when and how much each is used",
		"description": says,
		"resources":   resources,
	}
}

// What packages of either kind say of their files.
const (
	csvNote = "Counted figures are what the loggers wrote; estimated ones are for whole seasons, with limits at a confidence of 95 %. " +
		"An empty value is not known. Text that a spreadsheet would take for a formula has an apostrophe before it."
	parquetNote = "Figures are what the loggers wrote. An empty value is not known."
)

func packageSays(coarse int64, note string) string {
	s := "Counts of door openings and visits. " + note + " The licence is for the network's coordinator to give."
	if coarse > 0 {
		s += fmt.Sprintf(" Made coarse for publication: times are dates and hours only, single openings, visits, findings and the lines of the cards are left out, and figures of fewer than %d visits are held back: empty, or in date_hours without a row. "+
			"Sums of what is left may be smaller than totals, and a lone gap may be worked out from them.", coarse)
	}
	return s
}

// describe is a table as a data resource of datapackage.json. Where figures may be
// held back, only keys are required.
func (t *table) describe(coarse bool) map[string]any {
	var fields []any
	for _, c := range t.columns {
		f := map[string]any{"name": c.name, "type": c.kind, "description": c.english()}
		if unit := c.unit(); unit != "" {
			f["unit"] = unit
		}
		if c.need && (!coarse || slices.Contains(t.key, c.name)) {
			f["constraints"] = map[string]any{"required": true}
		}
		fields = append(fields, f)
	}
	schema := map[string]any{"fields": fields, "missingValues": []string{""}, "primaryKey": t.key}
	var foreign []any
	for _, f := range t.foreign {
		foreign = append(foreign, map[string]any{"fields": []string{f[0]}, "reference": map[string]any{"resource": f[1], "fields": []string{keyOf(f[1])}}})
	}
	if foreign != nil {
		schema["foreignKeys"] = foreign
	}
	return map[string]any{
		"name": t.name, "type": "table", "path": t.name + ".csv", "description": t.says, "format": "csv",
		"mediatype": "text/csv", "encoding": "utf-8", "schema": schema,
	}
}

// keyOf is the column by which a table is referred to.
func keyOf(table string) string {
	if table == networkSeasonsTable.name {
		return "season"
	}
	return "code"
}
