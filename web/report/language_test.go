package report

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"doorleaf/usage"
	"doorleaf/web/words"
	"doorleaf/web/words/wordstest"
)

var german = words.Of(usage.Region{Language: "de", Dates: "dmy", Decimal: ",", FirstDay: 1, Clock: 24})

// writtenWith is a season with names and notes that are read in any language, written
// with w.
func writtenWith(w *words.Words, s Season) Season {
	s.Words, s.Title = w, w.Season(usage.SeasonOf(usage.DateOf(2026, 6, 1), usage.North))
	s.Sites = slices.Clone(s.Sites)
	for i := range s.Sites {
		site := &s.Sites[i]
		site.Name, site.Place = "Lane", "2."
		site.Findings = slices.Clone(site.Findings)
		for k := range site.Findings {
			site.Findings[k].Key, site.Findings[k].Kind = "Lane", "ajar door"
			site.Findings[k].Says = "the door stood ajar 3 times in summer 2026, the longest for 5 hours"
		}
		site.Calls = slices.Clone(site.Calls)
		books := int32(12)
		for k := range site.Calls {
			c := &site.Calls[k]
			c.Note, c.BooksIn, c.BooksNow = "Lane", &books, &books
			c.Kinds = []usage.CallKind{usage.CallRestock, usage.CallCardOut, usage.CallCardIn, usage.CallBatteries, usage.CallCoinCell, usage.CallClockSet, usage.CallRepair, usage.CallNote}
		}
	}
	s.Called, s.Proposals = "Lane", []Proposal{{Site: "S0", Says: "Lane."}, {Says: "Lane."}}
	s.Sentence = Sentences(s)
	return s
}

// troubled is a season of several boxes, of which one recorded nothing, one has an
// outage, a gap, an answered finding and visits without a time, and which goes on.
func troubled() Season {
	s := tableSeason(4)
	s.Sites[1] = Site{Site: s.Sites[1].Site}
	site := &s.Sites[0]
	site.Days = slices.Delete(site.Days, 20, 31)
	site.Coverage = []usage.Stretch{{From: 1781000000, To: 1781600000, Kind: usage.Outage}}
	site.Findings = slices.Repeat(site.Findings, mostDoubts+3)
	for _, answer := range []usage.Answer{usage.AnswerSeen, usage.AnswerOutage, usage.AnswerQuiet, usage.AnswerTyping, usage.AnswerBelieve, usage.AnswerCivil, usage.AnswerFixed, usage.AnswerTwice} {
		f := site.Findings[0]
		f.Ruling = &usage.Ruling{Answer: answer}
		site.Findings = append(site.Findings, f)
	}
	for _, f := range []*usage.SeasonFigures{&site.Figures, &s.Network} {
		f.Untimed, f.UntimedAbout, f.UnknownOpen, f.Complete = 3, 2, 5, false
	}
	s.Network.RatioToLast = estimateOf(1.3, 1.1, 1.5)
	return s
}

// seasonsToRead are seasons that say all that a report can.
func seasonsToRead() map[string]Season {
	return map[string]Season{
		"no site":         {Name: "2026-summer", Network: usage.NetworkFigures(nil)},
		"nothing counted": bareSeason(), "one site": oneSite(), "troubled": troubled(),
	}
}

// xlsxTexts are the names and all texts of a workbook's sheets.
func xlsxTexts(t *testing.T, s Season) (all []string) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(xlsxOf(t, s)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, sheet := range f.GetSheetList() {
		all = append(all, sheet)
		rows, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			all = append(all, row...)
		}
	}
	return all
}

// reportTexts are the texts of a season in every format that people read.
func reportTexts(t *testing.T, s Season) map[string][]string {
	t.Helper()
	var page bytes.Buffer
	if err := WriteHTML(t.Context(), &page, s, Style{Href: "/x.css"}, drawn(t)); err != nil {
		t.Fatal(err)
	}
	pages := pageContents(t, pdfOf(t, s, A4))
	var paper []string
	for _, content := range pages {
		for _, piece := range saidOn(t, content) {
			paper = append(paper, piece.text)
		}
	}
	return map[string][]string{"html": wordstest.Texts(page.String()), "pdf": paper, "xlsx": xlsxTexts(t, s)}
}

// A report is written in German alone: no text of ours stands in it in English, and no
// word that no translation has.
func TestReportsInGerman(t *testing.T) {
	ear, err := wordstest.NewEar("de", "Doorleaf", "Lane", "summer")
	if err != nil {
		t.Fatal(err)
	}
	for name, s := range seasonsToRead() {
		before := reportTexts(t, writtenWith(words.English, s))
		for format, texts := range reportTexts(t, writtenWith(german, s)) {
			for _, text := range texts {
				if strange := ear.Strange(text); ear.English(text) || len(strange) > 0 {
					t.Errorf("%s, %s: %q, %q are no German", name, format, text, strange)
				}
			}
			if !slices.ContainsFunc(before[format], ear.English) {
				t.Errorf("%s, %s in English: the ear hears no English", name, format)
			}
		}
	}
}

// The letters and signs of German are in the typefaces of a PDF.
func TestGermanLetters(t *testing.T) {
	s := writtenWith(german, tableSeason(1))
	s.Sentence = []string{"ÄÖÜäöüß „so“ ‚so‘ 2025–26 − × % … €"}
	text := textOf(t, pdfOf(t, s, A4))
	if !strings.Contains(text, s.Sentence[0]) || strings.ContainsRune(text, missing) {
		t.Errorf("the PDF says %.200q, want %q in it and no %q", text, s.Sentence[0], missing)
	}
}

// The headings of a workbook are the names of the columns in words.
func TestHeadings(t *testing.T) {
	b := &book{}
	for _, of := range append(sheetTables(tableSeason(1)), sheetTable{table: &columnsTable}) {
		for _, c := range of.table.columns {
			if got, want := b.inWords(c.name), inWords(c.name); got != want || headings[c.name] == "" {
				t.Errorf("heading of %s = %q, want %q", c.name, got, want)
			}
		}
	}
}

func TestGermanDates(t *testing.T) {
	tests := []struct {
		from, to usage.Date
		want     string
	}{
		{usage.DateOf(2026, 6, 1), usage.DateOf(2026, 6, 3), "1. bis 3. Juni 2026"},
		{usage.DateOf(2026, 6, 30), usage.DateOf(2026, 7, 2), "30. Juni bis 2. Juli 2026"},
		{usage.DateOf(2025, 12, 31), usage.DateOf(2026, 1, 1), "31. Dezember 2025 bis 1. Januar 2026"},
	}
	for _, tt := range tests {
		if got := datesWords(german, tt.from, tt.to); got != tt.want {
			t.Errorf("datesWords(%s, %s) = %q, want %q", tt.from, tt.to, got, tt.want)
		}
	}
	american := words.Of(usage.Region{Language: "en", Dates: "mdy", Decimal: ".", FirstDay: 7, Clock: 12})
	if got, want := datesWords(american, usage.DateOf(2026, 6, 1), usage.DateOf(2026, 6, 3)), "June 1, 2026 to June 3, 2026"; got != want {
		t.Errorf("datesWords = %q, want %q", got, want)
	}
}
