package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
)

// forgetful is a store that cannot tell when something changed: nothing is kept.
type forgetful struct{ wholeStore }

// afresh serves the same network as b and works everything out for each page.
func afresh(t *testing.T, b *box) *box {
	t.Helper()
	h, err := New(Config{
		Store: forgetful{b.store}, Access: b.store, Charts: chart.New(ruler{}), Now: func() time.Time { return noon },
		Log: slog.New(slog.NewTextHandler(b.log, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	return &box{Handler: h, store: b.store, log: b.log}
}

// keptPages are pages that say what is kept from one request to the next.
var keptPages = []string{
	"/", "/seasons", "/seasons/2026-spring", "/round", "/questions", "/visits", "/compare", "/about-the-numbers", "/data",
	"/api/sites", "/api/seasons/2026-spring", "/api/seasons/2025-spring",
}

var keptSitePages = []string{
	"", "?season=2026-spring", "?season=2025-spring", "/cards", "/visits", "/openings", "/calls", "/questions", "/power", "/light", "/restock",
	"/daylight", "/about-the-numbers", "/prepare",
}

var keptAPI = []string{"", "/pattern", "/pattern?season=2026-spring", "/days", "/days?from=2026-03-05&to=2026-03-20", "/findings", "/power", "/light"}

// TestNothingStale makes changes of every kind, one after the other, and holds each page
// after each change against the same page worked out afresh.
func TestNothingStale(t *testing.T) {
	b, _ := usualBox(t)
	plain := afresh(t, b)
	rapid.Check(t, func(rt *rapid.T) {
		sites, err := b.store.Sites(t.Context())
		if err != nil {
			rt.Fatal(err)
		}
		code := sites[rapid.IntRange(0, len(sites)-1).Draw(rt, "site")].Code
		for _, p := range stalePages(code)[:4] { // so that there is something to be stale
			b.get(p)
		}
		deed := rapid.SampledFrom(deeds).Draw(rt, "deed")
		if err := deed.do(t.Context(), b.store, code, rapid.IntRange(0, 1000).Draw(rt, "n")); err != nil && usage.KindOf(err) == 0 {
			rt.Fatalf("%s: %v", deed.name, err)
		}
		sites, err = b.store.Sites(t.Context())
		if err != nil {
			rt.Fatal(err)
		}
		all := stalePages(sites[0].Code)
		for _, s := range sites[1:] {
			all = append(all, "/sites/"+s.Code)
		}
		for _, p := range rapid.Permutation(all).Draw(rt, "pages")[:8] {
			got, want := b.get(p), plain.get(p)
			if got.status != want.status || got.body != want.body || got.header.Get("ETag") != want.header.Get("ETag") {
				rt.Fatalf("GET %s after %s is not what it is afresh: %d, %s; want %d, %s", p, deed.name,
					got.status, firstDifference(got.body, want.body), want.status, firstDifference(want.body, got.body))
			}
		}
	})
}

func stalePages(code string) []string {
	all := append([]string{}, keptPages...)
	for _, p := range keptSitePages {
		all = append(all, "/sites/"+code+p)
	}
	for _, p := range keptAPI {
		all = append(all, "/api/sites/"+code+p)
	}
	return all
}

func firstDifference(a, b string) string {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	return fmt.Sprintf("%q at %d", a[max(0, i-80):min(len(a), i+80)], i)
}

// deeds are changes of every kind that a store knows.
var deeds = []struct {
	name string
	do   func(ctx context.Context, st *store.Store, code string, n int) error
}{
	{"keep a card", func(ctx context.Context, st *store.Store, code string, n int) error {
		_, err := st.Keep(ctx, code, []store.CardIn{{Name: "LOG.TXT", Bytes: cardFrom(2024+n%3, 5+n%60)}})
		return err
	}},
	{"withdraw a card", func(ctx context.Context, st *store.Store, code string, n int) error {
		cards, err := st.Cards(ctx, code)
		if err != nil || len(cards) == 0 {
			return err
		}
		return st.Withdraw(ctx, cards[n%len(cards)].ID)
	}},
	{"tell a removal", func(ctx context.Context, st *store.Store, code string, n int) error {
		cards, err := st.Cards(ctx, code)
		if err != nil || len(cards) == 0 {
			return err
		}
		at := noon.Unix() - int64(n)*3600
		return st.Removal(ctx, cards[n%len(cards)].ID, &at, n%2 == 0)
	}},
	{"add a call", func(ctx context.Context, st *store.Store, code string, n int) error {
		books := int32(n % 40)
		_, err := st.AddCall(ctx, code, usage.ServiceCall{At: noon.Unix() - int64(n)*7200, ErrorS: 60, Kinds: []usage.CallKind{usage.CallRestock}, BooksNow: &books})
		return err
	}},
	{"drop a call", func(ctx context.Context, st *store.Store, code string, n int) error {
		calls, err := st.Calls(ctx, code)
		if err != nil || len(calls) == 0 {
			return err
		}
		return st.DropCall(ctx, code, calls[n%len(calls)].ID)
	}},
	{"add calls at once", func(ctx context.Context, st *store.Store, code string, n int) error {
		_, err := st.AddCalls(ctx, []store.SiteCall{{Site: code, Call: usage.ServiceCall{At: noon.Unix() - int64(n)*3600, ErrorS: 60, Kinds: []usage.CallKind{usage.CallBatteries}}}})
		return err
	}},
	{"answer a question", func(ctx context.Context, st *store.Store, code string, n int) error {
		found, err := st.Findings(ctx, code)
		if err != nil || len(found) == 0 || len(found[n%len(found)].Choices) == 0 {
			return err
		}
		f := found[n%len(found)]
		return st.Rule(ctx, code, usage.Ruling{Key: f.Key, Answer: f.Choices[n%len(f.Choices)].Answer, At: noon.Unix()})
	}},
	{"take an answer back", func(ctx context.Context, st *store.Store, code string, n int) error {
		given, err := st.Rulings(ctx, code)
		if err != nil || len(given) == 0 {
			return err
		}
		return st.Unrule(ctx, code, given[n%len(given)].Key, "")
	}},
	{"change a site", func(ctx context.Context, st *store.Store, code string, n int) error {
		return st.ChangeSite(ctx, code, func(s *usage.Site) error {
			s.Name, s.Thresholds.RattleS = fmt.Sprint("Box ", n), int32(n%50)
			s.Latitude = float64(n%100) - 50
			return nil
		})
	}},
	{"rename a site", func(ctx context.Context, st *store.Store, code string, n int) error {
		return st.ChangeSite(ctx, code, func(s *usage.Site) error { s.Code = fmt.Sprint("B", n%4); return nil })
	}},
	{"add a site", func(ctx context.Context, st *store.Store, code string, n int) error {
		return st.AddSite(ctx, newSite(fmt.Sprint("B", n%4), fmt.Sprint("New ", n)))
	}},
	{"set the power", func(ctx context.Context, st *store.Store, code string, n int) error {
		setting := usage.NewPowerSetting()
		setting.Pack.CapacityMAh = float64(500 + n)
		return st.SetPower(ctx, code, setting)
	}},
	{"drop the power", func(ctx context.Context, st *store.Store, code string, n int) error { return st.DropPower(ctx, code) }},
	{"say how the network writes", func(ctx context.Context, st *store.Store, code string, n int) error {
		region := usage.DefaultRegion
		region.Decimal = []string{".", ","}[n%2]
		region.Dates = []string{"dmy", "mdy", "ymd"}[n%3]
		region.Language = usage.Languages[n%len(usage.Languages)]
		return st.SetNetwork(ctx, usage.Network{Name: fmt.Sprint("Town ", n), Region: region})
	}},
	{"rebuild", func(ctx context.Context, st *store.Store, code string, n int) error {
		return st.Rebuild(ctx, code, nil)
	}},
}

// TestVersion holds that a site has a new number after each change of it, and the old one
// after a change of another.
func TestVersion(t *testing.T) {
	b := newBox(t, importer.Limits{})
	for _, code := range []string{"MILL", "QUAY"} {
		if err := b.store.AddSite(t.Context(), newSite(code, code)); err != nil {
			t.Fatal(err)
		}
	}
	mill, quay, all := b.store.Version("MILL"), b.store.Version("QUAY"), b.store.NetworkVersion()
	if _, err := b.store.Keep(t.Context(), "MILL", []store.CardIn{{Name: "A", Bytes: cardText(5)}}); err != nil {
		t.Fatal(err)
	}
	if got := b.store.Version("MILL"); got == mill {
		t.Errorf("Version(MILL) after its card = %d, want another than before", got)
	}
	if got := b.store.Version("QUAY"); got != quay {
		t.Errorf("Version(QUAY) after a card of MILL = %d, want %d", got, quay)
	}
	if got := b.store.NetworkVersion(); got == all {
		t.Errorf("NetworkVersion() after a card = %d, want another than before", got)
	}
}

// numbered is one site whose number the test sets.
type numbered struct{ n atomic.Uint64 }

func (v *numbered) Version(string) uint64  { return v.n.Load() }
func (v *numbered) NetworkVersion() uint64 { return v.n.Load() }

func TestMemo(t *testing.T) {
	v := &numbered{}
	v.n.Store(1)
	m := newMemo(v, 1000)
	made := 0
	ask := func(what string, bytes int, err error) (int, error) {
		return recall(t.Context(), m, "MILL", what, func(context.Context) (int, int, error) { made++; return made, bytes, err })
	}
	for _, step := range []struct {
		name, what string
		bytes      int
		err        error
		before     func()
		want       int
	}{
		{name: "first", what: "a", bytes: 400, want: 1},
		{name: "again", what: "a", bytes: 400, want: 1},
		{name: "something else", what: "b", bytes: 400, want: 2},
		{name: "a again, then the later used", what: "a", bytes: 400, want: 1},
		{name: "one too many: b leaves", what: "c", bytes: 400, want: 3},
		{name: "a has stayed", what: "a", bytes: 400, want: 1},
		{name: "b is made anew", what: "b", bytes: 400, want: 4},
		{name: "larger than all", what: "d", bytes: 2000, want: 5},
		{name: "so never kept", what: "d", bytes: 2000, want: 6},
		{name: "not to be kept", what: "e", bytes: -1, want: 7},
		{name: "nor is it", what: "e", bytes: -1, want: 8},
		{name: "after a change", what: "b", bytes: 400, before: func() { v.n.Store(2) }, want: 9},
		{name: "changes not known", what: "b", bytes: 400, before: func() { v.n.Store(0) }, want: 10},
		{name: "so nothing is kept", what: "b", bytes: 400, want: 11},
	} {
		if step.before != nil {
			step.before()
		}
		if got, err := ask(step.what, step.bytes, nil); got != step.want || err != nil {
			t.Errorf("%s: recall(%s) = %d, %v, want %d", step.name, step.what, got, err, step.want)
		}
	}
	v.n.Store(3)
	broken := errors.New("broken")
	if _, err := ask("f", 1, broken); !errors.Is(err, broken) {
		t.Errorf("recall of what fails = %v, want %v", err, broken)
	}
	if got, err := ask("f", 1, nil); err != nil || got == 0 {
		t.Errorf("recall after a failure = %d, %v, want it made", got, err)
	}
	if m.size > m.limit {
		t.Errorf("memo holds %d bytes, want %d at most", m.size, m.limit)
	}
}

// TestMemoOnce holds that many who ask at once get what one of them made, and that those
// who wait for one that breaks down do not wait for ever.
func TestMemoOnce(t *testing.T) {
	v := &numbered{}
	v.n.Store(1)
	m := newMemo(v, 1000)
	var made atomic.Int64
	gate := make(chan struct{})
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			got, err := recall(t.Context(), m, "MILL", "a", func(context.Context) (string, int, error) {
				<-gate
				made.Add(1)
				return "made", 10, nil
			})
			if got != "made" || err != nil {
				t.Errorf("recall = %q, %v, want what was made", got, err)
			}
		})
	}
	close(gate)
	all.Wait()
	if made.Load() != 1 {
		t.Errorf("made %d times, want once", made.Load())
	}
	func() {
		defer func() { _ = recover() }()
		_, _ = recall(t.Context(), m, "MILL", "b", func(context.Context) (string, int, error) { panic("broken") })
	}()
	if got, err := recall(t.Context(), m, "MILL", "b", func(context.Context) (string, int, error) { return "made", 10, nil }); got != "made" || err != nil {
		t.Errorf("recall after one that broke down = %q, %v, want what was made", got, err)
	}
}

// counting counts how often what is large of a site is read from the store.
type counting struct {
	*store.Store
	reads atomic.Int64
}

func (c *counting) Months(ctx context.Context, code string) ([]usage.MonthTally, error) {
	c.reads.Add(1)
	return c.Store.Months(ctx, code)
}

func (c *counting) SeasonData(ctx context.Context, code string) (usage.SeasonData, error) {
	c.reads.Add(1)
	return c.Store.SeasonData(ctx, code)
}

func (c *counting) Site(ctx context.Context, code string) (store.SiteDetail, error) {
	c.reads.Add(1)
	return c.Store.Site(ctx, code)
}

// TestManySites holds that the pages of all sites do not read the days and months of each
// again where there are so many sites that those of all cannot be kept.
func TestManySites(t *testing.T) {
	b, _ := usualBox(t)
	counted := &counting{Store: b.store}
	h, err := newHandler(Config{Store: counted, Charts: chart.New(ruler{}), Now: func() time.Time { return noon }, Log: slog.New(slog.NewTextHandler(b.log, nil))},
		memory{large: 1, small: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	many := &box{Handler: h, store: b.store, log: b.log}
	for _, path := range []string{"/", "/seasons", "/seasons/2026-spring", "/api/seasons/2026-spring", "/compare"} {
		first := many.get(path)
		before := counted.reads.Load()
		again := many.get(path)
		if first.status != 200 || again.body != first.body {
			t.Errorf("GET %s twice = %d and %d, or not the same", path, first.status, again.status)
		}
		if n := counted.reads.Load() - before; n != 0 {
			t.Errorf("GET %s again read %d times what is large of a site, want none", path, n)
		}
	}
	if counted.reads.Load() == 0 {
		t.Error("nothing was read")
	}
}
