package cardfile

import (
	"strings"
	"testing"
)

// FuzzRead checks on any bytes that lines add up, that lines come in order
// without overlapping, and that each row's bytes, read by themselves under the
// file's own date order, lie where the row says.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		"", "\r\n", good, "34\r\n" + good, strings.ReplaceAll(good, "\r\n", "\r"),
		good + strings.Repeat("\x00", 100), good + strings.Repeat("\xff", 100) + good,
		"\xef\xbb\xbf" + good, "\xff\xfeT\x00h\x00u\x00,\x00", "\xfe\xff\x00T\x00h",
		"Jour;Date;Heure\r\nmi\xe9,01/02/24,10:00:00,1\r\n", "2016-01-14 09:12:33,OPEN\n2016-01-14 09:13:07,CLOSE\n",
		"1452762753,34\n1452891906,7\n", "Thu,165/165/2165,165:165:85,3\n", "01/02/24 24:00:00 3\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Read(data, Hint{})
		if err != nil {
			return
		}
		if got := len(file.Rows) + file.Headers + file.Blanks + len(file.Complaints); got != file.Lines {
			t.Fatalf("%d rows, headers, blanks and complaints, want %d lines", got, file.Lines)
		}
		checkPlaces(t, data, file)
	})
}

func checkPlaces(t *testing.T, data []byte, file *File) {
	t.Helper()
	at, line := int64(0), int32(0)
	for _, r := range file.Rows {
		end := r.Offset + int64(r.Length)
		if r.Offset < at || end > int64(len(data)) || r.Line <= line || int(r.Line) > file.Lines {
			t.Fatalf("row at line %d, offset %d, length %d after line %d, offset %d in %d bytes", r.Line, r.Offset, r.Length, line, at, len(data))
		}
		at, line = end, r.Line
		raw := data[r.Offset:end]
		if strings.HasPrefix(file.Encoding, "utf-8") && strings.ContainsAny(string(raw), "\r\n") {
			t.Fatalf("row at line %d holds a line end: %q", r.Line, raw)
		}
	}
	for _, c := range file.Complaints {
		if c.Line < 1 || c.Line > file.Lines || c.Offset < 0 || c.Offset > int64(len(data)) || c.Reason == "" {
			t.Fatalf("complaint %+v in %d lines, %d bytes", c, file.Lines, len(data))
		}
	}
}

// TestReadEncodings reads the same text in every encoding and checks that the
// rows lie at the bytes where that encoding puts them.
func TestReadEncodings(t *testing.T) {
	text := "Jour;Date;Heure;Secondes\r\nmer;13/01/16;09:12:33;34\r\nsáb;16/01/16;21:05:06;7\r\n"
	utf16 := func(bom string, hi, lo int) string {
		var b strings.Builder
		b.WriteString(bom)
		for _, r := range text {
			pair := [2]byte{}
			pair[hi], pair[lo] = byte(r>>8), byte(r)
			b.Write(pair[:])
		}
		return b.String()
	}
	tests := []struct {
		name, data string
		offset     int64
	}{
		{"utf-8", text, 26},
		{"utf-8 bom", "\xef\xbb\xbf" + text, 29},
		{"utf-16le", utf16("\xff\xfe", 1, 0), 54},
		{"utf-16be", utf16("\xfe\xff", 0, 1), 54},
		{"windows-1252", strings.ReplaceAll(text, "á", "\xe1"), 26},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := mustRead(t, tt.data, Hint{})
			if f.Encoding != tt.name {
				t.Errorf("encoding = %q, want %q", f.Encoding, tt.name)
			}
			if got, want := describeRows(f), "2016-01-13T09:12:33/34 2016-01-16T21:05:06/7"; got != want {
				t.Errorf("rows = %s, want %s", got, want)
			}
			if len(f.Rows) == 2 && f.Rows[0].Offset != tt.offset {
				t.Errorf("first row at offset %d, want %d", f.Rows[0].Offset, tt.offset)
			}
			checkPlaces(t, []byte(tt.data), f)
		})
	}
}
