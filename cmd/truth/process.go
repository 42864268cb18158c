package main

import (
	"fmt"
	"math"
	"slices"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// slotS is the length of the slots in which expectations are kept, seconds. It
// divides every zone's offset to UTC that a process is made in.
const slotS = 600

// slot is ten minutes of a process: its expected visits and in which light,
// civil date and hour of the week they come.
type slot struct {
	expected float64
	dark     bool
	day      int32 // index into process.days
	cell     uint8
	month    uint8 // 0 is January
}

// process is what truly happens at the sites of a kind, in the mean.
type process struct {
	from  int64 // of the first slot, Unix seconds
	slots []slot
	theta float64 // variance of a date's factor
	first usage.Date
	days  []int // the first slot of each date from first on, and the number of all
	sun   *usage.Sun

	joined, arrived [12][usage.HoursOfWeek]float64 // visits that can be told apart, and all; see learn
}

// newProcess lays out the expectation of s, a site of the kind, over whole civil days.
func newProcess(s *forge.Site, from, to usage.Date) (*process, error) {
	zone, err := time.LoadLocation(s.Spec.Zone)
	if err != nil {
		return nil, fmt.Errorf("process of site %s: %w", s.Spec.Code, err)
	}
	midnight := func(d usage.Date) int64 {
		y, m, day := d.YMD()
		return time.Date(y, m, day, 0, 0, 0, 0, zone).Unix()
	}
	p := &process{from: midnight(from), first: from, theta: s.Spec.Character.Dispersion, sun: usage.NewSun(s.Spec.Latitude, s.Spec.Longitude)}
	for at := p.from; at < midnight(to); at += 3600 {
		local, hourly := time.Unix(at, 0).In(zone), s.Expected(at, at+3600)
		date := usage.DateOf(local.Year(), local.Month(), local.Day())
		if int(date-from) == len(p.days) {
			p.days = append(p.days, len(p.slots))
		}
		for k := range int64(3600 / slotS) {
			p.slots = append(p.slots, slot{
				expected: hourly * slotS / 3600,
				dark:     p.sun.Light(at+k*slotS+slotS/2) == usage.Dark,
				day:      int32(date - from), cell: uint8(24*(date.Weekday()-1) + local.Hour()), month: uint8(local.Month() - 1),
			})
		}
	}
	p.days = append(p.days, len(p.slots))
	return p, nil
}

// at returns the slot of an instant, nil outside the process.
func (p *process) at(instant int64) *slot {
	if i := (instant - p.from) / slotS; instant >= p.from && i < int64(len(p.slots)) {
		return &p.slots[i]
	}
	return nil
}

// learn takes in how many of a site's true visits can be told apart by what a
// visit is: who opens the door within three minutes after somebody else's close is
// of the same visit, for any logger. It returns the instants of those that can.
func (p *process) learn(s *forge.Site) []int64 {
	all := slices.Clone(s.Openings)
	for _, m := range s.Missed {
		all = append(all, m.Opening)
	}
	slices.SortStableFunc(all, func(a, b forge.Opening) int { return int(min(1, max(-1, a.At-b.At))) })
	limits, closed, last := usage.DefaultThresholds, int64(math.MinInt32), int32(usage.Unknown)
	var visits []int64
	for _, o := range all {
		if o.Class == usage.Service || o.OpenS < limits.RattleS {
			continue
		}
		at := p.at(o.At)
		if o.Visit != last && at != nil {
			last = o.Visit
			p.arrived[at.month][at.cell]++
		}
		ajar := o.OpenS > limits.AjarS
		if ajar || o.At > closed+int64(limits.JoinS) {
			visits = append(visits, o.At)
			if at != nil {
				p.joined[at.month][at.cell]++
			}
		}
		if !ajar {
			closed = o.At + int64(o.OpenS)
		}
	}
	return visits
}

// settle makes the expectation one of visits that can be told apart. Their share
// is that of all sites learnt from, by month and hour of the week.
func (p *process) settle() {
	for i := range p.slots {
		s := &p.slots[i]
		if n := p.arrived[s.month][s.cell]; n > 0 {
			s.expected *= p.joined[s.month][s.cell] / n
		}
	}
}

// part is some of a process.
type part struct {
	visits, dark float64
	seconds      float64
	squares      float64 // Σ μ² over its dates, of mean μ
}

// phi is the variance of the count of the part over its mean: dates with mean μ have
// variance μ + θμ².
func (q *part) phi(theta float64) float64 {
	if q.visits == 0 {
		return 1
	}
	return 1 + theta*q.squares/q.visits
}

// scope says which dates, first to last, and which hours of the week belong to a part.
type scope struct {
	first, last usage.Date
	cells       *[usage.HoursOfWeek]bool // nil: all
}

func (c *scope) holds(p *process, s *slot) bool {
	d := p.first + usage.Date(s.day)
	return d >= c.first && d <= c.last && (c.cells == nil || c.cells[s.cell])
}

// sum returns the expectation of a scope, of each slot the share that is recorded;
// nil: all of it.
func (p *process) sum(c scope, recorded []float64) *part {
	q := &part{}
	for d := c.first; d <= c.last; d++ {
		before := q.visits
		for i := p.days[d-p.first]; i < p.days[d-p.first+1]; i++ {
			share, s := 1.0, &p.slots[i]
			if recorded != nil {
				share = recorded[i]
			}
			if share == 0 || !c.holds(p, s) {
				continue
			}
			q.visits += s.expected * share
			q.seconds += slotS * share
			if s.dark {
				q.dark += s.expected * share
			}
		}
		q.squares += (q.visits - before) * (q.visits - before)
	}
	return q
}

// recorded returns for each slot which share of it is recording time.
func (p *process) recorded(stretches []usage.Stretch) []float64 {
	out := make([]float64, len(p.slots))
	for _, s := range stretches {
		if s.Kind != usage.Recording {
			continue
		}
		for at := max(s.From, p.from); at < s.To; {
			i := (at - p.from) / slotS
			if i >= int64(len(out)) {
				break
			}
			end := min(s.To, p.from+(i+1)*slotS)
			out[i] += float64(end-at) / slotS
			at = end
		}
	}
	return out
}

// seen counts true visits in a scope.
func (p *process) seen(c scope, visits []int64) (n, dark int64) {
	from, _ := slices.BinarySearch(visits, p.from+int64(p.days[c.first-p.first])*slotS)
	to, _ := slices.BinarySearch(visits, p.from+int64(p.days[c.last-p.first+1])*slotS)
	visits = visits[from:to]
	for _, at := range visits {
		s := p.at(at)
		if s == nil || !c.holds(p, s) {
			continue
		}
		n++
		if p.sun.Light(at) == usage.Dark {
			dark++
		}
	}
	return n, dark
}
