package importer_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// benchNow is the true time of the last opening of the cards below: a Thursday, in
// summer time at Dublin.
var benchNow = time.Date(2026, 7, 2, 13, 0, 0, 0, time.UTC).Unix()

// The patterns are those seen in public threads of makers (forum.arduino.cc 184569,
// 13240, 404392, 470962 and others; arduino.stackexchange 22167; a public data dump)
// and those that follow from the register table of the DS1307 data sheet.
func TestBenchCheck(t *testing.T) {
	good := "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:57:10,31\nThu,07/02/2026,13:58:40,2\nThu,07/02/2026,14:00:00,\n"
	for _, c := range []struct {
		name, card string
		keeping    usage.ClockKeeping
		want       map[string]importer.Verdict // of topics; "" : the topic is not there
		ready      bool
		says       string // somewhere
	}{
		{"all well", good, usage.ClockFixed, map[string]importer.Verdict{"rows": importer.Right, "line ends": importer.Right, "seconds": importer.Right, "weekday": importer.Right, "clock": importer.Right, "time": importer.Right}, true, "counted: 2 to 31 s"},
		{"an hour ahead of what it is to keep", good, usage.ClockUTC, map[string]importer.Verdict{"time": importer.Wrong}, false, "off by 1 h ahead"},
		{"minutes behind", strings.ReplaceAll(good, "14:00:00", "13:58:59"), usage.ClockFixed, map[string]importer.Verdict{"time": importer.Wrong}, false, "61 s behind"},
		{"chip silent", "Thu,165/165/2165,165:165:85,3\nThu,165/165/2165,165:165:85,4\n???,165/165/2165,165:165:85,\n", usage.ClockFixed, map[string]importer.Verdict{"chip silent": importer.Wrong, "time": importer.Unclear, "clock": importer.Unclear}, false, "0xFF"},
		{"chip silent, hour masked", "45:165:85 165/165/2165 3\n45:165:85 165/165/2165 4\n45:165:85 165/165/2165\n", usage.ClockFixed, map[string]importer.Verdict{"chip silent": importer.Wrong, "twelve hours": ""}, false, ""},
		{"bus drops", "2026/07/02 13:56:00\n2165/165/165 13:57:46\n2026/07/02 13:58:00\n2026/07/02 14:00:00\n", usage.ClockFixed, map[string]importer.Verdict{"bus drops": importer.Wrong, "chip silent": "", "clock": importer.Right}, false, "1 row has some good digits"},
		{"month nought", "2000-0-0 0:23:59,4\n2000-0-0 0:25:09,4\n2000-0-0 0:27:00,\n", usage.ClockFixed, map[string]importer.Verdict{"date of nought": importer.Wrong}, false, "never set"},
		{"reset to the default", "Sun,01/01/2000,00:00:01,4\nSun,01/01/2000,00:01:01,8\nSun,01/01/2000,00:02:10,\n", usage.ClockFixed, map[string]importer.Verdict{"back to the default": importer.Wrong, "weekday": importer.Wrong, "time": importer.Wrong}, false, "another year"},
		{"halted", strings.Repeat("Thu,07/02/2026,13:56:00,5\n", 4), usage.ClockFixed, map[string]importer.Verdict{"clock": importer.Wrong, "seconds": importer.Unclear}, false, "stands still"},
		{"an old value again", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:57:00,7\nThu,07/02/2026,13:57:00,9\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"clock": importer.Wrong}, false, "1 row repeats"},
		{"set at each start", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:56:02,7\nThu,07/02/2026,13:56:01,9\nThu,07/02/2026,13:56:00,\n", usage.ClockFixed, map[string]importer.Verdict{"clock": importer.Wrong}, false, "firmware sets it at its start"},
		{"goes back", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:59:02,7\nThu,07/02/2026,13:58:01,9\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"clock": importer.Wrong}, false, "goes back 1 time"},
		{"one year wrong", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2027,13:57:02,7\nThu,07/02/2026,13:58:01,9\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"year": importer.Wrong, "weekday": importer.Wrong}, false, "1 row stands in another year"},
		{"century bit", "2026-87-02 13:56:00,5\n2026-87-02 13:57:00,7\n2026-87-02 14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"century bit": importer.Wrong}, false, "mask"},
		{"twelve hours", "2026-07-02 69:56:00,5\n2026-07-02 69:57:00,7\n2026-07-02 70:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"twelve hours": importer.Wrong}, false, "24-hour mode"},
		{"nineteen hundred", "1926-07-02 13:56:00,5\n1926-07-02 13:57:00,7\n1926-07-02 14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"wrong century": importer.Wrong}, false, "add 2000"},
		{"not converted", "2026-07-02 19:86:00,5\n2026-07-02 19:87:16,7\n2026-07-02 20:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"digits not converted": importer.Wrong}, false, ">> 4"},
		{"weekday set wrongly", strings.ReplaceAll(good, "Thu", "Sat"), usage.ClockFixed, map[string]importer.Verdict{"weekday": importer.Wrong, "time": importer.Right}, false, "2 days ahead"},
		{"weekday by number", strings.ReplaceAll(good, "Thu", "5"), usage.ClockFixed, map[string]importer.Verdict{"weekday": importer.Right}, true, "its day 1 is Sunday"},
		{"weekday goes its own way", "Thu,07/02/2026,13:56:00,5\nSun,07/02/2026,13:57:00,4\nMon,07/02/2026,13:58:00,6\nThu,07/02/2026,13:59:00,6\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"weekday": importer.Wrong}, false, "does not follow"},
		{"no seconds at all", "2026-07-02 13:56:00\n2026-07-02 13:57:00\n2026-07-02 14:00:00\n", usage.ClockFixed, map[string]importer.Verdict{"seconds": importer.Unclear, "weekday": ""}, true, "not how long"},
		{"seconds missing", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:57:00,\nThu,07/02/2026,13:58:00,4\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"seconds": importer.Wrong}, false, "1 opening has no seconds"},
		{"seconds stay nought", "Thu,07/02/2026,13:56:00,0\nThu,07/02/2026,13:57:00,0\nThu,07/02/2026,13:58:00,0\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"seconds": importer.Wrong}, false, "0 s"},
		{"milliseconds", "Thu,07/02/2026,13:56:00,5021\nThu,07/02/2026,13:57:00,31004\nThu,07/02/2026,13:58:00,2040\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"clock": importer.Wrong}, false, "milliseconds"},
		{"mixed line ends", strings.Replace(good, ",5\n", ",5\r\n", 1), usage.ClockFixed, map[string]importer.Verdict{"line ends": importer.Wrong}, false, ""},
		{"bare returns", strings.ReplaceAll(good, "\n", "\r"), usage.ClockFixed, map[string]importer.Verdict{"line ends": importer.Unclear}, true, "one long line"},
		{"header at every start", "Day,Date,Time,Sec\nThu,07/02/2026,13:56:00,5\nDay,Date,Time,Sec\nThu,07/02/2026,13:57:00,7\nDay,Date,Time,Sec\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"header": importer.Wrong}, false, "2 times again"},
		{"torn row", good[:len(good)-1] + "\nThu,07/02/2026,14:", usage.ClockFixed, map[string]importer.Verdict{"lines": importer.Wrong}, false, "capacitor"},
		{"never written", good + strings.Repeat("\x00", 600), usage.ClockFixed, map[string]importer.Verdict{"lines": importer.Wrong}, false, "flush"},
		{"two openings", "Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"rows": importer.Unclear}, false, "too few"},
		{"empty", "", usage.ClockFixed, map[string]importer.Verdict{"rows": importer.Wrong, "clock": ""}, false, "empty"},
		{"name alone", "DOOR LOG\n\n", usage.ClockFixed, map[string]importer.Verdict{"rows": importer.Wrong}, false, "no rows"},
		{"no dates", "opened 5\nopened 7\n", usage.ClockFixed, map[string]importer.Verdict{"rows": importer.Wrong}, false, ""},
		{"either order", "02/07/2026,13:56:00,5\n02/07/2026,13:57:00,7\n02/07/2026,14:00:00,\n", usage.ClockFixed, map[string]importer.Verdict{"date order": importer.Unclear, "no time": ""}, true, "two orders"},
		{"Unix time", fmt.Sprintf("%d,5\n%d,7\n%d,\n", benchNow-200, benchNow-100, benchNow), usage.ClockFixed, map[string]importer.Verdict{"time": importer.Right, "clock": importer.Right}, true, "right to 0 s"},
		{"pairs", "2026-07-02 13:56:00,OPEN\n2026-07-02 13:56:09,CLOSE\n2026-07-02 13:58:00,OPEN\n2026-07-02 13:58:29,CLOSE\n2026-07-02 14:00:00,OPEN\n", usage.ClockFixed, map[string]importer.Verdict{"seconds": importer.Right, "clock": importer.Right}, true, "counted: 9 to 29 s"},
	} {
		site := usage.Site{Code: "MILL", Zone: "Europe/Dublin", Clock: c.keeping}
		b, err := importer.BenchCheck(importer.BenchIn{Bytes: []byte(c.card), Site: &site, At: benchNow, Exact: true})
		if err != nil {
			t.Errorf("%s: BenchCheck = %v", c.name, err)
			continue
		}
		got, words := map[string]importer.Verdict{}, ""
		for _, check := range b.Checks {
			if got[check.Topic] != "" {
				t.Errorf("%s: topic %q comes twice", c.name, check.Topic)
			}
			got[check.Topic] = check.Verdict
			words += check.Says + " | " + check.Try + "\n"
			if check.Verdict == importer.Wrong && check.Try == "" {
				t.Errorf("%s: %q says nothing to try", c.name, check.Says)
			}
		}
		for topic, want := range c.want {
			if got[topic] != want {
				t.Errorf("%s: %s = %q, want %q; all it said:\n%s", c.name, topic, got[topic], want, words)
			}
		}
		if b.Ready != c.ready || !strings.Contains(words, c.says) {
			t.Errorf("%s: ready = %v, want %v, and %q among:\n%s", c.name, b.Ready, c.ready, c.says, words)
		}
	}
}

// Without a site any zone will do, and without the true time of the last opening a
// clock that is behind may be right.
func TestBenchCheckWithoutSite(t *testing.T) {
	card := "2026-07-02 13:56:00\n2026-07-02 13:57:00\n2026-07-02 14:00:20\n"
	for _, c := range []struct {
		name  string
		at    int64
		exact bool
		site  *usage.Site
		want  importer.Verdict
		says  string
	}{
		{"an hour ahead of UTC", benchNow, true, nil, importer.Right, "right to 20 s, if it is to keep UTC+01:00"},
		{"four and a half hours behind UTC", benchNow + 5*3600 + 1800, true, nil, importer.Right, "UTC−04:30"},
		{"half an hour behind UTC", benchNow + 5400, true, nil, importer.Right, "UTC−00:30"},
		{"seven minutes beside any zone", benchNow + 420, true, nil, importer.Wrong, "ahead"},
		{"read at the desk", benchNow + 4000, false, &usage.Site{Zone: "Europe/Dublin"}, importer.Unclear, "true time"},
		{"ahead cannot come of the way to the desk", benchNow - 4000, false, &usage.Site{Zone: "Europe/Dublin"}, importer.Wrong, "ahead"},
		{"a year behind", benchNow + 365*86400, true, &usage.Site{Zone: "Europe/Dublin"}, importer.Wrong, "another year"},
	} {
		b, err := importer.BenchCheck(importer.BenchIn{Bytes: []byte(card), Site: c.site, At: c.at, Exact: c.exact})
		if err != nil {
			t.Fatal(err)
		}
		last := b.Checks[len(b.Checks)-1]
		if last.Topic != "time" || last.Verdict != c.want || !strings.Contains(last.Says+last.Try, c.says) {
			t.Errorf("%s: %+v, want %s and %q", c.name, last, c.want, c.says)
		}
	}
}

// Loggers without a fault pass, whatever they write in.
func TestBenchCheckOfSoundLoggers(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 26))
	for n := range 200 {
		d := forge.RandomDialect(rng)
		d.Shift = 0
		sp := box(d, forge.Characters()[n%len(forge.Characters())])
		sp.Rounds.EveryDays = 4
		made, err := forge.NewSite(sp, usage.DateOf(2025, time.January, 31), uint64(n))
		if err != nil {
			t.Fatal(err)
		}
		card := made.Cards[0]
		rows := card.Rows()
		if len(rows) < 4 {
			continue
		}
		site := sp.Site()
		b, err := importer.BenchCheck(importer.BenchIn{
			Bytes: fileOf(t, card), Hint: cardfile.Hint{DateOrder: d.Order()}, Site: &site,
			At: made.Openings[rows[len(rows)-1].Opening].At, Exact: true,
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range b.Checks {
			if c.Verdict == importer.Wrong {
				t.Errorf("dialect %d: %+v\n%+v\n%.400q", n, c, d, fileOf(t, card))
			}
		}
	}
}

// Any bytes are judged without panic, and what is ready has nothing wrong.
func FuzzBenchCheck(f *testing.F) {
	f.Add([]byte("Thu,07/02/2026,13:56:00,5\nThu,07/02/2026,13:57:10,31\n"))
	f.Add([]byte("165/165/2165 165:165:85\n2000-0-0 0:0:1\x00\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := importer.BenchCheck(importer.BenchIn{Bytes: data, At: benchNow})
		if err != nil {
			return
		}
		if b.Ready && b.Count(importer.Wrong) > 0 || len(b.Checks) == 0 {
			t.Errorf("BenchCheck(%q) = %+v", data, b)
		}
		for _, c := range b.Checks {
			for _, line := range c.Lines {
				if line < 1 {
					t.Errorf("BenchCheck(%q) names line %d", data, line)
				}
			}
		}
	})
}
