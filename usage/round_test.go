package usage

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestDues(t *testing.T) {
	site := Site{Code: "MILL", Zone: "Europe/Dublin", InstalledOn: DateOf(2026, 1, 1)}
	at := func(month time.Month, day, hour int) int64 {
		return time.Date(2026, month, day, hour, 0, 0, 0, time.UTC).Unix()
	}
	ptr := func(v int64) *int64 { return &v }
	date := func(month time.Month, day int) *Date { d := DateOf(2026, month, day); return &d }
	now := at(7, 1, 12)
	for _, c := range []struct {
		name string
		in   RoundIn
		rule RoundRule
		want []Due
	}{
		{"nothing known: the card is due since sixty days after the installation", RoundIn{}, DefaultRoundRule,
			[]Due{{Kind: DueCard, By: *date(3, 2), Now: true, Never: true, Days: 181}}},
		{"read at half past eleven at night in summer, which is the next day by UTC+1",
			RoundIn{ReadAt: ptr(time.Date(2026, 6, 1, 23, 30, 0, 0, time.UTC).Unix())}, DefaultRoundRule,
			[]Due{{Kind: DueCard, By: *date(8, 1), Days: 29}}},
		{"a shorter rule", RoundIn{ReadAt: ptr(at(6, 2, 12))}, RoundRule{CardDays: 29, ClockS: 900},
			[]Due{{Kind: DueCard, By: *date(7, 1), Now: true, Days: 29}}},
		{"a card came out since", RoundIn{ReadAt: ptr(at(3, 1, 12)), Calls: []ServiceCall{
			{At: at(3, 1, 12), Kinds: []CallKind{CallCardOut}}, {At: at(6, 30, 12), Kinds: []CallKind{CallCardOut}}, {At: at(8, 30, 12), Kinds: []CallKind{CallCardOut}}}}, DefaultRoundRule,
			[]Due{{Kind: DueCard, By: *date(8, 29), Days: 1, Out: true}}},
		// (900 − 602) s at 30 ppm are 115 days less 0.7 hours.
		{"the clock grows", RoundIn{ReadAt: ptr(at(6, 30, 12)), Clock: &ClockError{at(6, 30, 12), 602}}, DefaultRoundRule,
			[]Due{{Kind: DueCard, By: *date(8, 29), Days: 1}, {Kind: DueClock, By: *date(10, 23), ErrorS: 604}}},
		{"the clock is off already", RoundIn{ReadAt: ptr(at(6, 30, 12)), Clock: &ClockError{at(6, 30, 12), 1602}}, DefaultRoundRule,
			[]Due{{Kind: DueClock, By: *date(6, 30), Now: true, ErrorS: 1604}, {Kind: DueCard, By: *date(8, 29), Days: 1}}},
		{"the clock was set since", RoundIn{ReadAt: ptr(at(6, 30, 11)), Clock: &ClockError{at(6, 30, 11), 1602},
			Calls: []ServiceCall{{At: at(6, 30, 12), Kinds: []CallKind{CallClockSet}}}}, RoundRule{CardDays: 60, ClockS: 61},
			[]Due{{Kind: DueClock, By: *date(6, 30), Now: true, ErrorS: 62}, {Kind: DueCard, By: *date(8, 29), Days: 1}}},
		{"all that has a date", RoundIn{ReadAt: ptr(at(6, 30, 12)), Batteries: date(9, 1), Coin: date(5, 1), Counter: date(9, 1), Shelf: date(7, 2), Questions: 3}, DefaultRoundRule,
			[]Due{{Kind: DueCoin, By: *date(5, 1), Now: true}, {Kind: DueQuestions, By: *date(7, 1), Now: true, Count: 3}, {Kind: DueShelf, By: *date(7, 2)},
				{Kind: DueCard, By: *date(8, 29), Days: 1}, {Kind: DueBatteries, By: *date(9, 1)}, {Kind: DueCounter, By: *date(9, 1)}}},
	} {
		c.in.Site, c.in.Now = site, now
		got, err := Dues(c.in, c.rule)
		if diff := cmp.Diff(c.want, got); err != nil || diff != "" {
			t.Errorf("%s: Dues() = %v (-want +got)\n%s", c.name, err, diff)
		}
	}
}

// What lies within the days ahead is taken along.
func TestDuesWithin(t *testing.T) {
	today := DateOf(2026, 7, 1)
	dues := []Due{{Kind: DueCard, By: today - 400}, {Kind: DueClock, By: today}, {Kind: DueShelf, By: today + 7}, {Kind: DueCoin, By: today + 8}}
	for ahead, want := range map[int32]int{0: 2, 6: 2, 7: 3, 8: 4} {
		if got := (RoundRule{AheadDays: ahead}).Within(dues, today); len(got) != want {
			t.Errorf("Within %d days = %v, want %d", ahead, got, want)
		}
	}
}

func TestRoundRuleCheck(t *testing.T) {
	for _, r := range []RoundRule{{0, 900, 7}, {60, 0, 7}, {60, 900, -1}, {4000, 900, 7}, {60, 900, 400}} {
		if _, err := Dues(RoundIn{Site: Site{Zone: "UTC"}}, r); KindOf(err) != Invalid {
			t.Errorf("Dues with %+v = %v, want Invalid", r, err)
		}
	}
}
