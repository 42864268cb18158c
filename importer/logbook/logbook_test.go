package logbook

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// card reads rows written as "minute/seconds", "minute/" for unknown seconds:
// minutes since 2024-05-01 00:00. A lone "/seconds" first is a leading number.
func card(t *testing.T, id, rows string) Card {
	t.Helper()
	var b strings.Builder
	for _, r := range strings.Fields(rows) {
		minute, seconds, _ := strings.Cut(r, "/")
		if minute == "" {
			fmt.Fprintf(&b, "%s\n", seconds)
			continue
		}
		var m int
		if _, err := fmt.Sscan(minute, &m); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "2024-05-%02d,%02d:%02d:%02d,%s\n", 1+m/1440, m/60%24, m%60, 7, seconds)
	}
	return read(t, id, b.String())
}

// written lists a book's rows as card takes them, a bar where a stint begins
// and a star for a removal.
func written(cards []Card, b Book) string {
	var out strings.Builder
	for i, e := range b.Entries {
		if i > 0 && e.Stint != b.Entries[i-1].Stint {
			out.WriteString("| ")
		}
		r := cards[e.Card].File.Rows[e.Row]
		fmt.Fprintf(&out, "%d/", (r.Reading-1714521600)/60)
		if e.OpenS != usage.Unknown {
			fmt.Fprint(&out, e.OpenS)
		}
		if e.Removal {
			out.WriteString("*")
		}
		out.WriteString(" ")
	}
	return strings.TrimSpace(out.String())
}

func TestStitch(t *testing.T) {
	tests := []struct {
		name      string
		cards     []string
		want      string
		conflicts int
	}{
		{"one card", []string{"10/5 20/6 30/"}, "10/5 20/6 30/*", 0},
		{"the same twice", []string{"10/5 20/6 30/", "10/5 20/6 30/"}, "10/5 20/6 30/*", 0},
		{"a growing card", []string{"10/5 20/6 30/", "10/5 20/6 30/44 40/7 50/"}, "10/5 20/6 30/44* | 40/7 50/*", 0},
		{"a cleared card", []string{"10/5 20/", "/33 40/7 50/"}, "10/5 20/33* | 40/7 50/*", 0},
		{"a card cut at its head overlaps", []string{"10/5 20/6 30/7 40/", "20/6 30/7 40/8 50/9 60/"}, "10/5 20/6 30/7 40/8* | 50/9 60/*", 0},
		{"two cards in rotation", []string{"10/5 20/", "30/6 40/", "10/5 20/9 50/7 60/", "30/6 40/9 70/8 80/"},
			"10/5 20/9* | 30/6 40/9* | 50/7 60/* | 70/8 80/*", 0},
		{"rotation of which only the last readings came", []string{"10/5 20/9 50/7 60/", "30/6 40/9 70/8 80/"},
			"10/5 20/9 | 30/6 40/9 | 50/7 60/* | 70/8 80/*", 0},
		{"a clock that stands still", []string{"10/5 10/6 10/7 10/8 10/", "10/5 10/6 10/7 10/8 10/3 10/9 10/"}, "10/5 10/6 10/7 10/8 10/3* | 10/9 10/*", 0},
		{"other seconds", []string{"10/5 20/6 30/7 40/8 50/", "10/5 20/6 30/9 40/8 50/1 60/"}, "10/5 20/6 30/7 40/8 50/1* | 60/*", 1},
		{"other seconds in all of a short card", []string{"10/5 20/6", "10/9 20/7 30/7 40/8 50/"}, "10/5 20/6 | 30/7 40/8 50/*", 2},
		{"a row that one lacks", []string{"10/5 20/6 30/7 40/8 50/", "10/5 20/6 40/8 50/1 60/"}, "10/5 20/6 30/7 40/8 50/1* | 60/*", 1},
		{"one stamp to the second is an overlap", []string{"10/5 20/6 30/", "30/7 40/8 50/9"}, "10/5 20/6 30/7* | 40/8 50/9", 0},
		{"not where the clock stands still", []string{"10/5 20/6 30/", "30/7 30/8 30/9"}, "10/5 20/6 30/* | 30/7 30/8 30/9", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var cards []Card
			for i, rows := range tt.cards {
				cards = append(cards, card(t, fmt.Sprint(i), rows))
			}
			b := Stitch(cards)
			if got := written(cards, b); got != tt.want {
				t.Errorf("Stitch = %s\nwant     %s", got, tt.want)
			}
			if len(b.Conflicts) != tt.conflicts {
				t.Errorf("%d conflicts, want %d: %+v", len(b.Conflicts), tt.conflicts, b.Conflicts)
			}
		})
	}
}

// TestStitchDisturbed has cards that were cleared at each visit, with nothing
// noted: the readings of a disturbed clock tell where a card without one that can
// be believed goes.
func TestStitchDisturbed(t *testing.T) {
	tests := []struct {
		name  string
		cards []string // in the order in which they were in the logger
	}{
		{"counts on from the default over a whole card", []string{
			"2024-05-01,10:00:00,5 2024-05-02,10:00:00,6 2000-01-01,00:20:00,7 2000-01-09,10:00:00,",
			"2000-01-09,11:00:00,5 2000-01-12,10:00:00,6 2000-01-19,10:00:00,",
			"2000-01-19,11:00:00,5 2024-06-01,10:00:00,6 2024-06-02,10:00:00,",
		}},
		{"after the reset and not after a misread row", []string{
			"2024-05-01,10:00:00,5 2024-05-02,10:00:00,6 2000-01-01,00:20:00,7 2000-01-09,10:00:00,",
			"2000-01-09,11:00:00,5 2000-01-12,10:00:00,",
			"2024-06-01,10:00:00,6 2024-06-02,10:00:00,8 2165-165-165,165:165:85,9 2024-06-04,10:00:00,",
		}},
		{"a stay without a date goes on before the next begins", []string{
			"2024-05-01,10:00:00,5 2024-05-02,10:00:00,6 2000-00-00,09:00:00,7 2000-00-00,10:00:00,8 2000-00-01,10:00:00,",
			"2000-00-01,11:00:00,5 2000-00-02,10:00:00,6 2000-00-03,10:00:00,",
			"2024-06-01,10:00:00,6 2024-06-02,10:00:00,8",
		}},
		{"one stamp again and again, over a change of cards", []string{
			"2024-05-01,10:00:00,5 2024-05-02,10:00:00,6 2024-05-02,10:00:00,7 2024-05-02,10:00:00,",
			"2024-05-02,10:00:00,8 2024-05-02,10:00:00,9 2024-05-04,10:00:00,",
		}},
	}
	for _, tt := range tests {
		for _, backwards := range []bool{false, true} {
			cards := make([]Card, len(tt.cards))
			for i, rows := range tt.cards {
				f, err := cardfile.Read([]byte(strings.ReplaceAll(rows, " ", "\n")), cardfile.Hint{DateOrder: "ymd"})
				if err != nil {
					t.Fatal(err)
				}
				id := i
				if backwards {
					id = len(cards) - i
				}
				cards[i] = Card{ID: fmt.Sprint(id), File: f}
			}
			inOrder(t, fmt.Sprintf("%s (backwards: %t)", tt.name, backwards), cards)
		}
	}
}

// inOrder checks that the rows of the cards come in the order in which these are given.
func inOrder(t *testing.T, name string, cards []Card) {
	t.Helper()
	b := Stitch(cards)
	for i := 1; i < len(b.Entries); i++ {
		if p, e := b.Entries[i-1], b.Entries[i]; e.Card < p.Card || e.Card == p.Card && e.Row < p.Row {
			t.Errorf("%s: card %d row %d comes before card %d row %d", name, p.Card, p.Row, e.Card, e.Row)
		}
	}
}

// noted are the rows of a card and, if somebody wrote it down, when it came out.
type noted struct{ rows, removed string }

// cleared checks that cards which were cleared at each visit come in the order in which
// they are given, whatever the order of their IDs.
func cleared(t *testing.T, tests []noted) {
	t.Helper()
	for _, backwards := range []bool{false, true} {
		var cards []Card
		for i, tt := range tests {
			c := read(t, fmt.Sprint(i), strings.ReplaceAll(tt.rows, " ", "\n"))
			if backwards {
				c.ID = fmt.Sprint(len(tests) - i)
			}
			if at, err := time.Parse(time.RFC3339, tt.removed); err == nil {
				removed := at.Unix()
				c.RemovedAt = &removed
			}
			cards = append(cards, c)
		}
		inOrder(t, fmt.Sprintf("backwards: %t", backwards), cards)
	}
}

// TestStitchBuildTime has cards that were cleared at each visit, and a clock that goes
// back to when its program was built while the third is in the logger.
func TestStitchBuildTime(t *testing.T) {
	tests := []noted{
		{"2024-05-01,10:00:00,5 2024-05-04,10:00:00,6 2024-05-10,10:00:00,", "2024-05-10T10:00:20Z"},
		{"2024-05-11,10:00:00,5 2024-05-20,10:00:00,6 2024-05-30,10:00:00,", ""},
		{"2024-05-03,10:00:00,5 2024-05-04,09:00:00,6 2024-05-09,10:00:00,", "2024-06-20T10:00:20Z"},
		{"2024-05-09,11:00:00,5 2024-05-14,09:00:00,6 2024-05-16,10:00:00,", "2024-06-27T11:00:20Z"},
		{"2024-06-28,10:00:00,5 2024-06-30,09:00:00,6 2024-07-05,10:00:00,", "2024-07-05T10:00:20Z"},
	}
	cleared(t, tests)
}

// TestStitchMisreadYears has a card of a clock without a date in the logger for the whole
// of its stay; two of its years were read wrongly, and so tell nothing of where it lies.
// Nobody noted when the cards before it came out.
func TestStitchMisreadYears(t *testing.T) {
	tests := []noted{
		{"2024-05-01,10:00:00,5 2024-05-04,10:00:00,6 2024-05-10,10:00:00,", ""},
		{"2024-05-11,10:00:00,5 2024-05-20,10:00:00,6 2024-05-30,10:00:00,", ""},
		{"2024-05-31,10:00:00,5 2024-06-04,09:00:00,6 2000-01-01,00:20:00,7 2000-01-09,10:00:00,", "2024-06-20T10:00:20Z"},
		{"2000-01-09,11:00:00,5 2001-01-10,09:00:00,6 2000-01-11,08:00:00,6 2002-01-12,09:00:00,6 2000-01-13,10:00:00,", "2024-06-27T11:00:20Z"},
		{"2024-06-28,10:00:00,5 2024-06-30,09:00:00,6 2024-07-05,10:00:00,", "2024-07-05T10:00:20Z"},
	}
	cleared(t, tests)
}

// TestStitchTwoBuildTimes has two cards of a clock that went back to the same moment
// while each was in the logger: when they came out tells their order.
func TestStitchTwoBuildTimes(t *testing.T) {
	cards := []Card{
		card(t, "b", "4320/5 5760/6 7200/7 12960/"),
		card(t, "a", "4000/5 5800/6 7300/7 14400/"),
	}
	for i, at := range []int64{1714521600 + 90*86400, 1714521600 + 100*86400} {
		cards[i].RemovedAt = &at
	}
	const want = "4320/5 5760/6 7200/7 12960/* | 4000/5 5800/6 7300/7 14400/*"
	if got := written(cards, Stitch(cards)); got != want {
		t.Errorf("Stitch = %s\nwant     %s", got, want)
	}
}

// TestStitchLosesNothing cuts a long logbook into random readings of a growing
// card and checks that the whole comes back whatever subset holds the last one.
func TestStitchLosesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 2 + rng.IntN(60)
		rows := make([]string, n)
		minute := 0
		for i := range rows {
			minute += rng.IntN(4) // equal stamps happen
			rows[i] = fmt.Sprintf("%d/%d", minute, 2+rng.IntN(50))
		}
		var cards []Card
		for _, end := range append([]int{n}, 1+rng.IntN(n), 1+rng.IntN(n)) {
			part := append([]string{}, rows[:end]...)
			last, _, _ := strings.Cut(part[end-1], "/")
			part[end-1] = last + "/"
			cards = append(cards, card(t, fmt.Sprint(end), strings.Join(part, " ")))
		}
		rng.Shuffle(len(cards), func(i, j int) { cards[i], cards[j] = cards[j], cards[i] })
		if b := Stitch(cards); len(b.Entries) != n {
			t.Fatalf("%d entries, want %d of %v", len(b.Entries), n, rows)
		}
	}
}
