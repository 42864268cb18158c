package importer_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// box is a made-up site whose cards are cleared at each round.
func box(d forge.Dialect, character forge.Character) forge.SiteSpec {
	character.PerDay = 5
	return forge.SiteSpec{
		Code: "PIER", Name: "Old Pier", Zone: "Europe/Dublin", Latitude: 52.6, Longitude: -8.2,
		InstalledOn: usage.DateOf(2025, time.January, 10), Character: character, Dialect: d,
		Clock: forge.Clock{Keeping: usage.ClockFixed, DriftPPM: 20}, Rounds: forge.Rounds{Kind: forge.Cleared, EveryDays: 30},
	}
}

// town is a few sites among which a card must find its own.
func town(own usage.Site) []usage.Site {
	return []usage.Site{{Code: "MILL", Name: "Mill Lane"}, own, {Code: "QUAY", Name: "Quay"}}
}

// A card that was prepared from a logger's last one and went through that logger finds
// its site by its tag alone and reads like one that the logger began itself. For cards
// whose first line is the header the prepared log is to the byte what the logger
// begins a cleared card with.
func TestPreparedCardComesHome(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 26))
	headed, numbered := 0, 0
	for n := range 150 {
		d := forge.RandomDialect(rng)
		sp := box(d, forge.Characters()[n%len(forge.Characters())])
		site, err := forge.NewSite(sp, usage.DateOf(2025, time.April, 20), uint64(n))
		if err != nil {
			t.Fatal(err)
		}
		if len(site.Cards) < 2 {
			t.Fatalf("dialect %d: %d cards, want 2", n, len(site.Cards))
		}
		last, next := fileOf(t, site.Cards[0]), fileOf(t, site.Cards[1])
		p, err := importer.Prepare(importer.PrepareIn{
			Site: sp.Site(), At: site.Cards[0].RemovedAt,
			Last: &importer.Card{Name: site.Cards[0].Name, Bytes: last, Hint: cardfile.Hint{DateOrder: d.Order()}},
		})
		if err != nil {
			t.Fatalf("dialect %d: Prepare = %v", n, err)
		}
		log := p.Files[1]
		if log.Name != d.File {
			t.Errorf("dialect %d: log %q, want the logger's own name %q", n, log.Name, d.File)
		}
		if d.Header {
			headed++
			if !bytes.HasPrefix(next, log.Bytes) || len(log.Bytes) == 0 {
				t.Errorf("dialect %+v: log begins %q, the logger's own begins %.60q", d, log.Bytes, next)
			}
		} else if len(log.Bytes) > 0 {
			t.Errorf("dialect %d has no header, and the log begins %q", n, log.Bytes)
		}
		if slices.Contains(d.Columns, forge.ColWeekday) && d.Weekday == "number" {
			day := usage.Date((site.Cards[0].RemovedAt + int64(p.OffsetS)) / 86400)
			want := byte('1' + (day.Weekday()-1+d.WeekdayShift())%7)
			if got := p.Files[2].Bytes[8]; got != want {
				t.Errorf("dialect %d: weekday %c on %s, want %c as its rows count", n, got, day, want)
			}
			numbered++
		}
		comeHome(t, n, sp, p, next)
	}
	if numbered < 10 {
		t.Errorf("%d dialects with numbers for weekdays, too few to tell", numbered)
	}
	if headed < 40 {
		t.Errorf("%d dialects with a header, too few to tell", headed)
	}
}

// comeHome lays what the logger wrote into the prepared log and brings the card in.
func comeHome(t *testing.T, n int, sp forge.SiteSpec, p importer.Prepared, written []byte) {
	t.Helper()
	c := importer.NewCollector(importer.DefaultLimits)
	log := p.Files[1]
	whole := append(bytes.Clone(log.Bytes), bytes.TrimPrefix(written, log.Bytes)...)
	for _, f := range p.Files {
		data := f.Bytes
		if f.Name == log.Name {
			data = whole
		}
		if err := c.Add("card/"+f.Name, bytes.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	cards := c.Cards()
	if len(cards) != 1 || cards[0].Name != log.Name {
		t.Fatalf("dialect %d: %d cards found, want the log alone", n, len(cards))
	}
	a := importer.Advise(town(sp.Site()), importer.Clues{Tag: cards[0].Tag, Folder: cards[0].Folder})
	if a.Site != sp.Code || a.By != importer.ByTag || a.Tag != "" {
		t.Fatalf("dialect %d: Advise = %+v, want %s by its tag", n, a, sp.Code)
	}
	got, want := rowsOf(t, cards[0].Bytes, sp.Dialect), rowsOf(t, written, sp.Dialect)
	if got != want {
		t.Errorf("dialect %d: the prepared card reads %s, want %s", n, got, want)
	}
}

// rowsOf sums up the readings and seconds of a card.
func rowsOf(t *testing.T, data []byte, d forge.Dialect) string {
	t.Helper()
	f, err := cardfile.Read(data, cardfile.Hint{DateOrder: d.Order()})
	if err != nil {
		t.Fatal(err)
	}
	sum, seconds := uint64(0), int64(0)
	for _, r := range f.Rows {
		sum, seconds = sum*31+uint64(r.Reading)+r.Key, seconds+int64(r.OpenS)
	}
	return fmt.Sprintf("%d rows, %d complaints, %x, %d s", len(f.Rows), len(f.Complaints), sum, seconds)
}

func fileOf(t *testing.T, c forge.Card) []byte {
	t.Helper()
	b, err := c.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Without a card and a setting the log has the usual header, which names no columns:
// whatever a logger writes behind it is read as if it were not there.
func TestPrepareFirstCard(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 26))
	for n := range 150 {
		d := forge.RandomDialect(rng)
		d.Header, d.Encoding = false, "utf-8"
		sp := box(d, forge.Characters()[n%len(forge.Characters())])
		site, err := forge.NewSite(sp, usage.DateOf(2025, time.April, 20), uint64(n))
		if err != nil {
			t.Fatal(err)
		}
		p, err := importer.Prepare(importer.PrepareIn{Site: sp.Site(), At: site.Cards[0].RemovedAt})
		if err != nil {
			t.Fatal(err)
		}
		if got := string(p.Files[1].Bytes); got != "#PIER\r\n" || p.Files[1].Name != "LOG.TXT" || p.Taken {
			t.Fatalf("first log = %s %q, want the usual header", p.Files[1].Name, got)
		}
		comeHome(t, n, sp, p, fileOf(t, site.Cards[0]))
	}
}

func TestPrepare(t *testing.T) {
	site := usage.Site{Code: "MILL", Zone: "Europe/Dublin", Clock: usage.ClockFixed}
	at := time.Date(2026, 7, 5, 13, 30, 0, 0, time.UTC).Unix() // Sunday, summer time
	last := &importer.Card{Name: "box.log", Bytes: []byte("34\nTag;Datum;Zeit;Sek\n14.01.2016;09:12:33;5\n15.01.2016;09:12:33;5\n16.01.2016;09:12:33;5\n")}
	none, own := "", "day\tdate"
	for _, c := range []struct {
		name    string
		keeping usage.ClockKeeping
		setting *usage.CardSetting
		last    *importer.Card
		want    map[string]string
	}{
		{"nothing known", usage.ClockFixed, nil, nil, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "LOG.TXT": "#MILL\r\n", "CLOCK.SET": "202607057143000\r\n"}},
		{"UTC", usage.ClockUTC, nil, nil, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "LOG.TXT": "#MILL\r\n", "CLOCK.SET": "202607057133000\r\n"}},
		{"as the last card", usage.ClockCivil, nil, last, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "BOX.LOG": "Tag;Datum;Zeit;Sek\n", "CLOCK.SET": "202607057143000\n"}},
		{"a setting goes first", usage.ClockFixed, &usage.CardSetting{LogFile: "A.TXT", ClockFile: "T.TXT", Template: "{hour}:{minute}\n", FirstDay: 7, Header: &own}, last,
			map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "A.TXT": "day\tdate\n", "T.TXT": "14:30\n"}},
		{"no header, no clock-set file", usage.ClockFixed, &usage.CardSetting{LogFile: "A.TXT", Header: &none}, last, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "A.TXT": ""}},
		{"a name that is no 8.3 name", usage.ClockFixed, &usage.CardSetting{LogFile: "A.TXT", Header: &none}, &importer.Card{Name: "<x>.TXT", Bytes: last.Bytes}, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "A.TXT": ""}},
		{"a last card that has no rows", usage.ClockFixed, nil, &importer.Card{Name: "../../etc.txt", Bytes: []byte("BOX\n")}, map[string]string{"DOORLEAF.TXT": "site MILL\r\n", "LOG.TXT": "#MILL\r\n", "CLOCK.SET": "202607057143000\r\n"}},
	} {
		site.Clock = c.keeping
		p, err := importer.Prepare(importer.PrepareIn{Site: site, Setting: c.setting, Last: c.last, At: at})
		if err != nil {
			t.Errorf("%s: Prepare = %v", c.name, err)
			continue
		}
		got := map[string]string{}
		for _, f := range p.Files {
			got[f.Name] = string(f.Bytes)
			if !usage.ShortName(f.Name) {
				t.Errorf("%s: %q is no 8.3 name", c.name, f.Name)
			}
		}
		for name, want := range c.want {
			if got[name] != want {
				t.Errorf("%s: %s = %q, want %q", c.name, name, got[name], want)
			}
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: files %v, want %v", c.name, got, c.want)
		}
	}
	if _, err := importer.Prepare(importer.PrepareIn{Site: site, Setting: &usage.CardSetting{LogFile: "x"}}); usage.KindOf(err) != usage.Invalid {
		t.Errorf("a setting that makes no sense: %v, want Invalid", err)
	}
}
