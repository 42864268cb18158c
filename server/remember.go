package server

import (
	"context"
	"slices"
	"unsafe"

	"doorleaf/store"
	"doorleaf/usage"
)

// remembering is a store whose tallies and lists of a site are read once after each
// change of it. What a method returns is of the caller, but for the elements of days,
// months, visits and the like, which must not be changed.
type remembering struct {
	wholeStore
	large, small *memo
}

// wholeStore is Network under a name that no method of it has.
type wholeStore = Network

// bytesOf is about how much memory a slice takes, what its elements point to left out.
func bytesOf[E any](all []E) int {
	var one E
	return 64 + len(all)*int(unsafe.Sizeof(one))
}

// wordy is about how much memory the texts and slices take that an element of a list
// points to: a finding, a card, a call.
const wordy = 400

func (n remembering) Months(ctx context.Context, code string) ([]usage.MonthTally, error) {
	months, err := recall(ctx, n.large, code, "months", func(ctx context.Context) ([]usage.MonthTally, int, error) {
		months, err := n.wholeStore.Months(ctx, code)
		return months, bytesOf(months), err
	})
	return slices.Clip(months), err
}

func (n remembering) SeasonData(ctx context.Context, code string) (usage.SeasonData, error) {
	return recall(ctx, n.large, code, "seasons", func(ctx context.Context) (usage.SeasonData, int, error) {
		data, err := n.wholeStore.SeasonData(ctx, code)
		data.Days, data.Opens, data.Untimed = slices.Clip(data.Days), slices.Clip(data.Opens), slices.Clip(data.Untimed)
		return data, bytesOf(data.Days) + bytesOf(data.Opens) + bytesOf(data.Untimed), err
	})
}

func (n remembering) Days(ctx context.Context, code string, from, to usage.Date) ([]usage.Day, error) {
	data, err := n.SeasonData(ctx, code)
	if err != nil {
		return nil, err
	}
	return usage.DaysBetween(data.Days, from, to), nil
}

func (n remembering) Findings(ctx context.Context, code string) ([]usage.Finding, error) {
	found, err := recall(ctx, n.small, code, "findings", func(ctx context.Context) ([]usage.Finding, int, error) {
		found, err := n.wholeStore.Findings(ctx, code)
		return found, bytesOf(found) + len(found)*wordy, err
	})
	return slices.Clone(found), err
}

func (n remembering) Cards(ctx context.Context, code string) ([]store.Card, error) {
	cards, err := recall(ctx, n.large, code, "cards", func(ctx context.Context) ([]store.Card, int, error) {
		cards, err := n.wholeStore.Cards(ctx, code)
		return cards, bytesOf(cards) + len(cards)*wordy, err
	})
	return slices.Clone(cards), err
}

func (n remembering) Calls(ctx context.Context, code string) ([]usage.ServiceCall, error) {
	calls, err := recall(ctx, n.large, code, "calls", func(ctx context.Context) ([]usage.ServiceCall, int, error) {
		calls, err := n.wholeStore.Calls(ctx, code)
		return calls, bytesOf(calls) + len(calls)*wordy, err
	})
	return slices.Clone(calls), err
}

func (n remembering) Site(ctx context.Context, code string) (store.SiteDetail, error) {
	return recall(ctx, n.large, code, "site", func(ctx context.Context) (store.SiteDetail, int, error) {
		site, err := n.wholeStore.Site(ctx, code)
		return site, 2000 + bytesOf(site.Coverage) + bytesOf(site.Runs) + len(site.Runs)*wordy, err
	})
}

func (n remembering) Sites(ctx context.Context) ([]store.SiteSummary, error) {
	sites, err := recall(ctx, n.small, "", "sites", func(ctx context.Context) ([]store.SiteSummary, int, error) {
		sites, err := n.wholeStore.Sites(ctx)
		return sites, bytesOf(sites) + len(sites)*wordy, err
	})
	return slices.Clone(sites), err
}

func (n remembering) Outlook(ctx context.Context, code string) (store.Outlook, error) {
	return recall(ctx, n.large, code, "outlook", func(ctx context.Context) (store.Outlook, int, error) {
		o, err := n.wholeStore.Outlook(ctx, code)
		o.Visits = slices.Clip(o.Visits)
		return o, bytesOf(o.Doors) + bytesOf(o.Visits) + bytesOf(o.Days) + bytesOf(o.Months) + bytesOf(o.Calls) + len(o.Calls)*wordy, err
	})
}

func (n remembering) ClockError(ctx context.Context, code string) (*usage.ClockError, error) {
	return recall(ctx, n.small, code, "clock", func(ctx context.Context) (*usage.ClockError, int, error) {
		e, err := n.wholeStore.ClockError(ctx, code)
		return e, 64, err
	})
}

// roundOutlook is Outlook with no more of it than a round is planned by, so that the
// outlooks of many sites can be kept: no openings by the day without a power setting, no
// visits unless the books were counted twice.
func (n remembering) roundOutlook(ctx context.Context, code string) (store.Outlook, error) {
	return recall(ctx, n.small, code, "round outlook", func(ctx context.Context) (store.Outlook, int, error) {
		o, err := n.wholeStore.Outlook(ctx, code)
		o.Days, o.Months = nil, nil
		if o.Setting == nil {
			o.Doors = nil
		}
		if !countedTwice(o.Calls) {
			o.Visits = nil
		}
		return o, 500 + bytesOf(o.Doors) + bytesOf(o.Visits) + bytesOf(o.Coverage) + bytesOf(o.Calls) + len(o.Calls)*wordy, err
	})
}
