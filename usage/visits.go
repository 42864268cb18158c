package usage

// Classify returns the class of an opening: service for the card's removal;
// rattle for fewer seconds than RattleS; ajar for more seconds than AjarS; else
// visitor. An opening whose seconds are unknown is neither rattle nor ajar.
func Classify(o Opening, t Thresholds) Class {
	switch {
	case o.Removal:
		return Service
	case o.OpenS < 0:
		return Visitor
	case o.OpenS < t.RattleS:
		return Rattle
	case o.OpenS > t.AjarS:
		return Ajar
	}
	return Visitor
}

// EngagedS returns the seconds of an opening that count as engagement: those of
// visitor openings, and of ajar ones no more than AjarS; 0 for unknown seconds and
// for other classes. It goes by the opening's Class.
func EngagedS(o Opening, t Thresholds) int64 {
	switch {
	case o.OpenS < 0 || o.Class == Rattle || o.Class == Service:
		return 0
	case o.Class == Ajar:
		return int64(min(o.OpenS, t.AjarS))
	}
	return int64(o.OpenS)
}

// joiner numbers visits along a logbook, 1 first.
//
// A visitor opening continues the visit of the last timed visitor opening before
// it in the logbook when it begins no later than JoinS after that one's close
// (At + OpenS, unknown seconds counting 0) and no earlier than JoinS before that
// one's beginning: a small step back of the clock joins, a larger one does not.
// Rattles, service and ajar openings in between do not part a visit.
// An ajar opening is a visit of its own, and so is an untimed visitor or ajar
// opening. Rattles and service openings belong to no visit.
type joiner struct {
	joinS   int64
	visits  int32 // numbers given so far
	current int32 // visit of the last timed visitor opening; 0 before the first
	begin   int64 // beginning and close of that opening
	closed  int64
}

// number sets the Visit of the next opening of the logbook, which has its class,
// and reports whether the opening begins a visit.
func (j *joiner) number(o *Opening) (begins bool) {
	switch {
	case o.Class == Rattle || o.Class == Service:
		o.Visit = Unknown
		return false
	case o.Class == Ajar || !o.Timed:
		j.visits++
		o.Visit = j.visits
		return true
	}
	joins := j.current > 0 && o.At <= j.closed+j.joinS && o.At >= j.begin-j.joinS
	if !joins {
		j.visits++
		j.current = j.visits
	}
	j.begin, j.closed = o.At, o.At+int64(max(o.OpenS, 0))
	o.Visit = j.current
	return !joins
}
