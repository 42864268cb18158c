//go:build unix

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
)

// day is a served network in which a day passes quickly: the clock comes from here.
type day struct {
	*testing.T
	now    atomic.Int64 // Unix s
	data   string
	store  *store.Store
	sites  []string
	cards  []moreCard // in the order in which they come
	kept   map[string][]byte
	reader *person
	coord  *person
	rand   *rand.Rand
	did    map[string]int
	failed []string
	times  times
}

const dayPhrase = "saddle mitten quarry onward"

func newDay(t *testing.T) *day {
	t.Helper()
	n, err := forge.Random(300, 3, 21)
	if err != nil {
		t.Fatal(err)
	}
	d := &day{T: t, data: t.TempDir(), kept: map[string][]byte{}, rand: rand.New(rand.NewPCG(4, 2)), did: map[string]int{}}
	d.now.Store(time.Date(2027, 3, 27, 23, 0, 0, 0, time.UTC).Unix()) // summer time begins in Europe in the night
	clock := func() time.Time { return time.Unix(d.now.Load(), 0) }
	if d.store, err = store.Open(t.Context(), d.data, store.Options{Now: clock}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.store.Close() })
	for _, site := range n.Sites {
		d.sites = append(d.sites, site.Spec.Code)
		if err := d.store.AddSite(t.Context(), site.Spec.Site()); err != nil {
			t.Fatal(err)
		}
		for _, c := range site.Cards {
			data, err := c.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			d.cards = append(d.cards, moreCard{site.Spec.Code, data})
		}
	}
	d.rand.Shuffle(len(d.cards), func(i, j int) { d.cards[i], d.cards[j] = d.cards[j], d.cards[i] })
	err = errors.Join(d.store.SetPassphrase(t.Context(), store.RoleCoordinating, dayPhrase), d.store.OpenReading(t.Context(), true))
	if err != nil {
		t.Fatal(err)
	}
	d.serve(clock)
	return d
}

func (d *day) serve(clock func() time.Time) {
	d.Helper()
	srv := httptest.NewUnstartedServer(nil)
	cmd := &serveCommand{Listen: "127.0.0.1:0", Host: []string{"boxes.example"}}
	h, drawer, err := cmd.handler(&console{ctx: d.Context(), out: io.Discard, err: io.Discard, data: d.data, now: clock}, d.store, srv.Listener.Addr(), new(server.Readers))
	if err != nil {
		d.Fatal(err)
	}
	srv.Config.Handler = h
	srv.Start()
	d.Cleanup(func() {
		srv.Close()
		drawer.Close() // it draws ahead, into the data folder
	})
	jar, err := cookiejar.New(nil)
	if err != nil {
		d.Fatal(err)
	}
	d.reader, d.coord = newPerson(srv.URL, nil), newPerson(srv.URL, jar)
}

// want notes an answer that is not as it should be.
func (d *day) want(what string, a httpAnswer, status int) {
	d.did[what]++
	if a.status != status {
		d.failed = append(d.failed, fmt.Sprintf("%s = %d, want %d: %.200s", what, a.status, status, a.body))
	}
}

// asCoordinator does something that takes a session, and signs in first where there is
// none or none any more.
func (d *day) asCoordinator(what string, do func() httpAnswer) {
	a := do()
	if a.status == 401 || a.status == 303 && strings.HasPrefix(a.location, "/sign-in") {
		d.want("sign in", d.coord.post("/sign-in", url.Values{"who": {"Ann"}, "passphrase": {dayPhrase}}), 303)
		a = do()
	}
	if strings.HasPrefix(a.location, "/sign-in") {
		a.status, a.body = 401, "signed in, and sent to sign in again"
	}
	d.want(what, a, 303)
}

func (d *day) site() string { return d.sites[d.rand.IntN(len(d.sites))] }

func (d *day) readPages() {
	for _, path := range []string{"/", "/sites/" + d.site(), "/sites/" + d.site() + "/visits", "/questions", "/round", "/api/sites/" + d.site() + "/days"} {
		begun := time.Now()
		d.want("page", d.reader.get(path), 200)
		d.times = append(d.times, time.Since(begun))
	}
}

// bringNext brings the next card, or one that is kept again.
func (d *day) bringNext(i int) {
	c := d.cards[i%len(d.cards)]
	d.asCoordinator("card", func() httpAnswer { return d.coord.bring(c.site, "LOG.TXT", c.data) })
	d.kept[store.CardID(c.data)] = c.data
}

func (d *day) answer() {
	site := d.site()
	found, err := d.store.Findings(d.Context(), site)
	if err != nil {
		d.Fatal(err)
	}
	if len(found) == 0 {
		return
	}
	f := found[d.rand.IntN(len(found))]
	key := url.Values{"key": {f.Key}}
	if f.Ruling != nil {
		d.asCoordinator("undo", func() httpAnswer { return d.coord.post("/sites/"+site+"/questions/undo", key) })
		return
	}
	key.Set("answer", string(usage.AnswerSeen))
	d.asCoordinator("answer", func() httpAnswer { return d.coord.post("/sites/"+site+"/questions", key) })
}

func (d *day) withdrawAndBringAgain() {
	ids := slices.Sorted(maps.Keys(d.kept))
	id := ids[d.rand.IntN(len(ids))]
	card, err := d.store.Card(d.Context(), id)
	if err != nil {
		d.Fatalf("a card that was kept: %v", err)
	}
	d.asCoordinator("withdraw", func() httpAnswer { return d.coord.post("/cards/"+id+"/withdraw", url.Values{}) })
	d.asCoordinator("card", func() httpAnswer { return d.coord.bring(card.Site, "LOG.TXT", d.kept[id]) })
}

// tend is what a served network does by itself every hour, and every day.
func (d *day) tend(check bool) {
	made, err := d.store.Roll(d.Context())
	if err != nil {
		d.failed = append(d.failed, "rolling copy: "+err.Error())
	}
	if made.File != "" {
		d.did["rolling copy"]++
	}
	if !check {
		return
	}
	d.did["check"]++
	c, err := d.store.Check(d.Context(), "", nil)
	if err != nil || len(c.Problems) > 0 {
		d.failed = append(d.failed, fmt.Sprintf("check finds %+v, %v", c.Problems, err))
	}
}

// weight is what the process holds.
type weight struct{ goroutines, files, heapMB, logMB int }

func (d *day) weigh() weight {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	files, _ := os.ReadDir("/proc/self/fd") // none elsewhere than on Linux
	w := weight{goroutines: runtime.NumGoroutine(), files: len(files), heapMB: int(m.HeapAlloc >> 20)}
	if info, err := os.Stat(filepath.Join(d.data, store.FileName+"-wal")); err == nil {
		w.logMB = int(info.Size() >> 20)
	}
	return w
}

// A day of use round the clock, run fast: pages are read, cards come in and are taken
// back, questions are answered, copies roll, sessions end and begin, and the clock of
// the server jumps ahead by a day and back again. Nothing fails, nothing is lost, and
// nothing grows that should not.
func TestDayOfUse(t *testing.T) {
	if testing.Short() {
		t.Skip("drawing takes minutes in the program that short tests look for races in")
	}
	d := newDay(t)
	steps := soakTimes(24, 2880)
	step := int64(24 * 3600 / steps)
	d.bringNext(0)
	d.readPages()
	before := d.weigh()
	for i := 1; i <= steps; i++ {
		d.now.Add(step)
		switch i {
		case steps / 3:
			d.now.Add(86400)
			d.did["clock ahead by a day"]++
		case 2 * steps / 3:
			d.now.Add(-2 * 86400)
			d.did["clock back by two days"]++
		case steps * 3 / 4:
			d.now.Add(86400)
			d.did["clock ahead by a day"]++
		}
		d.readPages()
		if i%max(1, steps/36) == 0 {
			d.bringNext(i / max(1, steps/36))
		}
		if i%max(1, steps/24) == 0 {
			d.tend(i%max(1, steps/6) == 0)
			d.answer()
		}
		if i%max(1, steps/8) == 0 {
			d.withdrawAndBringAgain()
		}
	}
	after := d.weigh()
	d.end(before, after)
}

func (d *day) end(before, after weight) {
	lost, journalled := d.compare()
	rows := [][]string{{"a day in " + fmt.Sprint(len(d.times)/6) + " steps", ""}}
	for _, what := range []string{"page", "card", "withdraw", "answer", "undo", "sign in", "rolling copy", "check", "clock ahead by a day", "clock back by two days"} {
		rows = append(rows, []string{what, fmt.Sprint(d.did[what])})
	}
	rows = append(rows, [][]string{
		{"failed", fmt.Sprint(len(d.failed))}, {"cards kept", fmt.Sprint(len(d.kept))}, {"cards lost or spoilt", fmt.Sprint(lost)},
		{"journal: cards kept", fmt.Sprint(journalled)},
		{"pages p50, p99", fmt.Sprint(d.times.at(0.5), ", ", d.times.at(0.99))},
		{"goroutines", fmt.Sprint(before.goroutines, " → ", after.goroutines)}, {"open files", fmt.Sprint(before.files, " → ", after.files)},
		{"heap, MB", fmt.Sprint(before.heapMB, " → ", after.heapMB)}, {"write-ahead log, MB", fmt.Sprint(after.logMB)},
	}...)
	soakTable(d.T, rows)
	for _, why := range d.failed[:min(len(d.failed), 10)] {
		d.Error(why)
	}
	if lost > 0 || d.did["rolling copy"] == 0 || d.did["answer"] == 0 || d.did["sign in"] < 2 {
		d.Errorf("%d cards lost; %d copies, %d answers, %d times signed in, want some", lost, d.did["rolling copy"], d.did["answer"], d.did["sign in"])
	}
	if after.goroutines > before.goroutines+20 || after.files > before.files+20 || after.logMB > 64 || after.heapMB > before.heapMB+200 {
		d.Errorf("the process holds %+v after the day, %+v before", after, before)
	}
}

// compare holds the network against one that was made of the same cards at once, and
// against its newest copy.
func (d *day) compare() (lost, journalled int) {
	ctx := context.Background()
	other := openAt(d.T, d.TempDir())
	defer other.Close()
	sites, err := d.store.Sites(ctx)
	if err != nil {
		d.Fatal(err)
	}
	for _, site := range sites {
		if err := other.AddSite(ctx, site.Site); err != nil {
			d.Fatal(err)
		}
		var cards []store.CardIn
		for _, c := range d.cards {
			id := store.CardID(c.data)
			if c.site != site.Code || d.kept[id] == nil {
				continue
			}
			got, err := d.store.CardBytes(ctx, id)
			if err != nil || string(got) != string(c.data) {
				lost++
			}
			cards = append(cards, store.CardIn{Name: "LOG.TXT", Bytes: c.data})
		}
		if _, err := other.Keep(ctx, site.Code, cards); err != nil {
			d.Fatal(err)
		}
		want, err := other.Site(ctx, site.Code)
		if err != nil || want.Totals.Openings != site.Totals.Openings {
			d.Errorf("%s has %d openings after the day, %d where the same cards come at once (%v)", site.Code, site.Totals.Openings, want.Totals.Openings, err)
		}
	}
	entries, _, err := d.store.Journal(ctx, 0, 1_000_000)
	if err != nil {
		d.Fatal(err)
	}
	for i, e := range entries {
		if e.Deed == store.DeedCardKept {
			journalled++
		}
		if i > 0 && e.At > entries[i-1].At {
			d.Errorf("the journal's entry %d stands out of its time", i)
		}
	}
	copies, err := store.Copies(d.data)
	if err != nil || len(copies) == 0 {
		d.Fatalf("Copies = %q, %v", copies, err)
	}
	for _, file := range copies {
		if _, err := store.Restore(ctx, file, filepath.Join(d.TempDir(), "restored"), store.RestoreOptions{}); err != nil {
			d.Errorf("restore of the rolling copy %s: %v", filepath.Base(file), err)
		}
	}
	return lost, journalled
}
