//go:build unix

package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/store"
)

// readerPause is how long a reader looks at a page in a soak, on average. Common
// practice, no source: nobody reads a page of figures in less than some seconds.
const readerPause = 8 * time.Second

// Two hundred people read while cards come in without a pause: no page fails, none
// tells of a locked database, and pages do not become slow: the slowest in a hundred
// takes five times as long at most as for one reader who reads each page after a card
// came in, when its charts are drawn anew too. A soak takes ten minutes.
func TestReadersDuringImports(t *testing.T) {
	if testing.Short() {
		t.Skip("drawing takes minutes in the program that short tests look for races in")
	}
	w := newReading(t)
	w.pause = time.Second
	if os.Getenv("DOORLEAF_SOAK") != "" {
		w.pause = readerPause
	}
	address := serving(t, "serve", "--data", w.data)
	idle, warm := &readings{}, &readings{}
	for range soakTimes(1, 10) { // a card comes in, then one person reads; charts are drawn anew
		w.bringSome(t, address)
		w.read(t, address, idle, 1, len(w.pages), nil)
	}
	w.read(t, address, warm, 1, len(w.pages), nil)
	stop := make(chan struct{})
	brought := make(chan int)
	go func() { brought <- w.bringOn(t, address, stop) }()
	busy := &readings{}
	begun := time.Now()
	time.AfterFunc(time.Duration(soakTimes(6, 600))*time.Second, func() { close(stop) })
	people := 40
	if os.Getenv("DOORLEAF_SOAK") != "" {
		people = 200
	}
	w.read(t, address, busy, people, 1<<30, stop)
	cards := <-brought
	ratio := float64(busy.times.at(0.99)) / float64(idle.times.at(0.99))
	soakTable(t, [][]string{
		{"", "pages", "p50", "p99", "slowest", "status 5xx", "locked", "broken off"},
		warm.row("one reader, nothing has changed"),
		idle.row("one reader, after new cards"),
		busy.row(fmt.Sprintf("%d readers, %d cards in %v", people, cards, time.Since(begun).Round(time.Second))),
		{"p99 against idle", "", "", fmt.Sprintf("%.1f times", ratio), "", "", "", ""},
	})
	t.Logf("slowest pages: %v", busy.slowest)
	if busy.failed+busy.locked+busy.broken > 0 {
		t.Errorf("%d pages failed, %d told of a lock, %d broke off, want none; first: %s", busy.failed, busy.locked, busy.broken, busy.first)
	}
	if cards == 0 || len(busy.times) < people/2 {
		t.Errorf("%d cards came in and %d pages were read: it proves nothing", cards, len(busy.times))
	}
	if os.Getenv("DOORLEAF_SOAK") != "" && ratio > 5 {
		t.Errorf("p99 is %.1f times that of an idle server, want 5 at most", ratio)
	}
	for id, data := range w.kept {
		got := newPerson(address, nil).get("/cards/" + id + "/file")
		if got.status != 200 || got.body != string(data) {
			t.Errorf("card %.12s comes back with status %d and %d bytes, want %d", id, got.status, len(got.body), len(data))
		}
	}
}

// reading is a network that people read and cards that somebody brings to it.
type reading struct {
	data  string
	pages []string
	pause time.Duration
	more  []moreCard
	kept  map[string][]byte // cards that stay, by ID
}

type moreCard struct {
	site string
	data []byte
}

func newReading(t *testing.T) *reading {
	t.Helper()
	n, err := forge.Random(400, 4, 12)
	if err != nil {
		t.Fatal(err)
	}
	w := &reading{data: t.TempDir(), kept: map[string][]byte{}, pages: []string{
		"/", "/seasons", "/questions", "/compare", "/round", "/visits", "/about-the-numbers", "/journal", "/api/sites",
	}}
	s := openAt(t, w.data)
	for _, site := range n.Sites {
		code := site.Spec.Code
		err := s.AddSite(t.Context(), site.Spec.Site())
		for i, c := range site.Cards {
			data, readErr := c.Bytes()
			err = errors.Join(err, readErr)
			if i >= len(site.Cards)/2 {
				w.more = append(w.more, moreCard{code, data})
				continue
			}
			_, keepErr := s.Keep(t.Context(), code, []store.CardIn{{Name: c.Name, Bytes: data}})
			err = errors.Join(err, keepErr)
			w.kept[store.CardID(data)] = data
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, page := range []string{"", "/visits", "/openings", "/cards", "/questions", "/calls", "/daylight", "/power"} {
			w.pages = append(w.pages, "/sites/"+code+page)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return w
}

// readings are what readers saw.
type readings struct {
	mu                     sync.Mutex
	times                  times
	failed, locked, broken int
	first                  string // of what went wrong
	slowest                []timedPage
}

type timedPage struct {
	took time.Duration
	path string
}

func (r *readings) row(name string) []string {
	return []string{
		name, fmt.Sprint(len(r.times)), fmt.Sprint(r.times.at(0.5)), fmt.Sprint(r.times.at(0.99)), fmt.Sprint(r.times.at(1)),
		fmt.Sprint(r.failed), fmt.Sprint(r.locked), fmt.Sprint(r.broken),
	}
}

func (r *readings) note(path string, a httpAnswer, took time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	locked := strings.Contains(a.body, "database is locked") || strings.Contains(a.body, "another program was writing")
	switch {
	case a.status == 0:
		r.broken++
	case a.status >= 500:
		r.failed++
	case locked:
		r.locked++
	default:
		r.times = append(r.times, took)
		r.slowest = append(r.slowest, timedPage{took, path})
		slices.SortFunc(r.slowest, func(a, b timedPage) int { return cmp.Compare(b.took, a.took) })
		r.slowest = r.slowest[:min(len(r.slowest), 8)]
		return
	}
	if r.first == "" {
		r.first = fmt.Sprintf("GET %s = %d %.300s", path, a.status, a.body)
	}
}

// read lets so many people read so many pages each, or until stop. One alone reads
// without a pause.
func (w *reading) read(t *testing.T, address string, into *readings, people, pages int, stop chan struct{}) {
	t.Helper()
	var all sync.WaitGroup
	for n := range people {
		all.Go(func() {
			p := newPerson(address, nil)
			r := rand.New(rand.NewPCG(uint64(n), 5))
			for i := 0; i < pages; i++ {
				path := w.pages[i%len(w.pages)]
				if people > 1 {
					path = w.pages[r.IntN(len(w.pages))]
					select {
					case <-stop:
						return
					case <-time.After(time.Duration(r.Float64() * 2 * float64(w.pause))):
					}
				}
				begun := time.Now()
				into.note(path, p.get(path), time.Since(begun))
			}
		})
	}
	all.Wait()
}

// bringSome brings the first card of each site that is to come, and takes it back.
func (w *reading) bringSome(t *testing.T, address string) {
	t.Helper()
	p := newPerson(address, nil)
	seen := map[string]bool{}
	for _, c := range w.more {
		if seen[c.site] {
			continue
		}
		seen[c.site] = true
		if a := p.bring(c.site, "LOG.TXT", c.data); a.status != 303 {
			t.Fatalf("bringing a card of %s = %d: %.300s", c.site, a.status, a.body)
		}
		if a := p.post("/cards/"+store.CardID(c.data)+"/withdraw", url.Values{}); a.status != 303 {
			t.Fatalf("withdrawing a card of %s = %d: %.300s", c.site, a.status, a.body)
		}
	}
}

// bringOn brings cards without a pause until stop, and takes them back when there are
// no more. It returns how many it brought; those that are kept at the end stay.
func (w *reading) bringOn(t *testing.T, address string, stop chan struct{}) int {
	p := newPerson(address, nil)
	brought := 0
	for cycle := 0; ; cycle++ {
		var ids []string
		for _, c := range w.more {
			select {
			case <-stop:
				return brought
			default:
			}
			data := shorter(c.data, cycle) // or its charts would be drawn already
			if a := p.bring(c.site, "LOG.TXT", data); a.status != 303 {
				t.Errorf("bringing a card of %s = %d, want 303: %.300s", c.site, a.status, a.body)
				return brought
			}
			brought++
			ids = append(ids, store.CardID(data))
		}
		for _, id := range ids {
			if a := p.post("/cards/"+id+"/withdraw", url.Values{}); a.status != 303 {
				t.Errorf("withdrawing a card = %d, want 303: %.300s", a.status, a.body)
				return brought
			}
		}
	}
}

// shorter leaves lines off the end of a card.
func shorter(data []byte, lines int) []byte {
	for range lines {
		i := bytes.LastIndexByte(data[:max(0, len(data)-1)], '\n')
		if i < 100 {
			return data
		}
		data = data[:i+1]
	}
	return data
}
