package forge

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"

	"doorleaf/usage"
)

// Truth is what truth.json holds: what truly happened, and what of it stands on
// which card.
type Truth struct {
	Name  string      `json:"name"`
	Seed  uint64      `json:"seed"`
	Sites []SiteTruth `json:"sites"`
	Swaps []Swap      `json:"swaps"` // cards brought under the wrong site
}

// SiteTruth is the truth of one site.
type SiteTruth struct {
	SiteSpec
	Calls    []Call              `json:"calls"`
	Noted    []usage.ServiceCall `json:"noted"` // the calls as they were written down
	Beats    []Beat              `json:"beats"` // stretches of the clock
	Cards    []CardTruth         `json:"cards"`
	Openings []OpeningTruth      `json:"openings"` // that reached a card which came home, in order of time
	Missed   []MissedTruth       `json:"missed"`   // that reached no card, up to the last removal
}

// MissedTruth is an opening that reached no card.
type MissedTruth struct {
	At    int64  `json:"at"` // Unix seconds
	OpenS int32  `json:"open_s"`
	Class string `json:"class"`
	Why   string `json:"why"` // "outage", "away"
}

// CardTruth is the truth of one card file.
type CardTruth struct {
	Path      string `json:"path"`       // below DIR, with slashes
	RemovedAt int64  `json:"removed_at"` // true instant, Unix seconds
	Removed   string `json:"removed"`    // the same, RFC 3339, civil time of the site
	NotedAt   *int64 `json:"noted_at"`   // what was written down of it; null: nothing
	Rows      int    `json:"rows"`
	LeadingS  *int32 `json:"leading_s"` // a lone number before the first row; null without one
	// Spans are the positions [first, last] among the site's openings whose
	// rows the file holds, in its order.
	Spans [][2]int32 `json:"spans"`
}

// OpeningTruth is the truth of one opening.
type OpeningTruth struct {
	At    int64  `json:"at"`     // Unix seconds
	Time  string `json:"time"`   // the same, RFC 3339, civil time of the site
	OpenS int32  `json:"open_s"` // seconds that the door truly stood open
	Visit *int32 `json:"visit"`  // 1-based number of its visit; null: nobody's
	Class string `json:"class"`  // "visitor", "service", "rattle", "ajar"
	// Beat is the stretch of the clock in which it was written, a position among
	// Beats, State the clock's state then, Fault what went wrong in reading it ("" for
	// nothing). Reached says how its row stands on the card: "row"; "torn", cut
	// short; "glued", whole, but on the line of a row that was cut.
	Beat    int32  `json:"beat"`
	State   string `json:"state"`
	Fault   string `json:"fault"`
	Reached string `json:"reached"`
	// Written is the reading in its row as its digits stand, or would without a
	// cut: YYYY-MM-DDTHH:MM:SS; null where every register read 0xFF. WrittenS are the seconds that its row finally has; null
	// where none came, and in dialects without them. They are not OpenS in the
	// row of a removal: its card was completed elsewhere, or later.
	Written  *string `json:"written"`
	WrittenS *int32  `json:"written_s"`
}

// wallLayout is that of Digits.
const wallLayout = "2006-01-02T15:04:05"

// WriteTruth writes truth.json, one opening a line.
func (n *Network) WriteTruth(w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	name, err := json.Marshal(n.Name)
	if err != nil {
		return fmt.Errorf("truth: %w", err)
	}
	fmt.Fprintf(b, "{\"name\":%s,\"seed\":%d,\"sites\":[", name, n.Seed)
	for i, s := range n.Sites {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := s.writeTruth(b); err != nil {
			return fmt.Errorf("truth of site %s: %w", s.Spec.Code, err)
		}
	}
	swaps, err := json.Marshal(append([]Swap{}, n.Swaps...))
	if err != nil {
		return fmt.Errorf("truth: %w", err)
	}
	fmt.Fprintf(b, "],\"swaps\":%s}\n", swaps)
	if err := b.Flush(); err != nil { // holds the first error of all writes above
		return fmt.Errorf("truth: %w", err)
	}
	return nil
}

// ReadTruth reads what WriteTruth wrote.
func ReadTruth(r io.Reader) (*Truth, error) {
	var t Truth
	if err := json.NewDecoder(bufio.NewReader(r)).Decode(&t); err != nil {
		return nil, fmt.Errorf("truth: %w", err)
	}
	return &t, nil
}

// writeTruth writes the site's object. Its many openings are written by hand,
// which is several times faster than by reflection.
func (s *Site) writeTruth(b *bufio.Writer) error {
	zone, err := time.LoadLocation(s.Spec.Zone)
	if err != nil {
		return err
	}
	head, err := json.Marshal(struct {
		SiteSpec
		Calls  []Call              `json:"calls"`
		Noted  []usage.ServiceCall `json:"noted"`
		Beats  []Beat              `json:"beats"`
		Missed []MissedTruth       `json:"missed"`
		Cards  []CardTruth         `json:"cards"`
	}{s.Spec, s.Calls, s.Noted, s.Beats, s.missedTruths(), s.cardTruths(zone)})
	if err != nil {
		return err
	}
	b.WriteByte('\n')
	b.Write(head[:len(head)-1])
	b.WriteString(",\"openings\":[")
	var line []byte
	for i, o := range s.Openings {
		line = line[:0]
		if i > 0 {
			line = append(line, ',')
		}
		line = o.truth(append(line, '\n'), s.Written[i], zone)
		b.Write(line)
	}
	b.WriteString("]}")
	return nil
}

// truth adds the opening as an OpeningTruth.
func (o Opening) truth(b []byte, r Row, zone *time.Location) []byte {
	b = append(b, `{"at":`...)
	b = strconv.AppendInt(b, o.At, 10)
	b = append(b, `,"time":"`...)
	b = time.Unix(o.At, 0).In(zone).AppendFormat(b, time.RFC3339)
	b = append(b, `","open_s":`...)
	b = strconv.AppendInt(b, int64(o.OpenS), 10)
	b = append(b, `,"visit":`...)
	b = known(b, o.Visit)
	b = append(b, `,"class":"`...)
	b = append(b, o.Class.String()...)
	b = append(b, `","beat":`...)
	b = strconv.AppendInt(b, int64(r.Beat), 10)
	for _, word := range [][2]string{{"state", r.State}, {"fault", faultNames[r.Fault]}, {"reached", r.Reached()}} {
		b = append(append(append(b, `,"`...), word[0]...), `":"`...)
		b = append(append(b, word[1]...), '"')
	}
	b = append(b, `,"written":`...)
	if r.Fault == ReadFF || r.Fault == ReadFFHour {
		b = append(b, "null"...)
	} else {
		b = append(append(append(b, '"'), r.Digits()...), '"')
	}
	b = append(b, `,"written_s":`...)
	return append(known(b, r.OpenS), '}')
}

// known adds n, or null for usage.Unknown.
func known(b []byte, n int32) []byte {
	if n == usage.Unknown {
		return append(b, "null"...)
	}
	return strconv.AppendInt(b, int64(n), 10)
}

func (s *Site) missedTruths() []MissedTruth {
	out := make([]MissedTruth, len(s.Missed))
	for i, m := range s.Missed {
		out[i] = MissedTruth{m.At, m.OpenS, m.Class.String(), m.Why}
	}
	return out
}

// Reached says how a row stands on its card: "row", "torn" or "glued".
func (r Row) Reached() string {
	switch {
	case r.Cut > 0:
		return "torn"
	case r.Glued:
		return "glued"
	}
	return "row"
}

// Digits returns the stamp of a row as its digits stand, YYYY-MM-DDTHH:MM:SS.
func (r Row) Digits() string {
	at := stampOf(r)
	b := strconv.AppendInt(make([]byte, 0, 20), int64(at.year), 10)
	for i, n := range []int{at.month, at.day, at.hour, at.min, at.sec} {
		b = digits(append(b, "--T::"[i]), n, true)
	}
	return string(b)
}

func (s *Site) cardTruths(zone *time.Location) []CardTruth {
	out := make([]CardTruth, len(s.Cards))
	for i, c := range s.Cards {
		out[i] = CardTruth{
			Path: "cards/" + c.Path(), RemovedAt: c.RemovedAt,
			NotedAt: c.NotedAt,
			Removed: time.Unix(c.RemovedAt, 0).In(zone).Format(time.RFC3339),
			Rows:    c.Len(), Spans: c.spans(),
		}
		if c.LeadingS != usage.Unknown {
			out[i].LeadingS = &s.Cards[i].LeadingS
		}
	}
	return out
}

// spans returns the positions of the openings whose rows the card holds. A
// CLOSE row alone, of an opening whose OPEN stands on another card, is none.
func (c Card) spans() [][2]int32 {
	out := [][2]int32{}
	for _, rows := range [][]Row{c.rows, c.last} {
		for _, r := range rows {
			switch n := len(out); {
			case r.Event == Close:
			case n > 0 && out[n-1][1]+1 == r.Opening:
				out[n-1][1] = r.Opening
			default:
				out = append(out, [2]int32{r.Opening, r.Opening})
			}
		}
	}
	return out
}
