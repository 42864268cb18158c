package store

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"doorleaf/usage"
)

// A history is a random run of everything that can be done to a network, beside a
// model in memory of what must stand afterwards. The model knows nothing of
// stitching or of clocks: the loggers of its boxes never falter and no two openings
// have one stamp, so that the openings of a box are the union of the rows on its
// cards, each row once.

// historyModel is what must stand.
type historyModel struct {
	names   map[string]string                  // by site
	cards   map[string]modelCard               // by ID
	rulings map[string]map[string]usage.Answer // site → question → answer
	calls   map[string]modelCall               // by note
}

type modelCard struct {
	site    string
	stock   string // whose logger wrote it
	lo, hi  int    // its rows
	removed *int64
}

type modelCall struct {
	site     string
	standing bool
}

func newModel() historyModel {
	return historyModel{names: map[string]string{}, cards: map[string]modelCard{}, rulings: map[string]map[string]usage.Answer{}, calls: map[string]modelCall{}}
}

func (m historyModel) clone() historyModel {
	c := historyModel{names: maps.Clone(m.names), cards: maps.Clone(m.cards), calls: maps.Clone(m.calls), rulings: map[string]map[string]usage.Answer{}}
	for site, answers := range m.rulings {
		c.rulings[site] = maps.Clone(answers)
	}
	return c
}

// openings is how many openings a box has.
func (m historyModel) openings(site string) int64 {
	rows := map[string]bool{}
	for _, c := range m.cards {
		for i := c.lo; c.site == site && i < c.hi; i++ {
			rows[fmt.Sprint(c.stock, i)] = true
		}
	}
	return int64(len(rows))
}

// says writes down what must stand, line by line.
func (m historyModel) says() string {
	var lines []string
	for site, name := range m.names {
		lines = append(lines, fmt.Sprintf("site %s %s, %d openings", site, name, m.openings(site)))
	}
	for id, c := range m.cards {
		lines = append(lines, fmt.Sprintf("card %.12s of %s, out %s", id, c.site, instantOrNone(c.removed)))
	}
	for site, answers := range m.rulings {
		for key, answer := range answers {
			lines = append(lines, fmt.Sprintf("answer of %s to %s: %s", site, key, answer))
		}
	}
	for note, c := range m.calls {
		if c.standing {
			lines = append(lines, fmt.Sprintf("call %q at %s", note, c.site))
		}
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

func instantOrNone(at *int64) string {
	if at == nil {
		return "unknown"
	}
	return fmt.Sprint(*at)
}

// standing writes down what stands in a network, in the words of the model.
func standing(tb testing.TB, s *Store) string {
	tb.Helper()
	ctx := context.Background()
	sites, err := s.Sites(ctx)
	if err != nil {
		tb.Fatal(err)
	}
	var lines []string
	for _, site := range sites {
		lines = append(lines, fmt.Sprintf("site %s %s, %d openings", site.Code, site.Name, site.Totals.Openings))
		cards, err1 := s.Cards(ctx, site.Code)
		answers, err2 := s.Rulings(ctx, site.Code)
		calls, err3 := s.Calls(ctx, site.Code)
		if err := errors.Join(err1, err2, err3); err != nil {
			tb.Fatal(err)
		}
		for _, c := range cards {
			lines = append(lines, fmt.Sprintf("card %.12s of %s, out %s", c.ID, c.Site, instantOrNone(c.RemovedAt)))
		}
		for _, a := range answers {
			lines = append(lines, fmt.Sprintf("answer of %s to %s: %s", site.Code, a.Key, a.Answer))
		}
		for _, c := range calls {
			lines = append(lines, fmt.Sprintf("call %q at %s", c.Note, site.Code))
		}
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

// historyRows is how many rows a logger of a history writes.
const historyRows = 420

// historyStock returns the stamps of a logger, Unix s: some nine openings a day, and
// in the middle four weeks without one.
func historyStock(site string) []int64 {
	step := int64(7919 + 331*int64(len(site)) + 17*int64(site[0]))
	at := int64(logStart) + int64(site[0])
	stamps := make([]int64, historyRows)
	for i := range stamps {
		at += step + int64(i*i*37%4001) // s; never the same twice
		if i == historyRows/2 {
			at += 28 * 86400
		}
		stamps[i] = at
	}
	return stamps
}

// historyCard is a card with rows lo to hi of a logger; the last lacks its seconds.
func historyCard(stock string, stamps []int64, lo, hi int) (CardIn, modelCard) {
	var b strings.Builder
	for i := lo; i < hi; i++ {
		seconds := fmt.Sprint(5 + i%50)
		if i == hi-1 {
			seconds = ""
		}
		fmt.Fprintf(&b, "%s,%s\r\n", time.Unix(stamps[i], 0).UTC().Format("2006-01-02 15:04:05"), seconds)
	}
	return CardIn{Name: "LOG.TXT", Bytes: []byte(b.String())}, modelCard{stock: stock, lo: lo, hi: hi}
}

var historySites = []string{"MILL", "QUAY"}

// history is one run.
type history struct {
	*drawn
	ctx    context.Context
	root   string
	dir    string // of the data folder now
	dirs   int
	store  *Store
	now    int64
	stocks map[string][]int64
	notes  int
	model  historyModel

	copyFile string // the latest backup, "" for none
	copied   historyModel
	earlier  *Bundle // of this network itself, earlier in its history
	before   historyModel
	far      *Bundle // of another network
	farModel historyModel
	farSeen  map[string]bool // calls of it that have been brought
	did      []string
	idle     bool // the latest deed found nothing to do
}

func (h *history) open() {
	s, err := Open(h.ctx, h.dir, Options{Now: func() time.Time { return time.Unix(h.now, 0) }})
	if err != nil {
		h.Fatalf("open again after %q: %v", h.did, err)
	}
	h.store = s
}

func (h *history) shut() {
	if err := h.store.Close(); err != nil {
		h.Fatal(err)
	}
}

// newDir returns an empty folder.
func (h *history) newDir() string {
	h.dirs++
	dir := filepath.Join(h.root, fmt.Sprint(h.dirs))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		h.Fatal(err)
	}
	return dir
}

func (h *history) ok(err error) {
	h.Helper()
	if err != nil {
		h.Fatalf("after %q: %v", h.did, err)
	}
}

func (h *history) site() string { return rapid.SampledFrom(historySites).Draw(h.r, "site") }

// draw draws a card of a logger: from the beginning, or any part.
func (h *history) draw(stock string) (CardIn, modelCard) {
	lo := 0
	if rapid.Bool().Draw(h.r, "put in anew") {
		lo = 20 * rapid.IntRange(0, historyRows/20-2).Draw(h.r, "from")
	}
	hi := min(historyRows, lo+20+20*rapid.IntRange(0, historyRows/20).Draw(h.r, "rows"))
	in, c := historyCard(stock, h.stocks[stock], lo, hi)
	if rapid.IntRange(0, 3).Draw(h.r, "time known") == 0 {
		at := h.stocks[stock][hi-1] + int64(rapid.IntRange(0, 4).Draw(h.r, "seconds later"))
		in.RemovedAt, c.removed = &at, &at
	}
	return in, c
}

// anyCard is the ID of a card that is kept; "" without one.
func (h *history) anyCard() string {
	ids := slices.Sorted(maps.Keys(h.model.cards))
	if h.idle = len(ids) == 0; h.idle {
		return ""
	}
	return rapid.SampledFrom(ids).Draw(h.r, "card")
}

// upload keeps some cards of a box at once, some of them perhaps of another's logger.
func (h *history) upload() {
	site := h.site()
	var cards []CardIn
	after := h.model.clone()
	refused := false
	for range rapid.IntRange(1, 3).Draw(h.r, "cards") {
		stock := site
		if rapid.IntRange(0, 7).Draw(h.r, "swapped") == 0 {
			stock = h.site()
		}
		in, c := h.draw(stock)
		c.site = site
		id := CardID(in.Bytes)
		if old, kept := after.cards[id]; kept {
			refused = refused || old.site != site
			if c.removed == nil {
				c.removed = old.removed
			}
		}
		after.cards[id] = c
		cards = append(cards, in)
	}
	receipts, err := h.store.Keep(h.ctx, site, cards)
	switch {
	case refused && usage.KindOf(err) == usage.Conflict:
	case refused || err != nil:
		h.Fatalf("Keep(%s) = %v, want a conflict: %v", site, err, refused)
	default:
		want := after.openings(site) - h.model.openings(site)
		if receipts[0].New != want {
			h.Errorf("Keep(%s) after %q: %d new openings, want %d", site, h.did, receipts[0].New, want)
		}
		h.model = after
	}
}

// again keeps a card that is kept, which changes nothing.
func (h *history) again() {
	id := h.anyCard()
	if id == "" {
		return
	}
	c := h.model.cards[id]
	in, _ := historyCard(c.stock, h.stocks[c.stock], c.lo, c.hi)
	receipts, err := h.store.Keep(h.ctx, c.site, []CardIn{in})
	h.ok(err)
	if !receipts[0].Already || receipts[0].New != 0 {
		h.Errorf("Keep again = %+v, want nothing new", receipts[0])
	}
}

func (h *history) nowhere() {
	in, _ := h.draw("MILL")
	if _, err := h.store.Keep(h.ctx, "NONE", []CardIn{in}); usage.KindOf(err) != usage.NotFound {
		h.Errorf("Keep at a site that is not there: %v", err)
	}
}

func (h *history) withdraw() {
	if id := h.anyCard(); id != "" {
		h.ok(h.store.Withdraw(h.ctx, id))
		delete(h.model.cards, id)
	}
}

func (h *history) removal() {
	id := h.anyCard()
	if id == "" {
		return
	}
	c := h.model.cards[id]
	c.removed = nil
	if rapid.Bool().Draw(h.r, "known") {
		at := h.stocks[c.stock][c.hi-1] + int64(rapid.IntRange(0, 4).Draw(h.r, "seconds later"))
		c.removed = &at
	}
	h.ok(h.store.Removal(h.ctx, id, c.removed, false))
	h.model.cards[id] = c
}

func (h *history) rename() {
	site, name := h.site(), rapid.SampledFrom([]string{"One", "Two", "Three"}).Draw(h.r, "name")
	h.ok(h.store.ChangeSite(h.ctx, site, func(s *usage.Site) error { s.Name = name; return nil }))
	h.model.names[site] = name
}

func (h *history) answer() {
	site := h.site()
	found, err := h.store.Findings(h.ctx, site)
	h.ok(err)
	if h.idle = len(found) == 0; h.idle {
		return
	}
	f := rapid.SampledFrom(found).Draw(h.r, "question")
	answers := []usage.Answer{usage.AnswerSeen}
	for _, c := range f.Choices {
		// An answer that takes openings out of the count is not for this model.
		if c.Answer == usage.AnswerQuiet || c.Answer == usage.AnswerOutage {
			answers = append(answers, c.Answer)
		}
	}
	answer := rapid.SampledFrom(answers).Draw(h.r, "answer")
	h.ok(h.store.Rule(h.ctx, site, usage.Ruling{Key: f.Key, Answer: answer, By: "Ada"}))
	if h.model.rulings[site] == nil {
		h.model.rulings[site] = map[string]usage.Answer{}
	}
	h.model.rulings[site][f.Key] = answer
}

func (h *history) undo() {
	site := h.site()
	keys := slices.Sorted(maps.Keys(h.model.rulings[site]))
	if h.idle = len(keys) == 0; h.idle {
		if err := h.store.Unrule(h.ctx, site, "quiet-0", "Bo"); usage.KindOf(err) != usage.NotFound {
			h.Errorf("Unrule of nothing: %v", err)
		}
		return
	}
	key := rapid.SampledFrom(keys).Draw(h.r, "question")
	h.ok(h.store.Unrule(h.ctx, site, key, "Bo"))
	delete(h.model.rulings[site], key)
}

func (h *history) call() {
	site := h.site()
	h.notes++
	note := fmt.Sprint("call ", h.notes)
	at := rapid.SampledFrom(h.stocks[site]).Draw(h.r, "at")
	_, err := h.store.AddCall(h.ctx, site, usage.ServiceCall{At: at, Kinds: []usage.CallKind{usage.CallRestock}, Note: note})
	h.ok(err)
	h.model.calls[note] = modelCall{site, true}
}

func (h *history) dropCall() {
	site := h.site()
	all, err := h.store.Calls(h.ctx, site)
	h.ok(err)
	if h.idle = len(all) == 0; !h.idle {
		c := rapid.SampledFrom(all).Draw(h.r, "call")
		h.ok(h.store.DropCall(h.ctx, site, c.ID))
		h.model.calls[c.Note] = modelCall{site, false}
	}
}

func (h *history) restoreCall() {
	site := h.site()
	all, err := h.store.WithdrawnCalls(h.ctx, site)
	h.ok(err)
	if h.idle = len(all) == 0; !h.idle {
		c := rapid.SampledFrom(all).Draw(h.r, "call")
		_, err := h.store.RestoreCall(h.ctx, site, c.ID)
		h.ok(err)
		h.model.calls[c.Note] = modelCall{site, true}
	}
}

func (h *history) rebuild() {
	before := derivedByCode(h, h.store)
	h.ok(h.store.Rebuild(h.ctx, "", nil))
	if derivedByCode(h, h.store) != before {
		h.Errorf("after %q a rebuild derived other rows", h.did)
	}
}

func (h *history) restart() {
	h.shut()
	h.open()
}

// crash leaves the network as a power cut would: the files as they lie there while it
// is open, the log perhaps cut off within the last commit.
func (h *history) crash() {
	before, log := h.model.clone(), h.logBytes()
	rapid.SampledFrom([]func(){h.upload, h.withdraw, h.call, h.rename}).Draw(h.r, "while")()
	to := h.newDir()
	cut := h.logBytes()
	if cut > log && rapid.Bool().Draw(h.r, "torn") {
		cut = log + int64(rapid.IntRange(0, int(cut-log)).Draw(h.r, "cut at"))
	}
	for _, name := range []string{"", "-wal"} {
		data, err := os.ReadFile(databaseFile(h.dir) + name)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		h.ok(err)
		if name != "" {
			data = data[:min(int64(len(data)), cut)]
		}
		h.ok(os.WriteFile(databaseFile(to)+name, data, 0o600))
	}
	h.shut()
	h.dir = to
	h.open()
	if got := standing(h, h.store); got == before.says() {
		h.model = before
	}
}

func (h *history) logBytes() int64 {
	info, err := os.Stat(databaseFile(h.dir) + "-wal")
	if err != nil {
		return 0
	}
	return info.Size()
}

func (h *history) backup() {
	h.copyFile = filepath.Join(h.newDir(), "copy.db")
	_, err := h.store.Backup(h.ctx, h.copyFile)
	h.ok(err)
	h.copied = h.model.clone()
}

func (h *history) restore() {
	if h.idle = h.copyFile == ""; h.idle {
		return
	}
	h.shut()
	_, err := Restore(h.ctx, h.copyFile, h.dir, RestoreOptions{Now: func() time.Time { return time.Unix(h.now, 0) }, Replace: true})
	h.ok(err)
	h.open()
	h.model, h.earlier = h.copied.clone(), nil // a bundle from after the copy was made is another story
	h.farSeen = map[string]bool{}
	for note := range h.model.calls {
		h.farSeen[note] = true
	}
}

func (h *history) bundle() {
	h.earlier, h.before = h.bundleOf(h.store), h.model.clone()
}

// bundleOf is mustBundle for the property.
func (h *history) bundleOf(s *Store) *Bundle {
	var b bytes.Buffer
	_, err := s.WriteBundle(h.ctx, &b, "")
	h.ok(err)
	data := b.Bytes()
	bundle, err := ReadBundle(bytes.NewReader(data), int64(len(data)), "B.zip", DefaultBundleLimits)
	h.ok(err)
	return bundle
}

// mergeEarlier merges the network with what it was. Whoever is held to be right, what
// was ended since stays ended; where the earlier one is, its facts come back.
func (h *history) mergeEarlier() {
	if h.idle = h.earlier == nil; h.idle {
		return
	}
	keep := rapid.SampledFrom([]string{Ours, Theirs}).Draw(h.r, "right")
	h.mergeWith(h.earlier, keep)
	for id, c := range h.before.cards {
		now, kept := h.model.cards[id]
		switch {
		case kept && now.removed == nil:
			now.removed = c.removed // told by one side alone
			h.model.cards[id] = now
		case kept && c.removed != nil && keep == Theirs:
			now.removed = c.removed
			h.model.cards[id] = now
		}
		if keep == Theirs && kept {
			now.site = c.site
			h.model.cards[id] = now
		} else if keep == Theirs {
			h.model.cards[id] = c
		}
	}
	if keep == Theirs {
		maps.Copy(h.model.names, h.before.names)
	}
}

// mergeFar merges another network.
func (h *history) mergeFar() {
	keep := rapid.SampledFrom([]string{Ours, Theirs}).Draw(h.r, "right")
	withdrawn := h.withdrawn()
	h.mergeWith(h.far, keep)
	for id, c := range h.farModel.cards {
		now, kept := h.model.cards[id]
		switch {
		case kept && keep == Theirs:
			now.site = c.site
			h.model.cards[id] = now
		case !kept && (keep == Theirs || !withdrawn[id]):
			h.model.cards[id] = c
		}
	}
	for note, c := range h.farModel.calls {
		if !h.farSeen[note] {
			h.model.calls[note] = c
			h.farSeen[note] = true
		}
	}
	if keep == Theirs {
		maps.Copy(h.model.names, h.farModel.names)
	}
	for site, name := range h.farModel.names {
		if h.model.names[site] == "" {
			h.model.names[site] = name
		}
	}
}

// withdrawn returns the cards that the journal tells were ever withdrawn.
func (h *history) withdrawn() map[string]bool {
	entries, _, err := h.store.Journal(h.ctx, 0, 1_000_000)
	h.ok(err)
	all := map[string]bool{}
	for _, e := range entries {
		all[e.Subject] = all[e.Subject] || e.Deed == DeedWithdrawn
	}
	return all
}

// mergeWith merges a bundle; who brought a card to which box is answered as the
// bundle has it.
func (h *history) mergeWith(b *Bundle, keep string) {
	answers := MergeAnswers{Keep: keep, ByKey: map[string]string{}}
	m, err := h.store.Merge(h.ctx, b, answers)
	h.ok(err)
	for _, q := range m.Questions {
		if strings.Contains(q.Says, "whose card is it?") {
			answers.ByKey[q.Key] = q.Choices[0].Answer
		}
	}
	if len(m.Questions) > 0 {
		m, err = h.store.Merge(h.ctx, b, answers)
		h.ok(err)
	}
	if len(m.Questions) > 0 {
		h.Fatalf("after %q the merge asks %+v", h.did, m.Questions)
	}
}

// prepareFar makes another network: cards of the same loggers that lie elsewhere in
// their logs, a call, and a box of its own.
func (h *history) prepareFar() {
	dir := h.newDir()
	data, err := fresh()
	h.ok(err)
	h.ok(os.WriteFile(databaseFile(dir), data, 0o600))
	s, err := Open(h.ctx, dir, Options{Now: fixedClock(testNow - 86400)})
	h.ok(err)
	defer s.Close()
	h.farModel = newModel()
	for i, code := range []string{"MILL", "YARD"} {
		site := testSite(code)
		site.Latitude += float64(2 * i)
		h.ok(s.AddSite(h.ctx, site))
		h.farModel.names[code] = site.Name
		for _, span := range [][2]int{{0, 60}, {0, 100}, {300, 400}} {
			in, c := historyCard(code, h.stocks[code], span[0], span[1])
			_, err := s.Keep(h.ctx, code, []CardIn{in})
			h.ok(err)
			c.site = code
			h.farModel.cards[CardID(in.Bytes)] = c
		}
		note := "far " + code
		_, err := s.AddCall(h.ctx, code, usage.ServiceCall{At: h.stocks[code][30], Kinds: []usage.CallKind{usage.CallRestock}, Note: note})
		h.ok(err)
		h.farModel.calls[note] = modelCall{code, true}
	}
	h.far = h.bundleOf(s)
}

// check compares network and model; whole adds the fresh derivation of everything.
func (h *history) check(whole bool) {
	h.Helper()
	if got, want := standing(h, h.store), h.model.says(); got != want {
		h.Fatalf("after %q there stands\n%s\nwant\n%s", h.did, got, want)
	}
	if !whole {
		return
	}
	c, err := h.store.Check(h.ctx, "", nil)
	if err != nil || len(c.Problems) > 0 || c.Cards != len(h.model.cards) {
		h.Fatalf("after %q Check = %d cards, %+v, %v, want %d and no problem", h.did, c.Cards, c.Problems, err, len(h.model.cards))
	}
}

// deeds are what may happen, by name.
func (h *history) deeds() map[string]func() {
	return map[string]func(){
		"upload": h.upload, "upload 2": h.upload, "upload 3": h.upload, "upload 4": h.upload, "again": h.again, "nowhere": h.nowhere, "withdraw": h.withdraw, "removal": h.removal,
		"rename": h.rename, "answer": h.answer, "answer 2": h.answer, "undo": h.undo, "call": h.call, "drop call": h.dropCall, "restore call": h.restoreCall,
		"rebuild": h.rebuild, "restart": h.restart, "crash": h.crash, "backup": h.backup, "restore": h.restore,
		"bundle": h.bundle, "merge with what it was": h.mergeEarlier, "merge another": h.mergeFar,
	}
}

// Whatever is done in whatever order, what stands is what the model says, and what is
// derived is what a fresh derivation gives: no opening is lost or counted twice, no
// card is half kept. The clock goes forward, stands still, and now and then jumps back
// by a day.
func TestHistories(t *testing.T) {
	counts := map[string]int{}
	runs := 0
	var far *Bundle // the same in all histories
	var farModel historyModel
	rapid.Check(t, func(r *rapid.T) {
		h := &history{drawn: &drawn{TB: t, r: r}, ctx: context.Background(), now: testNow, model: newModel(), stocks: map[string][]int64{}}
		var err error
		if h.root, err = os.MkdirTemp("", "doorleaf-history-"); err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(h.root)
		for _, code := range []string{"MILL", "QUAY", "YARD"} {
			h.stocks[code] = historyStock(code)
		}
		if far == nil {
			h.prepareFar()
			far, farModel = h.far, h.farModel
		}
		h.far, h.farModel, h.farSeen = far, farModel, map[string]bool{}
		h.dir = h.newDir()
		data, err := fresh()
		h.ok(cmp.Or(err, os.WriteFile(databaseFile(h.dir), data, 0o600)))
		h.open()
		defer func() { h.store.Close() }()
		for i, code := range historySites {
			site := testSite(code)
			site.Latitude += float64(i)
			h.ok(h.store.AddSite(h.ctx, site))
			h.model.names[code] = site.Name
		}
		h.upload()
		deeds := h.deeds()
		names := slices.Sorted(maps.Keys(deeds))
		for i := range rapid.IntRange(soakTimes(10, 30), soakTimes(16, 90)).Draw(r, "deeds") {
			name := rapid.SampledFrom(names).Draw(r, "deed")
			h.now += int64(rapid.SampledFrom([]int{0, 1, 60, 3600, 86400, -86400}).Draw(r, "later"))
			h.did = append(h.did, name)
			h.idle = false
			deeds[name]()
			h.check(i%8 == 7)
			if name, _, _ = strings.Cut(name, " 2"); !h.idle {
				counts[strings.TrimRight(name, " 34")]++
			}
		}
		h.check(true)
		runs++
	})
	var table strings.Builder
	for _, name := range slices.Sorted(maps.Keys(counts)) {
		fmt.Fprintf(&table, "\n%-24s %6d", name, counts[name])
	}
	t.Logf("%d histories, nothing lost; deeds done%s", runs, table.String())
}
