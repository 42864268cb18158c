package usage

import "math"

// The strengths with which the parts of an expectation are drawn towards what is
// known without them, each as so many visits that agree with it. Common practice,
// no source; the rates at which quiet stretches are found and falsely raised are
// measured with them in quiet_test.go.
const (
	hourStrength    = 2  // an hour of the day, towards the mean hour
	weekdayStrength = 4  // a weekday, towards the mean weekday
	cellStrength    = 8  // an hour of the week, towards hour × weekday
	monthStrength   = 10 // an hour of the day in a part of the year, towards the whole year
)

// expectation says how many visits a site's recording time would have held by the
// pattern of its own visits: hour of week, hour of day by part of the year, a level
// that follows slowly, and days that are good and bad by chance.
//
// The visits of a day d are taken to be Poisson with mean G·level·size(d), where
// size(d) is the day's recording time weighted by the pattern (1 for a mean day
// fully covered) and G, the day's factor, is gamma with mean 1 and variance theta:
// a negative binomial count with variance μ + θμ².
type expectation struct {
	slots []slot
	size  []float64 // size of all slots before slot i, one more than slots
	days  []expectedDay
	theta float64
}

// slot is recording time inside one civil hour.
type slot struct {
	from    int64
	seconds int32
	visits  int32
	day     int32   // index into days
	cell    uint8   // hour of week
	month   uint8   // 0 is January
	free    float32 // the part of it that is not left out of the fit
}

// expectedDay is a date with recording time.
type expectedDay struct {
	date Date
	kept float64 // visits in its slots that are not left out
	fair float64 // size of those not left out
}

// open returns the seconds of a slot that are not left out.
func (s *slot) open() float64 { return float64(s.seconds) * float64(s.free) }

// newExpectation lays out the recording time of the stretches and counts into it
// the visits, instants ascending. Visits outside it are passed over.
func newExpectation(z *Zone, stretches []Stretch, visits []int64) *expectation {
	e := &expectation{}
	cursor, next := z.Cursor(), 0
	for _, s := range stretches {
		if s.Kind != Recording {
			continue
		}
		for at := s.From; at < s.To; {
			date, second := cursor.Civil(at)
			end := min(s.To, at+int64(hourSeconds-second%hourSeconds), cursor.to)
			for next < len(visits) && visits[next] < at {
				next++
			}
			counted := next
			for next < len(visits) && visits[next] < end {
				next++
			}
			e.add(date, int(second/hourSeconds), slot{from: at, seconds: int32(end - at), visits: int32(next - counted)})
			at = end
		}
	}
	e.size = make([]float64, len(e.slots)+1)
	return e
}

func (e *expectation) add(date Date, hour int, s slot) {
	if n := len(e.days); n == 0 || e.days[n-1].date != date {
		e.days = append(e.days, expectedDay{date: date})
	}
	s.day, s.cell = int32(len(e.days)-1), uint8(hourOfWeek(date, hour))
	if prev := len(e.slots) - 1; prev >= 0 && e.slots[prev].day == s.day {
		s.month = e.slots[prev].month
	} else {
		_, m := MonthOf(date).YM()
		s.month = uint8(m - 1)
	}
	e.slots = append(e.slots, s)
}

// fit fits pattern and theta to all but the stretches that are left out, which
// must be ascending and disjoint.
func (e *expectation) fit(leftOut []reach) {
	e.leaveOut(leftOut)
	levels := make([]float64, len(e.days)) // visits a mean day
	for i := range levels {
		levels[i] = 1
	}
	for range 2 {
		e.weigh(e.pattern(levels), levels)
		levels = e.levels()
	}
	e.theta = e.dispersion()
}

// leaveOut takes the stretches out of the fit and puts all others back. A stretch
// that is left out has no visits in it, so that it is only exposure that goes.
func (e *expectation) leaveOut(stretches []reach) {
	i := 0
	for k := range e.slots {
		s := &e.slots[k]
		end := s.from + int64(s.seconds)
		for i < len(stretches) && stretches[i].to <= s.from {
			i++
		}
		out := int64(0)
		for j := i; j < len(stretches) && stretches[j].from < end; j++ {
			out += min(end, stretches[j].to) - max(s.from, stretches[j].from)
		}
		s.free = 1 - float32(out)/float32(s.seconds)
	}
}

// pattern returns the rate of each hour of the week relative to the mean hour,
// given the level of each day.
func (e *expectation) pattern(levels []float64) (rate [HoursOfWeek]float64) {
	var n, t [HoursOfWeek]float64
	var hourN, hourT [24]float64
	var dayN, dayT [7]float64
	allN, allT := 0.0, 0.0
	for i := range e.slots {
		s := &e.slots[i]
		v, x := float64(s.visits), s.open()*levels[s.day]
		n[s.cell] += v
		t[s.cell] += x
		hourN[s.cell%24] += v
		hourT[s.cell%24] += x
		dayN[s.cell/24] += v
		dayT[s.cell/24] += x
		allN, allT = allN+v, allT+x
	}
	if allN == 0 {
		for c := range rate {
			rate[c] = 1
		}
		return rate
	}
	mean := allN / allT
	for c := range rate {
		hour := shrunk(hourN[c%24], mean*hourT[c%24], hourStrength)
		weekday := shrunk(dayN[c/24], mean*dayT[c/24], weekdayStrength)
		rate[c] = hour * weekday * shrunk(n[c], mean*hour*weekday*t[c], cellStrength)
	}
	return rate
}

// shrunk returns seen/expected drawn towards 1: the mean of a gamma posterior whose
// prior has mean 1 and the weight of so many visits.
func shrunk(seen, expected, strength float64) float64 {
	return (seen + strength) / (expected + strength)
}

// weigh sets the sizes by the rates of the hours of the week and
// by how the hours of the day differ in the part of the year.
func (e *expectation) weigh(rate [HoursOfWeek]float64, levels []float64) {
	hours := e.hoursByMonth(&rate, levels)
	for i := range e.slots {
		s := &e.slots[i]
		x := float64(s.seconds) / daySeconds * rate[s.cell] * hours[s.month][s.cell%24]
		e.size[i+1] = e.size[i] + x
	}
	e.tally()
}

// tally sums by day what is not left out.
func (e *expectation) tally() {
	for i := range e.days {
		e.days[i].fair, e.days[i].kept = 0, 0
	}
	for i := range e.slots {
		s := &e.slots[i]
		d := &e.days[s.day]
		d.fair += float64(s.free) * (e.size[i+1] - e.size[i])
		d.kept += float64(s.visits)
	}
}

// hoursByMonth returns by what the rate of an hour of the day in a month and its
// two neighbours, years pooled, differs from that of the whole year.
func (e *expectation) hoursByMonth(rate *[HoursOfWeek]float64, levels []float64) (ratio [12][24]float64) {
	var n, t [12][24]float64
	for i := range e.slots {
		s := &e.slots[i]
		n[s.month][s.cell%24] += float64(s.visits)
		t[s.month][s.cell%24] += s.open() * levels[s.day] * rate[s.cell]
	}
	for m := range ratio {
		var seen, open [24]float64
		allN, allT := 0.0, 0.0
		for _, k := range [3]int{(m + 11) % 12, m, (m + 1) % 12} {
			for h := range seen {
				seen[h] += n[k][h]
				open[h] += t[k][h]
				allN, allT = allN+n[k][h], allT+t[k][h]
			}
		}
		for h := range seen {
			ratio[m][h] = 1
			if allT > 0 {
				ratio[m][h] = shrunk(seen[h], open[h]*allN/allT, monthStrength)
			}
		}
	}
	return ratio
}

// nearDays is how many dates on each side the level of a date is taken from.
const nearDays = 10

// levels returns the level of each day from the days near it, itself included.
func (e *expectation) levels() []float64 {
	n, x := e.sums()
	last := len(e.days)
	whole := shrunk(n[last], x[last], 1e-9)
	levels := make([]float64, last)
	for i := range levels {
		from, to := max(0, i-nearDays), min(last, i+nearDays+1)
		levels[i] = (n[to] - n[from] + whole) / (x[to] - x[from] + 1)
	}
	return levels
}

// sums returns the kept visits and fair sizes of all days before day i.
func (e *expectation) sums() (visits, sizes []float64) {
	visits, sizes = make([]float64, len(e.days)+1), make([]float64, len(e.days)+1)
	for i, d := range e.days {
		visits[i+1], sizes[i+1] = visits[i]+d.kept, sizes[i]+d.fair
	}
	return visits, sizes
}

// dispersion returns theta by moments: with μ the mean of a day by the days near
// it but without itself, of which Y visits in k days were seen,
//
//	θ = Σ ((y − μ)² − y − μ²/Y) / Σ μ²(1 + 1/k)
//
// not less than 0, and one standard error on top, so that short logbooks are
// judged with caution. (Moments of the negative binomial law; the terms in Y and k
// are the variance of μ itself.)
func (e *expectation) dispersion() float64 {
	n, x := e.sums()
	over, weight := 0.0, 0.0
	var means []float64
	for i, d := range e.days {
		from, to := max(0, i-nearDays), min(len(e.days), i+nearDays+1)
		near, size := n[to]-n[from]-d.kept, x[to]-x[from]-d.fair
		if near <= 0 || size <= 0 || d.fair <= 0 {
			continue
		}
		mean := near / size * d.fair
		over += (d.kept-mean)*(d.kept-mean) - d.kept - mean*mean/near
		weight += mean * mean * (1 + 1/float64(to-from-1))
		means = append(means, mean)
	}
	if weight == 0 {
		return 1 // a single day with visits, or none: nothing is known
	}
	theta := max(0, over/weight)
	variance := 0.0
	for _, mean := range means {
		v := mean + theta*mean*mean
		variance += 2 * v * v
	}
	return theta + math.Sqrt(variance)/weight
}

// before returns the size of all recording time before an instant in slot i.
func (e *expectation) before(at int64, i int) float64 {
	s := &e.slots[i]
	part := float64(min(max(at-s.from, 0), int64(s.seconds))) / float64(s.seconds)
	return e.size[i] + part*(e.size[i+1]-e.size[i])
}

// busiest returns the highest level of any fortnight, with a little on top.
func (e *expectation) busiest() float64 {
	n, x := e.sums()
	top := n[len(e.days)] / max(x[len(e.days)], 1e-9)
	for i := 14; i <= len(e.days); i++ {
		if size := x[i] - x[i-14]; size > 3 {
			top = max(top, (n[i]-n[i-14])/size)
		}
	}
	return 1.3 * top
}
