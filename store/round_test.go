package store

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
)

func TestAddCallsOfSeveralSites(t *testing.T) {
	s, _ := quietBox(t)
	before := dump(t, s, derivedTables...)
	at := parseRow(quietRows(1)[20])
	calls := []SiteCall{
		{"MILL", usage.ServiceCall{At: at, ErrorS: 300, Kinds: []usage.CallKind{usage.CallCardIn, usage.CallRestock}, BooksIn: ptr(int32(9))}},
		{"QUAY", usage.ServiceCall{At: at + 600, Note: "gate shut"}},
		{"MILL", usage.ServiceCall{At: at + 900, Kinds: []usage.CallKind{usage.CallRepair}}},
	}
	ids, err := s.AddCalls(t.Context(), calls)
	if err != nil || len(ids) != 3 {
		t.Fatalf("AddCalls = %v, %v, want three IDs", ids, err)
	}
	if dump(t, s, derivedTables...) == before {
		t.Error("calls at openings changed nothing that is derived")
	}
	want := map[string][]usage.ServiceCall{
		"MILL": {{ID: ids[0], At: at, ErrorS: 300, Kinds: []usage.CallKind{usage.CallRestock, usage.CallCardIn}, BooksIn: ptr(int32(9))}, {ID: ids[2], At: at + 900, Kinds: []usage.CallKind{usage.CallRepair}}},
		"QUAY": {{ID: ids[1], At: at + 600, Note: "gate shut", Kinds: []usage.CallKind{usage.CallNote}}},
	}
	for code, calls := range want {
		got, err := s.Calls(t.Context(), code)
		if diff := cmp.Diff(calls, got); err != nil || diff != "" {
			t.Errorf("Calls(%s): %v (-want +got)\n%s", code, err, diff)
		}
	}
	named := []SiteCall{{"MILL", usage.ServiceCall{ID: ids[0]}}, {"QUAY", usage.ServiceCall{ID: ids[1]}}, {"MILL", usage.ServiceCall{ID: ids[2]}}}
	wantKind(t, "DropCalls of a wrong site", s.DropCalls(t.Context(), append(named[:2:2], SiteCall{"QUAY", usage.ServiceCall{ID: ids[2]}})), usage.NotFound)
	if left, _ := s.Calls(t.Context(), "MILL"); len(left) != 2 {
		t.Errorf("a DropCalls that failed left %d calls, want 2", len(left))
	}
	if err := s.DropCalls(t.Context(), named); err != nil {
		t.Fatal(err)
	}
	if dump(t, s, derivedTables...) != before {
		t.Error("a round that was taken back left something behind")
	}
}

// One bad call keeps the whole round out.
func TestAddCallsAllOrNone(t *testing.T) {
	s, _ := quietBox(t)
	before := dump(t, s, append(derivedTables, "service_call")...)
	good := SiteCall{"MILL", usage.ServiceCall{At: logStart, Note: "a look"}}
	for name, bad := range map[string]SiteCall{
		"nothing done": {"QUAY", usage.ServiceCall{At: logStart}},
		"no such site": {"NONE", usage.ServiceCall{At: logStart, Note: "a look"}},
	} {
		if _, err := s.AddCalls(t.Context(), []SiteCall{good, bad}); usage.KindOf(err) == 0 {
			t.Errorf("%s: AddCalls = %v, want a fault", name, err)
		}
		if dump(t, s, append(derivedTables, "service_call")...) != before {
			t.Errorf("%s: half a round was kept", name)
		}
	}
}

func TestRestoreCall(t *testing.T) {
	s, _ := quietBox(t)
	call := usage.ServiceCall{At: parseRow(quietRows(1)[20]), Kinds: []usage.CallKind{usage.CallRestock}}
	id, err := s.AddCall(t.Context(), "MILL", call)
	if err != nil {
		t.Fatal(err)
	}
	derived := dump(t, s, derivedTables...)
	call.ID, call.Note = id, "and swept"
	changed, err := s.ChangeCall(t.Context(), "MILL", call)
	if err != nil {
		t.Fatal(err)
	}
	if gone, _ := s.WithdrawnCalls(t.Context(), "MILL"); len(gone) != 0 {
		t.Errorf("a call that was changed counts as withdrawn: %v", gone)
	}
	if err := s.DropCall(t.Context(), "MILL", changed); err != nil {
		t.Fatal(err)
	}
	gone, err := s.WithdrawnCalls(t.Context(), "MILL")
	if err != nil || len(gone) != 1 || gone[0].ID != changed {
		t.Fatalf("WithdrawnCalls = %v, %v, want the one that was withdrawn", gone, err)
	}
	again, err := s.RestoreCall(t.Context(), "MILL", changed)
	if err != nil || again == changed {
		t.Fatalf("RestoreCall = %d, %v, want a new ID", again, err)
	}
	call.ID = again
	if got, _ := s.Calls(t.Context(), "MILL"); cmp.Diff([]usage.ServiceCall{call}, got) != "" {
		t.Errorf("brought back: %v, want %v", got, call)
	}
	if dump(t, s, derivedTables...) != derived {
		t.Error("a call that was brought back counts for something else than before")
	}
	for name, id := range map[string]int64{"again": changed, "one that stands": again, "one that was replaced": id} {
		_, err := s.RestoreCall(t.Context(), "MILL", id)
		wantKind(t, "RestoreCall "+name, err, usage.NotFound)
	}
	if gone, _ := s.WithdrawnCalls(t.Context(), "QUAY"); len(gone) != 0 {
		t.Errorf("another site has withdrawn calls: %v", gone)
	}
}

func TestClockErrorOfLastOpening(t *testing.T) {
	s, _ := quietBox(t)
	rows, _, err := s.Openings(t.Context(), "MILL", Page{After: -1, Limit: largestPage})
	if err != nil {
		t.Fatal(err)
	}
	last := rows[len(rows)-1]
	got, err := s.ClockError(t.Context(), "MILL")
	if diff := cmp.Diff(&usage.ClockError{At: last.At, ErrorS: last.ErrorS}, got); err != nil || diff != "" {
		t.Errorf("ClockError(MILL) = %v (-want +got)\n%s", err, diff)
	}
	if got, err := s.ClockError(t.Context(), "QUAY"); got != nil || err != nil {
		t.Errorf("ClockError without a card = %v, %v, want nothing", got, err)
	}
}
