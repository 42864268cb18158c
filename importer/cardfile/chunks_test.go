package cardfile

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
)

// What is read of a row does not depend on which rows are read beside it: a long card
// reads as its stretches do by themselves, whether each line of a stretch is a row or
// some are not, and whichever weekday comes first in it.
func TestReadWholeChunks(t *testing.T) {
	at := time.Date(2016, 1, 14, 9, 0, 0, 0, time.UTC)
	var card bytes.Buffer
	var want []Row
	complaints := 0
	line := func(text string, row *Row) {
		if row != nil {
			row.Line, row.Offset, row.Length = int32(len(want)+complaints+1), int64(card.Len()), int32(len(text))
			want = append(want, *row)
		} else {
			complaints++
		}
		card.WriteString(text + "\r\n")
	}
	for i := range 4*chunkLines + 100 {
		at = at.Add(time.Duration(7000+i%900) * time.Second)
		if i > chunkLines && i < 2*chunkLines && i%997 == 0 { // the second stretch and a bit of the third
			line("Thu,01/1", nil)
		}
		r := Row{Reading: at.Unix(), OpenS: int32(i * 31 % 97), ZoneMin: NoZone, Weekday: uint8((at.Weekday()+6)%7 + 1), Timed: true}
		r.Key = key(r.Reading, Whole)
		line(fmt.Sprintf("%s,%d", at.Format("Mon,01/02/06,15:04:05"), r.OpenS), &r)
	}
	for name, c := range map[string]struct{ from, to string }{
		"CRLF": {"", ""}, "LF": {"\r\n", "\n"}, "CR": {"\r\n", "\r"}, "mixed": {",9\r\n", ",9\n"},
	} {
		text := card.String()
		if c.from != "" {
			text = strings.ReplaceAll(text, c.from, c.to)
		}
		f, err := Read([]byte(text), Hint{})
		if err != nil || len(f.Rows) != len(want) || len(f.Complaints) != complaints || f.Resolution != 1 {
			t.Fatalf("%s: %d rows, %d complaints, a step of %d s, %v, want %d, %d, 1", name, len(f.Rows), len(f.Complaints), f.Resolution, err, len(want), complaints)
		}
		for i, r := range f.Rows {
			if raw := text[r.Offset : r.Offset+int64(r.Length)]; !strings.HasPrefix(raw, time.Unix(want[i].Reading, 0).UTC().Format("Mon,01/02/06,15:04:05,")) {
				t.Fatalf("%s: row %d lies at %q", name, i, raw)
			}
			if r.Offset = want[i].Offset; r != want[i] {
				t.Fatalf("%s: row %d = %+v, want %+v", name, i, r, want[i])
			}
		}
	}
}

// A weekday that broke off does not spoil the whole ones after it.
func TestReadWeekdayThatBrokeOff(t *testing.T) {
	f, err := Read([]byte("Segunda 2026-04-06 13:36:24 22\nSegunda-feira 2026-04-06 16:30:09 8\nTer\xc3\xa7a-feira 2026-04-07 12:51:05 21\n"), Hint{})
	if err != nil || len(f.Rows) != 3 || f.Rows[0].Weekday != 1 || f.Rows[1].Weekday != 1 || f.Rows[2].Weekday != 2 {
		t.Errorf("Read = %+v, %v, want the weekdays 1, 1, 2", f.Rows, err)
	}
}
