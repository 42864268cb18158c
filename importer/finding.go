package importer

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

// findings says what reading, stitching and timing noticed.
func (d *deriver) findings() []usage.Finding {
	out := d.clockFindings()
	out = append(out, d.untimed()...)
	out = append(out, d.badRows()...)
	out = append(out, d.conflicts()...)
	out = append(out, d.sameTwice()...)
	out = append(out, d.cardFindings()...)
	return distinct(out)
}

// cardFindings reports what holds for a card as a whole.
func (d *deriver) cardFindings() []usage.Finding {
	var out []usage.Finding
	shifted := map[int]bool{}
	for c, f := range d.files {
		if f.Ambiguous {
			out = append(out, usage.Finding{
				Key: d.cardKey("date order", c), Kind: "date order",
				Says:    "the dates on this card can be read in two orders, and nothing on it or on the other cards decides",
				Changes: "Its openings are counted, but have no time. Name the date order on the site's page, or bring the card again with it.",
				Choices: []usage.Choice{seen},
			})
		}
		shift := f.Dialect.WeekdayShift
		if named := f.Dialect.WeekdayNames; shift == 0 || !named || shifted[shift] {
			continue
		}
		shifted[shift] = true
		out = append(out, usage.Finding{
			Key: d.cardKey("weekday register", c), Kind: "weekday register",
			Says:    fmt.Sprintf("the weekdays on the card are %s ahead of the dates: the weekday of the clock was set wrongly", plural(shift, "day", "days")),
			Changes: "Nothing: days are counted by the date.",
			Choices: []usage.Choice{seen},
		})
	}
	return append(out, d.missingSeconds()...)
}

// missingShare is the share of rows without seconds, beyond those of removals,
// from which on a finding speaks of it.
const missingShare = 0.05

// missingSeconds reports a logbook of which many rows lack the seconds that
// others have.
func (d *deriver) missingSeconds() []usage.Finding {
	missing, all, first := 0, 0, -1
	for i := range d.book.Entries {
		e := &d.book.Entries[i]
		if e.Removal || !slices.Contains(d.files[e.Card].Dialect.Columns, "seconds") {
			continue
		}
		all++
		if e.OpenS == usage.Unknown {
			missing++
			if first < 0 {
				first = i
			}
		}
	}
	if missing < 5 || float64(missing) < missingShare*float64(all) {
		return nil
	}
	e := d.book.Entries[first]
	return []usage.Finding{{
		Key: d.key("missing seconds", e.Card, e.Row), Kind: "missing seconds", From: d.instant(first),
		Says:     fmt.Sprintf("%d of %d openings lack the seconds that the door stood open", missing, all),
		Changes:  "They are counted as visits; door-open time is told without them.",
		Choices:  []usage.Choice{seen},
		Evidence: []usage.RowRef{d.ref(e.Card, e.Row)},
	}}
}

// instant is the time of an entry, or the earliest that it can be.
func (d *deriver) instant(i int) int64 {
	if d.times[i].Timed {
		return d.times[i].At
	}
	return d.times[i].Earliest
}

// distinct gives findings of one kind that begin at the same line keys of their own.
func distinct(in []usage.Finding) []usage.Finding {
	seen := map[string]int{}
	for i := range in {
		key := in[i].Key
		if n := seen[key]; n > 0 {
			in[i].Key = fmt.Sprintf("%s-%d", key, n+1)
		}
		seen[key]++
	}
	return in
}

// key is a finding's key: its kind and the stamp of the row where it begins,
// which are the same in every derivation and on every card that holds the row.
func (d *deriver) key(kind string, card, row int32) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%x", kind, d.files[card].Rows[row].Key))
	return hex.EncodeToString(sum[:8])
}

// cardKey is the key of a finding about a card as a whole.
func (d *deriver) cardKey(kind string, card int) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s", kind, d.cards[card].ID))
	return hex.EncodeToString(sum[:8])
}

// seen is the choice that every finding has.
var seen = usage.Choice{Answer: usage.AnswerSeen, Says: "Seen. Nothing changes."}

func (d *deriver) ref(card, row int32) usage.RowRef {
	r := &d.files[card].Rows[row]
	return usage.RowRef{Card: d.place[card], Line: r.Line, Offset: r.Offset}
}

// clockFindings are the notices of the clock.
func (d *deriver) clockFindings() []usage.Finding {
	var out []usage.Finding
	for _, n := range d.saw {
		first := d.book.Entries[n.Rows[0]]
		f := usage.Finding{
			Key: d.key(n.Kind, first.Card, first.Row), Kind: n.Kind, Says: n.Says, Changes: n.Changes,
			From: d.instant(n.Rows[0]), Choices: append(n.Choices, seen),
		}
		if n.Stint >= 0 { // its key is that of the removal, which stints looks for
			e := d.book.Entries[d.book.Stints[n.Stint].Last]
			f.Key = d.key(n.Kind, e.Card, e.Row)
		}
		if last := n.Rows[len(n.Rows)-1]; len(n.Rows) > 1 && d.times[last].Latest != usage.Beyond {
			f.To = d.times[last].Latest
		}
		for _, row := range n.Rows {
			e := d.book.Entries[row]
			f.Evidence = append(f.Evidence, d.ref(e.Card, e.Row))
		}
		out = append(out, f)
	}
	return out
}

// untimed reports stretches of openings whose stamps are no time. What the
// clock has a notice for is not told twice.
func (d *deriver) untimed() []usage.Finding {
	var out []usage.Finding
	for i := 0; i < len(d.times); i++ {
		j := i
		for j < len(d.times) && !d.times[j].Timed && !d.row(&d.book.Entries[j]).Timed {
			j++
		}
		if j > i {
			out = append(out, d.untimedStretch(i, j))
			i = j
		}
	}
	return out
}

func (d *deriver) untimedStretch(from, to int) usage.Finding {
	e := d.book.Entries[from]
	f := usage.Finding{
		Key: d.key("bad rows", e.Card, e.Row), Kind: "bad rows", From: d.times[from].Earliest,
		Says:    fmt.Sprintf("%s a stamp that is no time: the clock chip did not answer, or its wiring is loose", plural(to-from, "opening has", "openings have")),
		Changes: "They are counted between their neighbours, and in no hour or day.",
		Choices: []usage.Choice{seen},
	}
	for k := from; k < to && k < from+20; k++ {
		e := d.book.Entries[k]
		f.Evidence = append(f.Evidence, d.ref(e.Card, e.Row))
	}
	if d.times[to-1].Latest != usage.Beyond {
		f.To = d.times[to-1].Latest
	}
	return f
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// badRows reports, for each card, lines that are no rows. A card that grew says
// again what its earlier reading said: that is told once.
func (d *deriver) badRows() []usage.Finding {
	type line struct {
		n   int
		raw string
	}
	known := map[line]bool{}
	var out []usage.Finding
	for _, c := range d.bySize() {
		var fresh []cardfile.Complaint
		for _, x := range d.files[c].Complaints {
			if l := (line{x.Line, x.Raw}); !known[l] {
				known[l] = true
				fresh = append(fresh, x)
			}
		}
		if len(fresh) > 0 {
			out = append(out, d.unread(c, fresh))
		}
	}
	return out
}

// bySize are the cards by the number of their lines, then by ID.
func (d *deriver) bySize() []int {
	order := make([]int, len(d.files))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(d.files[a].Lines, d.files[b].Lines) })
	return order
}

func (d *deriver) unread(c int, complaints []cardfile.Complaint) usage.Finding {
	f := usage.Finding{
		Key: d.cardKey("unread lines", c), Kind: "unread lines",
		Says: fmt.Sprintf("%s could not be read as openings (first: line %d, %s)",
			plural(len(complaints), "line of this card", "lines of this card"), complaints[0].Line, complaints[0].Reason),
		Changes: "They count as nothing. Look whether an opening is among them.",
		Choices: []usage.Choice{seen},
	}
	for _, x := range complaints[:min(len(complaints), 20)] {
		f.Evidence = append(f.Evidence, usage.RowRef{Card: d.place[c], Line: int32(x.Line), Offset: x.Offset})
	}
	return f
}

// conflicts reports each pair of cards that contradict each other.
func (d *deriver) conflicts() []usage.Finding {
	type pair [2]int32
	known := map[pair]int{}
	var out []usage.Finding
	for _, c := range d.book.Conflicts {
		p := pair{min(c.CardA, c.CardB), max(c.CardA, c.CardB)}
		at, ok := known[p]
		if !ok {
			at = len(out)
			known[p] = at
			out = append(out, usage.Finding{
				Key: d.key("contradicting cards", c.CardA, c.RowA), Kind: "contradicting cards",
				Changes: "All rows of both are kept: if one card was altered, withdraw it.", Choices: []usage.Choice{seen},
			})
		}
		out[at].Evidence = append(out[at].Evidence, d.ref(c.CardA, c.RowA), d.ref(c.CardB, c.RowB))
		out[at].Says = fmt.Sprintf("two cards tell the same stretch differently, in %s: %s",
			plural(len(out[at].Evidence)/2, "row", "rows"), c.What)
	}
	return out
}
