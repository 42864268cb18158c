package server

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"
	"github.com/xuri/excelize/v2"

	"doorleaf/importer"
	"doorleaf/importer/forge"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// forgedBox serves a made-up network of several sites over more than a year, and
// names a season that is over.
func forgedBox(t *testing.T) (b *box, season string) {
	t.Helper()
	b = boxAt(t, time.Date(2027, 1, 10, 12, 0, 0, 0, time.UTC))
	n, err := forge.Random(460, 3, 11)
	if err != nil {
		t.Fatal(err)
	}
	for _, made := range n.Sites {
		site := made.Spec.Site()
		if err := b.store.AddSite(t.Context(), site); err != nil {
			t.Fatal(err)
		}
		var cards []store.CardIn
		for _, card := range made.Cards {
			data, err := card.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			cards = append(cards, store.CardIn{Name: card.Name, Bytes: data, RemovedAt: &card.RemovedAt})
		}
		if _, err := b.store.Keep(t.Context(), site.Code, cards); err != nil {
			t.Fatal(err)
		}
		season = usage.SeasonOf(usage.DateOf(2026, 7, 1), usage.HemisphereOf(site.Latitude)).String()
	}
	return b, season
}

// pdfText reads the text operators of a document; see the tests of the package
// report.
func pdfText(t *testing.T, pdf string) string {
	t.Helper()
	if err := api.Validate(strings.NewReader(pdf), model.NewDefaultConfiguration()); err != nil {
		t.Fatal(err)
	}
	shown := regexp.MustCompile(`(?s)Td \(((?:[^\\)]|\\.)*)\) Tj`)
	unescape := strings.NewReplacer(`\\`, `\`, `\(`, "(", `\)`, ")", `\r`, "\r")
	pages := map[int]string{}
	err := api.ExtractContent(strings.NewReader(pdf), nil, func(r io.Reader, page int) error {
		content, err := io.ReadAll(r)
		for _, m := range shown.FindAllSubmatch(content, -1) {
			raw := unescape.Replace(string(m[1]))
			var units []uint16
			for i := 0; i+1 < len(raw); i += 2 {
				units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
			}
			pages[page] += string(utf16.Decode(units)) + " "
		}
		return err
	}, model.NewDefaultConfiguration())
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for n := 1; n <= len(pages); n++ {
		all.WriteString(pages[n])
	}
	return all.String()
}

// figuresRead are figures as a reader of the JSON has them, and the JSON itself.
type figuresRead struct {
	usage.SeasonFigures
	raw map[string]json.RawMessage
}

func (f *figuresRead) UnmarshalJSON(b []byte) error {
	if err := json.Unmarshal(b, &f.raw); err != nil {
		return err
	}
	delete(f.raw, "open_s_per_week") // an estimate here, a number in SeasonFigures
	rest, err := json.Marshal(f.raw)
	if err != nil {
		return err
	}
	return json.Unmarshal(rest, &f.SeasonFigures)
}

// row is a row of a table of sites behind its name, as every page writes it.
func (f figuresRead) row() []string {
	cover := web.WrittenCover(words.English, f.SeasonFigures)
	row := []string{words.English.Number(f.Counted), cover.Value, cover.Fine}
	for _, w := range []web.Written{web.WrittenEstimate(words.English, f.Estimated), web.WrittenEstimate(words.English, f.PerDay), web.WrittenRatio(words.English, f.RatioToLast), web.WrittenShare(words.English, f.DarkShare)} {
		if w.Value != "" {
			row = append(row, w.Value)
		}
		row = append(row, w.Fine)
	}
	return row
}

// digits is a figure as the JSON has it: its own text; "" for null.
func (f figuresRead) digits(t *testing.T, path ...string) string {
	t.Helper()
	raw := f.raw[path[0]]
	if len(path) > 1 && string(raw) != "null" {
		var parts map[string]json.RawMessage
		if err := json.Unmarshal(raw, &parts); err != nil {
			t.Fatal(err)
		}
		raw = parts[path[1]]
	}
	if string(raw) == "null" {
		return ""
	}
	return strings.Trim(string(raw), `"`)
}

// TestReportsAgree holds the figures of one season against each other in all that
// shows them: the JSON, CSV and workbook with all their digits, and the page, the
// page for print and the PDF with the digits that the figures can bear.
func TestReportsAgree(t *testing.T) {
	b, season := forgedBox(t)
	var told struct {
		Network figuresRead
		Sites   []figuresRead
	}
	if err := json.Unmarshal([]byte(b.get("/api/seasons/"+season).body), &told); err != nil {
		t.Fatal(err)
	}
	if len(told.Sites) != 3 || told.Network.Counted < 100 || told.Network.Estimated == nil || told.Network.RatioToLast == nil {
		t.Fatalf("season has too little to compare: %+v", told.Network)
	}
	all := append(told.Sites, told.Network)
	report := func(format string) string {
		t.Helper()
		a := b.get("/seasons/" + season + "/report." + format)
		if a.status != 200 {
			t.Fatalf("report.%s: %d\n%s", format, a.status, b.log)
		}
		return a.body
	}
	csvRows, err := csv.NewReader(strings.NewReader(report("csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(strings.NewReader(report("xlsx")), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	sheet, err := book.GetRows("Sites")
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range all {
		checkRow(t, f, csvRows[0], csvRows[i+1], func(got, want string) bool { return got == want })
		checkRow(t, f, csvRows[0], sheet[i+1], sameNumber)
	}
	pdf, html, page := pdfText(t, report("pdf")), b.get("/seasons/"+season+"/report.html").page(t), b.get("/seasons/"+season).page(t)
	printed, shown := texts(html, "tbody tr"), texts(page, "table.boxes tbody tr")
	for i, f := range all {
		want := f.row()
		if !strings.Contains(pdf, strings.Join(want, " ")) {
			t.Errorf("PDF lacks the row %q", want)
		}
		checkHolds(t, "page for print", printed[i], want)
		if i < len(told.Sites) {
			checkHolds(t, "page", shown[i], want)
		}
	}
	checkHolds(t, "figures of the page", strings.Join(texts(page, "dl.figures"), " "), told.Network.row()[3:])
}

// checkRow compares a row of CSV's columns with the JSON.
func checkRow(t *testing.T, f figuresRead, head, row []string, same func(got, want string) bool) {
	t.Helper()
	for column, path := range map[string][]string{
		"counted_visits": {"counted"}, "covered_days": {"covered_days"}, "days": {"days"}, "open_s": {"open_s"},
		"estimated_visits": {"estimated", "value"}, "estimated_visits_low": {"estimated", "low"}, "estimated_visits_high": {"estimated", "high"},
		"visits_per_day": {"per_day", "value"}, "visits_per_day_low": {"per_day", "low"}, "visits_per_day_high": {"per_day", "high"},
		"ratio_to_last_year": {"ratio_to_last_year", "value"}, "ratio_to_last_year_high": {"ratio_to_last_year", "high"},
		"dark_share": {"dark_share", "value"}, "dark_share_low": {"dark_share", "low"}, "median_open_s": {"median_open_s", "value"},
	} {
		got := ""
		for i, name := range head {
			if name == column && i < len(row) {
				got = row[i]
			}
		}
		if want := f.digits(t, path...); !same(got, want) {
			t.Errorf("%s of %s = %q, want %q", column, row[1], got, want)
		}
	}
}

func sameNumber(got, want string) bool {
	if got == "" || want == "" {
		return got == want
	}
	a, err1 := strconv.ParseFloat(got, 64)
	b, err2 := strconv.ParseFloat(want, 64)
	return err1 == nil && err2 == nil && a == b
}

// checkHolds finds texts in their order.
func checkHolds(t *testing.T, where, text string, want []string) {
	t.Helper()
	rest := strings.Join(strings.Fields(text), " ")
	for _, w := range want {
		_, after, ok := strings.Cut(rest, w)
		if !ok {
			t.Errorf("%s says %q, want %q in it, in this order", where, text, want)
			return
		}
		rest = after
	}
}

func TestReportOfOneSite(t *testing.T) {
	b, _ := usualBox(t)
	a := b.get("/seasons/2026-spring/report.csv?site=MILL")
	if a.status != 200 || strings.Contains(a.body, "QUAY") || !strings.Contains(a.body, "MILL") {
		t.Errorf("report of MILL: %d %s", a.status, a.body)
	}
	if got, want := a.header.Get("Content-Disposition"), "attachment; filename=doorleaf-2026-spring-MILL.csv"; got != want {
		t.Errorf("Content-Disposition = %q, want %q", got, want)
	}
	a4 := b.get("/seasons/2026-spring/report.pdf?site=MILL")
	letter := b.get("/seasons/2026-spring/report.pdf?site=MILL&paper=letter")
	if a4.header.Get("Content-Type") != "application/pdf" || a4.body == letter.body {
		t.Errorf("reports on two papers: %s, the same: %v", a4.header.Get("Content-Type"), a4.body == letter.body)
	}
	if text := pdfText(t, letter.body); !strings.Contains(text, "Mill Lane (MILL)") {
		t.Errorf("report of MILL says %q", text)
	}
	if again := b.get("/seasons/2026-spring/report.pdf?site=MILL"); !bytes.Equal([]byte(again.body), []byte(a4.body)) {
		t.Error("the same report differs the second time")
	}
}

func TestReportsRefused(t *testing.T) {
	b, _ := usualBox(t)
	for path, want := range map[string]int{
		"/seasons/2026-spring/report.doc":            404,
		"/seasons/2026-spring/report.pdf?paper=a3":   400,
		"/seasons/2026-spring/report.csv?site=NONE":  404,
		"/seasons/2026-nothing/report.pdf":           400,
		"/seasons/2025-26-summer/report.pdf":         404,
		"/seasons/2026-spring/report.html?site=mill": 404,
	} {
		if a := b.get(path); a.status != want {
			t.Errorf("GET %s = %d, want %d", path, a.status, want)
		}
	}
}

// TestReportPageIsSafe: the page for print keeps the policy of all pages, though a
// site has a hostile name, and its style sheet is there.
func TestReportPageIsSafe(t *testing.T) {
	b, _ := usualBox(t)
	a := b.get("/seasons/2026-spring/report.html")
	checkHeaders(t, a)
	checkPage(t, a.page(t))
	sheets := find(a.page(t), "link[rel=stylesheet]")
	if len(sheets) != 1 {
		t.Fatalf("page has %d style sheets, want 1", len(sheets))
	}
	if css := b.get(attr(sheets[0], "href")); css.status != 200 || !strings.Contains(css.body, "@page") {
		t.Errorf("style sheet: %d", css.status)
	}
}

// TestReportsOfASeasonAreLinked: every link of the season page to a report works.
func TestReportsOfASeasonAreLinked(t *testing.T) {
	b, _ := usualBox(t)
	links := find(b.get("/seasons/2026-spring").page(t), "p.reports a")
	if len(links) != 5 {
		t.Fatalf("page links to %d reports, want 5", len(links))
	}
	for _, l := range links {
		if a := b.get(attr(l, "href")); a.status != 200 {
			t.Errorf("GET %s = %d, want 200", attr(l, "href"), a.status)
		}
	}
}

// A site in one half of the world has no report on a season of the other.
func TestReportByHemisphere(t *testing.T) {
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), cardText(40))
	b.keep(t, southern("COVE", "The Cove"), cardText(41))
	if a := b.get("/seasons/2025-26-winter/report.csv?site=COVE"); a.status != 404 {
		t.Errorf("report on a northern winter in the south = %d, want 404", a.status)
	}
}
