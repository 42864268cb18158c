package cardfile

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

// reading writes a row's reading as people would, or its good parts.
func reading(r Row) string {
	if !r.Timed {
		return fmt.Sprintf("untimed %d-%d-%d %d:%d:%d", r.Part.Year, r.Part.Month, r.Part.Day, r.Part.Hour, r.Part.Min, r.Part.Sec)
	}
	s := time.Unix(r.Reading, 0).UTC().Format("2006-01-02T15:04:05")
	if r.Suspect {
		s += " suspect"
	}
	return s
}

func describeRows(f *File) string {
	var b strings.Builder
	for _, r := range f.Rows {
		fmt.Fprintf(&b, "%s/%d ", reading(r), r.OpenS)
	}
	return strings.TrimSpace(b.String())
}

func mustRead(t *testing.T, data string, hint Hint) *File {
	t.Helper()
	f, err := Read([]byte(data), hint)
	if err != nil {
		t.Fatalf("Read(%.60q): %v", data, err)
	}
	if got := len(f.Rows) + f.Headers + f.Blanks + len(f.Complaints); got != f.Lines {
		t.Errorf("Read(%.60q): %d rows + %d headers + %d blanks + %d complaints = %d, want %d lines",
			data, len(f.Rows), f.Headers, f.Blanks, len(f.Complaints), got, f.Lines)
	}
	return f
}

func TestReadLayouts(t *testing.T) {
	const two = "2016-01-14T09:12:33/34 2016-01-15T21:05:06/7"
	tests := []struct {
		name, data, delimiter, columns, order string
		rows                                  string
	}{
		{"weekday date time seconds, comma", "Thu,01/14/16,09:12:33,34\r\nFri,01/15/16,21:05:06,7\r\n", "comma", "weekday date time seconds", "mdy", two},
		{"tab", "Thu\t01/14/16\t09:12:33\t34\nFri\t01/15/16\t21:05:06\t7\n", "tab", "weekday date time seconds", "mdy", two},
		{"semicolon, dots, German", "Do;14.01.2016;09:12:33;34\nFr;15.01.2016;21:05:06;7\n", "semicolon", "weekday date time seconds", "dmy", two},
		{"pipe with spaces", "14/01/2016 | 09:12:33 | 34\n15/01/2016 | 21:05:06 | 7\n", "pipe", "date time seconds", "dmy", two},
		{"spaces", "Thu 14-01-16 09:12:33 34\nFri 15-01-16 21:05:06   7\n", "spaces", "weekday date time seconds", "dmy", two},
		{"spaces after commas, one field composite", "Thu, 01/14/16 09:12:33 34\nFri, 01/15/16 21:05:06 7\n", "spaces", "weekday date time seconds", "mdy", two},
		{"stamp with a space and seconds", "2016-01-14 09:12:33,34\n2016-01-15 21:05:06,7\n", "comma", "stamp seconds", "ymd", two},
		{"ISO stamp", "2016-01-14T09:12:33;34\n2016-01-15T21:05:06;7\n", "semicolon", "stamp seconds", "ymd", two},
		{"compact stamp", "20160114T091233,34\n20160115T210506,7\n", "comma", "stamp seconds", "ymd", two},
		{"twelve hours", "01/14/2016,9:12:33 am,34\n01/15/2016,9:05:06 PM,7\n", "comma", "date time seconds", "mdy", two},
		{"twelve hours, spaces", "01/14/2016 9:12:33 A.M. 34\n01/15/2016 9:05:06 P.M. 7\n", "spaces", "date time am/pm seconds", "mdy", two},
		{"weekday numbers, Sunday is 1", "5,14/01/16,09:12:33,34\n6,15/01/16,21:05:06,7\n", "comma", "weekday date time seconds", "dmy", two},
		{"m:ss", "14/01/16,09:12:33,0:34\n15/01/16,21:05:06,0:07\n", "comma", "date time seconds", "dmy", two},
		{"Unix seconds", "1452762753,34\n1452891906,7\n", "comma", "unix seconds", "", two},
		{"time before date", "09:12:33 14/01/2016 34\n21:05:06 15/01/2016 7\n", "spaces", "time date seconds", "dmy", two},
		{"seconds first", "34,14/01/2016,09:12:33\n7,15/01/2016,21:05:06\n", "comma", "seconds date time", "dmy", two},
		{"counter", "1,14/01/2016,09:12:33,34\n2,15/01/2016,21:05:06,7\n3,15/01/2016,21:05:06,7\n4,15/01/2016,21:05:06,7\n5,15/01/2016,21:05:06,7\n6,15/01/2016,21:05:06,7\n7,15/01/2016,21:05:06,7\n", "comma", "counter date time seconds", "dmy", two + strings.Repeat(" 2016-01-15T21:05:06/7", 5)},
		{"French, header", "Jour;Date;Heure;Secondes\nJeu;14/01/16;09:12:33;34\nVen;15/01/16;21:05:06;7\n", "semicolon", "weekday date time seconds", "dmy", two},
		{"closing time", "14/01/2016,09:12:33,09:13:07\n15/01/2016,21:05:06,21:05:13\n", "comma", "date time closed", "dmy", two},
		{"AM and PM between commas, some rows cut", "2016-01-14,9:12:33 AM,34\n2016-01-1\n2016-01-15,9:05:06 PM,7\n", "comma", "date time seconds", "ymd", two},
		{"offset in the stamp", "2016-01-14T09:12:33+01:00 34\n2016-01-15T21:05:06Z 7\n", "spaces", "stamp seconds", "ymd", two},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := mustRead(t, tt.data, Hint{})
			if got := describeRows(f); got != tt.rows {
				t.Errorf("rows = %s\nwant %s", got, tt.rows)
			}
			if f.Dialect.Delimiter != tt.delimiter {
				t.Errorf("delimiter = %q, want %q", f.Dialect.Delimiter, tt.delimiter)
			}
			if got := strings.Join(f.Dialect.Columns, " "); got != tt.columns {
				t.Errorf("columns = %q, want %q", got, tt.columns)
			}
			order := ""
			if f.Dialect.DateOrder != nil {
				order = *f.Dialect.DateOrder
			}
			if order != tt.order {
				t.Errorf("date order = %q, want %q; evidence %q", order, tt.order, f.Dialect.Evidence)
			}
		})
	}
}

func TestReadStampOnly(t *testing.T) {
	f := mustRead(t, "2016-01-14 09:12\n2016-01-15 21:05\n", Hint{})
	if got, want := describeRows(f), "2016-01-14T09:12:00/-1 2016-01-15T21:05:00/-1"; got != want {
		t.Errorf("rows = %s, want %s", got, want)
	}
	if f.Resolution != 60 {
		t.Errorf("Resolution = %d, want 60", f.Resolution)
	}
}

// TestReadResolution has a card whose clock shows minutes, with two rows that ran into
// each other and so seem to show seconds, and short cards.
func TestReadResolution(t *testing.T) {
	var minutes strings.Builder
	for i := range 30 {
		fmt.Fprintf(&minutes, "2024-05-%02d,%02d:%02d,%d\n", 1+i, 7+i%12, 7*i%60, 9+i)
	}
	tests := []struct {
		name, rows string
		want       int32
	}{
		{"minutes", minutes.String(), 60},
		{"minutes, and a row that another ran into", minutes.String() + "2024-05-31,18:18:06,33\n", 60},
		{"seconds", "2024-05-01,10:00:07,5\n2024-05-02,11:00:00,6\n", 1},
		{"hours", "2024-05-01,10:00,5\n2024-05-02,11:00,6\n", 3600},
	}
	for _, tt := range tests {
		f, err := Read([]byte(tt.rows), Hint{})
		if err != nil {
			t.Fatal(err)
		}
		if f.Resolution != tt.want {
			t.Errorf("%s: Resolution = %d, want %d", tt.name, f.Resolution, tt.want)
		}
	}
}

// TestReadTornColumns has rows that were cut, with the next one glued to them:
// columns that only these have decide neither the delimiter nor what a column
// is for, and rows whose seconds were lost stay rows.
func TestReadTornColumns(t *testing.T) {
	var unix, dated strings.Builder
	for i := range 200 {
		switch i {
		case 50:
			fmt.Fprintf(&unix, "34\t14527%d\t%d\n", i, 1452762753+600*i)
			fmt.Fprintf(&dated, "We\t25/1Th\t25/11/%d\t9\t10:%02d\n", 1+i/8, i%60)
		case 80, 120:
			fmt.Fprintf(&unix, "\t%d\n", 1452762753+600*i)
			fmt.Fprintf(&dated, "We\t25/11/%d\t\t10:%02d\n", 1+i/8, i%60)
		default:
			fmt.Fprintf(&unix, "%d\t%d\n", i*i%47, 1452762753+600*i)
			fmt.Fprintf(&dated, "We\t25/11/%d\t%d\t10:%02d\n", 1+i/8, i*i%47, i%60)
		}
	}
	for name, data := range map[string]string{"seconds unix": unix.String(), "weekday date seconds time": dated.String()} {
		f := mustRead(t, data, Hint{DateOrder: "ymd"})
		if got := strings.TrimSuffix(strings.Join(f.Dialect.Columns, " "), " other"); got != name || f.Dialect.Delimiter != "tab" {
			t.Errorf("columns = %s between %s, want %s between tab", got, f.Dialect.Delimiter, name)
		}
		if len(f.Rows) < 199 {
			t.Errorf("%s: %d rows, want 199 or more; complaints %+v", name, len(f.Rows), f.Complaints)
		}
	}
}

func TestReadPairs(t *testing.T) {
	f := mustRead(t, "2016-01-14 09:12:33,OPEN\n2016-01-14 09:13:07,CLOSE\n2016-01-15 21:05:06,OPEN\n2016-01-16 21:05:06,OPEN\n2016-01-16 21:05:16,CLOSE\n", Hint{})
	want := "2016-01-14T09:12:33/34 2016-01-14T09:13:07/-1 2016-01-15T21:05:06/-1 2016-01-16T21:05:06/10 2016-01-16T21:05:16/-1"
	if got := describeRows(f); got != want {
		t.Errorf("rows = %s, want %s", got, want)
	}
	if !f.Pairs {
		t.Error("Pairs = false, want true")
	}
}

// good are plain rows around a faulty one, so that the layout is known.
const good = "Thu,01/14/16,09:12:33,34\r\nFri,01/15/16,21:05:06,7\r\nSat,01/16/16,11:00:00,12\r\nSun,01/17/16,12:00:00,5\r\n"

// The patterns are those of real clocks and cards that public threads report;
// common practice, no source to cite.
func TestReadFaults(t *testing.T) {
	tests := []struct{ name, line, row, complaint string }{
		{"all registers 0xFF", "Thu,165/165/2165,165:165:85,3", "untimed -1--1--1 -1:-1:-1/3", ""},
		{"all registers 0xFF, year first", "Thu,2165-165-165,165:165:85,3", "untimed -1--1--1 -1:-1:-1/3", ""},
		{"hour masked to six bits", "Thu,165/165/2165,45:165:85,3", "untimed -1--1--1 -1:-1:-1/3", ""},
		{"time good, date gone", "Thu,2165/165/165,15:19:46,3", "untimed -1--1--1 15:19:46/3", ""},
		{"month and day 0", "Thu,2000-0-0,0:23:59,3", "untimed 2000--1--1 0:23:59/3", ""},
		{"power-on default", "Sun,01/01/00,00:00:01,3", "2000-01-01T00:00:01 suspect/3", ""},
		{"a year ahead, weekday tells", "Mon,01/18/17,09:00:00,3", "2017-01-18T09:00:00 suspect/3", ""},
		{"century bit", "Mon,81/18/16,09:00:00,3", "2016-01-18T09:00:00 suspect/3", ""},
		{"century bit, weekday disagrees", "Tue,81/18/16,09:00:00,3", "untimed 2016--1-18 9:0:0/3", ""},
		{"twelve-hour bits in the hour", "Mon,01/18/16,68:00:10,3", "untimed 2016-1-18 -1:0:10/3", ""},
		{"three-wire bus", "Mon,84/11/2011,11:100:19,3", "untimed 2011--1-11 11:-1:19/3", ""},
		{"midnight as 24:00:00", "Sun,01/17/16,24:00:00,3", "2016-01-18T00:00:00/3", ""},
		{"cut inside the time", "Thu,01/14/16,09:", "", "cut short"},
		{"cut after minutes", "Thu,01/14/16,09:12", "", "cut short"},
		{"cut inside the date", "Thu,01/14/", "", "cut short"},
		{"cut after the time", "Mon,01/18/16,09:12:33", "2016-01-18T09:12:33/-1", ""},
		{"seconds garbled", "Mon,01/18/16,09:12:33,3#", "2016-01-18T09:12:33/-1", ""},
		{"zeros", strings.Repeat("\x00", 512), "", "a run of 512 zero bytes"},
		{"erased", strings.Repeat("\xff", 300), "", "a run of 300 0xFF bytes"},
		{"garbage", "\x01\x02%&", "", "unreadable"},
		{"words", "what is this", "", "text that is no row"},
		{"lone number after a whole row", "17", "", "seconds without a row"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := mustRead(t, good+tt.line+"\r\nMon,01/18/16,23:00:00,9\r\n", Hint{})
			if tt.row != "" {
				if len(f.Rows) != 6 {
					t.Fatalf("%d rows, want 6; complaints %v", len(f.Rows), f.Complaints)
				}
				if got := describeRows(&File{Rows: f.Rows[4:5]}); got != tt.row {
					t.Errorf("row = %s, want %s", got, tt.row)
				}
				return
			}
			if len(f.Rows) != 5 || len(f.Complaints) != 1 {
				t.Fatalf("%d rows and complaints %v, want 5 rows and one complaint", len(f.Rows), f.Complaints)
			}
			c := f.Complaints[0]
			if !strings.HasPrefix(c.Reason, tt.complaint) || c.Line != 5 || c.Offset != int64(len(good)) {
				t.Errorf("complaint = %+v, want %q at line 5, offset %d", c, tt.complaint, len(good))
			}
		})
	}
}

func TestReadDateOrder(t *testing.T) {
	tests := []struct{ name, data, order string }{
		{"day above 12", "13/01/24,10:00:00,1\n14/01/24,10:00:00,1\n", DMY},
		{"weekday decides", "Thu,01/02/24,10:00:00,1\nFri,02/02/24,10:00:00,1\n", DMY},
		{"order of time decides", "01/02/24,10:00:00,1\n05/02/24,10:00:00,1\n09/02/24,10:00:00,1\n02/03/24,10:00:00,1\n04/03/24,10:00:00,1\n", DMY},
		{"nothing decides", "01/02/24,10:00:00,1\n02/02/24,10:00:00,1\n", ""},
		{"two-digit year first", "16-01-14,10:00:00,1\n16-01-15,10:00:00,1\n16-02-01,10:00:00,1\n", YMD},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := mustRead(t, tt.data, Hint{})
			got := ""
			if f.Dialect.DateOrder != nil {
				got = *f.Dialect.DateOrder
			}
			if got != tt.order || f.Ambiguous != (tt.order == "") {
				t.Errorf("date order = %q (ambiguous %t), want %q; evidence %q", got, f.Ambiguous, tt.order, f.Dialect.Evidence)
			}
		})
	}
	f := mustRead(t, "01/02/24,10:00:00,1\n02/02/24,10:00:00,1\n", Hint{DateOrder: MDY})
	if got, want := describeRows(f), "2024-01-02T10:00:00/1 2024-02-02T10:00:00/1"; got != want {
		t.Errorf("rows as told = %s, want %s", got, want)
	}
}

func TestReadWeekdayShift(t *testing.T) {
	f := mustRead(t, "Fri,01/14/16,09:12:33,34\nSat,01/15/16,21:05:06,7\nSun,01/16/16,21:05:06,7\nMon,01/17/16,21:05:06,7\n", Hint{})
	if f.Dialect.WeekdayShift != 1 {
		t.Errorf("WeekdayShift = %d, want 1 (evidence %q)", f.Dialect.WeekdayShift, f.Dialect.Evidence)
	}
	for _, r := range f.Rows {
		if r.Suspect {
			t.Errorf("line %d is suspect although the shift is constant", r.Line)
		}
	}
}

func TestReadLinesAndHeaders(t *testing.T) {
	tests := []struct {
		name, data                      string
		lines, rows, headers, blanks, c int
		leading                         int32
	}{
		{"empty", "", 0, 0, 0, 0, 0, usage.Unknown},
		{"only blanks", "\r\n\r\n", 2, 0, 0, 2, 0, usage.Unknown},
		{"one name line", "DOOR LOG\r\n\r\n\r\n", 3, 0, 1, 2, 0, usage.Unknown},
		{"leading number", "34\r\n" + good, 5, 4, 1, 0, 0, 34},
		{"leading number with its delimiter", ",34\r\n" + good, 5, 4, 1, 0, 0, 34},
		{"header again", "Day,Date,Time,Seconds\r\n" + good + "Day,Date,Time,Seconds\r\n" + good, 10, 8, 2, 0, 0, usage.Unknown},
		{"header in the middle only", good + "Day,Date,Time,Seconds\r\n" + good, 9, 8, 1, 0, 0, usage.Unknown},
		{"no line end", strings.TrimSuffix(good, "\r\n"), 4, 4, 0, 0, 0, usage.Unknown},
		{"bare CR", strings.ReplaceAll(good, "\r\n", "\r"), 4, 4, 0, 0, 0, usage.Unknown},
		{"zeros before a row", strings.Repeat("\x00", 64) + good, 5, 4, 0, 0, 1, usage.Unknown},
		{"string ends", strings.ReplaceAll(good, "\r\n", "\x00\r\n"), 4, 4, 0, 0, 0, usage.Unknown},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := mustRead(t, tt.data, Hint{})
			got := []int{f.Lines, len(f.Rows), f.Headers, f.Blanks, len(f.Complaints), int(f.LeadingS)}
			want := []int{tt.lines, tt.rows, tt.headers, tt.blanks, tt.c, int(tt.leading)}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("lines, rows, headers, blanks, complaints, leading = %v, want %v; %v", got, want, f.Complaints)
			}
		})
	}
}

func TestReadBinary(t *testing.T) {
	png := append([]byte("\x89PNG\r\n\x1a\n"), []byte{1, 2, 3, 4, 5, 6, 7, 8, 14, 15, 16, 17, 18, 19, 20, 21, 1, 2, 3}...)
	if _, err := Read(png, Hint{}); usage.KindOf(err) != usage.Invalid {
		t.Errorf("Read(png) error = %v, want an Invalid fault", err)
	}
}

// The same openings in another dialect have the same keys, so that the logbook knows
// the one card in the other.
func TestReadKeysAcrossDialects(t *testing.T) {
	plain := mustRead(t, "2016-01-14 09:12:33,34\n2016-01-15 21:05:06,7\n", Hint{})
	for name, data := range map[string]string{
		"opened for": "opened 2016-01-14 at 09:12:33 for 34 s\nopened 2016-01-15 at 21:05:06 for 7 s\n",
		"event":      "OPEN;14.01.2016;09:12:33;34\nOPEN;15.01.2016;21:05:06;7\n",
		"in words":   "14 January 2016;9:12:33 AM;0:34\n15 January 2016;9:05:06 PM;0:07\n",
	} {
		f := mustRead(t, data, Hint{})
		if len(f.Rows) != len(plain.Rows) {
			t.Errorf("%s: %d rows, want %d", name, len(f.Rows), len(plain.Rows))
			continue
		}
		for i := range f.Rows {
			if f.Rows[i].Key != plain.Rows[i].Key || f.Rows[i].Event != Whole {
				t.Errorf("%s: row %d has key %x and event %v, want %x and a whole opening", name, i, f.Rows[i].Key, f.Rows[i].Event, plain.Rows[i].Key)
			}
		}
	}
}

// TestReadInChunks has a file of several chunks, with words and faults near their ends:
// it is read as one of which each line is read by itself.
func TestReadInChunks(t *testing.T) {
	words := []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}
	var b strings.Builder
	day := time.Date(2020, 1, 6, 0, 0, 0, 0, time.UTC) // a Monday
	lines := 2*chunkLines + 77
	for i := range lines {
		at := day.Add(time.Duration(i) * 40 * time.Minute)
		switch {
		case i%chunkLines == 5:
			b.WriteString("a remark\n")
		case i%chunkLines == chunkLines-1:
			b.WriteString(at.Format("2006-01-02") + ",10:\n")
		default:
			word := words[(int(at.Weekday())+6)%7]
			if i >= chunkLines && i < chunkLines+1000 {
				word = strings.ToUpper(word) // other words, and in another order, than those of the chunk before
			}
			fmt.Fprintf(&b, "%s,%s,%s,%d\n", at.Format("2006-01-02"), at.Format("15:04:05"), word, 8+i*17%50)
		}
	}
	f := mustRead(t, b.String(), Hint{})
	if f.Lines != lines || len(f.Rows)+f.Headers+f.Blanks+len(f.Complaints) != lines {
		t.Fatalf("%d lines, %d rows, %d headers, %d blanks, %d complaints", f.Lines, len(f.Rows), f.Headers, f.Blanks, len(f.Complaints))
	}
	for _, r := range f.Rows {
		i := int(r.Line) - 1
		at := day.Add(time.Duration(i) * 40 * time.Minute)
		if r.Reading != at.Unix() || int(r.OpenS) != 8+i*17%50 || int(r.Weekday) != (int(at.Weekday())+6)%7+1 || r.Suspect {
			t.Fatalf("line %d = %+v, want %v", r.Line, r, at)
		}
	}
}
