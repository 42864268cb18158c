package web

import (
	"strings"
	"testing"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestMetresWords(t *testing.T) {
	for m, want := range map[float64]string{0: "0 m", 4: "0 m", 86: "90 m", 994: "990 m", 995: "1.0 km", 12_340: "12.3 km", 99_499: "99.5 km", 1_234_567: "1,235 km"} {
		if got := MetresWords(words.English, m); got != want {
			t.Errorf("MetresWords(words.English, %v) = %q, want %q", m, got, want)
		}
	}
}

func TestRoundLead(t *testing.T) {
	for _, c := range []struct {
		stops, all int
		metres     float64
		ahead      int32
		chosen     bool
		want       string
	}{
		{0, 0, 0, 7, false, "There is no box to walk to yet."},
		{0, 3, 0, 7, false, "No box wants a visit within 7 days."},
		{0, 3, 0, 0, false, "No box wants a visit now."},
		{0, 3, 0, 7, true, "No box was chosen for this round."},
		{1, 3, 0, 7, false, "One of 3 boxes is on this round."},
		{1, 1, 800, 1, false, "1 of 1 box wants a visit within 1 day; in this order the walk is 800 m in straight lines."},
		{2, 3, 4200, 7, false, "2 of 3 boxes want a visit within 7 days; in this order the walk is 4.2 km in straight lines."},
		{2, 3, 4200, 7, true, "2 of 3 boxes are on this round; in this order the walk is 4.2 km in straight lines."},
	} {
		if got := RoundLead(words.English, c.stops, c.all, c.metres, c.ahead, c.chosen); got != c.want {
			t.Errorf("RoundLead(words.English, %+v) = %q, want %q", c, got, c.want)
		}
	}
}

// Every reason has words, and all but questions a box to tick.
func TestDueWords(t *testing.T) {
	by := usage.DateOf(2026, 5, 12)
	for _, c := range []struct {
		due  usage.Due
		want string
	}{
		{usage.Due{Kind: usage.DueCard, By: by, Now: true, Days: 84}, "Read the card; last read 84 days ago; due since 12 May 2026"},
		{usage.Due{Kind: usage.DueCard, By: by, Days: 1, Out: true}, "Read the card; one came out 1 day ago and is not brought in yet; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueCard, By: by, Never: true, Days: 3}, "Read the card; none has been read since the box was installed 3 days ago; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueClock, By: by, Now: true, ErrorS: 1270}, "Set the clock; it may be off by 21 min; due since 12 May 2026"},
		{usage.Due{Kind: usage.DueClock, By: by, ErrorS: 75}, "Set the clock; it may be off by 75 s; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueBatteries, By: by}, "Change the batteries; they may be empty from then on; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueCoin, By: by}, "Change the clock’s coin cell; it may be empty from then on; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueCounter, By: by}, "See to the counter; its memory may be worn out from then on; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueShelf, By: by}, "Restock the shelf; it is likely to be empty then; due by 12 May 2026"},
		{usage.Due{Kind: usage.DueQuestions, By: by, Now: true, Count: 1}, "Look into 1 open question"},
	} {
		row := DueWords(words.English, c.due, "MILL")
		got := strings.Trim(strings.Join([]string{row.Do, row.Why, row.When}, "; "), "; ")
		if got != c.want {
			t.Errorf("DueWords(words.English, %+v) = %q, want %q", c.due, got, c.want)
		}
		if ticked := row.Tick != ""; ticked != (c.due.Kind != usage.DueQuestions) || strings.Contains(row.ID, " ") || ticked == (row.Link != "") {
			t.Errorf("DueWords(words.English, %+v) = %+v, want a box to tick for all but questions", c.due, row)
		}
	}
}
