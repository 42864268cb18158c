package main

import (
	"slices"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// anchors are the true instants at which somebody noted rightly how a site's
// clock stood, by stretch of the clock. They come from the truth alone, not from
// what the importer took for anchors.
type anchors map[int32][]int64

// careless is by how many seconds a noted time may be off and still count.
const careless = 60

func anchorsOf(s *forge.Site) anchors {
	a := anchors{}
	for _, c := range s.Cards {
		if c.NotedAt != nil && far(*c.NotedAt, c.RemovedAt) <= careless && c.Opening != usage.Unknown {
			a.row(s, c.Opening)
		}
	}
	for _, c := range s.Noted {
		switch {
		case c.Did(usage.CallTimeNoted):
			a.noted(s, c)
		case c.Did(usage.CallClockSet):
			a.set(s, c)
		}
	}
	for beat := range a {
		slices.Sort(a[beat])
	}
	return a
}

// row takes an opening whose true time is known, if its row tells the time.
func (a anchors) row(s *forge.Site, opening int32) {
	r := &s.Written[opening]
	if r.Fault == forge.ReadWell && r.Reached() == "row" && r.State != forge.StateHalt && r.State != forge.StateDead {
		a[r.Beat] = append(a[r.Beat], s.Openings[opening].At)
	}
}

func (a anchors) noted(s *forge.Site, c usage.ServiceCall) {
	for i := range s.Calls {
		if o := s.Calls[i].Opening; o != usage.Unknown && int(o) < len(s.Written) && far(s.Calls[i].At, c.At) <= careless {
			a.row(s, o)
		}
	}
}

func (a anchors) set(s *forge.Site, c usage.ServiceCall) {
	for i, b := range s.Beats {
		if far(b.From, c.At) <= careless && (b.State == forge.StateGood || b.State == forge.StateSet) {
			a[int32(i)] = append(a[int32(i)], b.From)
		}
	}
}

// hold says whether a stretch of the clock has an anchor, and whether an
// instant in it lies between two.
func (a anchors) hold(beat int32, at int64) (any, both bool) {
	list := a[beat]
	if len(list) == 0 {
		return false, false
	}
	return true, list[0] <= at && at <= list[len(list)-1]
}

// changes returns the changes of civil time at a site, Unix seconds.
func changes(s *forge.Site) ([]int64, error) {
	loc, err := time.LoadLocation(s.Spec.Zone)
	if err != nil {
		return nil, err
	}
	var out []int64
	for t := time.Unix(s.Installed(), 0).In(loc); ; {
		_, end := t.ZoneBounds()
		if end.IsZero() || len(s.Cards) == 0 || end.Unix() > s.Cards[len(s.Cards)-1].RemovedAt {
			return out, nil
		}
		out = append(out, end.Unix())
		t = end
	}
}
