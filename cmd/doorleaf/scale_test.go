//go:build unix

package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestScale makes a network of DOORLEAF_SCALE sites with ten years of about twenty
// openings a day each (DOORLEAF_SCALE_DAYS and DOORLEAF_SCALE_A_DAY for others), brings
// its cards in and looks at its pages, and prints what that took. It fails where a page
// fails; how fast is for whoever reads the table: a machine has other things to do.
// It needs bin/doorleaf (make build).
func TestScale(t *testing.T) {
	sites, _ := strconv.Atoi(os.Getenv("DOORLEAF_SCALE"))
	if sites == 0 {
		t.Skip("DOORLEAF_SCALE says for how many sites: 10, 100 or 1000")
	}
	days, aDay := 3652, 20
	if n, err := strconv.Atoi(os.Getenv("DOORLEAF_SCALE_DAYS")); err == nil {
		days = n
	}
	if n, err := strconv.Atoi(os.Getenv("DOORLEAF_SCALE_A_DAY")); err == nil {
		aDay = n
	}
	program, err := filepath.Abs("../../bin/doorleaf")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	data := filepath.Join(dir, "network")
	openings, took, peak := scaleImport(t, program, dir, data, sites, days, aDay)
	info, err := os.Stat(filepath.Join(data, "doorleaf.db"))
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("\n%d sites, %d days, %d openings\n", sites, days, openings)
	fmt.Printf("import: %.2f s of processor a million openings, %d MB at most in one process\n", took.Seconds()/float64(openings)*1e6, peak>>20)
	fmt.Printf("database: %.1f bytes an opening, kept cards and all\n", float64(info.Size())/float64(openings))
	scalePages(t, program, data, sites)
}

// scaleCard is a card of about aDay openings a day, which end a week ago.
func scaleCard(days, aDay, seed int) (card []byte, openings int) {
	var b bytes.Buffer
	last := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -7)
	for day := range days {
		date := last.AddDate(0, 0, day-days)
		n := aDay - (day+seed)%5 + 2
		for i := range n {
			at := date.Add(7*time.Hour + time.Duration(i*(15*3600/(aDay+3))+(day*day*37+i*i*101+seed*13)%1500)*time.Second)
			fmt.Fprintf(&b, "%s,%d\r\n", at.Format("Mon,2006-01-02,15:04:05"), 5+(day*31+i*17)%90)
		}
		openings += n
	}
	return b.Bytes(), openings
}

// scaleImport brings the cards in, a process each.
func scaleImport(t *testing.T, program, dir, data string, sites, days, aDay int) (openings int, took time.Duration, peak int64) {
	card := filepath.Join(dir, "LOG.CSV")
	installed := time.Now().AddDate(0, 0, -days-30).Format("2006-01-02")
	for i := range sites {
		code := fmt.Sprintf("S%d", i)
		add := exec.Command(program, "site", "add", "--data", data, "--code", code, "--name", "Box "+code,
			"--latitude", fmt.Sprint(52.1+float64(i/32)*0.004), "--longitude", fmt.Sprint(-8.2+float64(i%32)*0.006), "--zone", "Europe/Dublin", "--installed", installed)
		if out, err := add.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		rows, n := scaleCard(days, aDay, i)
		if err := os.WriteFile(card, rows, 0o600); err != nil {
			t.Fatal(err)
		}
		bring := exec.Command(program, "import", "--data", data, "--site", code, card)
		if out, err := bring.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		used := usedBy(bring)
		openings, took, peak = openings+n, took+used.processor, max(peak, used.peak)
	}
	return openings, took, peak
}

// used is what a finished process took.
type used struct {
	wall, processor time.Duration
	peak            int64 // bytes of memory
}

func usedBy(cmd *exec.Cmd) used {
	u := used{processor: cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()}
	if r, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		u.peak = int64(r.Maxrss) << 10 // Linux counts in KiB
	}
	return u
}

// scalePages starts the server and prints the time to the first byte of each page.
func scalePages(t *testing.T, program, data string, sites int) {
	begun := time.Now()
	serve := exec.Command(program, "serve", "--data", data, "--listen", "127.0.0.1:0")
	out, err := serve.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := serve.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = serve.Process.Signal(syscall.SIGTERM); _ = serve.Wait() })
	var line [200]byte
	n, err := out.Read(line[:])
	if err != nil {
		t.Fatal(err)
	}
	_, address, _ := strings.Cut(strings.TrimSpace(string(line[:n])), "listening on ")
	fmt.Printf("start: %d ms until it listens\n", time.Since(begun).Milliseconds())
	season := seasonAgo(time.Now().AddDate(0, -6, 0))
	mid := fmt.Sprint("/sites/S", sites/2)
	fmt.Printf("%-28s %10s %10s %10s\n", "ms to the first byte", "cold", "warm", "kB")
	for _, page := range []string{
		"/", mid, mid + "?season=" + season, "/seasons", "/seasons/" + season, mid + "/openings", mid + "/visits", mid + "/daylight", "/round",
		"/api/sites", "/api/seasons/" + season, "/api" + mid + "/pattern", "/api" + mid + "/days", "/api" + mid + "/openings",
	} {
		cold, size := firstByte(t, address+page)
		warm := time.Hour
		for range 5 {
			again, _ := firstByte(t, address+page)
			warm = min(warm, again)
		}
		fmt.Printf("%-28s %10.1f %10.1f %10d\n", page, ms(cold), ms(warm), size>>10)
	}
	fmt.Printf("memory: %d MB after these pages, %d MB at most\n", memoryOf(t, serve.Process.Pid, "VmRSS")>>20, memoryOf(t, serve.Process.Pid, "VmHWM")>>20)
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// firstByte gets a page, compressed, and returns how long its first byte took and how
// many bytes it has. A page that makes the reader wait elsewhere is an error.
func firstByte(t *testing.T, address string) (time.Duration, int64) {
	r, err := http.NewRequest(http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept-Encoding", "gzip")
	begun := time.Now()
	res, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(begun)
	defer res.Body.Close()
	size, err := io.Copy(io.Discard, res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("GET %s = %s, %v, want 200", address, res.Status, err)
	}
	return took, size
}

// seasonAgo is the name of the season that holds a date, in the northern half.
func seasonAgo(at time.Time) string {
	year, month := at.Year(), at.Month()
	switch {
	case month == time.December:
		return fmt.Sprintf("%d-%02d-winter", year, (year+1)%100)
	case month <= time.February:
		return fmt.Sprintf("%d-%02d-winter", year-1, year%100)
	case month <= time.May:
		return fmt.Sprintf("%d-spring", year)
	case month <= time.August:
		return fmt.Sprintf("%d-summer", year)
	}
	return fmt.Sprintf("%d-autumn", year)
}

// memoryOf reads a line of a process's status, bytes; 0 where the system has none.
func memoryOf(t *testing.T, pid int, name string) int64 {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, name+":"); ok {
			kb, _ := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
			return kb << 10
		}
	}
	return 0
}
