package draw

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestFolder(t *testing.T) {
	dir := t.TempDir()
	old := filepath.Join(dir, "0123456789abcdef")
	if err := os.MkdirAll(old, 0o700); err != nil {
		t.Fatal(err)
	}
	f := openFolder(dir)
	if f == nil {
		t.Fatal("openFolder = nil, want a folder")
	}
	if _, err := os.Stat(old); !os.IsNotExist(err) {
		t.Errorf("drawings of another program are still there: %v", err)
	}
	key, other := digestOf([]byte("{}"), 1, 2), digestOf([]byte("{}"), 2, 1)
	if _, ok := f.load(key); ok {
		t.Error("load of what was never saved = true, want false")
	}
	f.save(key, []byte("<svg/>"))
	if got, ok := f.load(key); !ok || string(got) != "<svg/>" {
		t.Errorf("load = %q, %v, want what was saved", got, ok)
	}
	if got, ok := openFolder(dir).load(key); !ok || string(got) != "<svg/>" {
		t.Errorf("load after another start = %q, %v, want what was saved", got, ok)
	}
	whole, err := os.ReadFile(f.path(key))
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{
		"empty": {}, "cut short": whole[:len(whole)-3], "no more than the sum": whole[:32],
		"flipped": append(append([]byte{}, whole[:5]...), append([]byte{whole[5] ^ 1}, whole[6:]...)...),
	} {
		if err := os.WriteFile(f.path(key), data, 0o600); err != nil {
			t.Fatal(err)
		}
		if got, ok := f.load(key); ok {
			t.Errorf("%s: load = %q, want none", name, got)
		}
	}
	if err := os.WriteFile(f.path(other), whole, 0o600); err != nil {
		t.Fatal(err)
	}
	if got, ok := f.load(other); ok {
		t.Errorf("load of another drawing's file = %q, want none", got)
	}
	if none := (*folder)(nil); true {
		none.save(key, nil)
		if _, ok := none.load(key); ok {
			t.Error("load without a folder = true, want false")
		}
	}
	if got := openFolder(""); got != nil {
		t.Errorf("openFolder(no name) = %v, want nil", got)
	}
}

// TestEngineFolder holds that an engine shows what another has drawn, byte for byte, and
// draws nothing for it.
func TestEngineFolder(t *testing.T) {
	dir := t.TempDir()
	option := []byte(`{"xAxis":{"type":"category","data":["a","b"]},"yAxis":{},"series":[{"type":"bar","data":[1,2]}]}`)
	first := New(Options{Folder: dir})
	want, err := first.Draw(t.Context(), option, 200, 100)
	if err != nil {
		t.Fatal(err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	second := New(Options{Folder: dir})
	if err := second.Close(); err != nil { // it cannot draw any more
		t.Fatal(err)
	}
	got, err := second.Draw(t.Context(), option, 200, 100)
	if err != nil || string(got) != string(want) {
		t.Errorf("Draw = %d bytes, %v, want the %d bytes of the first engine", len(got), err, len(want))
	}
}

// TestRest holds that an engine draws on after a rest, and that a machine in use is left
// alone.
func TestRest(t *testing.T) {
	e := New(Options{Machines: 2})
	defer e.Close()
	option := []byte(`{"xAxis":{},"yAxis":{},"series":[{"type":"bar","data":[1,2]}]}`)
	if _, err := e.Draw(t.Context(), option, 200, 100); err != nil {
		t.Fatal(err)
	}
	loaded := func() (n int) {
		for range 2 {
			m := <-e.machines
			if m != nil {
				n++
			}
			e.machines <- m
		}
		return n
	}
	e.Rest(time.Now().Add(-time.Hour))
	if got := loaded(); got != 1 {
		t.Errorf("%d machines after a rest of those unused for an hour, want 1", got)
	}
	e.Rest(time.Now())
	if got := loaded(); got != 0 {
		t.Errorf("%d machines after a rest of all, want none", got)
	}
	if _, err := e.Draw(t.Context(), option, 300, 100); err != nil {
		t.Errorf("Draw after a rest: %v", err)
	}
}
