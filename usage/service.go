package usage

import "sort"

// serviceReachS is how far from the noted time of a service call an opening is
// held to be the volunteer's, in seconds. Common practice, no source.
const serviceReachS = 10 * 60

// serviceTimes are the times near service calls, ascending and disjoint, their
// ends included.
type serviceTimes []reach

// serviceTimesOf returns the times within serviceReachS and ErrorS of each call.
// A call without a time (At 0 or less) has none.
func serviceTimesOf(calls []ServiceCall) serviceTimes {
	var near serviceTimes
	for _, c := range calls {
		if c.At > 0 {
			r := serviceReachS + int64(max(c.ErrorS, 0))
			near = append(near, reach{c.At - r, c.At + r})
		}
	}
	return mergeReaches(near)
}

// holds reports whether an opening may have been made at a service call: a timed
// one when At ∓ ErrorS touches one of the times, an untimed one only when its
// whole bracket lies in one, since a bracket may span months of visits.
func (s serviceTimes) holds(o *Opening) bool {
	if len(s) == 0 {
		return false
	}
	from, to := o.At-int64(o.ErrorS), o.At+int64(o.ErrorS)
	if !o.Timed {
		from, to = o.Earliest, o.Latest
	}
	i := sort.Search(len(s), func(i int) bool { return s[i].to >= from })
	if i == len(s) {
		return false
	}
	if !o.Timed {
		return s[i].from <= from && to <= s[i].to
	}
	return s[i].from <= to
}
