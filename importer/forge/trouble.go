package forge

// Trouble is something that goes wrong at a site, other than with its clock,
// which has events of its own.
type Trouble struct {
	Kind  string `json:"kind"`
	At    int64  `json:"at"`    // true instant, Unix seconds; it takes effect from then on
	Count int    `json:"count"` // see the kinds
}

// The kinds of trouble.
const (
	TroubleFF   = "0xff" // the clock chip does not answer for Count openings: every register reads 0xFF
	TroubleNUL  = "nul"  // the next card to be taken out ends in Count NUL bytes, allocated and never written
	TroubleAway = "away" // the next card to be taken out stays away for Count days, the logger without one
	TroubleAjar = "ajar" // the next visitor leaves the door ajar; Count is not used
)

// ofKind returns the troubles of a kind, in their order.
func ofKind(all []Trouble, kind string) []Trouble {
	var out []Trouble
	for _, t := range all {
		if t.Kind == kind {
			out = append(out, t)
		}
	}
	return out
}
