package usage

// Bracket is openings of which no more is known than that they happened in
// [From, To], Unix seconds. To may be Beyond.
type Bracket struct {
	From, To int64
	Openings int32 // of all classes
	Visits   int32
}

// bracketsOf sums the untimed openings by their brackets, in the order of the
// logbook.
func bracketsOf(openings []Opening) []Bracket {
	var out []Bracket
	place := map[reach]int{}
	for i := range openings {
		o := &openings[i]
		if o.Timed {
			continue
		}
		key := reach{o.Earliest, o.Latest}
		at, ok := place[key]
		if !ok {
			at = len(out)
			place[key] = at
			out = append(out, Bracket{From: key.from, To: key.to})
		}
		out[at].Openings++
		if o.Visit != Unknown {
			out[at].Visits++
		}
	}
	return out
}

// UntimedWithin returns the openings and visits whose brackets lie wholly in
// [from, to): those that a total of that time holds. What may lie outside is in no
// total but that of the whole logbook.
func UntimedWithin(brackets []Bracket, from, to int64) (openings, visits int64) {
	for _, b := range brackets {
		if from <= b.From && b.To < to {
			openings += int64(b.Openings)
			visits += int64(b.Visits)
		}
	}
	return openings, visits
}

// UntimedAbout returns the openings and visits that may lie in [from, to) but whose
// brackets reach out of it.
func UntimedAbout(brackets []Bracket, from, to int64) (openings, visits int64) {
	for _, b := range brackets {
		if b.From < to && from <= b.To && (b.From < from || b.To >= to) {
			openings += int64(b.Openings)
			visits += int64(b.Visits)
		}
	}
	return openings, visits
}
