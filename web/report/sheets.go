package report

import (
	"slices"
	"strings"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// sheetTables are the tables of a workbook that have anything to show.
func sheetTables(s Season) []sheetTable {
	w := s.words()
	all := []sheetTable{
		{sheet: w.Say(sheetSites), table: &sitesOfSeason, rows: seasonRows(w, s), keep: true, names: 3},
		{sheet: w.Say(sheetHours), table: &hoursTable, rows: hourRows(s), beside: 105},
		{sheet: w.Say("Days"), table: &daysTable, rows: dayRows(s)},
		{sheet: w.Say("Pattern"), table: &patternTable, rows: patternRows(s)},
		{sheet: w.Say("Findings"), table: &findingsTable, rows: findingRows(w, s)},
		{sheet: w.Say("Service calls"), table: &callsTable, rows: callRows(w, s)},
	}
	return slices.DeleteFunc(all, func(t sheetTable) bool { return len(t.rows) == 0 && !t.keep })
}

// The names of sheets that charts refer to. A translation has letters alone, so that a
// reference to it needs no quotes.
const (
	sheetSites words.Text = "Sites"
	sheetHours words.Text = "Hours"
)

var siteColumn = column{name: "site", kind: typeText, says: "code of the site", need: true}

var daysTable = table{
	name:    "days",
	says:    "What was counted on each civil date of a site that has exposure or an opening.",
	key:     []string{"site", "date"},
	foreign: [][2]string{{"site", "sites"}},
	columns: []column{
		siteColumn,
		{name: "date", kind: typeDate, says: "civil date at the site", need: true},
		{name: "openings", kind: typeInteger, says: "openings of the door that have a time, of all classes"},
		{name: "visits", kind: typeInteger, says: "visits that begin on the date"},
		{name: "open_s", kind: typeInteger, says: "seconds that the door stood open in visits that begin on the date, a door left ajar capped"},
		{name: "openings_without_seconds", kind: typeInteger, says: "visitors' openings whose seconds are not known"},
		{name: "dark_visits", kind: typeInteger, says: "visits that begin with the sun below -6 degrees"},
		{name: "twilight_visits", kind: typeInteger, says: "visits that begin with the sun from -6 to -0.833 degrees"},
		{name: "exposure_h", kind: typeNumber, says: "hours of the date in which the logger was recording", need: true},
	},
}

func dayCells(site string, d usage.Day) []cell {
	return []cell{
		site, d.Date, whole(d.Openings), whole(d.Visits), d.OpenS, whole(d.UnknownS), whole(d.Dark), whole(d.Twilight),
		float64(d.ExposureS) / 3600,
	}
}

func dayRows(s Season) (rows [][]cell) {
	for _, site := range s.reported() {
		for _, d := range site.Days {
			rows = append(rows, dayCells(site.Code, d))
		}
	}
	return rows
}

var patternTable = table{
	name: "pattern",
	says: "Visits by civil hour of the week.",
	columns: slices.Concat([]column{
		{name: "site", kind: typeText, says: "code of the site; empty: all sites together"},
		{name: "weekday", kind: typeInteger, says: "1 Monday to 7 Sunday (ISO 8601)", need: true},
		{name: "hour", kind: typeInteger, says: "civil hour of the day, 0 to 23", need: true},
		{name: "visits", kind: typeInteger, says: "visits that begin in the hour"},
		{name: "exposure_h", kind: typeNumber, says: "hours in which the logger was recording", need: true},
	}, threeOf("visits_per_hour", "visits in an hour of exposure; empty without exposure")),
}

func patternCells(site string, c usage.Cell) []cell {
	return append([]cell{site, whole(c.Weekday), whole(c.Hour), c.Visits, finite(c.ExposureH)}, estimated(c.Rate)...)
}

func patternRows(s Season) (rows [][]cell) {
	if !s.OneSite {
		for _, c := range s.Pattern.Cells {
			rows = append(rows, patternCells("", c))
		}
	}
	for _, site := range s.reported() {
		for _, c := range site.Pattern.Cells {
			rows = append(rows, patternCells(site.Code, c))
		}
	}
	return rows
}

var hoursTable = table{
	name: "hours",
	says: "Visits by civil hour of the day, of all that the report is about.",
	columns: slices.Concat([]column{
		{name: "hour", kind: typeInteger, says: "civil hour of the day, 0 to 23", need: true},
		{name: "visits", kind: typeInteger, says: "visits that begin in the hour", need: true},
		{name: "exposure_h", kind: typeNumber, says: "hours in which the logger was recording", need: true},
		{name: "visits_per_hour", kind: typeNumber, says: "visits in an hour of exposure; empty without exposure"},
	}),
}

// hourRows sums the pattern by hour of the day.
func hourRows(s Season) (rows [][]cell) {
	p := s.Pattern
	if s.OneSite && len(s.Sites) > 0 {
		p = s.Sites[0].Pattern
	}
	if len(p.Cells) == 0 {
		return nil
	}
	var visits [24]int64
	var exposure [24]float64
	for _, c := range p.Cells {
		visits[c.Hour] += c.Visits
		exposure[c.Hour] += c.ExposureH
	}
	for h := range visits {
		rate := cell(nil)
		if exposure[h] > 0 {
			rate = float64(visits[h]) / exposure[h]
		}
		rows = append(rows, []cell{whole(h), visits[h], exposure[h], rate})
	}
	return rows
}

var findingsTable = table{
	name:    "findings",
	says:    "What the program noticed that a person should know, and what was answered.",
	key:     []string{"site", "key"},
	foreign: [][2]string{{"site", "sites"}},
	columns: []column{
		siteColumn,
		{name: "key", kind: typeText, says: "name of the finding, the same as long as what is kept is the same", need: true},
		{name: "kind", kind: typeText, says: "what sort of thing it is", need: true},
		{name: "from", kind: typeDatetime, says: "its begin, in civil time of the site; empty where it is not known"},
		{name: "to", kind: typeDatetime, says: "its end, in civil time of the site; empty where it is not known"},
		{name: "says", kind: typeText, says: "what was noticed", need: true},
		{name: "changes", kind: typeText, says: "what it changes in the counts"},
		{name: "answer", kind: typeText, says: "the coordinator's answer; empty: still open"},
	},
}

// clocks turns instants into civil time at a site, UTC where its zone is not known.
type clocks struct{ zone *usage.Zone }

func clocksOf(site usage.Site) clocks {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		zone = nil
	}
	return clocks{zone}
}

func (c clocks) at(unix int64) instant {
	if c.zone == nil {
		return instant{unix, 0}
	}
	return instant{unix, c.zone.OffsetAt(unix)}
}

// known is at, nil for an instant that is no bound: 0, or usage.Beyond.
func (c clocks) known(unix int64) cell {
	if unix <= 0 || unix >= usage.Beyond {
		return nil
	}
	return c.at(unix)
}

func findingCells(site string, c clocks, f usage.Finding) []cell {
	answer := cell(nil)
	if f.Ruling != nil {
		answer = string(f.Ruling.Answer)
	}
	return []cell{site, f.Key, f.Kind, c.known(f.From), c.known(f.To), f.Says, f.Changes, answer}
}

// findingRows are the findings as people read them.
func findingRows(w *words.Words, s Season) (rows [][]cell) {
	for _, site := range s.reported() {
		c := clocksOf(site.Site)
		for _, f := range site.Findings {
			f.Kind, f.Says, f.Changes = w.Retell(f.Kind), w.Retell(f.Says), w.Retell(f.Changes)
			row := findingCells(site.Code, c, f)
			if f.Ruling != nil {
				row[len(row)-1] = w.Say(answerWords[f.Ruling.Answer])
			}
			rows = append(rows, row)
		}
	}
	return rows
}

var callsTable = table{
	name: "service_calls",
	says: "What volunteers did at the boxes.",
	columns: []column{
		siteColumn,
		{name: "at", kind: typeDatetime, says: "when, in civil time of the site"},
		{name: "done", kind: typeText, says: "what was done"},
		{name: "books_in", kind: typeInteger, says: "books put in"},
		{name: "books_now", kind: typeInteger, says: "books on the shelf afterwards"},
		{name: "note", kind: typeText, says: "what the volunteer noted"},
	},
}

func callRows(w *words.Words, s Season) (rows [][]cell) {
	for _, site := range s.reported() {
		c := clocksOf(site.Site)
		for _, call := range site.Calls {
			rows = append(rows, []cell{site.Code, c.known(call.At), doneWords(w, call.Kinds), books(call.BooksIn), books(call.BooksNow), call.Note})
		}
	}
	return rows
}

func books(n *int32) cell {
	if n == nil {
		return nil
	}
	return int64(*n)
}

// callWords and answerWords are the names that the files for programs have, in words.
var (
	callWords = map[usage.CallKind]words.Text{
		usage.CallRestock: "restock", usage.CallCardOut: "card out", usage.CallCardIn: "card in",
		usage.CallBatteries: "batteries", usage.CallCoinCell: "coin cell", usage.CallClockSet: "clock set",
		usage.CallTimeNoted: "time noted", usage.CallRepair: "repair", usage.CallNote: "note",
	}
	answerWords = map[usage.Answer]words.Text{
		usage.AnswerSeen: "seen", usage.AnswerOutage: "outage", usage.AnswerQuiet: "quiet", usage.AnswerTyping: "typing",
		usage.AnswerBelieve: "believe", usage.AnswerCivil: "civil", usage.AnswerFixed: "fixed", usage.AnswerTwice: "twice",
	}
)

func doneWords(w *words.Words, kinds []usage.CallKind) string {
	done := make([]string, len(kinds))
	for i, k := range kinds {
		done[i] = w.Say(callWords[k])
	}
	return strings.Join(done, ", ")
}
