package usage

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
)

// The kinds of findings about a box's door.
const (
	KindAjar   = "ajar door"
	KindRattle = "rattle"
)

const (
	// rattleShare is the share of a season's openings from which on rattles are
	// a matter of the latch and not of hands; rattleMany is how many there must
	// be at least. Common practice, no source.
	rattleShare = 0.15
	rattleMany  = 30
	// ajarMany doors left ajar in a season, or one for ajarLong seconds, want a
	// look at the hinge; fewer are forgetful visitors. Common practice, no source.
	ajarMany = 3
	ajarLong = 4 * hourSeconds
)

// doorFindings says, season by season, where doors were left ajar and where
// rattles are so many that the latch or the switch wants a look. The openings
// are classed and in logbook order.
func doorFindings(site Site, zone *Zone, openings []Opening) []Finding {
	var out []Finding
	cursor := zone.Cursor()
	hemisphere := HemisphereOf(site.Latitude)
	var season Season
	var until Date
	var in doorTally
	for i := range openings {
		o := &openings[i]
		if !o.Timed {
			continue
		}
		if date, _ := cursor.Civil(o.At); in.openings == 0 || date > until || date < season.First() {
			out = in.append(out, site, season)
			season = SeasonOf(date, hemisphere)
			until, in = season.Last(), doorTally{}
		}
		in.add(o)
	}
	return in.append(out, site, season)
}

// doorTally counts one stretch of openings within a season.
type doorTally struct {
	openings, ajar, rattles int
	longest                 *Opening // of those left ajar
	rattle                  *Opening // the first
}

func (t *doorTally) add(o *Opening) {
	t.openings++
	switch o.Class {
	case Ajar:
		t.ajar++
		if t.longest == nil || o.OpenS > t.longest.OpenS {
			t.longest = o
		}
	case Rattle:
		t.rattles++
		if t.rattle == nil {
			t.rattle = o
		}
	}
}

func (t *doorTally) append(out []Finding, site Site, season Season) []Finding {
	if t.ajar >= ajarMany || t.ajar > 0 && t.longest.OpenS >= ajarLong {
		out = append(out, doorFinding(KindAjar, site, season, t.longest,
			fmt.Sprintf("the door stood ajar %s in %s, %sfor %s", often(t.ajar), inWords(season), theLongest(t.ajar), hours(t.longest.OpenS)),
			fmt.Sprintf("Each counts as one visit; of its open time %s are counted.", hours(site.Thresholds.AjarS))))
	}
	if t.rattles >= rattleMany && float64(t.rattles) >= rattleShare*float64(t.openings) {
		out = append(out, doorFinding(KindRattle, site, season, t.rattle,
			fmt.Sprintf("%d of %d openings in %s lasted less than %d seconds: a loose latch, wind, or a bouncing switch", t.rattles, t.openings, inWords(season), site.Thresholds.RattleS),
			"They count as no visit."))
	}
	return out
}

func doorFinding(kind string, site Site, season Season, o *Opening, says, changes string) Finding {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s", kind, season))
	return Finding{
		Key: hex.EncodeToString(sum[:8]), Kind: kind, From: o.At, Says: says, Changes: changes,
		Choices:  []Choice{{Answer: AnswerSeen, Says: "Seen. Nothing changes."}},
		Evidence: []RowRef{{Card: o.Card, Line: o.Line, Offset: o.Offset}},
	}
}

// inWords is a season as people say it: spring 2026, winter 2025–26.
func inWords(s Season) string {
	years, word, _ := cutLast(s.String(), "-")
	return word + " " + strings.ReplaceAll(years, "-", "–")
}

func often(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func theLongest(of int) string {
	if of == 1 {
		return ""
	}
	return "the longest "
}

func hours(s int32) string {
	if s < 2*hourSeconds {
		return fmt.Sprintf("%d minutes", s/60)
	}
	return fmt.Sprintf("%d hours", s/hourSeconds)
}
