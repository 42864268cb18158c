package main

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// The figures of which limits are measured.
const (
	figureRate  = "season rate"
	figureTotal = "season total"
	figureRatio = "year on year"
	figureHours = "hours, pooled"
	figureDark  = "dark share"
)

var figures = []string{figureRate, figureTotal, figureRatio, figureHours, figureDark}

// pooledVisits is how many visits a season are to be expected in hours of the week
// that are pooled.
const pooledVisits = 25

// hold is how often limits of a figure held the truth, and how wide they were beside
// those of complete coverage and known dispersion.
type hold struct {
	cases, held, below int // below: the truth was below the limits
	widths             []float64
	own                float64 // the cases that the method would hold by itself, with complete knowledge
}

// see adds a case: own is how often the method itself holds such a truth.
func (h *hold) see(e *usage.Estimate, truth, ideal, own float64) {
	h.cases++
	h.own += own
	h.held += one(e.Low <= truth && truth <= e.High)
	h.below += one(truth < e.Low)
	if ideal > 0 {
		h.widths = append(h.widths, (e.High-e.Low)/ideal)
	}
}

func (h *hold) add(o *hold) {
	h.cases, h.held, h.below = h.cases+o.cases, h.held+o.held, h.below+o.below
	h.widths = append(h.widths, o.widths...)
	h.own += o.own
}

// limitRow is a row of the table: a kind in a situation.
type limitRow struct {
	kind  kind
	lack  string
	sites int
	holds map[string]*hold // by figure
}

// limits is the second table.
type limits []*limitRow

// judged is a site of which figures are to be judged.
type judged struct {
	site    usage.Site
	derived usage.Derived
	visits  []int64 // that truly were, and can be told apart
}

// measureLimits makes and judges the sites of all kinds in all situations, on
// all processors. The result does not depend on how many there are.
func measureLimits(repeats int, seed uint64) (limits, error) {
	all := kinds()
	parts, errs := make([]limits, len(all)), make([]error, len(all))
	var wg sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, k := range all {
		slots <- struct{}{}
		wg.Go(func() {
			parts[i], errs[i] = k.measure(repeats, seed*1_000_003+uint64(i))
			<-slots
		})
	}
	wg.Wait()
	var out limits
	for i := range parts {
		if errs[i] != nil {
			return nil, fmt.Errorf("limits of %s: %w", all[i].name, errs[i])
		}
		out = append(out, parts[i]...)
	}
	return out, nil
}

// measure makes the sites of a kind and judges them against the process that all
// of them show.
func (k kind) measure(repeats int, seed uint64) (limits, error) {
	var p *process
	var out limits
	sites := make([][]judged, len(lacks()))
	for i, l := range lacks() {
		out = append(out, &limitRow{kind: k, lack: l.name, holds: map[string]*hold{}})
		for n := range repeats {
			s, err := k.make(l, seed<<20+uint64(i)<<16+uint64(n))
			if err != nil {
				return nil, err
			}
			if p == nil {
				if p, err = newProcess(s, limitsFrom, limitsTo); err != nil {
					return nil, err
				}
			}
			m, err := judgedOf(s)
			if err != nil {
				return nil, err
			}
			m.visits = p.learn(s)
			sites[i] = append(sites[i], m)
		}
	}
	p.settle()
	j := newJudge(k, p)
	for i, row := range out {
		for _, m := range sites[i] {
			if err := j.site(row, m); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

func (k kind) make(l lack, seed uint64) (*forge.Site, error) {
	spec, err := k.spec(l, rand.New(rand.NewPCG(seed, 0x6c696d6974)))
	if err != nil {
		return nil, err
	}
	return forge.NewSite(spec, limitsTo+7, seed)
}

// judgedOf takes a site through the pipeline; then every quiet stretch is
// answered, rightly.
func judgedOf(s *forge.Site) (judged, error) {
	r, err := derive(s)
	if err != nil {
		return judged{}, err
	}
	for _, f := range r.derived.Findings {
		if f.Kind == usage.KindQuiet {
			r.book.Rulings = append(r.book.Rulings, usage.Ruling{Key: f.Key, Answer: answer(s, f)})
		}
	}
	if len(r.book.Rulings) > 0 {
		if r.derived, err = usage.Derive(r.site, r.book); err != nil {
			return judged{}, err
		}
	}
	r.derived.Openings = nil
	return judged{site: r.site, derived: r.derived}, nil
}

// answer is what somebody who knows the truth says of a quiet stretch: an outage
// where at least half of it was one.
func answer(s *forge.Site, f usage.Finding) usage.Answer {
	out := int64(0)
	for _, o := range s.Outages() {
		out += max(0, min(o[1], f.To)-max(o[0], f.From))
	}
	if 2*out >= f.To-f.From {
		return usage.AnswerOutage
	}
	return usage.AnswerQuiet
}
