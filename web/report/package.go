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
	p := &packer{Writer: zip.NewWriter(w), network: n, coarse: int64(coarse)}
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

// resource is one table of the package and what writes its rows.
type resource struct {
	table *table
	rows  func(*packer, *csvTable) error
}

var (
	fineResources = []resource{
		{&sitesTable, (*packer).sites}, {&openingsTable, eachSite((*packer).openings)}, {&visitsTable, eachSite((*packer).visits)},
		{&daysTable, eachSite((*packer).days)}, {&patternsTable, eachSite((*packer).patterns)},
		{&seasonsTable, (*packer).seasons}, {&networkSeasonsTable, (*packer).networkSeasons}, {&findingsTable, eachSite((*packer).findings)},
	}
	coarseResources = []resource{
		{&sitesTable, (*packer).sites}, {&dateHoursTable, eachSite((*packer).dateHours)},
		{&daysTable, eachSite((*packer).days)}, {&patternsTable, eachSite((*packer).patterns)},
		{&seasonsTable, (*packer).seasons}, {&networkSeasonsTable, (*packer).networkSeasons},
	}
)

type packer struct {
	*zip.Writer
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
	if err := r.rows(p, out); err != nil {
		return err
	}
	return out.flush()
}

func eachSite(rows func(*packer, *csvTable, usage.Site) error) func(*packer, *csvTable) error {
	return func(p *packer, out *csvTable) error {
		for _, site := range p.network.Sites {
			if err := rows(p, out, site); err != nil {
				return fmt.Errorf("site %s: %w", site.Code, err)
			}
		}
		return nil
	}
}

// hide empties the cells from the given one on where there are fewer visits than
// may be published.
func (p *packer) hide(cells []cell, from, to int, visits int64) {
	if visits < p.coarse {
		for i := from; i < to; i++ {
			cells[i] = nil
		}
	}
}

func (p *packer) sites(out *csvTable) error {
	for _, s := range p.network.Sites {
		if err := out.row(siteCells(s)); err != nil {
			return err
		}
	}
	return nil
}

func (p *packer) openings(out *csvTable, site usage.Site) error {
	at := clocksOf(site)
	for o, err := range p.network.Openings(site.Code) {
		if err != nil {
			return err
		}
		if err := out.row(openingCells(site.Code, at, o)); err != nil {
			return err
		}
	}
	return nil
}

func (p *packer) visits(out *csvTable, site usage.Site) error {
	at := clocksOf(site)
	return eachVisit(site, p.network.Openings(site.Code), func(v visit) error { return out.row(visitCells(site.Code, at, v)) })
}

func (p *packer) days(out *csvTable, site usage.Site) error {
	days, err := p.network.Days(site.Code)
	if err != nil {
		return err
	}
	for _, d := range days {
		cells := dayCells(site.Code, d)
		p.hide(cells, 2, 8, int64(d.Visits))
		p.hide(cells, 2, 3, int64(d.Openings))
		p.hide(cells, 6, 7, int64(min(d.Dark, d.Visits-d.Dark)))
		p.hide(cells, 7, 8, int64(min(d.Twilight, d.Visits-d.Twilight)))
		if err := out.row(cells); err != nil {
			return err
		}
	}
	return nil
}

func (p *packer) patterns(out *csvTable, site usage.Site) error {
	pattern, err := p.network.Pattern(site.Code)
	if err != nil {
		return err
	}
	for _, c := range pattern.Cells {
		cells := patternCells(site.Code, c)
		p.hide(cells, 3, 4, c.Visits)
		p.hide(cells, 5, 8, c.Visits)
		if err := out.row(cells); err != nil {
			return err
		}
	}
	return nil
}

func (p *packer) seasons(out *csvTable) error {
	for _, s := range p.network.Seasons {
		for _, site := range s.Sites {
			if err := out.row(append([]cell{s.Name, site.Code}, p.figures(site.Figures)...)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (p *packer) networkSeasons(out *csvTable) error {
	for _, s := range p.network.Seasons {
		if err := out.row(append([]cell{s.Name}, p.figures(s.Network)...)); err != nil {
			return err
		}
	}
	return nil
}

// figures are the cells of a season's figures; of too few visits, only those that
// tell of recording.
func (p *packer) figures(f usage.SeasonFigures) []cell { return coarseFigures(f, p.coarse) }

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

func (p *packer) findings(out *csvTable, site usage.Site) error {
	findings, err := p.network.Findings(site.Code)
	if err != nil {
		return err
	}
	at := clocksOf(site)
	for _, f := range findings {
		if err := out.row(findingCells(site.Code, at, f)); err != nil {
			return err
		}
	}
	return nil
}

// dateHours counts the timed visits of each hour of each date.
func (p *packer) dateHours(out *csvTable, site usage.Site) error {
	type hour struct {
		date usage.Date
		hour int32
	}
	visits := map[hour]int64{}
	at := clocksOf(site)
	err := eachVisit(site, p.network.Openings(site.Code), func(v visit) error {
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
		if visits[h] < p.coarse {
			continue // a row without its figure would still tell that somebody came
		}
		if err := out.row([]cell{site.Code, h.date, whole(h.hour), visits[h]}); err != nil {
			return err
		}
	}
	return nil
}

// describe writes datapackage.json.
func (p *packer) describe(resources []resource) error {
	d := map[string]any{
		"$schema":     "https://datapackage.org/profiles/2.0/datapackage.json",
		"name":        "book-box-network",
		"title":       "A network of book boxes: when and how much each is used",
		"description": packageSays(p.coarse),
	}
	var tables []any
	for _, r := range resources {
		tables = append(tables, r.table.describe(p.coarse > 0))
	}
	d["resources"] = tables
	w, err := p.create("datapackage.json")
	if err != nil {
		return err
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", "  ")
	return out.Encode(d)
}

func packageSays(coarse int64) string {
	s := "Counts of door openings and visits. Counted figures are what the loggers wrote; estimated ones are for whole seasons, with limits at a confidence of 95 %. " +
		"An empty value is not known. Text that a spreadsheet would take for a formula has an apostrophe before it. The licence is for the network's coordinator to give."
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
		f := map[string]any{"name": c.name, "type": c.kind, "description": c.says}
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
