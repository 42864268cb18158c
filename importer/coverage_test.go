package importer

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
)

// Coverage begins at the logged "card in" before a card's first opening, where no
// card was taken out after it, and else with that opening.
func TestCoverageBeginsAtCardIn(t *testing.T) {
	at := func(text string) int64 {
		when, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			t.Fatal(err)
		}
		return when.Unix()
	}
	card := func(times ...string) Card {
		var b strings.Builder
		for _, text := range times {
			fmt.Fprintf(&b, "%s,20\n", time.Unix(at(text), 0).UTC().Format("Mon,01/02/2006,15:04:05"))
		}
		return Card{ID: fmt.Sprintf("%032x", len(b.String())+int(at(times[0])%1000)), Name: "LOG.TXT", Bytes: []byte(b.String())}
	}
	kept := Kept{Cards: []Card{
		card("2026-03-03 09:00", "2026-03-05 10:00", "2026-03-20 12:00"),
		card("2026-04-25 15:00", "2026-05-02 08:00"),
	}}
	site := usage.Site{Code: "MILL", Name: "Mill Lane", Zone: "UTC", InstalledOn: usage.DateOf(2026, 3, 1), Clock: usage.ClockUTC, Thresholds: usage.DefaultThresholds}
	call := func(text string, kinds ...usage.CallKind) usage.ServiceCall {
		return usage.ServiceCall{At: at(text), Kinds: kinds}
	}
	in, out := usage.CallCardIn, usage.CallCardOut
	for _, c := range []struct {
		name          string
		calls         []usage.ServiceCall
		first, second string
	}{
		{"nothing noted", nil, "2026-03-03 09:00", "2026-04-25 15:00"},
		{"both noted", []usage.ServiceCall{call("2026-03-01 11:00", in), call("2026-03-21 09:00", in)}, "2026-03-01 11:00", "2026-03-21 09:00"},
		{"swapped at one call, noted a minute early", []usage.ServiceCall{call("2026-03-20 11:59", out, in)}, "2026-03-03 09:00", "2026-03-20 12:00"},
		{"taken out again", []usage.ServiceCall{call("2026-03-22 09:00", in), call("2026-03-24 09:00", out)}, "2026-03-03 09:00", "2026-04-25 15:00"},
		{"and put in again", []usage.ServiceCall{call("2026-03-22 09:00", in), call("2026-03-24 09:00", out), call("2026-04-01 09:00", in)}, "2026-03-03 09:00", "2026-04-01 09:00"},
		{"in while the card recorded", []usage.ServiceCall{call("2026-03-10 09:00", in), call("2026-04-27 09:00", in)}, "2026-03-03 09:00", "2026-04-25 15:00"},
		{"before the site stood", []usage.ServiceCall{call("2026-02-01 09:00", in)}, "2026-03-03 09:00", "2026-04-25 15:00"},
		{"something else", []usage.ServiceCall{call("2026-04-01 09:00", usage.CallRestock)}, "2026-03-03 09:00", "2026-04-25 15:00"},
	} {
		kept.Calls = c.calls
		lb, err := Derive(site, kept)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, s := range lb.Stretches {
			if s.Kind == usage.Recording {
				got = append(got, time.Unix(s.From, 0).UTC().Format("2006-01-02 15:04"))
			}
		}
		// A card put in at the moment the last came out leaves no time between them.
		want := []string{c.first, c.second}
		if c.second == "2026-03-20 12:00" {
			want = want[:1]
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: recording begins at %v, want %v", c.name, got, want)
		}
	}
}
