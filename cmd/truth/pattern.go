package main

import "doorleaf/importer/forge"

const (
	patternName = "the month-0 pattern"
	monthsName  = "11 months 6 s a day slow"
)

// pattern is what became of the rows of the month-0 pattern.
type pattern struct {
	sites   int
	ff      int // rows of 0xFF
	ffTimed int // that were given a time: there is none in them
	stuck   int // rows that repeat a good stamp
	timed   int // that were given a time
	leads   int // the good rows that are repeated, timed
	blank   int // rows of month 0
	outside int // untimed rows of any of these with the truth outside their bracket by more than the error of its ends
}

func (p *pattern) add(o pattern) {
	p.sites, p.ff, p.ffTimed, p.stuck, p.timed = p.sites+o.sites, p.ff+o.ff, p.ffTimed+o.ffTimed, p.stuck+o.stuck, p.timed+o.timed
	p.leads, p.blank, p.outside = p.leads+o.leads, p.blank+o.blank, p.outside+o.outside
}

// pattern looks at the rows of the month-0 pattern.
func (g *gauge) pattern() pattern {
	p := pattern{sites: 1}
	for i, m := range g.match {
		if m == noTruth {
			continue
		}
		o, r := &g.book.Openings[i], &g.truth.Written[m]
		switch {
		case r.Fault == forge.ReadFF:
			p.ff++
			p.ffTimed += one(o.Timed)
		case r.Fault == forge.ReadStuck:
			p.stuck++
			p.timed += one(o.Timed)
		case r.State == forge.StateBlank:
			p.blank++
		case m+1 < len(g.truth.Written) && g.truth.Written[m+1].Fault == forge.ReadStuck:
			// Of two people in one minute of a clock that shows minutes, the first is timed.
			p.leads += one(o.Timed || m > 0 && g.truth.Written[m-1].Digits() == r.Digits())
		}
		at, e := g.truth.Openings[m].At, g.endError(i)
		p.outside += one(!o.Timed && (at < o.Earliest-e || at > o.Latest+e))
	}
	return p
}

// endError is the larger error of the timed openings before and after opening i, s: how
// well the ends of a bracket between them are known.
func (g *gauge) endError(i int) int64 {
	largest := int32(0)
	for _, step := range [2]int{-1, 1} {
		j := i + step
		for j >= 0 && j < len(g.book.Openings) && !g.book.Openings[j].Timed {
			j += step
		}
		if j >= 0 && j < len(g.book.Openings) {
			largest = max(largest, g.book.Openings[j].ErrorS)
		}
	}
	return int64(largest)
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}
