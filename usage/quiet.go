package usage

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"

	"gonum.org/v1/gonum/mathext"
)

// KindQuiet is the kind of a finding about an improbably quiet stretch.
const KindQuiet = "quiet stretch"

const (
	// quietChance is the number of stretches as improbable as a finding's that are
	// expected in the whole logbook if the logger never failed.
	quietChance = 0.05
	stillQuiet  = 0.05
	// A quiet stretch is judged by the days next to it, on each side of it by
	// itself: by so many visits and days at least, if they lie within so many days.
	// Common practice, no source.
	sideVisits, sideDays, sideReach = 20, 7, 56
)

// gap is recording time without any opening: from the close of one to the next.
type gap struct {
	reach
	begin, end int32 // the openings around it, positions in the logbook, or Unknown
	ends       bool  // a visit begins at its end
	slot       int32 // of from, and of to, in the expectation
	last       int32
	candidate  bool
	chance     float64 // number of such gaps expected in the logbook
	wide       bool    // untimed openings may lie in it
	maybe      float64 // openings without a time that may lie in it
}

// quietStretches returns a finding for each improbably quiet stretch, ascending,
// with its ruling. The openings are the logbook's, with class and visit filled in.
//
// A gap is recording time without an opening of any class; what an untimed
// opening's bracket covers is not part of one, since the logger may have been at
// work in it. Where brackets take away a third or more of what would else be found, or
// all of it, the time between two timed openings is a gap too, and all of its n
// untimed openings are counted into it: its probability is that of n visits or fewer,
// and such gaps are expected only where openings without a time stand.
// Its chance is the number of such gaps that are expected in the
// logbook: visits × the probability that a visit is followed by a gap of this
// expectation or more, by the level of the days on both sides where these agree,
// else by the side that makes it more probable, so that a step, a holiday's
// beginning or a trend is no outage; and by the same dates of other years, where
// these were quieter than the weeks around them. It is raised where that is less
// than quietChance.
//
// With L the level by Y visits in k days near it, x the gap's size on a day
// and X and y the size and the visits of the rest of that day, the probability is
//
//	Q = Σ_days (1/θ + y)·ln(1 + Lx/(1/θ + LX)),   p = (1 + vQ)^(−1/v),  v = 1/Y + θ/k
//
// which is Π_days (1 + θLx)^(−1/θ) for whole days and a level known exactly, and
// exp(−Lx) without over-dispersion. (Gamma–Poisson mixtures; each factor is the
// probability of no count given what was counted beside it.) Of n visits or fewer it
// is, with S the gap's size and w = v + θ·Σ_days x²/S²,
//
//	P(N ≤ n) = I_{1/(1+wLS)}(1/w, n+1)
//
// since negative binomial counts of equal days sum to one of the mean of them all and
// of θ over their number; I is the regularised incomplete beta function (NIST DLMF,
// 8.17).
//
// The stretches found are left out of the fit, and the others judged anew, until
// nothing changes. Rulings have no part in it. A stretch that was answered once
// stays a finding as long as p is less than stillQuiet, so that the small
// changes that a later card makes to the pattern do not undo the answer.
func quietStretches(z *Zone, lb Logbook, openings []Opening) []Finding {
	visits := visitInstants(openings)
	if len(visits) < 2 {
		return nil
	}
	e := newExpectation(z, lb.Stretches, visits)
	if len(e.slots) == 0 {
		return nil
	}
	e.fit(nil)
	q := quiet{expectation: e, visits: float64(len(visits))}
	q.screen(withWide(gapsOf(lb.Stretches, openings, true), gapsOf(lb.Stretches, openings, false)))
	q.mayHold(openings)
	q.settle()
	var found []Finding
	for i := range q.gaps {
		g := &q.gaps[i]
		ruling := RulingFor(lb.Rulings, quietKey(g, lb, openings))
		if n := len(found); n > 0 && found[n-1].To > g.from {
			continue // part of one that was ruled on
		}
		if g.chance < quietChance || ruling != nil && g.chance < stillQuiet*q.places(g) {
			f := q.finding(g, lb, openings)
			f.Ruling = ruling
			found = append(found, f)
		}
	}
	return found
}

// ruledOut returns the stretches of findings that a ruling calls an outage.
func ruledOut(quiet []Finding) []Stretch {
	var out []Stretch
	for _, f := range quiet {
		if f.Ruling != nil && f.Ruling.Answer == AnswerOutage {
			out = append(out, Stretch{f.From, f.To, Outage})
		}
	}
	return out
}

// visitInstants returns the beginnings of the timed visits, ascending.
func visitInstants(openings []Opening) []int64 {
	at := make([]int64, 0, len(openings))
	last := int32(0)
	for i := range openings {
		if o := &openings[i]; o.Timed && o.Visit > last {
			at = append(at, o.At)
			last = o.Visit
		}
	}
	if !slices.IsSorted(at) {
		slices.Sort(at)
	}
	return at
}

// taken returns the time that an opening takes up: while its door is open, or in
// all of its bracket, the logger's silence says nothing.
func taken(o *Opening) reach {
	if !o.Timed {
		return reach{o.Earliest, o.Latest}
	}
	return reach{o.At, o.At + int64(max(o.OpenS, 0))}
}

// inTime returns the positions of the openings by the beginning of the time that
// they take up; nil where they stand in that order.
func inTime(openings []Opening) []int32 {
	sorted, last := true, int64(math.MinInt64)
	for i := range openings {
		from := taken(&openings[i]).from
		sorted = sorted && from >= last
		last = from
	}
	if sorted {
		return nil
	}
	order := make([]int32, len(openings))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortStableFunc(order, func(a, b int32) int {
		return cmp.Compare(taken(&openings[a]).from, taken(&openings[b]).from)
	})
	return order
}

// gapsOf returns the gaps of an hour or more, ascending: those between openings, or
// those between openings that have a time.
func gapsOf(stretches []Stretch, openings []Opening, untimed bool) []gap {
	const shortest = hourSeconds
	var gaps []gap
	order, next := inTime(openings), 0
	for _, s := range stretches {
		if s.Kind != Recording {
			continue
		}
		at, begin := s.From, int32(Unknown)
		for ; next < len(openings); next++ {
			i := int32(next)
			if order != nil {
				i = order[next]
			}
			if !untimed && !openings[i].Timed {
				continue
			}
			t := taken(&openings[i])
			if t.from >= s.To {
				break
			}
			if t.from-at >= shortest {
				gaps = append(gaps, gap{reach: reach{at, t.from}, begin: begin, end: i, ends: openings[i].Timed && openings[i].Visit != Unknown})
			}
			if t.to >= at {
				at, begin = t.to, i
			}
			if t.to > s.To {
				break // it may reach into the next stretch
			}
		}
		if s.To-at >= shortest {
			gaps = append(gaps, gap{reach: reach{at, s.To}, begin: begin, end: Unknown})
		}
	}
	return gaps
}

// withWide returns the gaps, ascending, with those between timed openings that no gap
// fills, each before its parts.
func withWide(gaps, between []gap) []gap {
	var out []gap
	i := 0
	for _, g := range between {
		for i < len(gaps) && gaps[i].from < g.from {
			out = append(out, gaps[i])
			i++
		}
		if i == len(gaps) || gaps[i].reach != g.reach {
			g.wide = true
			out = append(out, g)
		}
	}
	return append(out, gaps[i:]...)
}

// mayHold counts into each wide gap the openings without a time that may lie in it, of
// any class: what a stuck clock wrote may have lost its seconds too.
func (q *quiet) mayHold(openings []Opening) {
	for i := range q.gaps {
		g := &q.gaps[i]
		for k := range openings {
			o := &openings[k]
			if g.wide && !o.Timed && o.Earliest < g.to && o.Latest > g.from {
				g.maybe++
			}
		}
	}
}

// choose takes from the improbable gaps those that overlap: a wide one gives way to
// its parts where they make up most of it, else they to it.
func (q *quiet) choose() {
	const most = 2.0 / 3
	for i := range q.gaps {
		g := &q.gaps[i]
		if !g.wide || g.chance >= quietChance {
			continue
		}
		end, parts := i+1, 0.0
		for ; end < len(q.gaps) && q.gaps[end].from < g.to; end++ {
			if p := &q.gaps[end]; p.chance < quietChance {
				parts += q.sizeOf(p)
			}
		}
		if parts > most*q.sizeOf(g) {
			g.chance = math.Inf(1)
			continue
		}
		for k := i + 1; k < end; k++ {
			q.gaps[k].chance = math.Inf(1)
		}
	}
}

// quiet judges gaps.
type quiet struct {
	*expectation
	gaps   []gap // those that could be improbable at all
	visits float64
	wides  float64   // wide gaps of the logbook
	counts []float64 // sums of the days, without the nominated gaps
	sizes  []float64
}

// screen keeps the gaps that would be improbable at the busiest level.
func (q *quiet) screen(gaps []gap) {
	for i := range gaps {
		if gaps[i].wide {
			q.wides++
		}
	}
	busiest, slot := q.busiest(), 0
	for _, g := range gaps {
		for slot+1 < len(q.slots) && q.slots[slot+1].from <= g.from {
			slot++
		}
		g.slot = int32(slot)
		last := slot
		for last+1 < len(q.slots) && q.slots[last+1].from < g.to {
			last++
		}
		g.last = int32(last)
		if q.sizeOf(&g)*busiest >= math.Log(q.places(&g)/quietChance) {
			q.gaps = append(q.gaps, g)
		}
	}
}

// places is how many gaps like this one the logbook could have: one after each visit,
// but wide ones only where openings without a time stand.
func (q *quiet) places(g *gap) float64 {
	if g.wide {
		return q.wides
	}
	return q.visits
}

func (q *quiet) sizeOf(g *gap) float64 {
	return q.before(g.to, int(g.last)) - q.before(g.from, int(g.slot))
}

// settle judges all gaps until the set of improbable ones stays the same.
func (q *quiet) settle() {
	var found []reach
	for round := range 8 {
		if round > 0 {
			q.fit(found)
		}
		q.nominate()
		for i := range q.gaps {
			g := &q.gaps[i]
			g.chance = q.places(g) * q.tail(g)
		}
		q.choose()
		before := found
		found = q.reaches(func(g *gap) bool { return g.chance < quietChance })
		if slices.Equal(before, found) {
			return
		}
	}
}

// reaches returns the time that some of the gaps take up, ascending and disjoint.
func (q *quiet) reaches(which func(*gap) bool) []reach {
	var out []reach
	for i := range q.gaps {
		g := &q.gaps[i]
		switch n := len(out); {
		case !which(g):
		case n > 0 && g.from < out[n-1].to:
			out[n-1].to = max(out[n-1].to, g.to)
		default:
			out = append(out, g.reach)
		}
	}
	return out
}

// nominate marks the gaps that would be found, or nearly, by the level of the four
// weeks on both sides together, and leaves them out of the days by which gaps are
// judged: two outages near each other must not hide each other.
func (q *quiet) nominate() {
	q.leaveOut(nil)
	q.tally()
	visits, sizes := q.sums()
	for i := range q.gaps {
		g := &q.gaps[i]
		from := max(0, int(q.slots[g.slot].day)-28)
		to := min(len(q.days), int(q.slots[g.last].day)+29)
		own := q.sizeOf(g)
		n, x := visits[to]-visits[from], sizes[to]-sizes[from]-own
		g.candidate = false
		if n > 0 && x > 0 {
			s := side{level: n / x, v: 1/n + q.theta/float64(to-from)}
			g.candidate = q.places(g)*q.probability(g, s) < 1
		}
	}
	q.leaveOut(q.reaches(func(g *gap) bool { return g.candidate }))
	q.tally()
	q.counts, q.sizes = q.sums()
}

// side is the level of the days on one side of a gap, and its relative variance.
type side struct{ level, v float64 }

// tail returns the probability of a gap: by both sides together where they agree,
// else by the side that makes it more probable.
func (q *quiet) tail(g *gap) float64 {
	first, last := int(q.slots[g.slot].day), int(q.slots[g.last].day)
	before, okBefore := q.side(first-1, -1)
	after, okAfter := q.side(last+1, +1)
	switch {
	case !okBefore && !okAfter:
		return 1
	case !okAfter:
		after = before
	case !okBefore:
		before = after
	case before.agrees(after):
		before = before.with(after)
		after = before
	}
	season := q.season(first, last)
	before.level, after.level = min(before.level, season), min(after.level, season)
	return max(q.probability(g, before), q.probability(g, after))
}

// season returns the level that the same dates of other years lead to expect, a few
// days on each side counted in: the level of this year's weeks around them, times
// the factor by which those dates were quieter than the weeks around them then. It
// is +Inf where they were not, or not by more than two standard deviations.
func (q *quiet) season(first, last int) float64 {
	const margin = 2
	from, to := q.days[first].date-margin, q.days[last].date+margin
	var same, around, now seen
	for year := -9; year <= 9; year++ {
		shift := Date(math.Round(365.25 * float64(year)))
		s := &around
		if year == 0 {
			s = &now
		} else {
			same.add(q, from+shift, to+shift)
		}
		s.add(q, from+shift-sideReach, from+shift-1)
		s.add(q, to+shift+1, to+shift+sideReach)
	}
	if same.size <= 0 || around.size <= 0 || now.size <= 0 || to-from > 180 {
		return math.Inf(1)
	}
	mean := same.size * around.count / around.size
	spread := math.Sqrt(mean + q.theta*mean*mean/max(same.days, 1))
	if same.count > mean-2*spread {
		return math.Inf(1)
	}
	return shrunk(same.count, mean, hourStrength) * now.count / now.size
}

// seen is the visits of some days, their size and their number.
type seen struct{ count, size, days float64 }

// add adds the days from one date to another, both included.
func (s *seen) add(q *quiet, from, to Date) {
	place := func(d Date) int {
		return sort.Search(len(q.days), func(i int) bool { return q.days[i].date >= d })
	}
	a, b := place(from), place(to+1)
	s.count += q.counts[b] - q.counts[a]
	s.size += q.sizes[b] - q.sizes[a]
	s.days += float64(b - a)
}

// agrees reports whether two levels differ by less than chance alone makes them
// once in twelve times.
func (s side) agrees(o side) bool {
	return s.level > 0 && o.level > 0 && math.Abs(math.Log(s.level/o.level)) < 1.75*math.Sqrt(s.v+o.v)
}

// with returns the mean of two levels weighted by what is known of each.
func (s side) with(o side) side {
	a, b := 1/s.v, 1/o.v
	return side{(a*s.level + b*o.level) / (a + b), 1 / (a + b)}
}

// side returns the level of the days from day i on in the given direction; false
// without any recording time there.
func (q *quiet) side(i, step int) (side, bool) {
	n, x, k := 0.0, 0.0, 0.0
	start := i
	for ; i >= 0 && i < len(q.days) && (n < sideVisits || k < sideDays); i += step {
		d := &q.days[i]
		if away := int(d.date-q.days[start].date) * step; away > sideReach {
			break
		}
		n, x = n+d.kept, x+d.fair
		if d.fair > 0 {
			k++
		}
	}
	if x <= 0 {
		return side{}, false
	}
	if n == 0 {
		return side{level: 0, v: 1}, true
	}
	return side{level: n / x, v: 1/n + q.theta/k}, true
}

// probability returns p as quietStretches has it.
func (q *quiet) probability(g *gap, s side) float64 {
	sum, size, squares := 0.0, 0.0, 0.0
	for i := int(g.slot); i <= int(g.last); {
		day := q.slots[i].day
		next := i
		for next <= int(g.last) && q.slots[next].day == day {
			next++
		}
		from, to := q.size[i], q.size[next]
		if i == int(g.slot) {
			from = q.before(g.from, i)
		}
		if next == int(g.last)+1 {
			to = q.before(g.to, next-1)
		}
		sum += q.exponent(g, &q.days[day], to-from, s.level, day)
		size, squares = size+to-from, squares+(to-from)*(to-from)
		i = next
	}
	if g.maybe > 0 && size > 0 && s.v > 0 && s.level > 0 {
		v := s.v + q.theta*squares/(size*size)
		return mathext.RegIncBeta(1/v, g.maybe+1, 1/(1+v*s.level*size))
	}
	return math.Exp(-math.Log1p(s.v*sum) / s.v)
}

// exponent returns a day's term of Q.
func (q *quiet) exponent(g *gap, d *expectedDay, size, level float64, day int32) float64 {
	if q.theta < 1e-6 {
		return level * size
	}
	rest, y := d.fair, d.kept
	if !g.candidate {
		rest -= size
	}
	if g.ends && day == q.slots[g.last].day {
		y-- // the visit that ended it was bound to come
	}
	rest, y = max(rest, 0), max(y, 0)
	return (1 + q.theta*y) / q.theta * math.Log1p(q.theta*level*size/(1+q.theta*level*rest))
}

// finding says what a gap is.
func (q *quiet) finding(g *gap, lb Logbook, openings []Opening) Finding {
	expected := q.sizeOf(g) * q.pooledLevel(g)
	f := Finding{
		Key:  quietKey(g, lb, openings),
		Kind: KindQuiet,
		From: g.from,
		To:   g.to,
		Says: fmt.Sprintf("%s without an opening%s, when about %s visits were to be expected: was the box out of order? By chance alone, such a stretch would come %s.",
			length(g.to-g.from), g.but(), rounded(expected), seldom(g.chance)),
		Changes: "Until it is answered, the stretch counts as recorded time without visits. As an outage it is left out, and the rates around it rise; counts stay as they are.",
		Choices: []Choice{
			{AnswerOutage, "The logger was out of order: this time is no coverage."},
			{AnswerQuiet, "Nobody came: this time counts as recorded, with no visits."},
			{AnswerSeen, "Not known: leave it as it is, recorded with no visits."},
		},
	}
	for _, i := range [2]int32{g.begin, g.end} {
		if i != Unknown {
			o := &openings[i]
			f.Evidence = append(f.Evidence, RowRef{o.Card, o.Line, o.Offset})
		}
	}
	return f
}

// but says what a gap may hold all the same.
func (g *gap) but() string {
	switch {
	case g.maybe == 0:
		return ""
	case g.maybe == 1:
		return " but for 1 whose time is not known and that may lie in it"
	}
	return fmt.Sprintf(" but for %.0f whose times are not known and that may lie in it", g.maybe)
}

// quietKey names a stretch by the line of the opening that begins it, or, where
// recording itself begins there, by the one that ends it.
func quietKey(g *gap, lb Logbook, openings []Opening) string {
	i, how := g.begin, "quiet"
	if i == Unknown {
		i, how = g.end, "quiet-until"
	}
	if i == Unknown {
		return fmt.Sprintf("%s-at-%d", how, g.from)
	}
	o, card := &openings[i], ""
	if int(o.Card) < len(lb.Cards) {
		card = lb.Cards[o.Card].ID
	}
	return fmt.Sprintf("%s-%s-%d", how, card[:min(12, len(card))], o.Line)
}

// pooledLevel returns the level by both sides of a gap together.
func (q *quiet) pooledLevel(g *gap) float64 {
	before, okBefore := q.side(int(q.slots[g.slot].day)-1, -1)
	after, okAfter := q.side(int(q.slots[g.last].day)+1, +1)
	switch {
	case okBefore && okAfter:
		return (before.level + after.level) / 2
	case okBefore:
		return before.level
	}
	return after.level
}

// length writes a time in days, or in hours below two days.
func length(seconds int64) string {
	if hours := (seconds + hourSeconds/2) / hourSeconds; hours < 48 {
		return fmt.Sprintf("%d hours", hours)
	}
	return fmt.Sprintf("%d days", (seconds+daySeconds/2)/daySeconds)
}

// rounded writes a number with the two digits that an expectation can bear.
func rounded(v float64) string {
	if v < 1 {
		return "less than 1"
	}
	unit := math.Pow(10, max(0, math.Floor(math.Log10(v))-1))
	return strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64)
}

// seldom says how often something comes that is expected so many times in a
// logbook like this one.
func seldom(expected float64) string {
	if expected >= 1 {
		return fmt.Sprintf("about %.0f times in such a logbook", expected)
	}
	times := math.Floor(math.Log10(1 / max(expected, 1e-6)))
	whole := math.Floor(1/max(expected, 1e-6)/math.Pow(10, times)+1e-9) * math.Pow(10, times)
	if whole < 2 {
		return "less than once in such a logbook"
	}
	return fmt.Sprintf("less than once in %.0f such logbooks (p = %s)", whole, small(expected))
}

// small writes a small number to one digit.
func small(p float64) string {
	if p < 1e-6 {
		return "under 0.000001"
	}
	return strconv.FormatFloat(p, 'f', 1-int(math.Floor(math.Log10(p)))-1, 64)
}
