package cardfile

import (
	"fmt"
	"strings"
	"testing"
)

func TestLineTexts(t *testing.T) {
	data := "date,time,s\r\n2026-01-02,10:00:00,5\n\nnonsense\r2026-01-03,10:00:00,\x00\x00\x00\x00\x00\n2026-01-04,10:00:00,7"
	f, err := Read([]byte(data), Hint{})
	if err != nil {
		t.Fatal(err)
	}
	all := LineTexts([]byte(data), 1, f.Lines)
	if len(all) != f.Lines || len(LineTexts([]byte(data), -3, f.Lines+9)) != f.Lines {
		t.Fatalf("LineTexts gives %d lines, Read %d", len(all), f.Lines)
	}
	for _, r := range f.Rows {
		if got, want := all[r.Line-1], data[r.Offset:r.Offset+int64(r.Length)]; got != want {
			t.Errorf("line %d = %q, want %q", r.Line, got, want)
		}
	}
	if got, want := fmt.Sprintf("%q", LineTexts([]byte(data), 2, 3)), `["2026-01-02,10:00:00,5" ""]`; got != want {
		t.Errorf("LineTexts(2, 3) = %s, want %s", got, want)
	}
	if got := LineTexts([]byte(data), 99, 100); got != nil {
		t.Errorf("LineTexts(99, 100) = %q, want none", got)
	}
	if got := strings.Join(LineTexts([]byte("\xff\xfea\x00\n\x00\xe9\x00"), 1, 9), "|"); got != "a|é" {
		t.Errorf("LineTexts of UTF-16 = %q, want a|é", got)
	}
}
