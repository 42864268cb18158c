package store

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"doorleaf/usage"
)

// copyOf makes a second network of all that the first keeps.
func copyOf(t *testing.T, s *Store) *Store {
	t.Helper()
	into := openEmpty(t, t.TempDir())
	merge(t, into, mustBundle(t, s, ""), MergeAnswers{})
	return into
}

// Everything that only a person can decide is asked, changes nothing until it is
// answered, and does what the answer says.
func TestMergeAsks(t *testing.T) {
	change := func(t *testing.T, s *Store, code string, f func(*usage.Site)) {
		t.Helper()
		if err := s.ChangeSite(t.Context(), code, func(s *usage.Site) error { f(s); return nil }); err != nil {
			t.Fatal(err)
		}
	}
	removal := func(t *testing.T, s *Store, at int64) {
		t.Helper()
		cards, err := s.Cards(t.Context(), "MILL")
		if err == nil {
			err = s.Removal(t.Context(), cards[0].ID, &at, true)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	name := func(code string) func(*testing.T, *Store) string {
		return func(t *testing.T, s *Store) string {
			site, err := s.Site(t.Context(), code)
			if err != nil {
				return err.Error()
			}
			return site.Name
		}
	}
	for _, test := range []struct {
		name         string
		ours, theirs func(t *testing.T, s *Store)
		key          string // how the question's key begins
		answer, want string
		get          func(t *testing.T, s *Store) string
	}{
		{
			"name, ours", func(t *testing.T, s *Store) { change(t, s, "MILL", func(s *usage.Site) { s.Name = "Our Mill" }) },
			func(t *testing.T, s *Store) { change(t, s, "MILL", func(s *usage.Site) { s.Name = "Their Mill" }) },
			"MILL.name", Ours, "Our Mill", name("MILL"),
		},
		{
			"name, theirs", func(t *testing.T, s *Store) { change(t, s, "MILL", func(s *usage.Site) { s.Name = "Our Mill" }) },
			func(t *testing.T, s *Store) { change(t, s, "MILL", func(s *usage.Site) { s.Name = "Their Mill" }) },
			"MILL.name", Theirs, "Their Mill", name("MILL"),
		},
		{
			"position a few steps off", nil,
			func(t *testing.T, s *Store) { change(t, s, "MILL", func(s *usage.Site) { s.Latitude += 0.0001 }) },
			"MILL.position", Theirs, "52.1001", func(t *testing.T, s *Store) string {
				site, err := s.Site(t.Context(), "MILL")
				if err != nil {
					t.Fatal(err)
				}
				return fmt.Sprintf("%.4f", site.Latitude)
			},
		},
		{
			"code at another place, apart", nil,
			func(t *testing.T, s *Store) { mustAdd(t, s, elsewhere("YARD", 3)) },
			"site.YARD", "apart:YARD2", "Box YARD", name("YARD2"),
		},
		{
			"code at another place, same", nil,
			func(t *testing.T, s *Store) { mustAdd(t, s, elsewhere("YARD", 3)) },
			"site.YARD", "same:YARD", "there is no site \"YARD2\"", func(t *testing.T, s *Store) string {
				return strings.TrimPrefix(name("YARD2")(t, s), "site YARD2: ")
			},
		},
		{
			"another code at the same place, same", nil,
			func(t *testing.T, s *Store) { mustAdd(t, s, elsewhere("PIER", 1)) },
			"site.PIER", "same:YARD", "there is no site \"PIER\"", func(t *testing.T, s *Store) string {
				return strings.TrimPrefix(name("PIER")(t, s), "site PIER: ")
			},
		},
		{
			"another code at the same place, apart", nil,
			func(t *testing.T, s *Store) { mustAdd(t, s, elsewhere("PIER", 1)) },
			"site.PIER", "apart:PIER", "Box PIER", name("PIER"),
		},
		{
			"removal", func(t *testing.T, s *Store) { removal(t, s, testNow-100) }, func(t *testing.T, s *Store) { removal(t, s, testNow-200) },
			"card.", Theirs, fmt.Sprint(testNow - 200), func(t *testing.T, s *Store) string {
				cards, err := s.Cards(t.Context(), "MILL")
				if err != nil {
					t.Fatal(err)
				}
				return fmt.Sprint(*cards[0].RemovedAt)
			},
		},
		{
			"answers, theirs", func(t *testing.T, s *Store) {
				mustRule(t, s, usage.Ruling{Key: onlyFinding(t, s).Key, Answer: usage.AnswerQuiet, By: "Ada"})
			}, func(t *testing.T, s *Store) {
				mustRule(t, s, usage.Ruling{Key: onlyFinding(t, s).Key, Answer: usage.AnswerOutage, By: "Bo"})
			},
			"MILL.ruling.", Theirs, "outage by Bo, 2 in all", rulingWords,
		},
		{
			"answers, ours", func(t *testing.T, s *Store) {
				mustRule(t, s, usage.Ruling{Key: onlyFinding(t, s).Key, Answer: usage.AnswerQuiet, By: "Ada"})
			}, func(t *testing.T, s *Store) {
				mustRule(t, s, usage.Ruling{Key: onlyFinding(t, s).Key, Answer: usage.AnswerOutage, By: "Bo"})
			},
			"MILL.ruling.", Ours, "quiet by Ada, 2 in all", rulingWords,
		},
		{"card withdrawn here, ours", withdrawFirst, func(*testing.T, *Store) {}, "card.", Ours, "0 cards", cardCount},
		{"card withdrawn here, theirs", withdrawFirst, func(*testing.T, *Store) {}, "card.", Theirs, "1 cards", cardCount},
		{"card withdrawn there, ours", nil, withdrawFirst, "card.", Ours, "1 cards", cardCount},
		{"card withdrawn there, theirs", nil, withdrawFirst, "card.", Theirs, "0 cards", cardCount},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := openTest(t)
			mustKeep(t, s, "MILL", cardOf("A.TXT", quietRows(1)))
			theirs := copyOf(t, s)
			if strings.Contains(test.name, "code") {
				mustAdd(t, s, elsewhere("YARD", 1))
			}
			if test.ours != nil {
				test.ours(t, s)
			}
			test.theirs(t, theirs)
			before := keptContent(t, s)
			b := mustBundle(t, theirs, "")
			m := merge(t, s, b, MergeAnswers{})
			if len(m.Questions) != 1 || !strings.HasPrefix(m.Questions[0].Key, test.key) || len(m.Questions[0].Choices) != 2 {
				t.Fatalf("Merge asks %+v, want one question %s…", m.Questions, test.key)
			}
			if keptContent(t, s) != before {
				t.Error("a merge with questions changed something")
			}
			answers := MergeAnswers{ByKey: map[string]string{m.Questions[0].Key: test.answer}, Keep: Ours}
			m = merge(t, s, b, answers)
			if len(m.Questions) != 0 {
				t.Fatalf("Merge asks again %+v", m.Questions)
			}
			if got := test.get(t, s); got != test.want {
				t.Errorf("after the answer %s: %q, want %q", test.answer, got, test.want)
			}
			wantWhole(t, s)
			after := keptContent(t, s)
			if merge(t, s, b, answers); keptContent(t, s) != after {
				t.Error("merging again with the same answers changed something")
			}
		})
	}
}

func withdrawFirst(t *testing.T, s *Store) {
	t.Helper()
	cards, err := s.Cards(t.Context(), "MILL")
	if err == nil {
		err = s.Withdraw(t.Context(), cards[0].ID)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func cardCount(t *testing.T, s *Store) string {
	t.Helper()
	cards, err := s.Cards(t.Context(), "MILL")
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprint(len(cards), " cards")
}

// A side that keeps a card though it knows that it was withdrawn has brought it in
// again since: that needs no question, whoever merges whom. The other way round the
// withdrawal, of which nobody knew, is asked about on either side.
func TestMergeOfWithdrawnCards(t *testing.T) {
	s := openTest(t)
	card := cardOf("A.TXT", invent(1, 3, 5))
	mustKeep(t, s, "MILL", card)
	withdrawFirst(t, s)
	theirs := copyOf(t, s)
	theirs.now = fixedClock(testNow + 60)
	mustKeep(t, theirs, "MILL", card)
	if m := merge(t, theirs, mustBundle(t, s, ""), MergeAnswers{}); len(m.Questions)+len(m.Sites) != 0 {
		t.Errorf("Merge of the withdrawal that was known = %+v, want nothing", m)
	}
	if m := merge(t, s, mustBundle(t, theirs, ""), MergeAnswers{}); len(m.Questions) != 0 || cardCount(t, s) != "1 cards" {
		t.Errorf("Merge of a card that was brought again asks %+v and leaves %s, want it kept", m.Questions, cardCount(t, s))
	}
	s.now = fixedClock(testNow + 120)
	withdrawFirst(t, s)
	for _, test := range []struct {
		name      string
		into, out *Store
	}{{"here", s, theirs}, {"there", theirs, s}} {
		m := merge(t, test.into, mustBundle(t, test.out, ""), MergeAnswers{})
		if len(m.Questions) != 1 || !strings.HasSuffix(m.Questions[0].Key, ".withdrawn") {
			t.Errorf("Merge of the second withdrawal, %s, asks %+v, want one question", test.name, m.Questions)
		}
	}
	m := merge(t, theirs, mustBundle(t, s, ""), MergeAnswers{Keep: Theirs})
	if len(m.Sites) != 1 || m.Sites[0].Withdrawn != 1 || m.Sites[0].Gained >= 0 {
		t.Errorf("Merge = %+v, want one card withdrawn and its openings gone", m)
	}
	if keptContent(t, s) != keptContent(t, theirs) {
		t.Error("the two networks keep different things after the answer")
	}
	wantWhole(t, theirs)
}

// What a merge brings stands in the journal by its time, page by page.
func TestJournalAfterMerge(t *testing.T) {
	s := openTest(t)
	theirs := openTest(t)
	for i, side := range []*Store{s, theirs, s, theirs, s} {
		side.now = fixedClock(testNow + int64(10*i))
		mustKeep(t, side, "MILL", cardOf("A", invent(uint64(i+1), 2, 5)))
	}
	merge(t, s, mustBundle(t, theirs, ""), MergeAnswers{})
	whole, _, err := s.Journal(t.Context(), 0, 1000)
	if err != nil || len(whole) < 8 {
		t.Fatalf("Journal = %d entries, %v", len(whole), err)
	}
	for i := 1; i < len(whole); i++ {
		if whole[i].At > whole[i-1].At {
			t.Errorf("entry %d of %d stands below entry %d of %d", i, whole[i].At, i-1, whole[i-1].At)
		}
	}
	var paged []Entry
	for before, more := int64(0), true; more; before = paged[len(paged)-1].ID {
		var page []Entry
		if page, more, err = s.Journal(t.Context(), before, 3); err != nil || len(page) == 0 {
			t.Fatalf("Journal(%d, 3) = %d entries, %v", before, len(page), err)
		}
		paged = append(paged, page...)
	}
	if !slices.Equal(paged, whole) {
		t.Errorf("page by page the journal has %d entries, want the %d of the whole", len(paged), len(whole))
	}
}

// elsewhere is a test site some degrees north of the others.
func elsewhere(code string, degrees float64) usage.Site {
	site := testSite(code)
	site.Latitude += degrees
	return site
}

func rulingWords(t *testing.T, s *Store) string {
	t.Helper()
	var all int
	if err := s.reader.QueryRow(`SELECT count(*) FROM ruling`).Scan(&all); err != nil {
		t.Fatal(err)
	}
	standing, err := s.Rulings(t.Context(), "MILL")
	if err != nil || len(standing) != 1 {
		t.Fatalf("Rulings() = %+v, %v, want one", standing, err)
	}
	return fmt.Sprintf("%s by %s, %d in all", standing[0].Answer, standing[0].By, all)
}

// A call that either side has corrected in its own way is asked about; one that both
// noted alike stands once.
func TestMergeCalls(t *testing.T) {
	s := openTest(t)
	call := usage.ServiceCall{At: logStart, Kinds: []usage.CallKind{usage.CallRestock}}
	id, err := s.AddCall(t.Context(), "MILL", call)
	if err != nil {
		t.Fatal(err)
	}
	theirs := copyOf(t, s)
	for i, side := range []*Store{s, theirs} {
		side.now = fixedClock(testNow + int64(i))
		if _, err := side.ChangeCall(t.Context(), "MILL", usage.ServiceCall{ID: id, At: logStart + 60, Kinds: call.Kinds}); err != nil {
			t.Fatal(err)
		}
		if _, err := side.AddCall(t.Context(), "MILL", usage.ServiceCall{At: logStart + 9000, Kinds: call.Kinds, Note: "both"}); err != nil {
			t.Fatal(err)
		}
	}
	if m := merge(t, s, mustBundle(t, theirs, ""), MergeAnswers{}); len(m.Questions) != 0 {
		t.Fatalf("Merge of like corrections asks %+v", m.Questions)
	}
	standing, err := s.Calls(t.Context(), "MILL")
	if err != nil || len(standing) != 2 || standing[0].At != logStart+60 {
		t.Fatalf("Calls() = %+v, %v, want the corrected one and the one that both noted, each once", standing, err)
	}
	other := copyOf(t, s)
	for i, side := range []*Store{s, other} {
		all, err := side.Calls(t.Context(), "MILL")
		if err != nil {
			t.Fatal(err)
		}
		all[0].Note = fmt.Sprint("side ", i)
		if _, err := side.ChangeCall(t.Context(), "MILL", all[0]); err != nil {
			t.Fatal(err)
		}
	}
	b := mustBundle(t, other, "")
	if m := merge(t, s, b, MergeAnswers{}); len(m.Questions) != 1 || !strings.HasPrefix(m.Questions[0].Key, "MILL.service_call.") {
		t.Fatalf("Merge of two corrections asks %+v, want one question", m.Questions)
	}
	merge(t, s, b, MergeAnswers{Keep: Theirs})
	if standing, err = s.Calls(t.Context(), "MILL"); err != nil || len(standing) != 2 || standing[0].Note != "side 1" {
		t.Errorf("Calls() = %+v, %v, want theirs", standing, err)
	}
	wantWhole(t, s)
}

// A card that stands under two boxes, and one whose rows stand in the logbook of
// another box, are asked about.
func TestMergeAsksWhoseCard(t *testing.T) {
	rows := invent(3, 20, 10)
	for _, test := range []struct {
		name string
		ours CardIn
	}{{"the same bytes", cardOf("A", rows)}, {"an earlier reading", cardOf("A", rows[:100])}} {
		s, theirs := openTest(t), openTest(t)
		mustKeep(t, s, "MILL", test.ours)
		mustKeep(t, theirs, "QUAY", cardOf("A", rows))
		b := mustBundle(t, theirs, "")
		m := merge(t, s, b, MergeAnswers{})
		if len(m.Questions) != 1 || !strings.HasPrefix(m.Questions[0].Key, "card.") {
			t.Fatalf("%s: Merge asks %+v, want whose card it is", test.name, m.Questions)
		}
		answer := m.Questions[0].Choices[1].Answer
		merge(t, s, b, MergeAnswers{ByKey: map[string]string{m.Questions[0].Key: answer}})
		card, err := s.Card(t.Context(), cardID(cardOf("A", rows).Bytes))
		want := map[string]string{"the same bytes": "QUAY", "an earlier reading": "MILL"}[test.name]
		if err != nil || card.Site != want {
			t.Errorf("%s: card of %s, %v, want %s", test.name, card.Site, err, want)
		}
		wantWhole(t, s)
	}
}

func TestMergeTellsOfIdleAnswers(t *testing.T) {
	s := openTest(t)
	m := merge(t, s, mustBundle(t, s, ""), MergeAnswers{ByKey: map[string]string{"MILL.name": Ours}})
	if len(m.Unasked) != 1 || len(m.Sites) != 0 {
		t.Errorf("Merge with itself = %+v, want one idle answer and no change", m)
	}
}
