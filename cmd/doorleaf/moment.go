package main

import (
	"fmt"
	"time"

	"doorleaf/usage"
)

// trueTime reads a true time that a flag gives, with an offset or in the civil time of
// a zone. In the hour that comes twice it is the first; in the hour that is missing it
// is refused.
func trueTime(s, flag string, zone *usage.Zone) (int64, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t.Unix(), nil
	}
	for _, layout := range pulledLayouts {
		t, err := time.Parse(layout, s)
		if err != nil {
			continue
		}
		first, _, kind := zone.Resolve(t.Unix())
		if kind == usage.Gap {
			return 0, &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("%s %s did not exist in %s: the clocks went forward over it", flag, s, zone), Try: "give a time before or after"}
		}
		return first, nil
	}
	return 0, &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("%s %q is no time", flag, s), Try: "2026-05-01T14:30, or 2026-05-01T14:30:00+01:00"}
}
