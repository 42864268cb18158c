package server

import (
	"context"
	"fmt"
	"strings"
	"time"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/report"
	"doorleaf/web/words"
)

// How far a season report looks ahead, and how long after its season it still
// proposes anything, days: about a season. Common practice, no source.
const (
	proposalAheadD = 120
	proposalLateD  = 120
)

// A box is worth another place when even the high limit of its visits a day is below
// this share of a mean box's, over as many covered days at least and among so many
// boxes. Common practice, no source: one season of few visits is no proof, so that the
// report says "consider".
const (
	moveShare = 0.25
	moveDays  = 28
	moveBoxes = 3
)

// moveProposal proposes another place for a box that few people come to; "" for others.
func moveProposal(say *words.Words, site siteFigures, n networkSeason) string {
	own, mean := site.figures.PerDay, n.figures.PerDay
	if own == nil || mean == nil || len(n.sites) < moveBoxes || site.figures.CoveredDays < moveDays || own.High >= moveShare*mean.Value {
		return ""
	}
	return say.Say("Consider another place: few come here, %s visits a day, where a mean box of the network has %s.", say.Between(own), say.Between(mean))
}

// proposals are what a season report proposes for one site: batteries and coin
// cells that are due before the next report, a light that would surely help, the
// hours to restock before. A season that is long over gets none.
func (s *server) proposals(ctx context.Context, site usage.Site, season usage.Season, now time.Time) ([]report.Proposal, error) {
	say := s.words(ctx)
	today := usage.DateOf(now.UTC().Date())
	if season.Last()+proposalLateD < today {
		return nil, nil
	}
	outlook, err := s.Store.Outlook(ctx, site.Code)
	if err != nil {
		return nil, err
	}
	var out []report.Proposal
	propose := func(says string) { out = append(out, report.Proposal{Site: site.Code, Says: says}) }
	power, err := powerBy(outlook, now.Unix())
	if err != nil {
		return nil, fmt.Errorf("power of %s: %w", site.Code, err)
	}
	soon := func(by *usage.Date) bool { return by != nil && *by <= today+proposalAheadD }
	if power.pack != nil && soon(power.pack.ActBy) {
		propose(web.PowerLead(say, power.pack, site.Zone))
	}
	if power.coin != nil && soon(power.coin.ActBy) {
		propose(web.CoinLead(say, power.coin))
	}
	light, err := usage.WouldLightHelp(outlook.Light(now.Unix(), usage.DefaultLightRule, usualLamp))
	if err != nil {
		return nil, fmt.Errorf("light at %s: %w", site.Code, err)
	}
	if light.Verdict == usage.LightYes {
		propose(words.Capital(strings.TrimPrefix(say.Retell(light.Says), say.Say("Yes, "))))
	}
	restock, err := usage.RestockOutlook(outlook.Restock(now.Unix(), 0, 0))
	if err != nil {
		return nil, fmt.Errorf("restock of %s: %w", site.Code, err)
	}
	if restock.Clear {
		propose(web.RestockLead(say, restock))
	}
	return out, nil
}
