package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// document is a season report in words: what its PDF and its page for print say
// alike. Every figure in it is written as on the pages.
type document struct {
	Title    string // of the file: Season report: summer 2026
	Season   string // Summer 2026
	Subject  string // The network: 8 boxes; or the name of the site
	Made     string
	Sentence []string
	Key      []figure
	Picture  *picture  // hours of the week
	Own      []picture // of a report on one site: by hour of the day, and the days
	Sites    *sheet    // nil in a report on one site
	SideBy   *picture  // the boxes side by side
	Each     []sitePart
	Done     []sheet // what was done: sums, and the calls where they are few
	Doubtful *sheet
	Proposed *sheet
	Counted  []string // how it was counted
	Cautions []string
}

// figure is a key figure.
type figure struct {
	Term string
	web.Written
}

// sheet is a table in words.
type sheet struct {
	Caption string
	Columns []sheetColumn
	Rows    []sheetRow
	Note    string // below it
}

type sheetColumn struct {
	Head  string
	Width float64 // mm on paper
	Right bool    // figures
}

// sheetRow is a row; Sum sets it off from those above.
type sheetRow struct {
	Cells []sheetCell
	Sum   bool
}

// sheetCell is a cell: what leads, and below it the rest in small type.
type sheetCell struct {
	Lead string
	Fine []string
	Bold bool
}

// sitePart is one site's half page.
type sitePart struct {
	Code, Name string
	About      string    // code, place among the others
	Key        []figure  // nil where nothing was recorded
	Pictures   []picture // by hour; the days; nil where nothing was recorded
	Remarks    []string
}

func documentOf(s Season) *document {
	d := &document{
		Title: s.heading(), Season: capital(s.Title), Subject: s.subject(), Made: web.DateWords(s.Made),
		Sentence: s.Sentence,
		Doubtful: s.doubts(), Proposed: s.proposed(), Counted: paperCounted(), Cautions: paperCautions(),
	}
	if s.Network.Until != nil {
		d.Key = keyFigures(s.Network, !s.OneSite && len(s.Sites) > 1)
	}
	if !s.OneSite {
		d.Sites = s.siteSheet()
		for _, site := range s.reported() {
			d.Each = append(d.Each, partOf(site))
		}
	}
	d.Done = s.done()
	return d
}

func (s Season) subject() string {
	called := cmp.Or(web.Visible(s.Called), "The network")
	switch n := len(s.Sites); {
	case s.OneSite && n > 0:
		site := web.Visible(s.Sites[0].Name) + " (" + s.Sites[0].Code + ")"
		if s.Called != "" {
			site += " of " + called
		}
		return site
	case n == 0:
		return called + ": no box stands in it"
	default:
		return called + ": " + web.Plural(int64(n), "box", "boxes")
	}
}

// capital makes the first letter of s a capital.
func capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[size:]
}

// keyFigures are the figures of a season; mean says that rates are those of a mean
// box of several.
func keyFigures(f usage.SeasonFigures, mean bool) []figure {
	at, open := "", "Door open in all"
	if mean {
		at, open = " at a mean box", open+"; a week at a mean box"
	}
	return []figure{
		{"Visits counted", web.WrittenCount(words.English, f)},
		{"Estimated for all " + web.Plural(int64(f.Days), "day", "days"), web.WrittenEstimate(words.English, f.Estimated)},
		{"Visits a day" + at, web.WrittenEstimate(words.English, f.PerDay)},
		{"Against last year", web.WrittenRatio(words.English, f.RatioToLast)},
		{"In the dark", web.WrittenShare(words.English, f.DarkShare)},
		{open, web.WrittenOpen(words.English, f)},
		{"Door open a visit, median", web.WrittenMedian(words.English, f)},
	}
}

// siteSheet is the table of sites with the network below them.
func (s Season) siteSheet() *sheet {
	t := &sheet{
		Caption: "Box by box",
		Columns: []sheetColumn{
			{"Box", 45, false}, {"Counted", 17, true}, {"Covered", 23, true}, {"Estimated", 25, true},
			{"A day", 21, true}, {"Against last year", 21, true}, {"In the dark", 18, true},
		},
		Note: "Counted is what the logger wrote; estimated is for all of the days, with 95 % limits below. Dates and hours are civil time at the box.",
	}
	if len(s.Sites) == 0 {
		return nil
	}
	for _, site := range s.Sites {
		name := sheetCell{Lead: site.Name, Fine: append([]string{site.Code}, site.remarks()...), Bold: true}
		t.Rows = append(t.Rows, sheetRow{Cells: append([]sheetCell{name}, figureCellsOf(site.Figures)...)})
	}
	all := sheetCell{Lead: networkName, Bold: true}
	if len(s.Sites) > 1 {
		all.Fine = []string{"a day: at a mean box"}
	}
	t.Rows = append(t.Rows, sheetRow{Cells: append([]sheetCell{all}, figureCellsOf(s.Network)...), Sum: true})
	return t
}

func figureCellsOf(f usage.SeasonFigures) []sheetCell {
	of := func(w web.Written) sheetCell {
		c := sheetCell{Lead: w.Value, Bold: true}
		if w.Fine != "" {
			c.Fine = []string{w.Fine}
		}
		return c
	}
	cover := of(web.WrittenCover(words.English, f))
	cover.Bold = false
	return []sheetCell{
		{Lead: web.Number(f.Counted), Bold: true}, cover, of(web.WrittenEstimate(words.English, f.Estimated)), of(web.WrittenEstimate(words.English, f.PerDay)),
		of(web.WrittenRatio(words.English, f.RatioToLast)), of(web.WrittenShare(words.English, f.DarkShare)),
	}
}

// remarks are those that stand beside the site's figures on the pages.
func (s Site) remarks() []string {
	return web.Remarks(words.English, s.Figures, len(s.open()), s.Figures.Complete)
}

// nothingSays is all that there is to say of a site without recording.
const nothingSays = "Nothing was recorded in this season."

func partOf(site Site) sitePart {
	p := sitePart{Code: site.Code, Name: site.Name, About: site.Code, Remarks: site.remarks()}
	if site.Place != "" {
		p.About += " · " + site.Place + " by visits a week"
	}
	if site.Figures.Until == nil {
		p.Remarks = append([]string{nothingSays}, p.Remarks...)
		return p
	}
	p.Key = keyFigures(site.Figures, false)
	return p
}

// fewCalls is how many service calls are listed one by one; more are summed up.
const fewCalls = 60

// done says what was done at the boxes; nil where nothing was.
func (s Season) done() (out []sheet) {
	calls := 0
	sums := sheet{Caption: "What was done", Columns: []sheetColumn{
		{"Box", 54, false}, {"Calls", 16, true}, {"Restocks", 20, true}, {"Books put in", 24, true},
		{"Cards out", 20, true}, {"New batteries", 20, true}, {"New coin cell", 16, true},
	}}
	for _, site := range s.reported() {
		if n := len(site.Calls); n > 0 {
			calls += n
			sums.Rows = append(sums.Rows, callSums(site))
		}
	}
	if calls == 0 {
		return nil
	}
	if !s.OneSite {
		out = append(out, sums)
	}
	if calls <= fewCalls {
		list := s.callList()
		if s.OneSite {
			list.Caption = sums.Caption
		}
		out = append(out, list)
	}
	return out
}

func callSums(site Site) sheetRow {
	count := func(kind usage.CallKind) sheetCell {
		n := int64(0)
		for _, c := range site.Calls {
			if c.Did(kind) {
				n++
			}
		}
		return sheetCell{Lead: web.Number(n)}
	}
	books := int64(0)
	for _, c := range site.Calls {
		if c.BooksIn != nil {
			books += int64(*c.BooksIn)
		}
	}
	return sheetRow{Cells: []sheetCell{
		{Lead: site.Name, Bold: true}, {Lead: web.Number(int64(len(site.Calls)))}, count(usage.CallRestock), {Lead: web.Number(books)},
		count(usage.CallCardOut), count(usage.CallBatteries), count(usage.CallCoinCell),
	}}
}

func (s Season) callList() sheet {
	t := sheet{Caption: "Call by call", Columns: []sheetColumn{{"When", 36, false}, {"Box", 36, false}, {"What", 44, false}, {"Note", 54, false}}}
	type dated struct {
		at  int64
		row sheetRow
	}
	var rows []dated
	for _, site := range s.reported() {
		for _, c := range site.Calls {
			rows = append(rows, dated{c.At, callRow(site, c)})
		}
	}
	slices.SortStableFunc(rows, func(a, b dated) int { return cmp.Compare(a.at, b.at) })
	for _, r := range rows {
		t.Rows = append(t.Rows, r.row)
	}
	return t
}

func callRow(site Site, c usage.ServiceCall) sheetRow {
	what := sheetCell{Lead: strings.Join(web.KindWords(words.English, c.Kinds), ", ")}
	if c.BooksIn != nil {
		what.Fine = append(what.Fine, web.Plural(int64(*c.BooksIn), "book", "books")+" put in")
	}
	if c.BooksNow != nil {
		what.Fine = append(what.Fine, web.Plural(int64(*c.BooksNow), "book", "books")+" on the shelf")
	}
	when := "time not known"
	if c.At > 0 {
		when = web.When(c.At, site.Zone)
	}
	return sheetRow{Cells: []sheetCell{{Lead: when}, {Lead: site.Name}, what, {Lead: c.Note}}}
}

// mostDoubts is how many open questions of one site are written out.
const mostDoubts = 8

// doubts lists what is doubtful: open questions, outages, times without recording,
// and visits without a time. It is nil where nothing is.
func (s Season) doubts() *sheet {
	t := &sheet{Caption: "What is doubtful", Columns: []sheetColumn{{"Box", 40, false}, {"What", 92, false}, {"When", 38, false}}}
	for _, site := range s.reported() {
		name := site.Name
		for _, row := range site.doubts() {
			row.Cells[0] = sheetCell{Lead: name, Bold: true}
			t.Rows = append(t.Rows, row)
			name = ""
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

func (s Site) doubts() (rows []sheetRow) {
	add := func(what, when string) {
		rows = append(rows, sheetRow{Cells: []sheetCell{{}, {Lead: what}, {Lead: when}}})
	}
	if s.Figures.CoveredDays == 0 {
		add(nothingSays, "")
	}
	open := s.open()
	for _, f := range open[:min(len(open), mostDoubts)] {
		add("Open question: "+f.Says, spanWords(f.From, max(f.From, f.To), s.Zone))
	}
	if more := len(open) - mostDoubts; more > 0 {
		add(web.Plural(int64(more), "more question is open.", "more questions are open."), "")
	}
	for _, st := range s.Coverage {
		if st.Kind == usage.Outage {
			add("Out of order, by the coordinator’s ruling: not counted as recording.", spanWords(st.From, st.To-1, s.Zone))
		}
	}
	for _, g := range s.gaps() {
		add("No recording on "+web.Plural(int64(g.to-g.from+1), "day", "days")+".", datesWords(g.from, g.to))
	}
	if f := s.Figures; f.Untimed > 0 {
		add(web.Plural(f.Untimed, "visit has no time: it is counted, and in no hour.", "visits have no time: they are counted, and in no hour."), "")
	}
	if f := s.Figures; f.UntimedAbout > 0 {
		add(web.Plural(f.UntimedAbout, "visit without a time may be of this season or not: not counted.", "visits without a time may be of this season or not: not counted."), "")
	}
	return rows
}

// dates are civil dates from one to another, both included.
type dates struct{ from, to usage.Date }

// window is the part of the season for which there are figures: from its first
// date, or the site's, to the last one that the figures reach; false without any.
func (s Site) window() (dates, bool) {
	f := s.Figures
	if f.Until == nil || f.Days <= 0 {
		return dates{}, false
	}
	return dates{*f.Until - usage.Date(f.Days) + 1, *f.Until}, true
}

// gaps are the dates of the window on which nothing was recorded.
func (s Site) gaps() (out []dates) {
	w, ok := s.window()
	if !ok {
		return nil
	}
	next := w.from
	close := func(d usage.Date) {
		if d > next {
			out = append(out, dates{next, d - 1})
		}
		next = d + 1
	}
	for _, d := range s.Days {
		if d.ExposureS > 0 && d.Date >= next && d.Date <= w.to {
			close(d.Date)
		}
	}
	close(w.to + 1)
	return out
}

// datesWords writes dates, their year and month once where they share them.
func datesWords(from, to usage.Date) string {
	y1, m1, d1 := from.YMD()
	y2, m2, _ := to.YMD()
	switch {
	case from == to:
		return web.DateWords(from)
	case y1 == y2 && m1 == m2:
		return fmt.Sprintf("%d to %s", d1, web.DateWords(to))
	case y1 == y2:
		return fmt.Sprintf("%d %s to %s", d1, m1, web.DateWords(to))
	}
	return web.DateWords(from) + " to " + web.DateWords(to)
}

// spanWords writes a time as the civil dates that it touches at a site.
func spanWords(from, to int64, zone string) string {
	if from <= 0 || to >= usage.Beyond {
		return ""
	}
	z, err := usage.LoadZone(zone)
	if err != nil {
		return ""
	}
	first, _ := z.Civil(from)
	last, _ := z.Civil(to)
	return datesWords(first, last)
}

// proposed lists the proposals; nil without any.
func (s Season) proposed() *sheet {
	if len(s.Proposals) == 0 {
		return nil
	}
	t := &sheet{Caption: "What is proposed", Columns: []sheetColumn{{"Box", 45, false}, {"What", 125, false}}}
	names := map[string]string{"": networkName}
	for _, site := range s.Sites {
		names[site.Code] = site.Name
	}
	for _, p := range s.Proposals {
		t.Rows = append(t.Rows, sheetRow{Cells: []sheetCell{{Lead: cmp.Or(names[p.Site], p.Site), Bold: true}, {Lead: p.Says}}})
	}
	return t
}

// paperCounted says how it was counted to those who read and do not reckon; see
// countedNotes for a workbook.
func paperCounted() []string {
	return []string{
		"Counted visits are what the loggers wrote; openings close together are one visit, and those at service calls are none.",
		"Estimated visits are for all of the days, those not covered filled in from covered days of the same weekday.",
		fmt.Sprintf("Figures between limits: at a confidence of %.0f %%, from how many visits there were and how uneven their days were.", 100*usage.Confidence),
		"Covered days are the time in which a logger is held to have been recording. Hatched is what was not covered; what is not known is not nought.",
		"Days and hours are civil time at the box. It is dark with the sun more than 6 degrees below the horizon.",
	}
}

// paperCautions are common practice, no source.
func paperCautions() []string {
	return append(cautionNotes(),
		"Memory cards take 3.3 V, not 5 V.",
		"Lights and outdoor wiring follow the local electrical code and, beyond extra-low voltage, are for a licensed electrician.",
		"Posts and boxes at the kerb need the local authority’s consent.",
	)
}

// Alternative is what is said of a picture to those who do not see it.
func (p picture) Alternative() string { return fmt.Sprintf("%s. %s", p.Title, p.Says) }
