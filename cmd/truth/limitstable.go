package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"gonum.org/v1/gonum/stat/distuv"
)

// The targets of limits: they hold the truth in 93 to 97 of 100 cases, and are in
// the median no more than 1.3 times as wide as with complete coverage and known
// dispersion.
const (
	leastHold, mostHold = 0.93, 0.97
	mostWidth           = 1.3
	// rowDoubt is the probability below which what was counted in one row of the
	// table speaks against a target. Rows are many and their cases few; what all rows
	// come to together must lie within the target as it stands.
	rowDoubt = 0.001
)

func (h *hold) share() float64 { return float64(h.held) / float64(h.cases) }

// width returns the median width ratio; NaN without any.
func (h *hold) width() float64 {
	if len(h.widths) == 0 {
		return math.NaN()
	}
	return slices.Sorted(slices.Values(h.widths))[len(h.widths)/2]
}

// under and over say whether the cases speak for a share below leastHold or above
// mostHold. Cases of one site are taken to be independent, though seasons that
// follow each other share a clock.
func (h *hold) under() bool {
	return h.cases > 0 && h.share() < leastHold && distuv.Binomial{N: float64(h.cases), P: leastHold}.CDF(float64(h.held)) < rowDoubt
}

func (h *hold) over() bool {
	return h.cases > 0 && h.share() > mostHold && distuv.Binomial{N: float64(h.cases), P: mostHold}.Survival(float64(h.held)-1) < rowDoubt
}

// ownShare is how often the method holds the truth by itself.
func (h *hold) ownShare() float64 { return h.own / float64(h.cases) }

// methods says whether a share outside the target is the method's own: the cases are
// what the method makes of such truths, by chance alone.
func (h *hold) methods() bool {
	if h.cases == 0 || h.share() >= leastHold && h.share() <= mostHold {
		return false
	}
	own := min(h.ownShare(), 1)
	if own >= 1-1e-12 {
		return h.held == h.cases
	}
	law := distuv.Binomial{N: float64(h.cases), P: own}
	return law.CDF(float64(h.held)) >= rowDoubt && law.Survival(float64(h.held)-1) >= rowDoubt
}

// wide says whether the cases speak for a median width above mostWidth: more of them
// are wider than chance would make of half of them.
func (h *hold) wide() bool {
	wider := 0
	for _, w := range h.widths {
		if w > mostWidth {
			wider++
		}
	}
	n := len(h.widths)
	return 2*wider > n && distuv.Binomial{N: float64(n), P: 0.5}.Survival(float64(wider)-1) < rowDoubt
}

// print writes the table: of each figure the cases, the share held, that of the method
// by itself and the median width.
func (l limits) print(w io.Writer) {
	fmt.Fprintf(w, "\nHow often 95 %% limits hold the truth, in %%, and their median width beside complete coverage and known dispersion\n\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	head := "\t\tsites\t"
	for _, f := range figures {
		head += f + ": cases\theld\town\twidth\t"
	}
	fmt.Fprintln(t, head)
	for _, r := range l {
		line := fmt.Sprintf("%s\t%s\t%d\t", r.kind.name, r.lack, r.sites)
		for _, f := range figures {
			h := r.of(f)
			if h.cases == 0 {
				line += "0\t–\t–\t–\t"
				continue
			}
			mark := ""
			switch {
			case h.methods():
				mark = "="
			case h.under():
				mark = "−"
			case h.over():
				mark = "+"
			}
			line += fmt.Sprintf("%d\t%s%.1f\t%.1f\t%.2f\t", h.cases, mark, 100*h.share(), 100*h.ownShare(), h.width())
		}
		fmt.Fprintln(t, line)
	}
	t.Flush() // its error is that of w, which nobody can be told of
	fmt.Fprintf(w, "\n− below 93 %%, + above 97 %%, p < %g; own: how often the method holds such truths by itself, dispersion known, in %%; = outside 93 to 97 %%, and the method's own\n", rowDoubt)
}

// pooled sums the rows that belong.
func (l limits) pooled(figure string, belongs func(*limitRow) bool) *hold {
	sum := &hold{}
	for _, r := range l {
		if belongs(r) {
			sum.add(r.of(figure))
		}
	}
	return sum
}

// targets judges the table: each figure, for a handful of visits a season and for
// more.
func (l limits) targets() []target {
	var out []target
	for _, figure := range figures {
		for _, few := range []bool{false, true} {
			belongs := func(r *limitRow) bool { return r.kind.few == few }
			out = append(out, l.holds(figure, few, belongs), l.widths(figure, few, belongs))
		}
	}
	return out
}

func (l limits) holds(figure string, few bool, belongs func(*limitRow) bool) target {
	h := l.pooled(figure, belongs)
	ours := func(outside func(*hold) bool) func(*hold) bool {
		return func(h *hold) bool { return outside(h) && !h.methods() }
	}
	under, over := l.marked(figure, belongs, ours((*hold).under)), l.marked(figure, belongs, ours((*hold).over))
	t := target{
		what: fmt.Sprintf("limits of the %s%s hold the truth in 93 to 97 %%", figure, ofFew(few)), cases: h.cases, needed: true,
		met:   h.share() >= leastHold && h.share() <= mostHold && len(under)+len(over) == 0,
		above: h.share() >= leastHold && len(under) == 0, own: h.methods() && len(under)+len(over) == 0,
	}
	t.detail = fmt.Sprintf("%.1f %% in all, the method's own %.1f %%%s%s", 100*h.share(), 100*h.ownShare(), listed("below", under), listed("above", over))
	if own := l.marked(figure, belongs, (*hold).methods); len(own) > 0 {
		t.detail += fmt.Sprintf("; %d rows outside are the method's own", len(own))
	}
	return t
}

func (l limits) widths(figure string, few bool, belongs func(*limitRow) bool) target {
	h := l.pooled(figure, belongs)
	wide := l.marked(figure, belongs, (*hold).wide)
	return target{
		what: fmt.Sprintf("limits of the %s%s are at most 1.3 times as wide", figure, ofFew(few)), cases: len(h.widths), needed: true,
		met: h.width() <= mostWidth && len(wide) == 0, detail: fmt.Sprintf("%.2f × in all%s", h.width(), listed("wider", wide)),
	}
}

func ofFew(few bool) string {
	if few {
		return ", five visits a season,"
	}
	return ""
}

// marked names the rows of which is says so.
func (l limits) marked(figure string, belongs func(*limitRow) bool, is func(*hold) bool) []string {
	var out []string
	for _, r := range l {
		if belongs(r) && is(r.of(figure)) {
			out = append(out, r.kind.name+" ("+r.lack+")")
		}
	}
	return out
}

func listed(word string, rows []string) string {
	if len(rows) == 0 {
		return ""
	}
	return "; " + word + ": " + strings.Join(rows, ", ")
}
