//go:build unix

package report

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// officeTime is how long one conversion may take; it takes some 3 s.
const officeTime = 2 * time.Minute

// convertWith lets LibreOffice convert a workbook, with a profile of its own, so that
// it asks nothing and finds no other that runs. Where there is none the test is
// passed over (TestXLSXSites reads the workbook with a second reader all the same),
// unless DOORLEAF_OFFICE=required.
func convertWith(t *testing.T, dir, workbook, to string) {
	t.Helper()
	office, err := exec.LookPath("soffice")
	if err != nil {
		if os.Getenv("DOORLEAF_OFFICE") == "required" {
			t.Fatal("no LibreOffice found, and DOORLEAF_OFFICE=required")
		}
		t.Skip("no LibreOffice found; TestXLSXSites reads the workbook with a second reader")
	}
	ctx, stop := context.WithTimeout(t.Context(), officeTime)
	defer stop()
	cmd := exec.CommandContext(ctx, office, "-env:UserInstallation=file://"+dir+"/profile", "--headless", "--norestore", "--convert-to", to, "--outdir", dir, workbook)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // it is a script that starts another
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = 5 * time.Second
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("convert to %s: %v\n%s", to, err, out)
	}
}

// TestXLSXConverts lets LibreOffice read a workbook and compares every cell of every
// table with what was to be written; and lets it print the sheets.
func TestXLSXConverts(t *testing.T) {
	dir, s := t.TempDir(), tableSeason(12)
	name := filepath.Join(dir, "season.xlsx")
	writeFile(t, name, xlsxOf(t, s))
	// Text - txt - csv, its options: comma, quote, UTF-8, values and not what is shown, each sheet to a file of its own.
	convertWith(t, dir, name, "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1")
	for _, want := range sheetTables(s) {
		got := officeRows(t, filepath.Join(dir, "season-"+want.sheet+".csv"))
		if len(got) != len(want.rows)+1 {
			t.Errorf("rows of %s = %d, want %d", want.sheet, len(got), len(want.rows)+1)
			continue
		}
		wrong := 0
		for i, row := range want.rows {
			for j, c := range row {
				if text := got[i+1][j]; !officeSame(want.table.columns[j], text, c) {
					if wrong++; wrong < 5 {
						t.Errorf("%s!%s = %q, want %v", want.sheet, address(j+1, i+2), text, c)
					}
				}
			}
		}
	}
	convertWith(t, dir, name, "pdf")
	if pdf, err := os.ReadFile(filepath.Join(dir, "season.pdf")); err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("printed workbook: %v, begins with %.5q", err, pdf)
	}
}

func officeRows(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return rows
}

// officeSame reports whether LibreOffice shows a cell: numbers with 15 digits, shares
// in per cent.
func officeSame(of column, got string, want cell) bool {
	var number float64
	switch v := want.(type) {
	case nil:
		return got == ""
	case string:
		return strings.TrimRight(got, "\n") == strings.TrimRight(sheetText(v), "\n")
	case bool:
		return got == strings.ToUpper(strconv.FormatBool(v))
	case instant:
		return got == strings.Replace(v.String()[:19], "T", " ", 1)
	case int64:
		number = float64(v)
	case float64:
		number = v
	default:
		return got == cellText(v)
	}
	if of.share {
		number *= 100
		got = strings.TrimSuffix(got, "%")
	}
	read, err := strconv.ParseFloat(got, 64)
	return err == nil && math.Abs(read-number) <= 1e-13*math.Abs(number)
}
