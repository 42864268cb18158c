package importer_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// FuzzPrepare prepares a card by any setting after any last card, and brings it home
// again: it has short names of its own, its tag names the site, its log has no row that
// nobody wrote, and its clock-set file holds digits and signs alone.
func FuzzPrepare(f *testing.F) {
	f.Add("LOG.TXT", "CLOCK.SET", "{year}{month}{day}{weekday}{hour}{minute}{second}", 1, "", false, "LOG.TXT", []byte("14.01.2016;09:12:33;5\n"), int64(1780315200))
	f.Add("A.TXT", "", "", 0, "Tag;Datum;Zeit", true, "../x", []byte("34\nTag;Datum;Zeit;Sek\n14.01.2016;09:12:33;5\n15.01.2016;09:12:33;5\n"), int64(0))
	f.Add("CON.TXT", "T", "{hour}:{minute}\r\n", 7, "2016-01-14 09:12:33,5", true, "DOORLEAF.TXT", []byte("\xff\xfea\x00,\x00"), int64(-1))
	f.Add("LOG.TXT", "C.SET", "{yy}{yy}", 3, "\u202e\x1b", true, "", []byte{}, int64(1<<40))
	f.Add("LOG.TXT", "CLOCK.SET", "{hour}", 1, "34", true, "", []byte{}, int64(1780315200))
	f.Fuzz(func(t *testing.T, logName, clockName, template string, firstDay int, header string, own bool, lastName string, last []byte, at int64) {
		in := importer.PrepareIn{
			Site: usage.Site{Code: "MILL", Zone: "Europe/Dublin", Clock: usage.ClockFixed}, At: at,
			Setting: &usage.CardSetting{LogFile: logName, ClockFile: clockName, Template: template, FirstDay: firstDay},
			Last:    &importer.Card{Name: lastName, Bytes: last},
		}
		if own {
			in.Setting.Header = &header
		}
		if logName == "" {
			in.Setting = nil // as the last card has it
		}
		if at < 0 || at > time.Date(2099, 12, 31, 0, 0, 0, 0, time.UTC).Unix() {
			return // no clock of this kind shows it
		}
		p, err := importer.Prepare(in)
		if err != nil {
			if usage.KindOf(err) != usage.Invalid {
				t.Fatalf("Prepare = %v, want Invalid", err)
			}
			return
		}
		checkPrepared(t, p)
	})
}

func checkPrepared(t *testing.T, p importer.Prepared) {
	t.Helper()
	c := importer.NewCollector(importer.DefaultLimits)
	names := map[string]bool{}
	for _, f := range p.Files {
		if !usage.ShortName(f.Name) || names[f.Name] {
			t.Fatalf("files %+v, want short names, each once", p.Files)
		}
		names[f.Name] = true
		if f.Name == p.Setting.ClockFile {
			if s := string(f.Bytes); strings.Trim(s, "0123456789 \t\r\n,;:./|_=+-") != "" || len(s) > 1024 {
				t.Fatalf("clock-set file %q", s)
			}
			continue
		}
		if err := c.Add("card/"+f.Name, bytes.NewReader(f.Bytes)); err != nil {
			t.Fatal(err)
		}
		if f.Name != p.Setting.LogFile {
			continue
		}
		file, err := cardfile.Read(f.Bytes, cardfile.Hint{})
		if err == nil && (len(file.Rows) > 0 || file.LeadingS != usage.Unknown) {
			t.Fatalf("the log is to have no row, and has %d, and seconds of another: %d: %q", len(file.Rows), file.LeadingS, f.Bytes)
		}
	}
	for _, found := range c.Cards() {
		if found.Tag != "MILL" {
			t.Fatalf("card %q comes home with the tag %q, want MILL", found.Name, found.Tag)
		}
	}
	if !names[importer.TagName] || !names[p.Setting.LogFile] {
		t.Fatalf("files %+v, want tag and log", p.Files)
	}
}
