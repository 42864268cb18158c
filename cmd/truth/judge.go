package main

import (
	"math"

	"doorleaf/usage"
)

// judge knows what is true of the sites of a kind.
type judge struct {
	*process
	seasons []usage.Season
	season  []*part   // expectation of the whole season
	pools   [][]scope // hours of the week of each season, pooled
	pool    [][]*part // their expectations
}

func newJudge(k kind, p *process) *judge {
	j := &judge{process: p, seasons: k.seasons()}
	for _, s := range j.seasons {
		whole := scope{first: s.First(), last: s.Last()}
		j.season = append(j.season, p.sum(whole, nil))
		scopes := p.pooled(whole)
		var parts []*part
		for _, c := range scopes {
			parts = append(parts, p.sum(c, nil))
		}
		j.pools, j.pool = append(j.pools, scopes), append(j.pool, parts)
	}
	return j
}

// pooled joins hours of the week, in their order, until pooledVisits are to be
// expected; what is left over goes with the last.
func (p *process) pooled(c scope) []scope {
	var means [usage.HoursOfWeek]float64
	for i := range p.slots {
		if s := &p.slots[i]; c.holds(p, s) {
			means[s.cell] += s.expected
		}
	}
	var out []scope
	sum, cells := 0.0, &[usage.HoursOfWeek]bool{}
	for h, mean := range means {
		cells[h] = true
		if sum += mean; sum >= pooledVisits {
			out = append(out, scope{c.first, c.last, cells})
			sum, cells = 0, &[usage.HoursOfWeek]bool{}
		}
	}
	if len(out) == 0 {
		return []scope{{c.first, c.last, cells}}
	}
	for h := range cells {
		out[len(out)-1].cells[h] = out[len(out)-1].cells[h] || cells[h]
	}
	return out
}

// site judges all figures of a site.
func (j *judge) site(row *limitRow, m judged) error {
	row.sites++
	recorded := j.recorded(m.derived.Coverage)
	data := usage.SeasonData{Days: m.derived.Days, Opens: m.derived.Opens, Untimed: m.derived.Untimed}
	for i, s := range j.seasons {
		f, err := usage.SeasonFiguresOf(m.site, s, data)
		if err != nil {
			return err
		}
		if f.Estimated == nil {
			continue
		}
		spread := usage.DispersionOf(daysOf(m.derived.Days, s))
		whole := scope{first: s.First(), last: s.Last()}
		n, dark := j.seen(whole, m.visits)
		low, high := usage.DispersedLimits(float64(n), j.season[i].phi(j.theta), usage.Confidence)
		open := j.sum(whole, recorded)
		row.of(figureTotal).see(f.Estimated, j.season[i].visits, high-low, ownOfCount(open.visits, open.phi(j.theta)))
		j.rate(row, m, s, spread, open, (high-low)/(j.season[i].seconds/86400))
		if f.DarkShare != nil {
			low, high := usage.WilsonLimits(dark, n, usage.Confidence)
			row.of(figureDark).see(f.DarkShare, open.dark/open.visits, high-low, ownOfShare(n, open.dark/open.visits))
		}
		if k := i - 4; k >= 0 && f.RatioToLast != nil {
			j.ratio(row, m, f.RatioToLast, i, k)
		}
		j.hours(row, m, i, spread, recorded)
	}
	return nil
}

func (r *limitRow) of(figure string) *hold {
	h := r.holds[figure]
	if h == nil {
		h = &hold{}
		r.holds[figure] = h
	}
	return h
}

// rate judges the plain rate of a season, visits over exposure.
func (j *judge) rate(row *limitRow, m judged, s usage.Season, spread usage.Dispersion, open *part, ideal float64) {
	for _, sum := range spread.BySeason(m.derived.Months, s.In) {
		if sum.Season == s {
			row.of(figureRate).see(sum.Rate, open.visits/open.seconds*86400, ideal, ownOfCount(open.visits, open.phi(j.theta)))
		}
	}
}

func (j *judge) ratio(row *limitRow, m judged, e *usage.Estimate, this, last int) {
	a, b := j.season[this], j.season[last]
	n, _ := j.seen(scope{first: j.seasons[this].First(), last: j.seasons[this].Last()}, m.visits)
	o, _ := j.seen(scope{first: j.seasons[last].First(), last: j.seasons[last].Last()}, m.visits)
	width := 0.0
	if o > 0 {
		ideal := usage.RateRatio(float64(n), a.seconds, float64(o), b.seconds, (a.phi(j.theta)+b.phi(j.theta))/2, usage.Confidence)
		width = ideal.High - ideal.Low
	}
	phi := (a.phi(j.theta) + b.phi(j.theta)) / 2
	own := ownOfRatio(int64(math.Round(float64(n+o)/phi)), a.visits/(a.visits+b.visits))
	row.of(figureRatio).see(e, a.visits/a.seconds/(b.visits/b.seconds), width, own)
}

// hours judges rates by hour of the week, pooled.
func (j *judge) hours(row *limitRow, m judged, i int, spread usage.Dispersion, recorded []float64) {
	pattern := usage.PatternOf(m.site.Code, &j.seasons[i], m.derived.Months)
	for k, c := range j.pools[i] {
		var cells []usage.Cell
		for h, cell := range pattern.Cells {
			if c.cells[h] {
				cells = append(cells, cell)
			}
		}
		open, whole := j.sum(c, recorded), j.pool[i][k]
		rate := spread.OfCells(cells).Rate
		if rate == nil || open.seconds == 0 {
			continue
		}
		n, _ := j.seen(c, m.visits)
		low, high := usage.DispersedLimits(float64(n), whole.phi(j.theta), usage.Confidence)
		row.of(figureHours).see(rate, open.visits/open.seconds*3600, (high-low)/(whole.seconds/3600), ownOfCount(open.visits, open.phi(j.theta)))
	}
}

// daysOf returns the days of a season.
func daysOf(days []usage.Day, s usage.Season) []usage.Day {
	var out []usage.Day
	for _, d := range days {
		if d.Date >= s.First() && d.Date <= s.Last() {
			out = append(out, d)
		}
	}
	return out
}
