package main

import (
	"context"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
)

// hostile is what a terminal must not be sent: commands to it, characters that
// turn writing round or cannot be seen, zeros, bytes that are no UTF-8.
const hostile = "<b>\x1b[2J\x1b]0;owned\x07\u202egnp.\u2066\u200b\u2028\x00\u009b31m\xff\r=cmd|'/c calc'!A0"

// What the command line prints of a hostile card is all printable, whatever the
// card, its name or the name of its folder says.
func TestHostileCardOnATerminal(t *testing.T) {
	data, dir := t.TempDir(), filepath.Join(t.TempDir(), "MILL \x1b[31m\u202e")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	card := filepath.Join(dir, "LOG\x1b]0;x\x07\u202e.TXT")
	rows := hostile + "\n2026-03-01 10:00:00," + hostile + "\n2026-03-01 45:85:00,3\n2026-03-02 10:00:00,4\n" + hostile + "," + hostile + "\n"
	if err := os.WriteFile(card, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "DOORLEAF.TXT"), []byte("site "+hostile+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "site", "add", "--data", data, "--code", "MILL", "--name", "Mill \x1b[31m\u202e", "--latitude", "52", "--longitude", "-8", "--zone", "Europe/Dublin", "--installed", "2024-03-01")
	for _, args := range [][]string{
		{"inspect", card},
		{"inspect", "--json", card},
		{"inspect", dir},
		{"import", "--data", data, dir},
		{"import", "--data", data, "--site", "MILL", card},
		{"import", "--data", data, "--site", hostile, card},
		{"site", "list", "--data", data},
		{"rebuild", "--data", data},
		{"rebuild", "--data", data, "--site", hostile},
		{"passphrase", "--data", data, "--role", hostile},
		{"serve", "--data", data, "--listen", hostile},
	} {
		var out, errs strings.Builder
		run(context.Background(), args, &out, &errs)
		if out.Len()+errs.Len() == 0 {
			t.Errorf("doorleaf %q prints nothing: nothing was looked at", args)
		}
		for _, r := range out.String() + errs.String() {
			if r != '\n' && r != '\t' && r != ' ' && !unicode.IsPrint(r) {
				t.Errorf("doorleaf %q prints %U: %q", args, r, out.String()+errs.String())
				break
			}
		}
	}
}

// A passphrase set while the server runs counts from the next request on, and
// signs out who had the old one.
func TestPassphraseOfARunningServer(t *testing.T) {
	data := t.TempDir()
	secret := filepath.Join(t.TempDir(), "secret")
	write := func(phrase string) {
		t.Helper()
		if err := os.WriteFile(secret, []byte(phrase+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("saddle mitten quarry")
	address := serving(t, "serve", "--data", data, "--behind-proxy", "--passphrase-file", secret)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	status := func(path string) int {
		t.Helper()
		res, err := client.Get(address + path)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	signIn := func(phrase string) int {
		t.Helper()
		res, err := client.PostForm(address+"/sign-in", url.Values{"who": {"Ann"}, "passphrase": {phrase}})
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	if got := status("/api/sites"); got != 401 {
		t.Errorf("GET /api/sites as nobody = %d, want 401", got)
	}
	if got := status("/journal"); got != 303 {
		t.Errorf("GET /journal as nobody = %d, want 303", got)
	}
	if got := signIn("saddle mitten quarry"); got != 303 {
		t.Fatalf("sign in = %d, want 303", got)
	}
	if got := status("/journal"); got != 200 {
		t.Errorf("GET /journal for coordinating = %d, want 200", got)
	}
	write("gravel thimble onward")
	c := &console{ctx: context.Background(), out: os.Stderr, err: os.Stderr, data: data, now: nil}
	s, err := c.open()
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := passphraseFrom(c, s, secret); err != nil {
		t.Fatal(err)
	}
	if got := status("/journal"); got != 303 {
		t.Errorf("GET /journal after a new passphrase = %d, want 303: signed out", got)
	}
	if got := signIn("saddle mitten quarry"); got != 403 {
		t.Errorf("sign in with the old passphrase = %d, want 403", got)
	}
	if got := signIn("gravel thimble onward"); got != 303 {
		t.Errorf("sign in with the new one = %d, want 303", got)
	}
	if _, err := s.EndSessions(context.Background()); err != nil {
		t.Fatal(err)
	}
	if got := status("/api/sites"); got != 401 {
		t.Errorf("GET /api/sites after everyone was signed out = %d, want 401", got)
	}
}
