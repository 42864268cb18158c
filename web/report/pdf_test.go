package report

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode"
	"unicode/utf16"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/assets"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// maker draws with one engine for all tests of the package: loading it takes a
// while, and the same drawing is made once.
var maker = sync.OnceValue(func() *chart.Maker { return chart.New(draw.New(draw.Options{Machines: 2})) })

func drawn(t *testing.T) Drawing {
	t.Helper()
	if !assets.Built() {
		t.Fatal(assets.ErrNotBuilt)
	}
	return Drawing{Charts: maker()}
}

func pdfOf(t *testing.T, s Season, on Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WritePDF(t.Context(), &b, s, on, drawn(t)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// pageContents returns what pdfcpu reads as the contents of each page.
func pageContents(t *testing.T, pdf []byte) map[int]string {
	t.Helper()
	pages := map[int]string{}
	err := api.ExtractContent(bytes.NewReader(pdf), nil, func(r io.Reader, page int) error {
		content, err := io.ReadAll(r)
		pages[page] = string(content)
		return err
	}, model.NewDefaultConfiguration())
	if err != nil {
		t.Fatal(err)
	}
	return pages
}

// said is a text on a page: where its baseline begins, in points from the lower
// left, and its words.
type said struct {
	x, y float64
	text string
}

var shown = regexp.MustCompile(`(?s)BT ([-\d.]+) ([-\d.]+) Td \(((?:[^\\)]|\\.)*)\) Tj ET`)

// saidOn reads the text operators of a page (ISO 32000-1, 9.4), whose strings are
// the letters' numbers in Unicode, two bytes each.
func saidOn(t *testing.T, content string) (out []said) {
	t.Helper()
	unescape := strings.NewReplacer(`\\`, `\`, `\(`, "(", `\)`, ")", `\r`, "\r")
	for _, m := range shown.FindAllStringSubmatch(content, -1) {
		raw := unescape.Replace(m[3])
		var units []uint16
		for i := 0; i+1 < len(raw); i += 2 {
			units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
		}
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		out = append(out, said{x, y, string(utf16.Decode(units))})
	}
	return out
}

// textOf is all text of a document, a space between pieces.
func textOf(t *testing.T, pdf []byte) string {
	t.Helper()
	pages := pageContents(t, pdf)
	var words []string
	for n := 1; n <= len(pages); n++ {
		for _, s := range saidOn(t, pages[n]) {
			words = append(words, s.text)
		}
	}
	return strings.Join(words, " ")
}

// longNames gives some sites of a season names as long as they may be.
func longNames(s Season) Season {
	for i := range s.Sites {
		switch i % 5 {
		case 1:
			s.Sites[i].Name = strings.Repeat("The box by the old railway bridge, ", 3) + "Grüße aus Łódź"
		case 3:
			s.Sites[i].Name = strings.Repeat("Wordwithoutend", 8)
		}
	}
	return s
}

// oneSite is the season of one site.
func oneSite() Season {
	one := tableSeason(1)
	one.OneSite, one.Network = true, one.Sites[0].Figures
	return one
}

// bareSeason is a season in which nothing was counted.
func bareSeason() Season {
	bare := tableSeason(3)
	for i, site := range bare.Sites {
		bare.Sites[i] = Site{Site: site.Site}
	}
	bare.Network, bare.Pattern = usage.NetworkFigures(nil), usage.Pattern{}
	return bare
}

// seasonsForPaper are seasons that a page has to cope with.
func seasonsForPaper() map[string]Season {
	one, bare := oneSite(), bareSeason()
	endless := tableSeason(2)
	endless.Sites[0].Calls[0].Note = strings.Repeat("A long note. ", 900)
	seasons := map[string]Season{
		"no site":         {Name: "2026-summer", Title: "summer 2026", Network: usage.NetworkFigures(nil)},
		"nothing counted": bare,
		"one site":        one,
		"sixty sites":     longNames(tableSeason(60)),
		"a long note":     endless,
	}
	for name, s := range seasons {
		s.Sentence = Sentences(s)
		s.Proposals = []Proposal{{Site: "S0", Says: "A light at S0."}}
		seasons[name] = s
	}
	return seasons
}

// TestPDFStructure lets pdfcpu check what is written for seasons of all sizes, and
// that no text lies outside the margins.
func TestPDFStructure(t *testing.T) {
	for name, s := range seasonsForPaper() {
		for on, high := range map[Paper]float64{A4: 841.89, Letter: 792} {
			t.Run(fmt.Sprintf("%s on %s", name, on), func(t *testing.T) {
				pdf := pdfOf(t, s, on)
				if err := api.Validate(bytes.NewReader(pdf), model.NewDefaultConfiguration()); err != nil {
					t.Fatal(err)
				}
				pages := pageContents(t, pdf)
				for n, content := range pages {
					foot := fmt.Sprintf("%d of %d", n, len(pages))
					lines := saidOn(t, content)
					if !slices.ContainsFunc(lines, func(l said) bool { return l.text == foot }) {
						t.Errorf("page %d does not say %q", n, foot)
					}
					for _, l := range lines {
						edge := lowEdge / mmPerPt
						if l.text == foot || strings.HasPrefix(l.text, "Doorleaf · made on") {
							edge = 0 // below the text
						}
						if l.x < 45 || l.x > 567 || l.y < edge-1 || l.y > high-30 {
							t.Errorf("page %d: %q at %g, %g is outside the margins", n, l.text, l.x, l.y)
						}
					}
				}
			})
		}
	}
}

func TestPDFSameBytes(t *testing.T) {
	s := tableSeason(3)
	if !bytes.Equal(pdfOf(t, s, A4), pdfOf(t, s, A4)) {
		t.Error("two PDFs of the same season differ")
	}
	if bytes.Equal(pdfOf(t, s, A4), pdfOf(t, s, Letter)) {
		t.Error("PDFs for two papers are the same")
	}
}

// TestPDFOutline finds every section and site in the outline.
func TestPDFOutline(t *testing.T) {
	s := tableSeason(12)
	s.Proposals = []Proposal{{Site: "S11", Says: "A light."}}
	marks, err := api.Bookmarks(bytes.NewReader(pdfOf(t, s, A4)), model.NewDefaultConfiguration())
	if err != nil {
		t.Fatal(err)
	}
	var titles, sites []string
	for _, m := range marks {
		titles = append(titles, m.Title)
		if m.Title == "Site by site" {
			for _, k := range m.Kids {
				sites = append(sites, k.Title)
			}
		}
	}
	for _, want := range []string{"The season in short", "Box by box", "Site by site", "What was done", "What is doubtful", "What is proposed", "How it was counted", "Take care"} {
		if !slices.Contains(titles, want) {
			t.Errorf("outline = %q, want %q in it", titles, want)
		}
	}
	if len(sites) != 12 || sites[11] != "Lane 11" {
		t.Errorf("sites in the outline = %q, want 12 with Lane 11 as the last", sites)
	}
}

// TestPDFSaysNothingEmpty: no heading stands for what is not there.
func TestPDFSaysNothingEmpty(t *testing.T) {
	s := tableSeason(2)
	for i := range s.Sites {
		s.Sites[i].Calls, s.Sites[i].Findings = nil, nil
	}
	text := textOf(t, pdfOf(t, s, A4))
	for _, heading := range []string{"What was done", "What is proposed", "What is doubtful"} {
		if strings.Contains(text, heading) {
			t.Errorf("%q stands over nothing", heading)
		}
	}
}

// TestPDFHeadsRepeat: on every page that the table of sites reaches its head stands.
func TestPDFHeadsRepeat(t *testing.T) {
	pages := pageContents(t, pdfOf(t, longNames(tableSeason(60)), Letter))
	tables := 0
	for n := 2; n <= len(pages); n++ {
		lines := saidOn(t, pages[n])
		has := func(text string) bool {
			return slices.ContainsFunc(lines, func(l said) bool { return l.text == text })
		}
		if !has("of 92") { // a cell of the column of covered days
			continue
		}
		tables++
		if !has("Counted") || !has("Estimated") {
			t.Errorf("page %d has rows of the table without its head", n)
		}
	}
	if tables < 3 {
		t.Errorf("table reaches over %d pages, want several", tables)
	}
}

// letters are some that a name or a figure may have, of Latin, Greek and Cyrillic
// script and signs.
const letters = "Grüße Łódź ≤ ± χ² × – − … “quoted” Ωδός Улица ½"

// oddNames is a season whose sites have names that a document cannot hold.
func oddNames() Season {
	s := tableSeason(3)
	s.Sites[0].Name, s.Sites[1].Name = "Books \U0001f4da and χ²", "cut off\xe2"
	return s
}

// TestPDFLetters: text comes out of the document as it was put in, by our reading of
// its operators and, where poppler is here, by pdftotext.
func TestPDFLetters(t *testing.T) {
	s := tableSeason(1)
	s.OneSite = true
	s.Sites[0].Name = letters
	s.Sentence = []string{letters + " and \U0001f4da"}
	pdf := pdfOf(t, s, A4)
	if got := strings.ReplaceAll(textOf(t, pdf), " ", ""); !strings.Contains(got, strings.ReplaceAll(letters+" and □", " ", "")) {
		t.Errorf("text = %q, want %q in it", got, letters)
	}
	marks, err := api.Bookmarks(bytes.NewReader(pdfOf(t, oddNames(), A4)), model.NewDefaultConfiguration())
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(marks, func(m pdfcpu.Bookmark) bool {
		return len(m.Kids) == 3 && m.Kids[0].Title == "Books □ and χ²" && m.Kids[1].Title == "cut off□"
	}) {
		t.Errorf("outline = %+v, want the odd names in it", marks)
	}
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		return // the check above does not need it
	}
	name := filepath.Join(t.TempDir(), "r.pdf")
	writeFile(t, name, pdf)
	out, err := exec.Command(tool, "-raw", name, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range strings.Fields(letters) {
		if !strings.Contains(string(out), word) {
			t.Errorf("pdftotext finds no %q in\n%.600s", word, out)
		}
	}
}

// TestPDFFigures: every figure of the table of sites stands in the document as the
// pages write it, in the PDF as in the page for print.
func TestPDFFigures(t *testing.T) {
	s := tableSeason(12)
	s.Sentence = Sentences(s)
	text := textOf(t, pdfOf(t, s, A4))
	var page bytes.Buffer
	if err := WriteHTML(t.Context(), &page, s, Style{Href: "/x.css"}, drawn(t)); err != nil {
		t.Fatal(err)
	}
	for _, f := range []usage.SeasonFigures{s.Sites[0].Figures, s.Sites[11].Figures, s.Network} {
		for _, w := range []web.Written{
			web.WrittenCount(words.English, f), web.WrittenCover(words.English, f), web.WrittenEstimate(words.English, f.Estimated), web.WrittenEstimate(words.English, f.PerDay),
			web.WrittenRatio(words.English, f.RatioToLast), web.WrittenShare(words.English, f.DarkShare), web.WrittenOpen(words.English, f), web.WrittenMedian(words.English, f),
		} {
			for _, part := range []string{w.Value, w.Fine} {
				if !strings.Contains(page.String(), part) {
					t.Errorf("page for print does not say %q", part)
				}
				if f.Code == "" && !strings.Contains(text, part) {
					t.Errorf("PDF does not say %q", part)
				}
			}
		}
	}
}

func TestHTMLStandsAlone(t *testing.T) {
	sheet, err := web.ReportStyle()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteHTML(t.Context(), &b, tableSeason(2), Style{Sheet: sheet}, drawn(t)); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, part := range []string{"<script", "http://", "https://", "url(\"/", "src=", "<link"} {
		found := strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, "")
		if strings.Contains(found, part) {
			t.Errorf("page holds %q", part)
		}
	}
	if n := strings.Count(page, "data:font/woff2;base64,"); n != 3 {
		t.Errorf("page holds %d typefaces, want 3", n)
	}
}

// refuser draws what the painter does not know.
type refuser struct{}

func (refuser) Draw(context.Context, []byte, int, int) ([]byte, error) {
	return []byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><image/></svg>`), nil
}

// failing draws nothing.
type failing struct{}

var errDrawing = errors.New("no ink")

func (failing) Draw(context.Context, []byte, int, int) ([]byte, error) { return nil, errDrawing }

func TestPDFFails(t *testing.T) {
	s := tableSeason(1)
	if err := WritePDF(t.Context(), io.Discard, s, A4, Drawing{Charts: chart.New(refuser{})}); err == nil || !strings.Contains(err.Error(), `"image"`) {
		t.Errorf("WritePDF with a drawing of an unknown kind = %v, want an error that names it", err)
	}
	if err := WritePDF(t.Context(), io.Discard, s, A4, Drawing{Charts: chart.New(failing{})}); !errors.Is(err, errDrawing) {
		t.Errorf("WritePDF = %v, want %v", err, errDrawing)
	}
	if err := WritePDF(t.Context(), io.Discard, s, A4, Drawing{}); usage.KindOf(err) != usage.Conflict {
		t.Errorf("WritePDF without charts = %v, want a conflict", err)
	}
	if err := WritePDF(t.Context(), io.Discard, s, "a3", drawn(t)); err == nil {
		t.Error("WritePDF on a3 = no error, want one")
	}
}

func TestProgress(t *testing.T) {
	d, last, calls := drawn(t), 0, 0
	all := 0
	d.Progress = func(done, of int) {
		if done != last+1 {
			t.Errorf("progress = %d after %d", done, last)
		}
		last, all = done, of
		calls++
	}
	if err := WritePDF(t.Context(), io.Discard, tableSeason(4), A4, d); err != nil {
		t.Fatal(err)
	}
	if last != all || calls != 2*4+2 { // two for each site, the week, the sites side by side
		t.Errorf("progress ended at %d of %d after %d calls, want 10 of 10", last, all, calls)
	}
}

// TestPDFHostileText: whatever a name, a note or a raw line says, the document is sound,
// and what can be read of it is text: no control character, nothing that turns writing
// round, nothing without width. Words that never end stay on the page.
func TestPDFHostileText(t *testing.T) {
	endless := strings.Repeat("endless", 60)
	texts := []string{
		"=1+1", "a\x00b\x07c\x1b[31mred", "\u202egnp.exe\u2066 \u200b\ufeff\u2028next", endless, "(paren\\) Tj ET (", "\xff\xfe cut \xe2",
		"</text><script>alert(1)</script>", strings.Repeat("\u0301", 200), "\n\r\t", "",
	}
	s := tableSeason(len(texts))
	for i, text := range texts {
		s.Sites[i].Name = text
		s.Sites[i].Calls = []usage.ServiceCall{{At: 1780315200, Kinds: []usage.CallKind{usage.CallNote}, Note: text}}
		s.Sites[i].Findings = []usage.Finding{{Key: "quiet-1", Kind: "quiet", From: 1780315200, To: 1780915200, Says: text, Changes: text}}
		s.Proposals = append(s.Proposals, Proposal{Site: s.Sites[i].Code, Says: text})
		s.Sentence = append(s.Sentence, text)
	}
	for _, on := range []Paper{A4, Letter} {
		pdf := pdfOf(t, s, on)
		if err := api.Validate(bytes.NewReader(pdf), model.NewDefaultConfiguration()); err != nil {
			t.Errorf("pdfcpu finds %v", err)
		}
		said := textOf(t, pdf)
		for _, r := range said {
			if r != ' ' && !unicode.IsPrint(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u200b' || r == '\ufeff' {
				t.Errorf("the document says %U", r)
				break
			}
		}
		together := strings.ReplaceAll(said, " ", "")
		for _, want := range []string{"=1+1", "(paren\\)TjET(", "</text><script>alert(1)</script>"} {
			if !strings.Contains(together, want) {
				t.Errorf("the document lost %q", want)
			}
		}
		pages := pageContents(t, pdf)
		for n := 1; n <= len(pages); n++ {
			for _, piece := range saidOn(t, pages[n]) {
				wide := func(r rune) rune { // marks stand over the letter before them
					if unicode.Is(unicode.Mn, r) {
						return -1
					}
					return r
				}
				if len(strings.Map(wide, piece.text)) > 250 {
					t.Errorf("page %d has a line of %d characters: %.60s…", n, len(piece.text), piece.text)
				}
			}
		}
	}
}
