package main

import (
	"fmt"
	"strings"
	"time"

	"doorleaf/usage"
)

// The ways in which a true time may be given: with its offset, as in RFC 3339 and without
// its seconds, or in the civil time of a zone.
var (
	offsetLayouts = []string{time.RFC3339, "2006-01-02T15:04Z07:00"}
	civilLayouts  = []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"}
)

// trueTime reads a true time that a flag gives, with an offset or in the civil time of
// a zone; it is exact where it has seconds, be they 00. In the hour that comes twice it is
// the first; in the hour that is missing it is refused.
func trueTime(s, flag string, zone *usage.Zone) (at int64, exact bool, err error) {
	hasSeconds := func(layout string) bool { return strings.Contains(layout, ":05") }
	for _, layout := range offsetLayouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Unix(), hasSeconds(layout), nil
		}
	}
	for _, layout := range civilLayouts {
		t, err := time.Parse(layout, s)
		if err != nil {
			continue
		}
		first, _, kind := zone.Resolve(t.Unix())
		if kind == usage.Gap {
			return 0, false, &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("%s %s did not exist in %s: the clocks went forward over it", flag, s, zone), Try: "give a time before or after"}
		}
		return first, hasSeconds(layout), nil
	}
	return 0, false, &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("%s %q is no time", flag, s), Try: "2026-05-01T14:30, or 2026-05-01T14:30:00+01:00"}
}
