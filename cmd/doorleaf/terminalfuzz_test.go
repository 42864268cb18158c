package main

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
)

// FuzzTerminal lets the command line tell of any bytes as a card of any name. What it
// prints can be read, moves nothing and stays on its lines; its JSON says what the card
// says.
func FuzzTerminal(f *testing.F) {
	f.Add("LOG.TXT", []byte("2026-03-01 10:00:00,"+hostile+"\n2026-03-02 10:00:00,4\n"))
	f.Add(hostile, []byte(hostile+"\n"+hostile))
	f.Add("\u202e\U000e0041\n\x1b[2J", []byte("\xff\xfe\x1b\x00\x9b\x00,\x00"))
	f.Add("a", []byte("Wochentag;\U0001f4da\n2026-03-01 10:00:00,\u009b31m\n"))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		checkPrintable(t, "oneLine", oneLine(name), false)
		file, err := cardfile.Read(data, cardfile.Hint{})
		if err != nil {
			checkPrintable(t, "the error", visible(err.Error()), true)
			return
		}
		s := inspect(importer.Found{Name: name, Path: name, Bytes: data}, file)
		checkPrintable(t, "inspect", s.text(), true)
		plain, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		shown := visibleJSON(string(plain))
		checkPrintable(t, "inspect --json", shown, false)
		var a, b inspected
		if err := json.Unmarshal([]byte(shown), &a); err != nil {
			t.Fatalf("inspect --json writes no JSON: %v\n%s", err, shown)
		}
		if err := json.Unmarshal(plain, &b); err != nil {
			t.Fatal(err)
		}
		again, _ := json.Marshal(a)
		if was, _ := json.Marshal(b); string(again) != string(was) {
			t.Fatalf("inspect --json says\n%s\nwant\n%s", again, was)
		}
		if lines := strings.Count(s.text(), "\n"); lines > 60+len(file.Complaints)+len(file.Dialect.Evidence) {
			t.Fatalf("inspect prints %d lines", lines)
		}
	})
}

func checkPrintable(t *testing.T, what, text string, lines bool) {
	t.Helper()
	for _, r := range text {
		if !(r == ' ' || lines && r == '\n') && !unicode.IsPrint(r) {
			t.Fatalf("%s prints %U: %q", what, r, text)
		}
	}
}
