package usage

import (
	"cmp"
	"slices"
)

// reach is a time from one instant to another, Unix seconds.
type reach struct{ from, to int64 }

// mergeReaches sorts reaches and joins those that overlap or touch.
func mergeReaches(in []reach) []reach {
	slices.SortFunc(in, func(a, b reach) int { return cmp.Compare(a.from, b.from) })
	var out []reach
	for _, r := range in {
		if n := len(out); n > 0 && r.from <= out[n-1].to {
			out[n-1].to = max(out[n-1].to, r.to)
			continue
		}
		out = append(out, r)
	}
	return out
}

// CutOutages returns the stretches with the outages cut out of those of kind
// Recording; what is cut out is of kind Outage. Stretches of other kinds stay as
// they are. Stretches and outages must each be ascending and disjoint; so is the
// answer. Empty parts are left out.
func CutOutages(stretches, outages []Stretch) []Stretch {
	if len(outages) == 0 {
		return slices.Clone(stretches)
	}
	out := make([]Stretch, 0, len(stretches)+2*len(outages))
	for _, s := range stretches {
		if s.Kind != Recording {
			out = append(out, s)
			continue
		}
		at := s.From
		for _, o := range outages {
			from, to := max(o.From, at), min(o.To, s.To)
			if from >= to {
				continue
			}
			if from > at {
				out = append(out, Stretch{at, from, Recording})
			}
			out = append(out, Stretch{from, to, Outage})
			at = to
		}
		if at < s.To || s.From == s.To {
			out = append(out, Stretch{at, s.To, Recording})
		}
	}
	return out
}
