package forge

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"doorleaf/usage"
)

// wall returns the wall seconds of a reading.
func wall(t *testing.T, reading string) int64 {
	t.Helper()
	at, err := time.Parse(wallLayout, reading)
	if err != nil {
		t.Fatal(err)
	}
	return at.Unix()
}

func TestRowIsWrittenInItsDialect(t *testing.T) {
	all := []string{ColWeekday, ColDate, ColTime, ColSeconds}
	const afternoon, midnight = "2026-03-01T15:04:05", "2026-03-01T00:04:05" // a Sunday
	tests := []struct {
		name    string
		d       Dialect
		reading string
		row     Row
		want    string
	}{
		{"tabs, three letters", Dialect{Delimiter: "tab", Columns: all, Language: "en", DateOrder: "mdy", DateSep: "/"}, afternoon, Row{OpenS: 7}, "Sun\t03/01/2026\t15:04:05\t7\r\n"},
		{"unfinished", Dialect{Delimiter: "tab", Columns: all, Language: "en", DateOrder: "mdy", DateSep: "/"}, afternoon, Row{OpenS: usage.Unknown}, "Sun\t03/01/2026\t15:04:05\t"},
		{"seconds in the middle, missing", Dialect{Delimiter: "comma", Columns: []string{ColSeconds, ColStamp}, Language: "en", LineEnd: "lf"}, afternoon, Row{OpenS: usage.Unknown}, ",2026-03-01T15:04:05\n"},
		{"nothing padded", Dialect{Delimiter: "pipe", Columns: all, Language: "de", Weekday: "2", Case: "lower", DateOrder: "dmy", DateSep: ".", DateBare: true, YearTwo: true, TimeBare: "all", LineEnd: "lf"}, afternoon, Row{OpenS: 70}, "so|1.3.26|15:4:5|70\n"},
		{"twelve hours, afternoon", Dialect{Delimiter: "semicolon", Columns: all, Language: "pt", Accents: true, Weekday: "full", Case: "upper", DateOrder: "ymd", Hours: 12, HalfGap: true, Clocked: true}, afternoon, Row{OpenS: 70}, "DOMINGO;2026-03-01;03:04:05 PM;1:10\r\n"},
		{"twelve hours, midnight", Dialect{Delimiter: "comma", Columns: all, Language: "en", Case: "lower", TimeBare: "hour", Hours: 12, NoSeconds: true, LineEnd: "cr"}, midnight, Row{OpenS: 9}, "sun,2026-03-01,12:04am,9\r"},
		{"weekday numbers from Sunday", Dialect{Delimiter: "spaces", Gap: 2, Columns: all, Language: "en", Weekday: "number", FirstDay: 7}, afternoon, Row{OpenS: 0}, "1  2026-03-01  15:04:05  0\r\n"},
		{"weekday set two days ahead", Dialect{Delimiter: "comma", Columns: all, Language: "fr", Shift: 2}, afternoon, Row{OpenS: 1}, "Mar,2026-03-01,15:04:05,1\r\n"},
		{"stamp in UTC", Dialect{Delimiter: "comma", Columns: []string{ColStamp, ColSeconds}, Language: "en", Zulu: true}, afternoon, Row{OpenS: 1}, "2026-03-01T15:04:05Z,1\r\n"},
		{"Unix seconds", Dialect{Delimiter: "comma", Columns: []string{ColUnix, ColSeconds}, Language: "en"}, "1970-01-02T00:00:01", Row{OpenS: 1}, "86401,1\r\n"},
		{"close", Dialect{Delimiter: "comma", Columns: []string{ColDate, ColTime, ColEvent}, Language: "en"}, afternoon, Row{Event: Close}, "2026-03-01,15:04:05,Close\r\n"},
		{"every register 0xFF", Dialect{Delimiter: "spaces", Columns: []string{ColDate, ColTime, ColSeconds}, Language: "en", DateOrder: "dmy", DateSep: "/"}, afternoon, Row{OpenS: 3, Fault: ReadFF}, "165/165/2165 165:165:85 3\r\n"},
		{"Saturday as day 1 of a reset clock", Dialect{Delimiter: "comma", Columns: all, Language: "en", Weekday: "number"}, "2000-01-01T00:00:01", Row{OpenS: 3, Reset: true}, "1,2000-01-01,00:00:01,3\r\n"},
		{"the same by name, from Sunday", Dialect{Delimiter: "comma", Columns: all, Language: "en", FirstDay: 7}, "2000-01-01T00:00:01", Row{OpenS: 3, Reset: true}, "Sun,2000-01-01,00:00:01,3\r\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.d.Check(); err != nil {
				t.Fatalf("Check() = %v", err)
			}
			tt.row.Reading = wall(t, tt.reading)
			if got := string(newPen(tt.d).row(nil, tt.row)); got != tt.want {
				t.Errorf("row(%s) = %q, want %q", tt.reading, got, tt.want)
			}
		})
	}
}

func TestEncode(t *testing.T) {
	for encoding, want := range map[string]string{
		"": "é\n", "utf-8": "é\n", "utf-8 bom": "\xEF\xBB\xBFé\n", "windows-1252": "\xE9\n",
		"utf-16le": "\xFF\xFE\xE9\x00\n\x00", "utf-16be": "\xFE\xFF\x00\xE9\x00\n",
	} {
		got, err := Dialect{Encoding: encoding}.encode([]byte("é\n"))
		if err != nil || string(got) != want {
			t.Errorf("encode(%q) = %q, %v, want %q", encoding, got, err, want)
		}
	}
}

func TestWeekdayShiftIsWhatTheRowsShow(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	day := wall(t, "2026-03-02T12:00:00") // a Monday
	for range 500 {
		d := RandomDialect(rng)
		d.Weekday, d.Columns = "number", []string{ColWeekday, ColDate, ColTime}
		for true0 := range int64(7) {
			row := newPen(d).row(nil, Row{Reading: day + true0*86400})
			if got := mod7(int(row[0]-'1') - int(true0)); got != d.WeekdayShift() {
				t.Fatalf("%+v: row %q shows shift %d, WeekdayShift() = %d", d, row, got, d.WeekdayShift())
			}
		}
	}
}

func TestRandomDialectsAreSoundAndTravelAsJSON(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	seen := map[string]bool{}
	for range 2000 {
		d := RandomDialect(rng)
		if err := d.Check(); err != nil {
			t.Fatalf("Check(%+v) = %v", d, err)
		}
		b, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		var back Dialect
		if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(back, d) {
			t.Fatalf("JSON %s read back as %+v, %v", b, back, err)
		}
		for _, w := range []string{d.Delimiter, d.Language, d.LineEnd, d.Encoding, d.DateOrder, d.Case, d.Weekday} {
			seen[w] = true
		}
	}
	for _, w := range []string{"tab", "comma", "semicolon", "pipe", "spaces", "en", "pt", "cr", "utf-16be", "windows-1252", "dmy", "mdy", "ymd", "upper", "2", "full", "number"} {
		if !seen[w] {
			t.Errorf("2,000 random dialects never said %q", w)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	good := Dialect{Delimiter: "comma", Language: "en", Columns: []string{ColDate, ColTime, ColSeconds}}
	if err := good.Check(); err != nil {
		t.Fatalf("Check(good) = %v", err)
	}
	for name, spoil := range map[string]func(*Dialect){
		"delimiter":        func(d *Dialect) { d.Delimiter = "colon" },
		"language":         func(d *Dialect) { d.Language = "xx" },
		"no time":          func(d *Dialect) { d.Columns = []string{ColDate, ColSeconds} },
		"two stamps":       func(d *Dialect) { d.Columns = append(d.Columns, ColUnix) },
		"twice":            func(d *Dialect) { d.Columns = append(d.Columns, ColDate) },
		"unknown column":   func(d *Dialect) { d.Columns = append(d.Columns, "mood") },
		"event, seconds":   func(d *Dialect) { d.Columns = append(d.Columns, ColEvent) },
		"spaces and gaps":  func(d *Dialect) { d.Delimiter, d.Columns = "spaces", []string{ColSeconds, ColStamp} },
		"hours":            func(d *Dialect) { d.Hours = 10 },
		"Portuguese by 2":  func(d *Dialect) { d.Language, d.Weekday = "pt", "2" },
		"unknown encoding": func(d *Dialect) { d.Encoding = "ebcdic" },
	} {
		d := good
		d.Columns = append([]string{}, good.Columns...)
		if spoil(&d); d.Check() == nil {
			t.Errorf("%s: Check(%+v) = nil, want an error", name, d)
		}
	}
}
