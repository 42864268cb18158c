package chart

import "doorleaf/web/words"

// A lead says which bars are ahead, as far as their limits allow to say it.
type lead struct {
	top   int   // the bar with the highest rate; -1 without any exposure
	peers []int // ascending: top, and each bar whose limits reach the lower limit of top
	clear bool  // the lower limit of top lies above the rate of all bars together
}

// leadOf compares bars by their limits. Limits that overlap do not prove that
// two rates are alike, but they are reason enough not to name a winner.
func leadOf(bars []bar) lead {
	l := lead{top: -1}
	for i, b := range bars {
		if b.rate != nil && (l.top < 0 || b.rate.Value > bars[l.top].rate.Value) {
			l.top = i
		}
	}
	if l.top < 0 {
		return l
	}
	low := bars[l.top].rate.Low
	for i, b := range bars {
		if b.rate != nil && b.rate.High >= low {
			l.peers = append(l.peers, i)
		}
	}
	l.clear = low > meanOf(bars)
	return l
}

// meanOf is the rate of all bars together in their unit, 0 without visits.
func meanOf(bars []bar) float64 {
	var visits, units float64
	for _, b := range bars {
		if b.rate == nil {
			continue
		}
		visits += float64(b.visits)
		units += b.exposureH / b.unitH
	}
	if units == 0 {
		return 0
	}
	return visits / units
}

// names joins the labels of the peers: A, B and C.
func (l lead) names(w *words.Words, bars []bar) string {
	var names []string
	for _, i := range l.peers {
		names = append(names, bars[i].label)
	}
	return w.List(names)
}
