package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

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
	w := s.words()
	d := &document{
		Title: s.heading(), Season: words.Capital(s.Title), Subject: s.subject(), Made: w.Date(s.Made),
		Sentence: s.Sentence,
		Doubtful: s.doubts(), Proposed: s.proposed(), Counted: paperCounted(w), Cautions: paperCautions(w),
	}
	if s.Network.Until != nil {
		d.Key = keyFigures(w, s.Network, !s.OneSite && len(s.Sites) > 1)
	}
	if !s.OneSite {
		d.Sites = s.siteSheet()
		for _, site := range s.reported() {
			d.Each = append(d.Each, partOf(w, site))
		}
	}
	d.Done = s.done()
	return d
}

func (s Season) subject() string {
	w := s.words()
	called := cmp.Or(web.Visible(s.Called), w.Say(networkName))
	switch n := len(s.Sites); {
	case s.OneSite && n > 0 && s.Called != "":
		return w.Say("%s (%s) of %s", web.Visible(s.Sites[0].Name), s.Sites[0].Code, called)
	case s.OneSite && n > 0:
		return w.Say("%s (%s)", web.Visible(s.Sites[0].Name), s.Sites[0].Code)
	case n == 0:
		return w.Say("%s: no box stands in it", called)
	default:
		return w.Say("%s: %s", called, words.Count(int64(n), "box", "boxes"))
	}
}

// keyFigures are the figures of a season; mean says that rates are those of a mean
// box of several.
func keyFigures(w *words.Words, f usage.SeasonFigures, mean bool) []figure {
	daily, open := words.Text("Visits a day"), words.Text("Door open in all")
	if mean {
		daily, open = "Visits a day at a mean box", "Door open in all; a week at a mean box"
	}
	return []figure{
		{w.Say("Visits counted"), web.WrittenCount(w, f)},
		{w.Say("Estimated for all %s", words.Count(int64(f.Days), "day", "days")), web.WrittenEstimate(w, f.Estimated)},
		{w.Say(daily), web.WrittenEstimate(w, f.PerDay)},
		{w.Say("Against last year"), web.WrittenRatio(w, f.RatioToLast)},
		{w.Say("In the dark"), web.WrittenShare(w, f.DarkShare)},
		{w.Say(open), web.WrittenOpen(w, f)},
		{w.Say("Door open a visit, median"), web.WrittenMedian(w, f)},
	}
}

// siteSheet is the table of sites with the network below them.
func (s Season) siteSheet() *sheet {
	w := s.words()
	t := &sheet{
		Caption: w.Say("Box by box"),
		Columns: []sheetColumn{
			{w.Say("Box"), 45, false}, {w.Say("Counted"), 17, true}, {w.Say("Covered"), 23, true}, {w.Say("Estimated"), 25, true},
			{w.Say("A day"), 21, true}, {w.Say("Against last year"), 21, true}, {w.Say("In the dark"), 18, true},
		},
		Note: w.Say("Counted is what the logger wrote; estimated is for all of the days, with 95 % limits below. Dates and hours are civil time at the box."),
	}
	if len(s.Sites) == 0 {
		return nil
	}
	for _, site := range s.Sites {
		name := sheetCell{Lead: site.Name, Fine: append([]string{site.Code}, site.remarks(w)...), Bold: true}
		t.Rows = append(t.Rows, sheetRow{Cells: append([]sheetCell{name}, figureCellsOf(w, site.Figures)...)})
	}
	all := sheetCell{Lead: w.Say(networkName), Bold: true}
	if len(s.Sites) > 1 {
		all.Fine = []string{w.Say("a day: at a mean box")}
	}
	t.Rows = append(t.Rows, sheetRow{Cells: append([]sheetCell{all}, figureCellsOf(w, s.Network)...), Sum: true})
	return t
}

func figureCellsOf(w *words.Words, f usage.SeasonFigures) []sheetCell {
	of := func(figure web.Written) sheetCell {
		c := sheetCell{Lead: figure.Value, Bold: true}
		if figure.Fine != "" {
			c.Fine = []string{figure.Fine}
		}
		return c
	}
	cover := of(web.WrittenCover(w, f))
	cover.Bold = false
	return []sheetCell{
		{Lead: w.Number(f.Counted), Bold: true}, cover, of(web.WrittenEstimate(w, f.Estimated)), of(web.WrittenEstimate(w, f.PerDay)),
		of(web.WrittenRatio(w, f.RatioToLast)), of(web.WrittenShare(w, f.DarkShare)),
	}
}

// remarks are those that stand beside the site's figures on the pages.
func (s Site) remarks(w *words.Words) []string {
	return web.Remarks(w, s.Figures, len(s.open()), s.Figures.Complete)
}

// nothingSays is all that there is to say of a site without recording.
const nothingSays words.Text = "Nothing was recorded in this season."

func partOf(w *words.Words, site Site) sitePart {
	p := sitePart{Code: site.Code, Name: site.Name, About: site.Code, Remarks: site.remarks(w)}
	if site.Place != "" {
		p.About = w.Say("%s · %s by visits a week", site.Code, site.Place)
	}
	if site.Figures.Until == nil {
		p.Remarks = append([]string{w.Say(nothingSays)}, p.Remarks...)
		return p
	}
	p.Key = keyFigures(w, site.Figures, false)
	return p
}

// fewCalls is how many service calls are listed one by one; more are summed up.
const fewCalls = 60

// done says what was done at the boxes; nil where nothing was.
func (s Season) done() (out []sheet) {
	w, calls := s.words(), 0
	sums := sheet{Caption: w.Say("What was done"), Columns: []sheetColumn{
		{w.Say("Box"), 54, false}, {w.Say("Calls"), 16, true}, {w.Say("Restocks"), 20, true}, {w.Say("Books put in"), 24, true},
		{w.Say("Cards out"), 20, true}, {w.Say("New batteries"), 20, true}, {w.Say("New coin cell"), 16, true},
	}}
	for _, site := range s.reported() {
		if n := len(site.Calls); n > 0 {
			calls += n
			sums.Rows = append(sums.Rows, callSums(w, site))
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

func callSums(w *words.Words, site Site) sheetRow {
	count := func(kind usage.CallKind) sheetCell {
		n := int64(0)
		for _, c := range site.Calls {
			if c.Did(kind) {
				n++
			}
		}
		return sheetCell{Lead: w.Number(n)}
	}
	books := int64(0)
	for _, c := range site.Calls {
		if c.BooksIn != nil {
			books += int64(*c.BooksIn)
		}
	}
	return sheetRow{Cells: []sheetCell{
		{Lead: site.Name, Bold: true}, {Lead: w.Number(int64(len(site.Calls)))}, count(usage.CallRestock), {Lead: w.Number(books)},
		count(usage.CallCardOut), count(usage.CallBatteries), count(usage.CallCoinCell),
	}}
}

func (s Season) callList() sheet {
	w := s.words()
	t := sheet{Caption: w.Say("Call by call"), Columns: []sheetColumn{
		{w.Say("When"), 36, false}, {w.Say("Box"), 36, false}, {w.Say("What"), 44, false}, {w.Say("Note"), 54, false},
	}}
	type dated struct {
		at  int64
		row sheetRow
	}
	var rows []dated
	for _, site := range s.reported() {
		for _, c := range site.Calls {
			rows = append(rows, dated{c.At, callRow(w, site, c)})
		}
	}
	slices.SortStableFunc(rows, func(a, b dated) int { return cmp.Compare(a.at, b.at) })
	for _, r := range rows {
		t.Rows = append(t.Rows, r.row)
	}
	return t
}

func callRow(w *words.Words, site Site, c usage.ServiceCall) sheetRow {
	what := sheetCell{Lead: strings.Join(web.KindWords(w, c.Kinds), ", ")}
	if c.BooksIn != nil {
		what.Fine = append(what.Fine, w.Say("%s put in", words.Count(int64(*c.BooksIn), "book", "books")))
	}
	if c.BooksNow != nil {
		what.Fine = append(what.Fine, w.Say("%s on the shelf", words.Count(int64(*c.BooksNow), "book", "books")))
	}
	when := w.Say("time not known")
	if c.At > 0 {
		when = w.When(c.At, site.Zone)
	}
	return sheetRow{Cells: []sheetCell{{Lead: when}, {Lead: site.Name}, what, {Lead: c.Note}}}
}

// mostDoubts is how many open questions of one site are written out.
const mostDoubts = 8

// doubts lists what is doubtful: open questions, outages, times without recording,
// and visits without a time. It is nil where nothing is.
func (s Season) doubts() *sheet {
	w := s.words()
	t := &sheet{Caption: w.Say("What is doubtful"), Columns: []sheetColumn{{w.Say("Box"), 40, false}, {w.Say("What"), 92, false}, {w.Say("When"), 38, false}}}
	for _, site := range s.reported() {
		name := site.Name
		for _, row := range site.doubts(w) {
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

func (s Site) doubts(w *words.Words) (rows []sheetRow) {
	add := func(what, when string) {
		rows = append(rows, sheetRow{Cells: []sheetCell{{}, {Lead: what}, {Lead: when}}})
	}
	if s.Figures.CoveredDays == 0 {
		add(w.Say(nothingSays), "")
	}
	open := s.open()
	for _, f := range open[:min(len(open), mostDoubts)] {
		add(w.Say("Open question: %s", w.Retell(f.Says)), spanWords(w, f.From, max(f.From, f.To), s.Zone))
	}
	if more := len(open) - mostDoubts; more > 0 {
		add(w.Plural(int64(more), "more question is open.", "more questions are open."), "")
	}
	for _, st := range s.Coverage {
		if st.Kind == usage.Outage {
			add(w.Say("Out of order, by the coordinator’s ruling: not counted as recording."), spanWords(w, st.From, st.To-1, s.Zone))
		}
	}
	for _, g := range s.gaps() {
		add(w.Say("No recording on %s.", words.Count(int64(g.to-g.from+1), "day", "days")), datesWords(w, g.from, g.to))
	}
	if f := s.Figures; f.Untimed > 0 {
		add(w.Plural(f.Untimed, "visit has no time: it is counted, and in no hour.", "visits have no time: they are counted, and in no hour."), "")
	}
	if f := s.Figures; f.UntimedAbout > 0 {
		add(w.Plural(f.UntimedAbout, "visit without a time may be of this season or not: not counted.", "visits without a time may be of this season or not: not counted."), "")
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

// datesWords writes dates, their year and month once where they share them and the
// day comes first.
func datesWords(w *words.Words, from, to usage.Date) string {
	y1, m1, d1 := from.YMD()
	y2, m2, _ := to.YMD()
	switch {
	case from == to:
		return w.Date(from)
	case y1 == y2 && w.Region().Dates != "dmy":
	case y1 == y2 && m1 == m2:
		return w.Say("%d to %s", d1, to)
	case y1 == y2:
		return w.Say("%s to %s", w.Day(from), to)
	}
	return w.Say("%s to %s", from, to)
}

// spanWords writes a time as the civil dates that it touches at a site.
func spanWords(w *words.Words, from, to int64, zone string) string {
	if from <= 0 || to >= usage.Beyond {
		return ""
	}
	z, err := usage.LoadZone(zone)
	if err != nil {
		return ""
	}
	first, _ := z.Civil(from)
	last, _ := z.Civil(to)
	return datesWords(w, first, last)
}

// proposed lists the proposals; nil without any.
func (s Season) proposed() *sheet {
	if len(s.Proposals) == 0 {
		return nil
	}
	w := s.words()
	t := &sheet{Caption: w.Say("What is proposed"), Columns: []sheetColumn{{w.Say("Box"), 45, false}, {w.Say("What"), 125, false}}}
	names := map[string]string{"": w.Say(networkName)}
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
func paperCounted(w *words.Words) []string {
	return []string{
		w.Say("Counted visits are what the loggers wrote; openings close together are one visit, and those at service calls are none."),
		w.Say("Estimated visits are for all of the days, those not covered filled in from covered days of the same weekday."),
		w.Say("Figures between limits: at a confidence of %.0f %%, from how many visits there were and how uneven their days were.", 100*usage.Confidence),
		w.Say("Covered days are the time in which a logger is held to have been recording. Hatched is what was not covered; what is not known is not nought."),
		w.Say("Days and hours are civil time at the box. It is dark with the sun more than 6 degrees below the horizon."),
	}
}

// paperCautions are common practice, no source.
func paperCautions(w *words.Words) []string {
	return append(cautionNotes(w),
		w.Say("Memory cards take 3.3 V, not 5 V."),
		w.Say("Lights and outdoor wiring follow the local electrical code and, beyond extra-low voltage, are for a licensed electrician."),
		w.Say("Posts and boxes at the kerb need the local authority’s consent."),
	)
}

// Alternative is what is said of a picture to those who do not see it.
func (p picture) Alternative() string { return fmt.Sprintf("%s. %s", p.Title, p.Says) }
