package forge

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// TestRoundTrip: what the forge wrote in a random dialect, the reader reads
// back: every row, its reading, seconds and event, and what it infers of the
// dialect. A card with less than two months may leave the date order open; its
// reader is told, as the site's earlier cards would tell it.
func TestRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(20, 26))
	failed := 0
	for n := range 400 {
		sp := roundTripSpec(rng, RandomDialect(rng))
		for _, c := range newSiteT(t, sp, uint64(n)).Cards {
			bad := roundTrip(t, sp.Dialect, c)
			if len(bad) == 0 {
				continue
			}
			if failed++; failed <= 10 {
				d, err := json.Marshal(sp.Dialect)
				b := fileOf(t, c)
				t.Errorf("dialect %d, card %s:\n%s\n%s, %v\n%.300q\n…\n%.150q", n, c.Path(), strings.Join(bad, "\n"), d, err, b, b[max(0, len(b)-150):])
			}
			break
		}
	}
	if failed > 0 {
		t.Errorf("%d of 400 dialects do not read back", failed)
	}
}

func roundTripSpec(rng *rand.Rand, d Dialect) SiteSpec {
	sp := spec("A", d, pick(rng, Growing, Cleared, Rotation))
	sp.Clock.Keeping = pick(rng, usage.ClockFixed, usage.ClockCivil, usage.ClockUTC)
	sp.Character = pick(rng, Characters()...)
	sp.Character.PerDay = 4
	sp.Rounds.EveryDays = 60
	return sp
}

// roundTrip says what differs.
func roundTrip(t *testing.T, d Dialect, c Card) (bad []string) {
	t.Helper()
	rows := c.Rows()
	var hint cardfile.Hint
	if rows[len(rows)-1].Reading-rows[0].Reading < 60*86400 {
		hint.DateOrder = d.Order()
	}
	f, err := cardfile.Read(fileOf(t, c), hint)
	if err != nil {
		return []string{fmt.Sprintf("Read = %v", err)}
	}
	if len(f.Complaints) > 0 {
		bad = append(bad, fmt.Sprintf("complaint %+v", f.Complaints[0]))
	}
	bad = append(bad, dialectDiffers(d, c, f)...)
	for i := range min(len(rows), len(f.Rows)) {
		if what := rowDiffers(d, f.Rows[i], rows[i]); what != "" {
			return append(bad, fmt.Sprintf("row %d: %s: read %+v, wrote %+v", i, what, f.Rows[i], rows[i]))
		}
	}
	return bad
}

// dialectDiffers compares what the reader found out about the file.
func dialectDiffers(d Dialect, c Card, f *cardfile.File) (bad []string) {
	order := ""
	if f.Dialect.DateOrder != nil {
		order = *f.Dialect.DateOrder
	}
	delimiter := d.DelimiterWord()
	if delimiter == "" {
		delimiter = f.Dialect.Delimiter
	}
	for _, k := range []struct {
		what      string
		got, want any
	}{
		{"rows", len(f.Rows), c.Len()},
		{"lines", len(f.Rows) + f.Headers + f.Blanks + len(f.Complaints), f.Lines},
		{"ambiguous", f.Ambiguous, false},
		{"delimiter", f.Dialect.Delimiter, delimiter},
		{"header", f.Dialect.Header, d.Header},
		{"date order", order, d.Order()},
		{"hours", f.Dialect.Hours, d.HourCount()},
		{"weekday shift", f.Dialect.WeekdayShift, d.WeekdayShift()},
		{"resolution", int64(f.Resolution), d.Resolution()},
		{"pairs", f.Pairs, d.Pairs()},
		{"leading seconds", f.LeadingS, c.LeadingS},
	} {
		if k.got != k.want {
			bad = append(bad, fmt.Sprintf("%s = %v, want %v; evidence %q", k.what, k.got, k.want, f.Dialect.Evidence))
		}
	}
	return bad
}

// rowDiffers says in what a row read back is not the row written, or "". Where
// openings are pairs, their seconds are not the row's own.
func rowDiffers(d Dialect, got cardfile.Row, want Row) string {
	events := [...]cardfile.Event{Whole: cardfile.Whole, Open: cardfile.Open, Close: cardfile.Close}
	zone := map[bool]int16{true: 0, false: cardfile.NoZone}[d.Zulu]
	switch {
	case !got.Timed:
		return "untimed"
	case got.Suspect:
		return "suspect"
	case got.Reading != want.Reading:
		return "reading"
	case !d.Pairs() && got.OpenS != want.OpenS:
		return "seconds"
	case got.Event != events[want.Event]:
		return "event"
	case !d.has(ColUnix) && got.ZoneMin != zone:
		return "offset to UTC"
	}
	return ""
}
