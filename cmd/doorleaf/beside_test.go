//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"doorleaf/importer/cardfile"
	"doorleaf/web/draw"
)

// besideRuns is how often each program runs; the middle one by its time of day counts.
const besideRuns = 3

// TestBeside runs the whole program beside what a person would use instead, on the same
// card of a million rows, in turns, and prints what each took of time, processor and
// memory, and the ratios. With DOORLEAF_BENCH=1; it fails where a program fails, and
// leaves out what is not installed. It needs bin/doorleaf (make build).
func TestBeside(t *testing.T) {
	if os.Getenv("DOORLEAF_BENCH") == "" {
		t.Skip("DOORLEAF_BENCH=1 runs it: it takes minutes")
	}
	program, err := filepath.Abs("../../bin/doorleaf")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	card := filepath.Join(dir, "LOG.CSV")
	writeMillion(t, card)
	runs := map[string][]used{}
	var names []string
	for i := range besideRuns {
		for _, r := range rivals(t, program, dir, card, i) {
			if r.once && i > 0 {
				continue
			}
			if i == 0 {
				names = append(names, r.name)
			}
			runs[r.name] = append(runs[r.name], runMeasured(t, r.cmd))
		}
	}
	ours := middle(runs[names[0]])
	fmt.Printf("\n%-44s %8s %10s %7s %14s %14s\n", "a card of a million rows", "s", "processor", "MB", "ours/its time", "its/ours time")
	for _, name := range names {
		u := middle(runs[name])
		fmt.Printf("%-44s %8.2f %10.2f %7d %14.2f %14.2f\n", name, u.wall.Seconds(), u.processor.Seconds(), u.peak>>20,
			ours.wall.Seconds()/u.wall.Seconds(), u.wall.Seconds()/ours.wall.Seconds())
	}
	besideWC(t, card)
}

// writeMillion writes the card of BenchmarkWholeImport.
func writeMillion(t *testing.T, path string) {
	t.Helper()
	if err := os.WriteFile(path, millionCard(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// rival is a program beside ours; once says that one run has to do.
type rival struct {
	name string
	cmd  *exec.Cmd
	once bool
}

// grouping is what pandas is asked to do.
const grouping = `import sys, pandas as pd
d = pd.read_csv(sys.argv[1])
at = pd.to_datetime(d["date"] + " " + d["time"])
print(d.groupby([at.dt.weekday, at.dt.hour]).size().to_string())
`

func rivals(t *testing.T, program, dir, card string, run int) []rival {
	t.Helper()
	data := filepath.Join(dir, fmt.Sprint("network", run))
	add := exec.Command(program, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill Lane",
		"--latitude", "52.1", "--longitude", "-8.2", "--zone", "Europe/Dublin", "--installed", "2002-01-01")
	if out, err := add.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	all := []rival{{name: "doorleaf import", cmd: exec.Command(program, "import", "--data", data, "--site", "MILL", card)}}
	if _, err := exec.LookPath("sqlite3"); err == nil {
		all = append(all, rival{name: "sqlite3: .import, GROUP BY weekday and hour", cmd: countMillion(dir, card, run+1)})
	}
	const debianPython = "/usr/bin/python3" // for which Debian's python3-pandas is
	if exec.Command(debianPython, "-c", "import pandas").Run() == nil {
		all = append(all, rival{name: "pandas: read, group by weekday and hour", cmd: exec.Command(debianPython, "-c", grouping, card)})
	}
	if office, err := exec.LookPath("soffice"); err == nil {
		profile := "-env:UserInstallation=file://" + filepath.Join(dir, "office")
		all = append(all, rival{name: "LibreOffice Calc: convert to a spreadsheet", once: true,
			cmd: exec.Command(office, profile, "--headless", "--convert-to", "ods", "--outdir", filepath.Join(dir, "converted"), card)})
	}
	return all
}

// runMeasured runs a program to its end.
func runMeasured(t *testing.T, cmd *exec.Cmd) used {
	t.Helper()
	begun := time.Now()
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", cmd.Args[:2], err, out[:min(len(out), 2000)])
	}
	u := usedBy(cmd)
	u.wall = time.Since(begun)
	return u
}

// middle is the run whose time lies in the middle.
func middle(runs []used) used {
	sorted := slices.Clone(runs)
	slices.SortFunc(sorted, func(a, b used) int { return int(a.wall - b.wall) })
	return sorted[len(sorted)/2]
}

// besideWC holds reading alone, its dialect inferred, against counting lines.
func besideWC(t *testing.T, card string) {
	data, err := os.ReadFile(card)
	if err != nil {
		t.Fatal(err)
	}
	var ours, theirs []used
	for range besideRuns + 2 {
		theirs = append(theirs, runMeasured(t, exec.Command("wc", "-l", card)))
		begun := time.Now()
		if f, err := cardfile.Read(data, cardfile.Hint{}); err != nil || len(f.Rows) != 1_000_000 {
			t.Fatalf("read %v, want a million rows", err)
		}
		ours = append(ours, used{wall: time.Since(begun)})
	}
	our, their := middle(ours).wall, middle(theirs).wall
	fmt.Printf("reading alone %.3f s, wc -l %.3f s: %.1f times\n", our.Seconds(), their.Seconds(), our.Seconds()/their.Seconds())
}

// TestStart starts the demo without and with its drawings made, and prints how long the
// first pages take, and how much memory the server takes when nobody asks for anything.
// With DOORLEAF_BENCH=1.
func TestStart(t *testing.T) {
	if os.Getenv("DOORLEAF_BENCH") == "" {
		t.Skip("DOORLEAF_BENCH=1 runs it")
	}
	program, err := filepath.Abs("../../bin/doorleaf")
	if err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(t.TempDir(), "demo")
	if out, err := exec.Command(program, "demo", "--data", data, "--make-only").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	one := oneDrawing(t)
	fmt.Printf("\none drawing by ECharts: %.0f ms\n", ms(one))
	for _, name := range []string{"nothing drawn", "drawings made"} {
		started, network, site, again, idle := startOnce(t, program, data)
		fmt.Printf("%-14s listens %.0f ms, first page %.0f ms; a site's page %.0f ms (%.1f drawings), again %.1f ms; %d MB when idle\n",
			name, ms(started), ms(network), ms(site), site.Seconds()/one.Seconds(), ms(again), idle>>20)
	}
}

// oneDrawing is how long ECharts takes for a chart of 168 bars.
func oneDrawing(t *testing.T) time.Duration {
	engine := draw.New(draw.Options{})
	defer engine.Close()
	draws := func(i int) time.Duration {
		option := fmt.Sprintf(`{"animation":false,"xAxis":{"type":"category"},"yAxis":{},"series":[{"type":"bar","data":[%d%s]}]}`, i, strings.Repeat(",3", 167))
		begun := time.Now()
		if _, err := engine.Draw(context.Background(), []byte(option), 720, 300); err != nil {
			t.Fatal(err)
		}
		return time.Since(begun)
	}
	draws(0) // loads ECharts
	return min(draws(1), draws(2), draws(3))
}

// idleAfter is how long the server is left alone before its memory is read.
const idleAfter = 30 * time.Second

func startOnce(t *testing.T, program, data string) (started, network, site, again time.Duration, idle int64) {
	begun := time.Now()
	serve := exec.Command(program, "serve", "--data", data, "--listen", "127.0.0.1:0")
	out, err := serve.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	serve.Stderr = &said
	if err := serve.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		http.DefaultTransport.(*http.Transport).CloseIdleConnections()
		_ = serve.Process.Signal(syscall.SIGTERM)
		_ = serve.Wait()
	}()
	var line [200]byte
	n, err := out.Read(line[:])
	if err != nil {
		t.Fatalf("%v\n%s", err, said.String())
	}
	_, address, _ := strings.Cut(strings.TrimSpace(string(line[:n])), "listening on ")
	started = time.Since(begun)
	firstByte(t, address+"/")
	network = time.Since(begun)
	site, _ = firstByte(t, address+"/sites/QUAY")
	again = time.Hour
	for range 5 {
		took, _ := firstByte(t, address+"/sites/QUAY")
		again = min(again, took)
	}
	time.Sleep(idleAfter)
	return started, network, site, again, memoryOf(t, serve.Process.Pid, "VmRSS")
}
