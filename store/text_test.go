package store

import (
	"strings"
	"testing"

	"doorleaf/importer/cardfile"
)

func TestRawText(t *testing.T) {
	for _, test := range []struct {
		name, in, encoding, want string
	}{
		{"plain", "Mi;01.02.2026;5", "utf-8", "Mi;01.02.2026;5"},
		{"with mark", "é;5", "utf-8 bom", "é;5"},
		{"western", "S\xe1b 5 \x80", "windows-1252", "Sáb 5 €"},
		{"western, unused code", "a\x81", "windows-1252", "a\uFFFD"},
		{"little-endian", "M\x00\xe9\x00", "utf-16le", "Mé"},
		{"big-endian", "\x00M\x00\xe9", "utf-16be", "Mé"},
		{"odd byte", "M\x00\xe9", "utf-16le", "M\uFFFD"},
		{"broken", "a\xffb", "utf-8", "a\uFFFDb"},
		{"not escaped", "<b>\x1b[1m", "utf-8", "<b>\x1b[1m"},
		{"empty", "", "", ""},
	} {
		if got := rawText([]byte(test.in), test.encoding); got != test.want {
			t.Errorf("rawText(%q, %s) = %q, want %q (%s)", test.in, test.encoding, got, test.want, test.name)
		}
	}
}

func TestLineOutsideCard(t *testing.T) {
	c := cardText{bytes: []byte("0123456789"), encoding: "utf-8"}
	for _, test := range []struct {
		offset int64
		length int32
		want   string
	}{
		{0, 10, "0123456789"},
		{9, 1, "9"},
		{10, 0, ""},
		{9, 2, ""},
		{11, 0, ""},
		{-1, 2, ""},
		{2, -1, ""},
		{1 << 62, 1 << 30, ""},
	} {
		if got := c.line(test.offset, test.length); got != test.want {
			t.Errorf("line(%d, %d) = %q, want %q", test.offset, test.length, got, test.want)
		}
	}
}

func TestTextCache(t *testing.T) {
	c := newTextCache(100)
	put := func(id string, size int) { c.put(cardText{id: id, bytes: make([]byte, size)}) }
	has := func(id string) bool { _, ok := c.get(id); return ok }
	put("a", 40)
	put("b", 40)
	has("a") // a is now the later one
	put("c", 40)
	if !has("a") || has("b") || !has("c") {
		t.Errorf("a, b, c held: %v, %v, %v, want b to have gone", has("a"), has("b"), has("c"))
	}
	put("large", 101)
	if has("large") || !has("a") {
		t.Error("a card over the limit was held, or drove others out")
	}
	put("a", 40)
	c.forget("a")
	c.forget("a")
	if has("a") || c.held != 40 {
		t.Errorf("%d bytes held, want the 40 of c", c.held)
	}
}

// A line of a card in another encoding is read as the card was.
func TestRawOfEncodedCard(t *testing.T) {
	s := openTest(t)
	s.engine.read = func(data []byte, hint cardfile.Hint) (*cardfile.File, error) {
		f, err := fakeRead(data, hint)
		f.Encoding = "windows-1252"
		return f, err
	}
	rows := []string{"\xe9t\xe9 7\n", rowAt(logStart)}
	mustKeep(t, s, "MILL", CardIn{Name: "LOG.TXT", Bytes: []byte(strings.Join(rows, ""))})
	all := pagesOf(t, s, Page{Limit: 10})
	if len(all) != 2 || all[0].Raw+"\n" != rows[1] || all[1].Raw != "été 7" {
		t.Errorf("Openings = %+v, want the raw lines %q and été 7", all, rows[1])
	}
}
