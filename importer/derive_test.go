package importer_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"doorleaf/importer"
	"doorleaf/importer/forge"
	"doorleaf/usage"
)

// cardsOf returns a made-up site's cards as a store would hand them over, with
// the times of their removal if somebody noted them.
func cardsOf(t testing.TB, s *forge.Site, noted bool) []importer.Card {
	t.Helper()
	var out []importer.Card
	for _, c := range s.Cards {
		data, err := c.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		card := cardOf(c.Name, data)
		if noted {
			card.RemovedAt = &c.RemovedAt
		}
		out = append(out, card)
	}
	return out
}

func cardOf(name string, data []byte) importer.Card {
	sum := sha256.Sum256(data)
	return importer.Card{ID: hex.EncodeToString(sum[:]), Name: name, Bytes: data}
}

func derive(t testing.TB, site usage.Site, cards []importer.Card) usage.Logbook {
	t.Helper()
	lb, err := importer.Derive(site, importer.Kept{Cards: cards})
	if err != nil {
		t.Fatal(err)
	}
	return lb
}

// TestDeriveForged brings the cards of made-up networks, in every dialect and
// kind of round, and compares the logbook with the truth: every opening that
// reached a card once, in the order of time, with its seconds.
func TestDeriveForged(t *testing.T) {
	for seed := range uint64(12) {
		n, err := forge.Random(150, 4, seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range n.Sites {
			t.Run(fmt.Sprintf("seed %d, %s, %s", seed, s.Spec.Code, s.Spec.Rounds.Kind), func(t *testing.T) {
				site := s.Spec.Site()
				site.Profile.DateOrder = s.Spec.Dialect.Order()
				compareWithTruth(t, s, derive(t, site, cardsOf(t, s, false)))
			})
		}
	}
}

// TestDeriveDemo does the same with the demo network, which has troubles of
// every kind.
var demoEnd = time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)

func TestDeriveDemo(t *testing.T) {
	n, err := forge.Demo(demoEnd, 3)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range n.Sites {
		t.Run(s.Spec.Code, func(t *testing.T) {
			compareWithTruth(t, s, derive(t, s.Spec.Site(), cardsOf(t, s, true)))
		})
	}
}

func compareWithTruth(t *testing.T, s *forge.Site, lb usage.Logbook) {
	t.Helper()
	if len(lb.Openings) != len(s.Openings) {
		t.Errorf("%d openings, want the %d that reached a card", len(lb.Openings), len(s.Openings))
		return
	}
	wrong := 0
	for i, o := range lb.Openings {
		written := s.Written[i]
		if o.Removal || !s.Spec.Dialect.OpenSeconds() && !s.Spec.Dialect.Pairs() {
			continue
		}
		if o.OpenS != written.OpenS && written.OpenS != usage.Unknown {
			wrong++
		}
	}
	if wrong > 0 {
		t.Errorf("%d openings have other seconds than were written", wrong)
	}
}

func TestDeriveOrderFree(t *testing.T) {
	for seed := range uint64(6) {
		n, err := forge.Random(90, 3, 100+seed)
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(seed, 1))
		for _, s := range n.Sites {
			all := cardsOf(t, s, false)
			subset := all[:1+rng.IntN(len(all))]
			want := derive(t, s.Spec.Site(), subset)
			for range 3 {
				mixed := append([]importer.Card{}, subset...)
				rng.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
				got := derive(t, s.Spec.Site(), mixed)
				if d := cmp.Diff(want, got, cmpopts.EquateEmpty()); d != "" {
					t.Fatalf("seed %d, %s: another order gives another logbook:\n%s", seed, s.Spec.Code, d)
				}
			}
		}
	}
}

// TestDeriveStepOfTheClock has a clock that shows minutes, at which three people came in
// one, and a card on which no row has a time: what step a clock shows is told by rows
// that have one.
func TestDeriveStepOfTheClock(t *testing.T) {
	site := usage.Site{Code: "MILL", Latitude: 52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: usage.DateOf(2024, 1, 1), Clock: usage.ClockFixed}
	lb := derive(t, site, []importer.Card{
		cardOf("A.TXT", []byte("2024-02-01,10:00,5\n2024-02-02,11:05,6\n2024-02-02,11:05,7\n2024-02-02,11:05,8\n2024-02-03,09:30,9\n")),
		cardOf("B.TXT", []byte("2000-00-04,08:00,5\n2000-00-04,09:10,6\n2000-00-05,09:20,6\n")),
	})
	timed := 0
	for _, o := range lb.Openings {
		if o.Timed {
			timed++
		}
	}
	if timed != 5 {
		t.Errorf("%d openings have a time, want the 5 of the first card: %+v", timed, lb.Openings)
	}
}
