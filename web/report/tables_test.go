package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"doorleaf/usage"
)

var hostile = []string{"=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\x00=1", "\n=1", " =1", "＝1"}

// tableSeason is a season whose first sites have hostile names.
func tableSeason(sites int) Season {
	first := usage.DateOf(2026, 6, 1)
	s := Season{Name: "2026-summer", Title: "summer 2026", Made: first + 100, Sentence: []string{"There were visits.", "=1+1"}}
	var all []usage.SeasonFigures
	months := make([]usage.MonthTally, 0, 1)
	for i := range sites {
		site := Site{Site: usage.Site{Code: "S" + strconv.Itoa(i), Name: "Lane " + strconv.Itoa(i), Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: first}}
		if i < len(hostile) {
			site.Name = hostile[i]
		}
		for d := range 92 {
			site.Days = append(site.Days, usage.Day{Date: first + usage.Date(d), Openings: int32(d%7 + 2), Visits: int32(d%7 + 1), OpenS: int64(40 * d), Dark: int32(d % 2), ExposureS: 80_000})
		}
		site.Figures, _ = usage.SeasonFiguresOf(site.Site, usage.SeasonOf(first, usage.North), usage.SeasonData{Days: site.Days})
		month := usage.MonthTally{Month: usage.MonthOf(first)}
		for c := range month.Visits {
			month.Visits[c], month.ExposureS[c] = int32(c%24), 36_000
		}
		months = append(months, month)
		site.Pattern = usage.PatternOf(site.Code, nil, []usage.MonthTally{month})
		site.Findings = []usage.Finding{{Key: "k", Kind: "quiet", From: 1780300000, To: 1780400000, Says: "=HYPERLINK(1)"}}
		site.Calls = []usage.ServiceCall{{At: 1780300000, Kinds: []usage.CallKind{usage.CallRestock}, Note: "@note"}}
		all = append(all, site.Figures)
		s.Sites = append(s.Sites, site)
	}
	s.Network, s.Pattern = usage.NetworkFigures(all), usage.PatternOf("", nil, months)
	return s
}

func csvOf(t *testing.T, s Season) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCSV(&b, s); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestCSVFigures compares the table with the JSON of the same figures, digit by digit.
func TestCSVFigures(t *testing.T) {
	s := tableSeason(12)
	rows := csvOf(t, s)
	if len(rows) != 1+12+1 {
		t.Fatalf("rows = %d, want %d", len(rows), 14)
	}
	for i, f := range []usage.SeasonFigures{s.Sites[0].Figures, s.Network} {
		row := rows[1]
		if i == 1 {
			row = rows[13]
		}
		text, _ := json.Marshal(f)
		for column, path := range map[string]string{
			"counted_visits": "counted", "covered_days": "covered_days", "estimated_visits": "estimated value",
			"estimated_visits_low": "estimated low", "visits_per_day_high": "per_day high", "dark_share": "dark_share value",
			"open_s_per_week": "open_s_per_week", "dispersion": "dispersion", "until": "until", "median_open_s": "median_open_s value",
		} {
			if got, want := row[place(rows[0], column)], digits(t, text, path); got != want {
				t.Errorf("%s = %q, want %q", column, got, want)
			}
		}
	}
}

func place(head []string, name string) int {
	for i, h := range head {
		if h == name {
			return i
		}
	}
	return -1
}

// digits is the text that stands at a path of a JSON object; "" for null.
func digits(t *testing.T, text []byte, path string) string {
	t.Helper()
	raw := json.RawMessage(text)
	for _, key := range strings.Fields(path) {
		var object map[string]json.RawMessage
		if err := json.Unmarshal(raw, &object); err != nil {
			t.Fatal(err)
		}
		if raw = object[key]; string(raw) == "null" {
			return ""
		}
	}
	return strings.Trim(string(raw), `"`)
}

func TestPlain(t *testing.T) {
	for _, s := range hostile {
		if got, want := plain(s), "'"+s; got != want {
			t.Errorf("plain(%q) = %q, want %q", s, got, want)
		}
	}
	for _, s := range []string{"", "Mill Lane", "3-4", "'quoted'", "a=b"} {
		if got := plain(s); got != s {
			t.Errorf("plain(%q) = %q, want it as it is", s, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) { // one to one, and never risky
		a, b := rapid.String().Draw(t, "a"), rapid.String().Draw(t, "b")
		if risky(plain(a)) {
			t.Errorf("plain(%q) = %q, which is risky", a, plain(a))
		}
		if (plain(a) == plain(b)) != (a == b) {
			t.Errorf("plain(%q) = plain(%q)", a, b)
		}
	})
}

func TestNumberText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return
		}
		want, _ := json.Marshal(v)
		if got := numberText(v); got != string(want) {
			t.Errorf("numberText(%v) = %s, want %s", v, got, want)
		}
	})
}

func xlsxOf(t *testing.T, s Season) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteXLSX(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestXLSXSites reads the workbook back and compares every cell of the sites with
// the CSV, whose figures are those of the JSON.
func TestXLSXSites(t *testing.T) {
	s := tableSeason(12)
	f, err := excelize.OpenReader(bytes.NewReader(xlsxOf(t, s)), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want := csvOf(t, s)
	for i, row := range want[1:] {
		for j, text := range row {
			kind, at := sitesOfSeason.columns[j].kind, address(j+1, i+2)
			got, err := f.GetCellValue("Sites", at)
			if err != nil {
				t.Fatal(err)
			}
			if !sameCell(kind, got, text) {
				t.Errorf("Sites!%s (%s) = %q, want %q", at, sitesOfSeason.columns[j].name, got, text)
			}
			if formula, _ := f.GetCellFormula("Sites", at); formula != "" {
				t.Errorf("Sites!%s has formula %q", at, formula)
			}
			if typ, _ := f.GetCellType("Sites", at); kind == typeText && got != "" && typ != excelize.CellTypeSharedString {
				t.Errorf("type of Sites!%s = %d, want text", at, typ)
			}
		}
	}
	for sheet, rows := range map[string]int{"Days": 12 * 92, "Pattern": 13 * 168, "Findings": 12, "Service calls": 12, "Hours": 24} {
		got, err := f.GetRows(sheet)
		if err != nil || len(got) != rows+1 {
			t.Errorf("rows of %s = %d (%v), want %d", sheet, len(got), err, rows+1)
		}
		if panes, _ := f.GetPanes(sheet); !panes.Freeze || panes.YSplit != 1 {
			t.Errorf("panes of %s = %+v, want a frozen head", sheet, panes)
		}
		if props, _ := f.GetSheetProps(sheet); props.FitToPage == nil || !*props.FitToPage {
			t.Errorf("%s is not made to fit its paper", sheet)
		}
	}
	if got, _ := f.GetCellValue("Findings", "F2"); got != "'=HYPERLINK(1)" {
		t.Errorf("Findings!F2 = %q", got)
	}
}

func sameCell(kind, got, text string) bool {
	switch {
	case text == "":
		return got == ""
	case kind == typeText:
		return got == strings.ReplaceAll(text, "\x00", "\ufffd")
	case kind == typeDate:
		d, err := usage.ParseDate(text)
		return err == nil && got == strconv.Itoa(int(d)+25569)
	case kind == typeBoolean:
		return got == "1" && text == "true" || got == "0" && text == "false" || strings.EqualFold(got, text)
	}
	a, err1 := strconv.ParseFloat(got, 64)
	b, err2 := strconv.ParseFloat(text, 64)
	return err1 == nil && err2 == nil && a == b
}

func TestXLSXSameBytes(t *testing.T) {
	s := tableSeason(3)
	if a, b := xlsxOf(t, s), xlsxOf(t, s); !bytes.Equal(a, b) {
		t.Error("two workbooks of the same season differ")
	}
}

// TestEmptySeason writes a season without sites.
func TestEmptySeason(t *testing.T) {
	s := Season{Name: "2026-summer", Title: "summer 2026", Network: usage.NetworkFigures(nil)}
	if rows := csvOf(t, s); len(rows) != 2 {
		t.Errorf("rows = %d, want 2: the head and the network", len(rows))
	}
	f, err := excelize.OpenReader(bytes.NewReader(xlsxOf(t, s)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := strings.Join(f.GetSheetList(), ", "); got != "Summary, Sites, Columns" {
		t.Errorf("sheets = %s", got)
	}
}

func writeFile(t *testing.T, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(name, data, 0o644); err != nil {
		t.Fatal(err)
	}
}
