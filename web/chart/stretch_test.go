package chart

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestStretchWindowIsWholeWeeksAround(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := usage.Date(rapid.IntRange(0, 30000).Draw(t, "from"))
		to := from + usage.Date(rapid.IntRange(0, 1000).Draw(t, "days"))
		first, last := StretchWindow(words.English, from, to)
		if first.Weekday() != 1 || last.Weekday() != 7 || (last-first+1)%7 != 0 {
			t.Fatalf("StretchWindow(%s, %s) = %s, %s, want a Monday and a Sunday", from, to, first, last)
		}
		if before, after := from-first, last-to; before < 21 || after < 21 || before > 97 || after > 97 {
			t.Fatalf("StretchWindow(%s, %s) leaves %d days before and %d after, want 21 to 97", from, to, before, after)
		}
	})
}

// A quiet week among days of three visits: each day is a bar, those of the week
// at nought, and the shade lies on just its seven days.
func TestStretchShowsTheQuietWeek(t *testing.T) {
	from := usage.DateOf(2025, time.May, 14)
	to := from + 6
	first, last := StretchWindow(words.English, from, to)
	var days []usage.Day
	for d := first; d <= last; d++ {
		if d == first+2 { // one day without coverage
			continue
		}
		day := usage.Day{Date: d, Visits: 3, ExposureS: 86400}
		if d >= from && d <= to {
			day.Visits = 0
		}
		days = append(days, day)
	}
	r := &recorder{}
	f, err := New(r).Stretch(context.Background(), "s", days, from, to)
	if err != nil {
		t.Fatal(err)
	}
	if want := "0 visits in 7 days, 144 in 48 days around"; f.Title != want {
		t.Errorf("title = %q, want %q", f.Title, want)
	}
	if want := "the 7 days from 14 May 2025 to 20 May 2025 are shaded."; !strings.HasSuffix(f.Says, want) {
		t.Errorf("says %q, want it to end with %q", f.Says, want)
	}
	for _, o := range r.options {
		bars := seriesOf(o, "visits")
		if len(bars) != len(days) {
			t.Errorf("%d bars, want one for each of %d days", len(bars), len(days))
		}
		at := float64(from-first) - 1 + 0.5 // one bar is missing before it
		for _, bar := range bars[int(at) : int(at)+7] {
			if v := bar.([]any); v[1] != 0.0 || v[0].(float64) < float64(from-first) || v[0].(float64) > float64(to-first+1) {
				t.Errorf("bar of the quiet week at %v has %v visits", v[0], v[1])
			}
		}
		if gaps := seriesOf(o, "gaps"); len(gaps) != 1 || fmt.Sprint(gaps[0].([]any)[:2]) != "[2 3]" {
			t.Errorf("gaps = %v, want the third day", gaps)
		}
	}
	// The wash is the first graphic: 7 days of the plot of 720 − 44 − 6 px.
	wash := r.options[0]["graphic"].([]any)[0].(map[string]any)["shape"].(map[string]any)
	scale := 670 / float64(last-first+1)
	if got, want := fmt.Sprintf("%.1f %.1f", wash["x"], wash["width"]), fmt.Sprintf("%.1f %.1f", 44+scale*float64(from-first), 7*scale); got != want {
		t.Errorf("the wash lies at %s, want %s", got, want)
	}
	shades := 0
	for _, row := range f.Table.Rows {
		if strings.HasSuffix(row[0], "(shaded)") {
			shades++
		}
	}
	if shades != 7 || len(f.Table.Rows) != int(last-first+1) {
		t.Errorf("table has %d rows, %d shaded, want %d and 7", len(f.Table.Rows), shades, last-first+1)
	}
}
