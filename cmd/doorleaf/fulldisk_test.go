//go:build linux

package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"doorleaf/store"
)

// smallDisk mounts a disk of so many bytes, which ends with the test. It says no where
// that is not allowed.
func smallDisk(t *testing.T, bytes int64) (dir string, ok bool) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("doorleaf-test", dir, "tmpfs", 0, fmt.Sprintf("size=%d,mode=0700", bytes)); err != nil {
		return "", false
	}
	t.Cleanup(func() { syscall.Unmount(dir, 0) })
	return dir, true
}

func grow(t *testing.T, dir string, bytes int64) {
	t.Helper()
	if err := syscall.Mount("doorleaf-test", dir, "tmpfs", syscall.MS_REMOUNT, fmt.Sprintf("size=%d,mode=0700", bytes)); err != nil {
		t.Fatal(err)
	}
}

// The disk of the data folder is full at any point of everything that writes: that is
// told in words, what was kept is kept, and with more room the same command ends well.
func TestDiskFull(t *testing.T) {
	if _, ok := smallDisk(t, 1<<20); !ok {
		t.Skip("no disk can be mounted here (that takes root): TestFileSizeLimit stands in for it")
	}
	w := newTownship(t)
	before, _ := w.look(t, "before", w.clone(t))
	info, err := os.Stat(filepath.Join(w.data, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	copyOf := filepath.Join(t.TempDir(), "copy.db")
	must(t, "--data", w.clone(t), "backup", "--out", copyOf)
	rows := [][]string{{"", "tries", "disk full", "done", "cards lost", "spoilt", "half kept"}}
	for _, do := range []struct {
		name  string
		args  func(dir string) []string
		all   bool // afterwards all cards are kept
		begin func(*testing.T) string
	}{
		{"import", func(string) []string { return []string{"import", w.cards} }, true, w.clone},
		{"merge", func(string) []string { return []string{"merge", w.bundle} }, true, w.clone},
		{"rebuild", func(string) []string { return []string{"rebuild"} }, false, w.clone},
		{"migrate", func(string) []string { return []string{"site", "list"} }, false, w.old},
		{"backup", func(dir string) []string { return []string{"backup", "--out", filepath.Join(dir, "copy.db")} }, false, w.clone},
		{"restore", func(string) []string { return []string{"restore", copyOf, "--replace"} }, false, w.clone},
	} {
		tries, refused, done, lost, spoilt, half := soakTimes(3, 24), 0, 0, 0, 0, 0
		from := do.begin(t)
		data, err := os.ReadFile(filepath.Join(from, store.FileName))
		if err != nil {
			t.Fatal(err)
		}
		const least = 4                      // pages
		enough := least + 2*info.Size()/4096 // as far as is known yet
		for i := range tries {
			_, part := math.Modf(float64(i) * (math.Sqrt(5) - 1) / 2) // evenly between, from the least on
			pages := least + int64(part*float64(enough-least))
			room := int64(len(data)) + 4096*pages
			dir, _ := smallDisk(t, room)
			if err := os.WriteFile(filepath.Join(dir, store.FileName), data, 0o600); err != nil {
				t.Fatal(err)
			}
			args := append([]string{"--data", dir}, do.args(dir)...)
			out, err := exec.Command("doorleaf", args...).CombinedOutput()
			if err == nil {
				done++
				enough = min(enough, pages)
			} else {
				refused++
				if text := string(out); strings.Contains(text, "goroutine") || !strings.Contains(text, "try: ") || !strings.Contains(text, "full") && !strings.Contains(text, "written") {
					t.Errorf("doorleaf %v on a disk of %d kB says\n%s\nwant what happened and what to try", args, room>>10, text)
				}
			}
			kept, bad := w.look(t, do.name+" on a full disk", rescued(t, dir))
			lost, spoilt = lost+max(0, before-kept), spoilt+bad
			grow(t, dir, room+8*info.Size()+1<<24)
			if out, err := exec.Command("doorleaf", args...).CombinedOutput(); err != nil {
				t.Errorf("doorleaf %v with more room: %v\n%s", args, err, out)
			}
			kept, bad = w.look(t, do.name+" with more room", dir)
			lost, spoilt = lost+max(0, before-kept), spoilt+bad
			if do.all {
				half += len(w.ids) - kept
			}
		}
		rows = append(rows, []string{do.name, fmt.Sprint(tries), fmt.Sprint(refused), fmt.Sprint(done), fmt.Sprint(lost), fmt.Sprint(spoilt), fmt.Sprint(half)})
		if lost+spoilt+half > 0 || refused == 0 {
			t.Errorf("%s: %d cards lost, %d spoilt, %d half kept; the disk was full %d times", do.name, lost, spoilt, half, refused)
		}
	}
	soakTable(t, rows)
}

// rescued copies what lies on a full disk to where there is room, as somebody would who
// takes the disk out.
func rescued(t *testing.T, dir string) string {
	t.Helper()
	to := t.TempDir()
	for _, name := range []string{store.FileName, store.FileName + "-wal", store.FileName + "-journal"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(to, name), data, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return to
}
