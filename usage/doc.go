// Package usage says what openings mean: it sorts them into classes, joins them
// into visits, measures exposure, and makes tallies, rates, seasons and daylight
// of them. It is pure: plain values in, plain values out; no files, no SQL, no
// HTTP, and no look at the clock. Instants are Unix seconds (UTC); dates, hours
// and months are civil time at the site.
package usage
