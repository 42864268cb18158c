package usage

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestShortName(t *testing.T) {
	for name, want := range map[string]bool{
		"LOG.TXT": true, "A": true, "12345678.123": true, "CLOCK.SET": true, "MILL_1.LOG": true,
		"": false, "log.txt": false, "123456789.TXT": false, "LOG.TEXT": false, "LOG.": false, ".TXT": false, "A B.TXT": false,
		"A/B": false, "..": false, "ÄLOG.TXT": false, "NUL": false, "CON.TXT": false, "COM1.LOG": false, "CONE.TXT": true, "A.B.C": false,
	} {
		if got := ShortName(name); got != want {
			t.Errorf("ShortName(%q) = %v, want %v", name, got, want)
		}
	}
}

func TestCardSettingCheck(t *testing.T) {
	if err := DefaultCardSetting.Check("DOORLEAF.TXT"); err != nil {
		t.Errorf("the default setting: %v", err)
	}
	two := "two\nlines"
	for name, change := range map[string]func(*CardSetting){
		"long name":         func(s *CardSetting) { s.LogFile = "LOGBOOKFILE.TXT" },
		"path":              func(s *CardSetting) { s.ClockFile = "../X" },
		"same name":         func(s *CardSetting) { s.ClockFile = s.LogFile },
		"name of the tag":   func(s *CardSetting) { s.LogFile = "DOORLEAF.TXT" },
		"letters":           func(s *CardSetting) { s.Template = "T{hour}" },
		"a place of no use": func(s *CardSetting) { s.Template = "{hour}{month name}" },
		"open brace":        func(s *CardSetting) { s.Template = "{hour}{" },
		"no place":          func(s *CardSetting) { s.Template = "12:00" },
		"long template":     func(s *CardSetting) { s.Template = strings.Repeat("{hour}", 40) },
		"eighth day":        func(s *CardSetting) { s.FirstDay = 8 },
		"two lines":         func(s *CardSetting) { s.Header = &two },
	} {
		s := DefaultCardSetting
		change(&s)
		if err := s.Check("DOORLEAF.TXT"); KindOf(err) != Invalid {
			t.Errorf("%s: Check = %v, want Invalid", name, err)
		}
	}
}

func TestClockDigits(t *testing.T) {
	at := time.Date(2026, 2, 8, 9, 5, 3, 0, time.UTC).Unix() // a Sunday
	for _, c := range []struct {
		template string
		first    int
		want     string
	}{
		{DefaultCardSetting.Template, 1, "202602087090503"},
		{DefaultCardSetting.Template, 0, "202602087090503"},
		{"{weekday}", 7, "1"},
		{"{weekday}", 6, "2"},
		{"{second},{minute},{hour};{weekday} {day}.{month}.{yy}", 1, "03,05,09;7 08.02.26"},
	} {
		s := CardSetting{Template: c.template, FirstDay: c.first}
		if got := s.ClockDigits(at); got != c.want {
			t.Errorf("ClockDigits(%q, first day %d) = %q, want %q", c.template, c.first, got, c.want)
		}
	}
}

// What is written says which moment was meant, to the second.
func TestClockDigitsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reading := rapid.Int64Range(0, 4102444800).Draw(t, "reading")
		s := CardSetting{Template: "{year}-{month}-{day} {hour}:{minute}:{second} {weekday}", FirstDay: rapid.IntRange(0, 7).Draw(t, "first")}
		got, err := time.Parse("2006-01-02 15:04:05", s.ClockDigits(reading)[:19])
		if err != nil || got.Unix() != reading {
			t.Fatalf("ClockDigits(%d) = %q, which reads as %v, %v", reading, s.ClockDigits(reading), got, err)
		}
	})
}

func TestReadingToSet(t *testing.T) {
	z, err := LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	summer := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC).Unix()
	winter := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC).Unix()
	for _, c := range []struct {
		keeping ClockKeeping
		at      int64
		want    int64 // ahead of UTC
	}{{ClockFixed, summer, 3600}, {ClockFixed, winter, 0}, {ClockCivil, summer, 3600}, {ClockUTC, summer, 0}} {
		if got := ReadingToSet(z, c.keeping, c.at) - c.at; got != c.want {
			t.Errorf("ReadingToSet(%s, %d) is %d s ahead of UTC, want %d", c.keeping, c.at, got, c.want)
		}
	}
}
