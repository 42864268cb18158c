package store

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
)

func ptr[T any](v T) *T { return &v }

func TestCalls(t *testing.T) {
	s, _ := quietBox(t)
	before := dump(t, s, derivedTables...)
	full := usage.ServiceCall{
		At: parseRow(quietRows(1)[20]), ErrorS: 300, Kinds: []usage.CallKind{usage.CallTimeNoted, usage.CallRestock, usage.CallRestock},
		Reading: ptr(int64(12345)), BooksIn: ptr(int32(7)), BooksNow: ptr(int32(0)), Note: " hinge squeaks ",
	}
	id, err := s.AddCall(t.Context(), "MILL", full)
	if err != nil {
		t.Fatal(err)
	}
	if dump(t, s, derivedTables...) == before {
		t.Error("a service call at an opening changed nothing that is derived")
	}
	earlier, err := s.AddCall(t.Context(), "MILL", usage.ServiceCall{At: full.At - 1e6, Note: "a look"})
	if err != nil {
		t.Fatal(err)
	}
	full.ID, full.Note, full.Kinds = id, "hinge squeaks", []usage.CallKind{usage.CallRestock, usage.CallTimeNoted}
	want := []usage.ServiceCall{{ID: earlier, At: full.At - 1e6, Note: "a look", Kinds: []usage.CallKind{usage.CallNote}}, full}
	got, err := s.Calls(t.Context(), "MILL")
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("Calls(): %v (-want +got)\n%s", err, diff)
	}
	for _, id := range []int64{id, earlier} {
		if err := s.DropCall(t.Context(), "MILL", id); err != nil {
			t.Fatal(err)
		}
	}
	if dump(t, s, derivedTables...) != before {
		t.Error("service calls that were withdrawn left something behind")
	}
	wantKind(t, "DropCall again", s.DropCall(t.Context(), "MILL", id), usage.NotFound)
}

func TestChangeCall(t *testing.T) {
	s, _ := quietBox(t)
	call := usage.ServiceCall{At: logStart + 86400, Kinds: []usage.CallKind{usage.CallCardOut}}
	id, err := s.AddCall(t.Context(), "MILL", call)
	if err != nil {
		t.Fatal(err)
	}
	call.ID = id
	if again, err := s.ChangeCall(t.Context(), "MILL", call); err != nil || again != id {
		t.Errorf("ChangeCall to the same = %d, %v, want %d", again, err, id)
	}
	call.Note = "wet"
	next, err := s.ChangeCall(t.Context(), "MILL", call)
	if err != nil || next == id {
		t.Fatalf("ChangeCall = %d, %v, want another id than %d", next, err, id)
	}
	var instead, withdrawn int64
	err = s.reader.QueryRow(`SELECT new.instead_of, old.withdrawn_at FROM service_call AS new JOIN service_call AS old ON old.id = new.instead_of WHERE new.id = ?`, next).Scan(&instead, &withdrawn)
	if err != nil || instead != id || withdrawn != testNow {
		t.Errorf("the new call stands instead of %d, withdrawn at %d, %v, want %d and %d", instead, withdrawn, err, id, testNow)
	}
	if got, err := s.Calls(t.Context(), "MILL"); err != nil || len(got) != 1 || got[0].Note != "wet" || got[0].ID != next {
		t.Errorf("Calls() = %+v, %v, want the new one alone", got, err)
	}
	_, err = s.ChangeCall(t.Context(), "MILL", call)
	wantKind(t, "ChangeCall of one that was changed", err, usage.NotFound)
	call.ID = next
	_, err = s.ChangeCall(t.Context(), "QUAY", call)
	wantKind(t, "ChangeCall of another site", err, usage.NotFound)
}

func TestCallsThatMakeNoSense(t *testing.T) {
	s, _ := quietBox(t)
	before := dumpAll(t, s)
	for _, test := range []struct {
		name  string
		spoil func(*usage.ServiceCall)
	}{
		{"nothing done", func(c *usage.ServiceCall) { c.Kinds = nil }},
		{"blank note", func(c *usage.ServiceCall) { c.Kinds, c.Note = nil, "  " }},
		{"unknown thing", func(c *usage.ServiceCall) { c.Kinds = append(c.Kinds, "dance") }},
		{"long ago", func(c *usage.ServiceCall) { c.At = 0 }},
		{"ahead", func(c *usage.ServiceCall) { c.At = testNow + 86401 }},
		{"negative error", func(c *usage.ServiceCall) { c.ErrorS = -1 }},
		{"known too loosely", func(c *usage.ServiceCall) { c.ErrorS = 8 * 86400 }},
		{"time noted without a reading", func(c *usage.ServiceCall) { c.Kinds = append(c.Kinds, usage.CallTimeNoted) }},
		{"negative books", func(c *usage.ServiceCall) { c.BooksIn = ptr(int32(-1)) }},
		{"too many books", func(c *usage.ServiceCall) { c.BooksNow = ptr(int32(10_001)) }},
		{"long note", func(c *usage.ServiceCall) { c.Note = strings.Repeat("ß", 1001) }},
		{"note no text", func(c *usage.ServiceCall) { c.Note = "a\xff" }},
	} {
		call := usage.ServiceCall{At: testNow, Kinds: []usage.CallKind{usage.CallRestock}}
		kinds := slices.Clone(call.Kinds)
		test.spoil(&call)
		_, err := s.AddCall(t.Context(), "MILL", call)
		wantKind(t, "AddCall, "+test.name, err, usage.Invalid)
		if !slices.Equal(kinds, []usage.CallKind{usage.CallRestock}) {
			t.Errorf("AddCall, %s: changed its argument", test.name)
		}
	}
	_, err := s.AddCall(t.Context(), "NONE", usage.ServiceCall{At: testNow, Kinds: []usage.CallKind{usage.CallRestock}})
	wantKind(t, "AddCall, no such site", err, usage.NotFound)
	if dumpAll(t, s) != before {
		t.Error("a refused service call changed something")
	}
}

func TestRemoval(t *testing.T) {
	s := openTest(t)
	id := mustKeep(t, s, "MILL", cardOf("A.TXT", invent(1, 10, 5)))[0].Card.ID
	want := func(when string, at *int64) {
		t.Helper()
		c, err := s.Card(t.Context(), id)
		if err != nil || !equal(c.RemovedAt, at) {
			t.Errorf("%s: card came out at %v, %v, want %v", when, c.RemovedAt, err, at)
		}
	}
	at := ptr(int64(testNow - 100))
	for range 2 {
		if err := s.Removal(t.Context(), id, at, false); err != nil {
			t.Fatal(err)
		}
		want("set", at)
	}
	wantKind(t, "Removal in the future", s.Removal(t.Context(), id, ptr(int64(testNow+90000)), false), usage.Invalid)
	wantKind(t, "Removal long ago", s.Removal(t.Context(), id, ptr(int64(0)), false), usage.Invalid)
	wantKind(t, "Removal of no card", s.Removal(t.Context(), strings.Repeat("0", 64), at, false), usage.NotFound)
	want("refused", at)
	if err := s.Removal(t.Context(), id, nil, false); err != nil {
		t.Fatal(err)
	}
	want("taken away", nil)
}

// A removal that is set and taken away again leaves what is derived as it was,
// with the importer as it is.
func TestRealRemoval(t *testing.T) {
	sites, cards := forged(t, 120, 1, 6)
	s := openReal(t)
	addForged(t, s, sites)
	code := sites[0].Spec.Code
	told := cards[0][0].RemovedAt
	s.now = func() time.Time { return time.Unix(*told+3600, 0) }
	cards[0][0].RemovedAt = nil
	id := mustKeep(t, s, code, cards[0]...)[0].Card.ID
	before := dump(t, s, derivedTables...)
	if err := s.Removal(t.Context(), id, told, false); err != nil {
		t.Fatal(err)
	}
	if err := s.Removal(t.Context(), id, nil, false); err != nil {
		t.Fatal(err)
	}
	if dump(t, s, derivedTables...) != before {
		t.Error("a removal that was taken away left something behind")
	}
}
