//go:build linux

package main

import (
	"archive/zip"
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"doorleaf/store"
)

// memoryMB reads from the system what a process holds (VmRSS) or held at most (VmHWM),
// MB; see proc_pid_status(5).
func memoryMB(t *testing.T, pid int, field string) int {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(string(text), "\n") {
		if rest, ok := strings.CutPrefix(line, field+":"); ok {
			kB, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(rest, "kB")))
			if err != nil {
				t.Fatal(err)
			}
			return kB >> 10
		}
	}
	t.Fatalf("no %s of process %d", field, pid)
	return 0
}

// started starts the program as a process of its own and returns its address.
func started(t *testing.T, args ...string) (address string, pid int) {
	t.Helper()
	cmd := exec.Command("doorleaf", append(args, "--listen", "127.0.0.1:0")...)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Signal(os.Interrupt); cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(strings.TrimPrefix(line, "listening on ")), cmd.Process.Pid
}

// streamed uploads a file that is made while it is sent.
func streamed(t *testing.T, address, path, field, name string, write func(io.Writer) error) (status int, location string) {
	t.Helper()
	r, w := io.Pipe()
	form := multipart.NewWriter(w)
	go func() {
		part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="%s"; filename="%s"`, field, name)}})
		if err == nil {
			err = write(part)
		}
		if err == nil {
			err = form.Close()
		}
		w.CloseWithError(err)
	}()
	client := http.Client{Timeout: 10 * time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Post(address+path, form.FormDataContentType(), r)
	if err != nil {
		t.Logf("upload of %s: %v", name, err)
		return 0, ""
	}
	defer res.Body.Close()
	io.Copy(io.Discard, res.Body)
	return res.StatusCode, res.Header.Get("Location")
}

// manyRows writes rows of a card until there are so many bytes.
func manyRows(size int64) func(io.Writer) error {
	return func(w io.Writer) error {
		b := bufio.NewWriter(w)
		r := rand.New(rand.NewPCG(1, 1))
		at := time.Date(2016, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
		for n := int64(0); n < size; {
			at += 20 + r.Int64N(40)
			k, err := fmt.Fprintf(b, "%s,%d\r\n", time.Unix(at, 0).UTC().Format("2006-01-02 15:04:05"), 2+r.IntN(60))
			if err != nil {
				return err
			}
			n += int64(k)
		}
		return b.Flush()
	}
}

func garbage(size int64) func(io.Writer) error {
	return func(w io.Writer) error {
		r := rand.NewChaCha8([32]byte{1})
		_, err := io.CopyN(w, r, size)
		return err
	}
}

func zipped(names int, inner func(io.Writer) error, method uint16) func(io.Writer) error {
	return func(w io.Writer) error {
		z := zip.NewWriter(w)
		for n := range names {
			part, err := z.CreateHeader(&zip.FileHeader{Name: fmt.Sprintf("%d/LOG.TXT", n), Method: method})
			if err == nil {
				err = inner(part)
			}
			if err != nil {
				return err
			}
		}
		return z.Close()
	}
}

// What an upload of 200 MB takes while it is refused or read, and the page that shows
// what was read, stay below 150 MB above what the idle server holds. Each is sent to a
// server of its own, since the system tells the most that a process ever held.
func TestMemoryOfLargeUploads(t *testing.T) {
	if testing.Short() {
		t.Skip("the program that short tests look for races in takes several times the memory")
	}
	const mb = 1 << 20
	all := int64(soakTimes(100, 200))
	rows := [][]string{{"upload", "MB", "status", "idle MB", "peak MB", "above"}}
	for _, c := range []struct {
		name  string
		path  string
		field string
		file  string
		write func(io.Writer) error
		want  []int
	}{
		{"one card", "/cards", "files", "LOG.TXT", manyRows(all * mb), []int{400, 413}},
		{"garbage", "/cards", "files", "LOG.TXT", garbage(all * mb), []int{400, 413}},
		{"a .zip of cards", "/cards", "files", "x.zip", zipped(10, manyRows(all/10*mb), zip.Store), []int{400, 413}},
		{"a .zip of as much as is taken", "/cards", "files", "x.zip", zipped(10, manyRows(12*mb), zip.Deflate), []int{303, 303}},
		{"a .zip that unpacks to it", "/cards", "files", "x.zip", zipped(10, manyRows(all/10*mb), zip.Deflate), []int{303, 413}},
		{"garbage as a .zip", "/cards", "files", "x.zip", garbage(all * mb), []int{400, 413}},
		{"garbage as a bundle", "/merge", "bundle", "x.zip", garbage(all * mb), []int{400, 413}},
		{"garbage for the bench", "/bench", "card", "LOG.TXT", garbage(all * mb), []int{400, 413}},
	} {
		dir := t.TempDir()
		address, pid := started(t, "serve", "--data", dir)
		newPerson(address, nil).get("/cards") // templates and typefaces are read
		idle := memoryMB(t, pid, "VmHWM")
		status, tray := streamed(t, address, c.path, c.field, c.file, c.write)
		if tray != "" {
			t.Logf("%s: %d MB until it lies on the tray", c.name, memoryMB(t, pid, "VmHWM"))
			newPerson(address, nil).get(tray)
		}
		peak := memoryMB(t, pid, "VmHWM")
		rows = append(rows, []string{c.name, fmt.Sprint(all), fmt.Sprint(status), fmt.Sprint(idle), fmt.Sprint(peak), fmt.Sprint(peak - idle)})
		if peak-idle > 150 {
			t.Errorf("%s of %d MB: %d MB above the idle %d, want 150 at most", c.name, all, peak-idle, idle)
		}
		if status != 0 && status != c.want[0] && status != c.want[1] {
			t.Errorf("%s = %d, want one of %v", c.name, status, c.want)
		}
		if _, err := os.Stat(filepath.Join(dir, store.FileName)); err != nil {
			t.Error(err)
		}
	}
	soakTable(t, rows)
}
