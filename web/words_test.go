package web

import (
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestVisible(t *testing.T) {
	for in, want := range map[string]string{
		"":                             "",
		"Thu,01/14/16,09:12:55,41":     "Thu,01/14/16,09:12:55,41",
		"a\tb":                         "a→b",
		"\x1b[31mred":                  "‹ESC›[31mred",
		"a\x00\x00\x00\x01b":           "a‹NUL × 3›‹SOH›b",
		"x\u202ecod.exe":               "x‹U+202E›cod.exe",
		"zero\u200bwidth\u00a0nbsp":    "zero‹U+200B›width\u00a0nbsp",
		"del\x7f c1\u0085":             "del‹DEL› c1‹U+0085›",
		"bad \xff byte":                "bad \uFFFD byte",
		"<b>&amp;</b>":                 "<b>&amp;</b>",
		"lundi, déjà 30 août, Łódź, 木": "lundi, déjà 30 août, Łódź, 木",
	} {
		if got := Visible(in); got != want {
			t.Errorf("Visible(%q) = %q, want %q", in, got, want)
		}
	}
}

// Whatever comes in, what comes out is UTF-8 without a character that is
// unseen or that moves its neighbours, and a second pass changes nothing.
func TestVisibleShowsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, "in")
		out := Visible(in)
		if !utf8.ValidString(out) || Visible(out) != out {
			t.Fatalf("Visible(%q) = %q", in, out)
		}
		for _, r := range out {
			if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
				t.Fatalf("Visible(%q) lets %U through", in, r)
			}
		}
	})
}

func TestNumbersInWords(t *testing.T) {
	for _, c := range []struct{ name, got, want string }{
		{"no thousands", Number(999), "999"},
		{"thousands", Number(1234567), "1,234,567"},
		{"negative", Number(-1234), "−1,234"},
		{"nought", OneFigure(0), "0.0"},
		{"small", OneFigure(0.123), "0.12"},
		{"just below one", OneFigure(0.996), "1.0"},
		{"ones", OneFigure(3.14159), "3.1"},
		{"just below ten", OneFigure(9.96), "10"},
		{"large", OneFigure(1234.5), "1,235"},
		{"one", Plural(1, "visit", "visits"), "1 visit"},
		{"none", Plural(0, "visit", "visits"), "0 visits"},
		{"many", Plural(1200, "visit", "visits"), "1,200 visits"},
		{"bytes", Bytes(1), "1 byte"},
		{"kB", Bytes(1536), "1.5 kB"},
		{"MB", Bytes(64 << 20), "64 MB"},
		{"seconds", DurationWords(59), "59 s"},
		{"minutes", DurationWords(180), "3 min"},
		{"minutes and seconds", DurationWords(185), "3 min 5 s"},
		{"hours", DurationWords(7260), "2 h 1 min"},
		{"unknown", DurationWords(usage.Unknown), "not known"},
		{"days of recording", HourWords(10 * 86400), "10 days"},
		{"weeks of recording", HourWords(700 * 86400), "100 weeks"},
	} {
		if c.got != c.want {
			t.Errorf("%s = %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestTimesInWords(t *testing.T) {
	summer := time.Date(2026, 7, 1, 22, 30, 0, 0, time.UTC).Unix()
	for _, c := range []struct{ name, got, want string }{
		{"summer time moves the date", When(summer+3600, "Europe/Dublin"), "2 July 2026, 00:30"},
		{"a zone that is none is UTC", When(summer, "Nowhere/At_all"), "1 July 2026, 22:30"},
		{"reading", Wall(summer), "1 July 2026, 22:30"},
		{"reading to the second", WallSeconds(summer + 7), "1 July 2026, 22:30:07"},
		{"date", DateWords(usage.DateOf(2024, 2, 29)), "29 February 2024"},
		{"today", AgeWords(summer, summer+3600), "in the last day"},
		{"days", AgeWords(summer, summer+3*86400), "3 days ago"},
		{"weeks", AgeWords(summer, summer+30*86400), "4 weeks ago"},
		{"months", AgeWords(summer, summer+400*86400), "13 months ago"},
		{"ahead", AgeWords(summer, summer-1), "in the future"},
		{"season", SeasonWords(usage.SeasonOf(usage.DateOf(2026, 5, 1), usage.North)), "spring 2026"},
		{"winter", SeasonWords(usage.SeasonOf(usage.DateOf(2026, 1, 1), usage.North)), "winter 2025–26"},
		{"turn of the century", SeasonWords(usage.SeasonOf(usage.DateOf(1999, 12, 1), usage.South)), "summer 1999–00"},
	} {
		if c.got != c.want {
			t.Errorf("%s = %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestProblem(t *testing.T) {
	fault := &usage.Fault{What: "écart in line 3", Try: "look at it"}
	if got := Problem(words.English, fault) + " " + Try(words.English, fault); got != "Écart in line 3. Look at it." {
		t.Errorf("Problem and Try = %q", got)
	}
}

func TestRange(t *testing.T) {
	r := NewRange(10, 5, 40, 20)
	if r.Low != 25 || r.Value != 50 || r.High != 100 || r.Width() != 75 {
		t.Errorf("NewRange(10, 5, 40, 20) = %+v, want 25, 50, 100", r)
	}
	if NewRange(0, 0, 3, 0).Drawn {
		t.Error("a range without a scale is drawn")
	}
}

func TestReads(t *testing.T) {
	got := strings.Join(Reads(words.English, "utf-8", "crlf", Dialect{Delimiter: "tab", Columns: []string{"date", "time"}, Header: true, DateOrder: "mdy", Hours: 12, WeekdayShift: 1}), "; ")
	want := "columns split by tabs; columns: date, time; with a header; dates as month, day, year; 12-hour clock; its weekdays are set 1 day ahead; utf-8; lines end with CR LF"
	if got != want {
		t.Errorf("Reads = %q, want %q", got, want)
	}
}
