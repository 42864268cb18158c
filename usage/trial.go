package usage

import "iter"

// Trial is what the openings of a stretch come to under some thresholds. Untimed
// openings are not in it.
type Trial struct {
	Visits  int64 // that begin in the stretch
	Rattles int64 // openings
	Ajar    int64 // openings
}

// TryThresholds counts what the openings of a logbook, in its order and classed, come
// to under other thresholds, from the civil date first to last, both included. A
// service opening stays one, whatever its seconds; all else is classed and joined
// anew, as Derive does. Nothing is changed.
func TryThresholds(zone *Zone, openings iter.Seq[Opening], limits Thresholds, first, last Date) Trial {
	var t Trial
	join := joiner{joinS: int64(limits.JoinS)}
	cursor := zone.Cursor()
	for o := range openings {
		if o.Class != Service {
			o.Class = Classify(o, limits)
		}
		begins := join.number(&o)
		if !o.Timed {
			continue
		}
		if date, _ := cursor.Civil(o.At); date < first || date > last {
			continue
		}
		if begins {
			t.Visits++
		}
		switch o.Class {
		case Rattle:
			t.Rattles++
		case Ajar:
			t.Ajar++
		}
	}
	return t
}
