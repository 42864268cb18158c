package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"doorleaf/importer/forge"
	"doorleaf/store"
	"doorleaf/usage"
)

// keepLog keeps what the demo's volunteers wrote down at their service calls:
// books, batteries, and what feeds the logger. All of it is invented.
func keepLog(ctx context.Context, s *store.Store, site *forge.Site) error {
	setting := demoPower(site)
	if err := s.SetPower(ctx, site.Spec.Code, setting); err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(uint64(len(site.Openings)), uint64(site.Installed())))
	if _, err := s.AddCalls(ctx, demoLog(site, setting, rng)); err != nil {
		return fmt.Errorf("service calls of %s: %w", site.Spec.Code, err)
	}
	return nil
}

// What the volunteers of the demo do, and what its visitors take and bring.
const (
	demoShelf   = 60   // books on a full shelf
	demoTakes   = 0.34 // probability that a visitor takes a book
	demoBrings  = 0.30 // probability that one leaves a book
	demoCounts  = 0.7  // probability that the books are counted at a call
	demoUsed    = 0.8  // share of the pack from which on it is changed at the next call
	demoForgets = 0.08 // probability that a call is not written down
	demoMinuteS = 60   // how well a call's time is known, s
	demoWear    = 1.07 // how much more the loggers draw than their profile says
)

// demoPower returns what feeds a site's logger. Where it died, that is a pack
// which the openings until then would have emptied.
func demoPower(site *forge.Site) usage.PowerSetting {
	setting := usage.NewPowerSetting()
	died, _, ok := demoDeath(site)
	if !ok {
		return setting
	}
	used := 0.0
	for _, o := range site.Openings {
		if o.At < died {
			used += demoDraw(setting, o)
		}
	}
	setting.Pack.Cells = ""
	setting.Pack.CapacityMAh = math.Round(used/setting.Pack.Derating/100) * 100
	return setting
}

// demoDraw is what an opening truly drew, mAh.
func demoDraw(setting usage.PowerSetting, o forge.Opening) float64 {
	load := setting.Draw.Load(1, float64(o.OpenS))
	return demoWear * (load.Active + load.Start)
}

// demoDeath returns when a site's batteries died and when somebody changed them.
func demoDeath(site *forge.Site) (died, changed int64, ok bool) {
	for _, t := range site.Spec.Troubles {
		if t.Kind == forge.TroubleOutage {
			return t.At, t.At + int64(t.Count)*86400, true
		}
	}
	return 0, 0, false
}

// demoLog goes along a site's openings and notes each of its service calls.
func demoLog(site *forge.Site, setting usage.PowerSetting, rng *rand.Rand) []store.SiteCall {
	var log []store.SiteCall
	books, used, next := int32(demoShelf), 0.0, 0
	visit := int32(usage.Unknown)
	died, changed, dies := demoDeath(site)
	for _, call := range site.Calls {
		if dies && call.At >= changed {
			log = append(log, store.SiteCall{Site: site.Spec.Code, Call: usage.ServiceCall{
				At: changed - changed%60, ErrorS: demoMinuteS, Kinds: []usage.CallKind{usage.CallBatteries}, Note: "The batteries were empty.",
			}})
			dies, used = false, 0
		}
		for ; next < len(site.Openings) && site.Openings[next].At < call.At; next++ {
			o := site.Openings[next]
			used += demoDraw(setting, o)
			if o.Visit != usage.Unknown && o.Visit != visit {
				visit, books = o.Visit, shelfAfter(books, rng)
			}
		}
		noted := usage.ServiceCall{At: call.At - call.At%60, ErrorS: demoMinuteS, Kinds: []usage.CallKind{usage.CallRestock}}
		if used > setting.Pack.Usable()*demoUsed && (!dies || call.At > died) {
			noted.Kinds, used = append(noted.Kinds, usage.CallBatteries), 0
		}
		in := max(0, demoShelf-books-rng.Int32N(8))
		books += in
		noted.BooksIn = &in
		if rng.Float64() < demoCounts {
			now := books
			noted.BooksNow = &now
		}
		if noted.Did(usage.CallBatteries) || rng.Float64() >= demoForgets {
			log = append(log, store.SiteCall{Site: site.Spec.Code, Call: noted})
		}
	}
	return log
}

// shelfAfter returns the books on the shelf after one more visitor.
func shelfAfter(books int32, rng *rand.Rand) int32 {
	if rng.Float64() < demoTakes && books > 0 {
		books--
	}
	if rng.Float64() < demoBrings {
		books++
	}
	return books
}
