package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// millionCard is a card file of a million rows, twenty to a few hundred a day.
func millionCard() []byte {
	var buf bytes.Buffer
	buf.WriteString("weekday,date,time,seconds\r\n")
	at := time.Date(2002, 1, 14, 9, 0, 0, 0, time.UTC)
	for i := range 1_000_000 {
		at = at.Add(time.Duration(60+i*7919%1300) * time.Second)
		fmt.Fprintf(&buf, "%s,%d\r\n", at.Format("Mon,2006-01-02,15:04:05"), 2+i*31%97)
	}
	return buf.Bytes()
}

// BenchmarkWholeImport times the whole process of bringing in a card of a
// million rows (read, stitched, timed, derived, committed) beside the sqlite3
// command line importing the same file and counting it by weekday and hour, in
// turn, and reports the ratio. It needs bin/doorleaf (make build) and sqlite3.
func BenchmarkWholeImport(b *testing.B) {
	program, err := filepath.Abs("../../bin/doorleaf")
	if err != nil {
		b.Fatal(err)
	}
	if _, err := os.Stat(program); err != nil {
		b.Fatal("bin/doorleaf is missing: make build")
	}
	if _, err := exec.LookPath("sqlite3"); err != nil {
		b.Skip("sqlite3 is not installed")
	}
	dir := b.TempDir()
	card := filepath.Join(dir, "LOG.CSV")
	if err := os.WriteFile(card, millionCard(), 0o600); err != nil {
		b.Fatal(err)
	}
	var ours, theirs time.Duration
	n := 0
	for b.Loop() {
		n++
		ours += timed(b, importMillion(b, program, dir, card, n))
		theirs += timed(b, countMillion(dir, card, n))
	}
	b.ReportMetric(ours.Seconds()/float64(n), "s-doorleaf")
	b.ReportMetric(theirs.Seconds()/float64(n), "s-sqlite3")
	b.ReportMetric(ours.Seconds()/theirs.Seconds(), "x-sqlite3")
}

func importMillion(b *testing.B, program, dir, card string, n int) *exec.Cmd {
	data := filepath.Join(dir, fmt.Sprint("network", n))
	add := exec.Command(program, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane",
		"--latitude", "52.1", "--longitude", "-8.2", "--zone", "Europe/Dublin", "--installed", "2002-01-01")
	if out, err := add.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	return exec.Command(program, "import", "--data", data, "--site", "MILL", card)
}

func countMillion(dir, card string, n int) *exec.Cmd {
	return exec.Command("sqlite3", filepath.Join(dir, fmt.Sprint("rows", n, ".db")),
		".mode csv", ".import "+card+" row",
		"SELECT strftime('%w', date), substr(time, 1, 2), count(*) FROM row GROUP BY 1, 2;")
}

func timed(b *testing.B, cmd *exec.Cmd) time.Duration {
	start := time.Now()
	if out, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %v\n%s", cmd.Args[:2], err, out[:min(len(out), 2000)])
	}
	return time.Since(start)
}
