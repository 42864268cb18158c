package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// serving runs «doorleaf serve» or «doorleaf demo» in this process on a free
// port until the test ends, and returns its address.
func serving(t *testing.T, args ...string) string {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	r, w := io.Pipe()
	done := make(chan int, 1)
	var errs strings.Builder
	go func() {
		done <- run(ctx, append(args, "--listen", "127.0.0.1:0"), w, &errs)
		w.Close()
	}()
	t.Cleanup(func() {
		stop()
		select {
		case code := <-done:
			if code != 0 {
				t.Errorf("doorleaf %v: exit status %d\n%s", args, code, errs.String())
			}
		case <-time.After(20 * time.Second):
			t.Errorf("doorleaf %v did not end after an interrupt", args)
		}
	})
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("first line of doorleaf %v: %v\n%s", args, err, errs.String())
	}
	address, ok := strings.CutPrefix(strings.TrimSpace(line), "listening on ")
	if !ok {
		t.Fatalf("first line = %q, want «listening on http://…»", line)
	}
	go io.Copy(io.Discard, r)
	return address
}

// must runs a command line that has to succeed.
func must(t testing.TB, args ...string) string {
	t.Helper()
	var out, errs strings.Builder
	if code := run(context.Background(), args, &out, &errs); code != 0 {
		t.Fatalf("doorleaf %v: exit status %d\n%s%s", args, code, out.String(), errs.String())
	}
	return out.String()
}

// fetch asks the server for JSON.
func fetch(t *testing.T, url string, into any) {
	t.Helper()
	res, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(res.Body)
		t.Fatalf("GET %s: %s\n%s", url, res.Status, body)
	}
	if err := json.NewDecoder(res.Body).Decode(into); err != nil {
		t.Fatalf("GET %s: %v", url, err)
	}
}

func TestServe(t *testing.T) {
	data := t.TempDir()
	address := serving(t, "serve", "--data", data)
	var health struct{ Status string }
	fetch(t, address+"/healthz", &health)
	if health.Status != "ok" {
		t.Errorf("status = %q, want ok", health.Status)
	}
	must(t, "health", address)
}

func TestServeRefusesTheNetwork(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "[::]:0"} {
		var out, errs strings.Builder
		if code := run(context.Background(), []string{"serve", "--data", t.TempDir(), "--listen", addr}, &out, &errs); code != 1 {
			t.Errorf("serve --listen %s: exit status %d, want 1", addr, code)
		}
		if !strings.Contains(errs.String(), "try: ") {
			t.Errorf("serve --listen %s says %q, want a hint", addr, errs.String())
		}
	}
}
