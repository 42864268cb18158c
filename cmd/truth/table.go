package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"doorleaf/importer/forge"
)

// spread is how large something is over many openings, seconds.
type spread struct{ median, most, max int32 }

// spreadOf returns the median, the 95 % point and the largest of values, each a
// value that occurs (nearest rank); noughts without any.
func spreadOf(values []int32) spread {
	if len(values) == 0 {
		return spread{}
	}
	v := slices.Sorted(slices.Values(values))
	rank := func(percent int) int32 { return v[max(1, (percent*len(v)+99)/100)-1] }
	return spread{rank(50), rank(95), v[len(v)-1]}
}

// where returns the samples that have something.
func where(all []sample, has func(*sample) bool) []sample {
	var out []sample
	for i := range all {
		if has(&all[i]) {
			out = append(out, all[i])
		}
	}
	return out
}

func offs(all []sample) []int32 {
	out := make([]int32, len(all))
	for i := range all {
		out[i] = all[i].off
	}
	return out
}

func errorsOf(all []sample) []int32 {
	out := make([]int32, len(all))
	for i := range all {
		out[i] = all[i].errorS
	}
	return out
}

func count(all []sample, has func(*sample) bool) (n int) {
	for i := range all {
		n += one(has(&all[i]))
	}
	return n
}

func within(s *sample) bool    { return s.off <= s.errorS }
func wrongHour(s *sample) bool { return s.hour }
func anchored(s *sample) bool  { return s.anchored }
func bothEnds(s *sample) bool  { return s.both && s.calm }

// share writes n of all in percent, "–" of nothing. It rounds away from what
// would look like all or nothing.
func share(n, all int) string {
	if all == 0 {
		return "–"
	}
	p := 100 * float64(n) / float64(all)
	if n < all && p > 99.99 {
		return ">99.99"
	}
	if n > 0 && p < 0.01 {
		return "<0.01"
	}
	return strconv.FormatFloat(p, 'f', 2, 64)
}

var columns = []string{
	"", "sites", "on cards", "once", "lost", "twice", "torn: in/all", "silent", "nobody's",
	"off median", "95 %", "max", "wrong hour %", "in ± %", "error_s median", "anchored: off", "error_s", "untimed %", "in bracket %",
	"outages: raised", "uncovered", "missed", "false/site-year",
}

func (b *book) print(w io.Writer, opt options) {
	var order []string
	for _, sc := range forge.Scenarios() {
		if b.situations[sc.Name] != nil {
			order = append(order, sc.Name)
		}
	}
	fmt.Fprintf(w, "By situation (times in seconds)\n\n")
	table(w, order, b.situations, &b.all, columns)
	fmt.Fprintf(w, "\nBy what the clock was, or what befell the row\n\n")
	table(w, slices.Sorted(maps.Keys(b.states)), b.states, nil, columns[:19])
	if opt.verbose == 0 {
		return
	}
	for _, name := range order {
		fmt.Fprintf(w, "\nWorst of %s\n", name)
		for _, x := range b.situations[name].worst {
			fmt.Fprintln(w, " ", x.says)
		}
	}
	for _, says := range b.swaps.says {
		fmt.Fprintln(w, " ", says)
	}
}

func table(w io.Writer, order []string, groups map[string]*tally, all *tally, columns []string) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, strings.Join(columns, "\t")+"\t")
	for _, name := range order {
		fmt.Fprintln(t, strings.Join(groups[name].row(name)[:len(columns)], "\t")+"\t")
	}
	if all != nil {
		fmt.Fprintln(t, strings.Join(all.row("all")[:len(columns)], "\t")+"\t")
	}
	t.Flush() // its error is that of w, which nobody can be told of
}

func (t *tally) row(name string) []string {
	n := strconv.Itoa
	s := func(v int32) string { return n(int(v)) }
	off, held := spreadOf(offs(t.samples)), where(t.samples, anchored)
	timed := len(t.samples)
	alarms := "–"
	if t.years > 0 {
		alarms = fmt.Sprintf("%.2f", float64(t.alarms)/t.years)
	}
	return []string{
		name, n(t.sites), n(t.reached), n(t.once), n(t.lost), n(t.twice), n(t.tornIn) + "/" + n(t.torn), n(t.silent), n(t.phantoms),
		s(off.median), s(off.most), s(off.max), share(count(t.samples, wrongHour), timed), share(count(t.samples, within), timed),
		s(spreadOf(errorsOf(t.samples)).median), s(spreadOf(offs(held)).median), s(spreadOf(errorsOf(held)).median),
		share(t.untimed, timed+t.untimed), share(t.inside, t.untimed), n(t.raised), n(t.hidden), n(t.missed), alarms,
	}
}
