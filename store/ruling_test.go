package store

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"doorleaf/usage"
)

// quietBox opens a network whose site MILL has one question, about a week in
// which nobody came, and returns the key of it.
func quietBox(t *testing.T) (s *Store, key string) {
	t.Helper()
	s = openTest(t)
	mustKeep(t, s, "MILL", cardOf("A.TXT", quietRows(1)))
	return s, onlyFinding(t, s).Key
}

// quietRows are two months with a week without an opening in the middle.
func quietRows(seed uint64) []string {
	rows := invent(seed, 60, 30)
	at := func(row string) int64 { return (parseRow(row) - logStart) / 86400 }
	return slices.DeleteFunc(rows, func(row string) bool { return at(row) >= 30 && at(row) < 37 })
}

func parseRow(row string) int64 {
	f, err := fakeRead([]byte(row), noHint)
	if err != nil {
		panic(err)
	}
	return f.Rows[0].Reading
}

func onlyFinding(t *testing.T, s *Store) usage.Finding {
	t.Helper()
	found, err := s.Findings(t.Context(), "MILL")
	if err != nil || len(found) != 1 {
		t.Fatalf("Findings(MILL) = %+v, %v, want one", found, err)
	}
	return found[0]
}

func mustRule(t *testing.T, s *Store, r usage.Ruling) {
	t.Helper()
	if err := s.Rule(t.Context(), "MILL", r); err != nil {
		t.Fatal(err)
	}
}

// wantOpen checks how many questions are open, by site and in the network.
func wantOpen(t *testing.T, s *Store, when string, want int) {
	t.Helper()
	site, err := s.Site(t.Context(), "MILL")
	if err != nil || site.OpenFindings != want {
		t.Errorf("%s: site has %d open findings, %v, want %d", when, site.OpenFindings, err, want)
	}
	if n, err := s.OpenFindings(t.Context()); err != nil || n != want {
		t.Errorf("%s: OpenFindings() = %d, %v, want %d", when, n, err, want)
	}
}

func TestRule(t *testing.T) {
	s, key := quietBox(t)
	before := dump(t, s, derivedTables...)
	wantOpen(t, s, "at first", 1)
	mustRule(t, s, usage.Ruling{Key: key, Answer: usage.AnswerOutage, By: " Ann ", At: 7, Why: "battery was flat"})
	f := onlyFinding(t, s)
	want := &usage.Ruling{Key: key, Answer: usage.AnswerOutage, By: "Ann", At: testNow, Why: "battery was flat"}
	if diff := cmp.Diff(want, f.Ruling); diff != "" {
		t.Errorf("ruling (-want +got):\n%s", diff)
	}
	if f.Changes == "" || len(f.Choices) != 2 || f.Choices[0].Says != "it was out" {
		t.Errorf("finding = %+v, want its changes and choices", f)
	}
	wantOpen(t, s, "ruled", 0)
	site, err := s.Site(t.Context(), "MILL")
	if err != nil || !slices.ContainsFunc(site.Coverage, func(c usage.Stretch) bool { return c.Kind == usage.Outage }) {
		t.Errorf("coverage after the ruling = %v, %v, want an outage", site.Coverage, err)
	}
	if err := s.Unrule(t.Context(), "MILL", key, "Bob"); err != nil {
		t.Fatal(err)
	}
	if dump(t, s, derivedTables...) != before || onlyFinding(t, s).Ruling != nil {
		t.Error("a ruling that was undone left something behind")
	}
	wantOpen(t, s, "undone", 1)
	wantKind(t, "Unrule again", s.Unrule(t.Context(), "MILL", key, ""), usage.NotFound)
}

// Rulings are never rewritten: each stays with who gave it and who took it back.
func TestRulingsStayOnRecord(t *testing.T) {
	s, key := quietBox(t)
	outage := usage.Ruling{Key: key, Answer: usage.AnswerOutage, By: "Ann"}
	mustRule(t, s, outage)
	writes := totalChanges(t, s)
	mustRule(t, s, outage)
	if n := totalChanges(t, s) - writes; n != 0 {
		t.Errorf("the same ruling again wrote %d rows, want 0", n)
	}
	mustRule(t, s, usage.Ruling{Key: key, Answer: usage.AnswerQuiet, By: "Bob"})
	if err := s.Unrule(t.Context(), "MILL", key, "Cat"); err != nil {
		t.Fatal(err)
	}
	mustRule(t, s, usage.Ruling{Key: key, Answer: usage.AnswerSeen})
	var got []string
	rows, err := s.reader.Query(`SELECT answer || ' ' || said_by || ' ' || coalesce(undone_by, 'stands') FROM ruling ORDER BY id`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		got = append(got, line)
	}
	want := []string{"outage Ann Bob", "quiet Bob Cat", "seen  stands"}
	if !slices.Equal(got, want) || rows.Err() != nil {
		t.Errorf("record = %q, %v, want %q", got, rows.Err(), want)
	}
}

func TestRuleRefuses(t *testing.T) {
	s, key := quietBox(t)
	before := dumpAll(t, s)
	for _, test := range []struct {
		name, code string
		ruling     usage.Ruling
		want       usage.Kind
	}{
		{"no such site", "NONE", usage.Ruling{Key: key, Answer: usage.AnswerSeen}, usage.NotFound},
		{"no such finding", "MILL", usage.Ruling{Key: "x", Answer: usage.AnswerSeen}, usage.NotFound},
		{"finding of another site", "QUAY", usage.Ruling{Key: key, Answer: usage.AnswerSeen}, usage.NotFound},
		{"answer of another finding", "MILL", usage.Ruling{Key: key, Answer: usage.AnswerCivil}, usage.Invalid},
		{"no answer", "MILL", usage.Ruling{Key: key}, usage.Invalid},
		{"long name", "MILL", usage.Ruling{Key: key, Answer: usage.AnswerSeen, By: strings.Repeat("x", 81)}, usage.Invalid},
		{"long reason", "MILL", usage.Ruling{Key: key, Answer: usage.AnswerSeen, Why: strings.Repeat("x", 501)}, usage.Invalid},
		{"name no text", "MILL", usage.Ruling{Key: key, Answer: usage.AnswerSeen, By: "a\xff"}, usage.Invalid},
	} {
		wantKind(t, "Rule, "+test.name, s.Rule(t.Context(), test.code, test.ruling), test.want)
	}
	wantKind(t, "Unrule, no such site", s.Unrule(t.Context(), "NONE", key, ""), usage.NotFound)
	if dumpAll(t, s) != before {
		t.Error("a refused ruling changed something")
	}
}

// A ruling outlives a rebuild, other cards, and its own finding, which finds its
// answer again when it comes back.
func TestRulingsSurvive(t *testing.T) {
	s, key := quietBox(t)
	mustRule(t, s, usage.Ruling{Key: key, Answer: usage.AnswerOutage})
	ruled := dump(t, s, derivedTables...)
	if err := s.Rebuild(t.Context(), "", nil); err != nil || dump(t, s, derivedTables...) != ruled {
		t.Errorf("Rebuild changed something (%v)", err)
	}
	later := cardOf("B.TXT", []string{rowAt(logStart + 61*86400)})
	mustKeep(t, s, "MILL", later)
	if onlyFinding(t, s).Ruling == nil {
		t.Error("another card lost the ruling")
	}
	lost := mustKeep(t, s, "MILL", cardOf("C.TXT", []string{rowAt(logStart + 33*86400)}))
	found, err := s.Findings(t.Context(), "MILL")
	if err != nil || len(found) != 0 {
		t.Fatalf("Findings with a card that fills the week = %v, %v, want none", found, err)
	}
	if all, err := s.Rulings(t.Context(), "MILL"); err != nil || len(all) != 1 || all[0].Key != key {
		t.Errorf("Rulings() without their finding = %v, %v, want one", all, err)
	}
	wantKind(t, "Rule on a finding that went", s.Rule(t.Context(), "MILL", usage.Ruling{Key: key, Answer: usage.AnswerSeen}), usage.NotFound)
	if err := s.Withdraw(t.Context(), lost[0].Card.ID); err != nil {
		t.Fatal(err)
	}
	if onlyFinding(t, s).Ruling == nil {
		t.Error("the finding came back without its ruling")
	}
}

// Whatever is ruled, told, and taken back, and in whatever order it comes
// between the cards, what is derived hangs on what stands alone.
func TestKeptIsOrderFree(t *testing.T) {
	rows := quietRows(1)
	cut := slices.IndexFunc(rows, func(row string) bool { return parseRow(row) > logStart+37*86400 })
	whole := []CardIn{cardOf("A.TXT", rows[:cut+5]), cardOf("B.TXT", rows)}
	call := usage.ServiceCall{At: parseRow(rows[20]), ErrorS: 60, Kinds: []usage.CallKind{usage.CallRestock}}
	straight, key := quietBox(t)
	mustKeep(t, straight, "MILL", whole...)
	mustRule(t, straight, usage.Ruling{Key: key, Answer: usage.AnswerOutage})
	if _, err := straight.AddCall(t.Context(), "MILL", call); err != nil {
		t.Fatal(err)
	}
	want := dump(t, straight, derivedTables...)
	rapid.Check(t, func(rt *rapid.T) {
		s := openTest(t)
		first := rapid.IntRange(0, 1).Draw(rt, "first")
		mustKeep(t, s, "MILL", whole[first])
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 1))
		acts := []func() error{
			func() error { _, err := s.Keep(t.Context(), "MILL", []CardIn{whole[1-first]}); return err },
			func() error { return s.Rule(t.Context(), "MILL", usage.Ruling{Key: key, Answer: usage.AnswerQuiet}) },
			func() error {
				id, err := s.AddCall(t.Context(), "MILL", usage.ServiceCall{At: call.At + 999, Kinds: call.Kinds})
				if err == nil && rapid.Bool().Draw(rt, "drop") {
					return s.DropCall(t.Context(), "MILL", id)
				}
				changed := call
				changed.ID = id
				_, err = s.ChangeCall(t.Context(), "MILL", changed)
				return err
			},
			func() error { return s.Rebuild(t.Context(), "", nil) },
		}
		r.Shuffle(len(acts), func(i, j int) { acts[i], acts[j] = acts[j], acts[i] })
		for _, act := range acts {
			if err := act(); err != nil {
				rt.Fatal(err)
			}
		}
		if err := s.Unrule(t.Context(), "MILL", key, ""); err != nil {
			rt.Fatal(err)
		}
		if err := s.Rule(t.Context(), "MILL", usage.Ruling{Key: key, Answer: usage.AnswerOutage}); err != nil {
			rt.Fatal(err)
		}
		if told, err := s.Calls(t.Context(), "MILL"); err != nil {
			rt.Fatal(err)
		} else if len(told) == 0 {
			if _, err := s.AddCall(t.Context(), "MILL", call); err != nil {
				rt.Fatal(err)
			}
		}
		if dump(t, s, derivedTables...) != want {
			rt.Error("another order gave other derived rows")
		}
	})
}
