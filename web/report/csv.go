package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// WriteCSV writes the table of sites of a season: a row a site, and one without a
// code for the network where the report is about more than one site.
//
// It is CSV of RFC 4180 in UTF-8 with a head. Names of columns carry the unit; an
// estimate has three columns, its value and its 95 % limits; what is not known is
// empty. Figures have the digits of the JSON of the same season. Text that a
// spreadsheet would take for a formula has an apostrophe before it.
func WriteCSV(w io.Writer, s Season) error {
	out, err := newCSV(w, &sitesOfSeason)
	if err != nil {
		return err
	}
	for _, row := range seasonRows(words.English, s) {
		if err := out.row(row); err != nil {
			return err
		}
	}
	return out.flush()
}

// csvTable writes the rows of one table.
type csvTable struct {
	*csv.Writer
	table *table
}

// newCSV begins a table with its head. A carriage return inside a text is left out
// and a line feed is written with one, as the line ends of the file are.
func newCSV(w io.Writer, t *table) (*csvTable, error) {
	out := &csvTable{csv.NewWriter(w), t}
	out.UseCRLF = true // RFC 4180, section 2, rule 1
	if err := out.Write(t.names()); err != nil {
		return nil, fmt.Errorf("write table %s: %w", t.name, err)
	}
	return out, nil
}

// row writes one row. Cells that do not fit the columns are a programmer's mistake.
func (c *csvTable) row(cells []cell) error {
	if len(cells) != len(c.table.columns) {
		panic(fmt.Sprintf("table %s: %d cells for %d columns", c.table.name, len(cells), len(c.table.columns)))
	}
	if err := c.Write(cellsText(cells)); err != nil {
		return fmt.Errorf("write table %s: %w", c.table.name, err)
	}
	return nil
}

func (c *csvTable) flush() error {
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("write table %s: %w", c.table.name, err)
	}
	return nil
}

// sitesOfSeason is the table of sites in a season report.
var sitesOfSeason = table{
	name: "season_sites",
	says: "The figures of each site in one season, and of the network.",
	columns: append([]column{
		{name: "season", kind: typeText, says: "name of the season", need: true},
		{name: "code", kind: typeText, says: "code of the site; empty: the network"},
		{name: "name", kind: typeText, says: "name of the site", need: true},
	}, figureColumns...),
}

// figureColumns are the figures of a season, in the order of figureCells.
var figureColumns = slices.Concat(
	[]column{
		{name: "counted_visits", kind: typeInteger, says: "visits counted, those of which only the season is known included", need: true},
		{name: "covered_days", kind: typeNumber, says: "exposure: days of 24 hours in which the logger was recording", need: true},
		{name: "days", kind: typeInteger, says: "dates of the season at which the box stood, up to until; for the network, of all sites together", need: true},
	},
	threeOf("estimated_visits", "visits estimated on all of those dates; empty without exposure"),
	threeOf("visits_per_day", "estimated visits a day; for the network, of a mean site"),
	threeOf("ratio_to_last_year", "visits a day against the same season a year before, on the dates that both have"),
	sharesOf(threeOf("dark_share", "share of timed visits that begin with the sun below -6 degrees, 0 to 1")),
	[]column{
		{name: "open_s", kind: typeInteger, says: "seconds that the door stood open in visits, a door left ajar capped", need: true},
		{name: "open_s_per_week", kind: typeNumber, says: "seconds that the door stood open in visits, in seven days of exposure"},
	},
	threeOf("median_open_s", "median of the seconds that the door stood open in a visit"),
	[]column{
		{name: "lower_quartile_open_s", kind: typeNumber, says: "lower quartile of the seconds that the door stood open in a visit"},
		{name: "upper_quartile_open_s", kind: typeNumber, says: "upper quartile of the seconds that the door stood open in a visit"},
		{name: "visits_without_seconds", kind: typeInteger, says: "visits whose seconds are not known", need: true},
		{name: "untimed_visits", kind: typeInteger, says: "counted visits of which only the season is known", need: true},
		{name: "untimed_visits_about", kind: typeInteger, says: "visits that may be of this season or not; not counted", need: true},
		{name: "dispersion", kind: typeNumber, says: "variance of the season's visits over their mean, as the limits used it; 1 at least", need: true},
		{name: "complete", kind: typeBoolean, says: "the figures reach the season's last date", need: true},
		{name: "until", kind: typeDate, says: "last date that is in the figures; empty without exposure"},
	},
)

func sharesOf(columns []column) []column {
	for i := range columns {
		columns[i].share = true
	}
	return columns
}

// figureCells are the cells of figureColumns.
func figureCells(f usage.SeasonFigures) []cell {
	optional := func(v *float64) cell {
		if v == nil {
			return nil
		}
		return finite(*v)
	}
	until := cell(nil)
	if f.Until != nil {
		until = *f.Until
	}
	return slices.Concat(
		[]cell{f.Counted, finite(f.CoveredDays), whole(f.Days)},
		estimated(f.Estimated), estimated(f.PerDay), estimated(f.RatioToLast), estimated(f.DarkShare),
		[]cell{f.OpenS, optional(f.PerWeekS)},
		estimated(f.MedianOpenS),
		[]cell{optional(f.LowerOpenS), optional(f.UpperOpenS), f.UnknownOpen, f.Untimed, f.UntimedAbout, finite(f.Phi), f.Complete, until},
	)
}

// seasonRows are the rows of sitesOfSeason.
func seasonRows(w *words.Words, s Season) [][]cell {
	var rows [][]cell
	for _, site := range s.reported() {
		rows = append(rows, append([]cell{s.Name, site.Code, site.Name}, figureCells(site.Figures)...))
	}
	if !s.OneSite {
		rows = append(rows, append([]cell{s.Name, "", w.Say(networkName)}, figureCells(s.Network)...))
	}
	return rows
}

// networkName stands where a site has its name.
const networkName words.Text = "The network"

// reported are the sites that the report is about.
func (s Season) reported() []Site {
	if s.OneSite && len(s.Sites) > 1 {
		return s.Sites[:1]
	}
	return s.Sites
}
