package importer_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/usage"
)

// opens are openings of a box for tests: when by its clock, and how many seconds.
func opens(days, daily int) (at []time.Time, open []int) {
	for d := range days {
		for n := range daily {
			at = append(at, time.Date(2024, 3, 2+d, 8+2*n, (d*7+n*13)%60, (d*11+n*29)%60, 0, time.UTC))
			open = append(open, 5+(d+3*n)%50)
		}
	}
	return at, open
}

// The same openings brought again in a dialect that stitching does not know are asked
// about, and counted once when ruled to be the same; other openings are not.
func TestDeriveSameOpeningsTwice(t *testing.T) {
	at, open := opens(12, 5)
	write := func(line func(i int) string) importer.Card {
		var b strings.Builder
		for i := range at {
			b.WriteString(line(i))
		}
		return cardOf("LOG.TXT", []byte(b.String()))
	}
	whole := write(func(i int) string { return fmt.Sprintf("%s,%d\n", at[i].Format("2006-01-02 15:04:05"), open[i]) })
	site := usage.Site{Code: "MILL", Zone: "Europe/Dublin", InstalledOn: usage.DateOf(2024, 3, 1)}
	for name, other := range map[string]struct {
		card importer.Card
		same bool
	}{
		"minutes only": {write(func(i int) string { return at[i].Format("02.01.2006;15:04") + fmt.Sprintf(";%d\n", open[i]) }), true},
		"open and close": {write(func(i int) string {
			shut := at[i].Add(time.Duration(open[i]) * time.Second)
			return "OPEN " + at[i].Format("2006-01-02 15:04:05") + "\nCLOSE " + shut.Format("2006-01-02 15:04:05") + "\n"
		}), true},
		"other openings": {write(func(i int) string {
			return at[i].Add(37*time.Minute).Format("02.01.2006;15:04") + fmt.Sprintf(";%d\n", open[i])
		}), false},
		"the next card": {write(func(i int) string {
			return at[i].AddDate(0, 0, 12).Format("02.01.2006;15:04") + fmt.Sprintf(";%d\n", open[i])
		}), false},
	} {
		kept := importer.Kept{Cards: []importer.Card{whole, other.card}}
		lb, err := importer.Derive(site, kept)
		if err != nil {
			t.Fatal(err)
		}
		f := findingOf(lb, "same openings twice")
		if (f != nil) != other.same || len(lb.Openings) != 2*len(at) {
			t.Errorf("%s: %d openings, finding %v; want %d, and a finding: %v", name, len(lb.Openings), f, 2*len(at), other.same)
			continue
		}
		if !other.same {
			continue
		}
		kept.Rulings = []usage.Ruling{{Key: f.Key, Answer: usage.AnswerTwice}}
		if lb, err = importer.Derive(site, kept); err != nil {
			t.Fatal(err)
		}
		if again := findingOf(lb, "same openings twice"); len(lb.Openings) != len(at) || again == nil || again.Key != f.Key {
			t.Errorf("%s, ruled to be the same: %d openings, finding %v; want %d and the same finding", name, len(lb.Openings), again, len(at))
		}
		if lb.Openings[3].OpenS != int32(open[3]) || lb.Cards[lb.Openings[3].Card].ID != whole.ID {
			t.Errorf("%s: opening 3 is of card %d with %d s, want the card that tells more, %d s", name, lb.Openings[3].Card, lb.Openings[3].OpenS, open[3])
		}
	}
}

func findingOf(lb usage.Logbook, kind string) *usage.Finding {
	for i := range lb.Findings {
		if lb.Findings[i].Kind == kind {
			return &lb.Findings[i]
		}
	}
	return nil
}
