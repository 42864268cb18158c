package logbook

import (
	"testing"

	"doorleaf/importer/cardfile"
)

// TestStitchStump has a card whose last row broke off when the power went. When it is
// back in the logger the row goes on, or the next one is glued to it: it is one row, with
// no contradiction.
func TestStitchStump(t *testing.T) {
	const begins = "12.23.2025;21:22:10;34\n12.23.2025;22:14:05;51\n"
	for _, tt := range []struct {
		name, stump, whole string
		rows               int
	}{
		{"in its time, and another glued to it", "12.24.2025;12:44:3", "12.24.2025;12:44:3108\n12.25.2025;04:31:22;112\n", 4},
		{"in its time, and written on", "12.24.2025;12:44:3", "12.24.2025;12:44:37;8\n12.25.2025;04:31:22;112\n", 4},
		{"in its seconds", "12.24.2025;12:44:37;1", "12.24.2025;12:44:37;108\n12.25.2025;04:31:22;112\n", 4},
		{"not begun at all", "", "12.24.2025;12:44:37;108\n12.25.2025;04:31:22;112\n", 4},
		{"whole, and another row in its place: short cards that contradict each other stay apart", "12.24.2025;12:44:37;1\n", "12.24.2025;13:02:11;9\n12.25.2025;04:31:22;112\n", 7},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cards := []Card{read(t, "a", begins+tt.stump), read(t, "b", begins+tt.whole)}
			b := Stitch(cards)
			if len(b.Entries) != tt.rows {
				t.Errorf("%d rows, want %d", len(b.Entries), tt.rows)
			}
			if tt.rows == 4 && len(b.Conflicts) > 0 {
				t.Errorf("conflicts %v, want none", b.Conflicts)
			}
			for _, e := range b.Entries {
				if row := cards[e.Card].File.Rows[e.Row]; e.Card == 0 && tt.rows == 4 && tt.stump != "" && row.Offset == int64(len(begins)) {
					t.Error("the stump stands in the logbook, want the whole row")
				}
			}
		})
	}
}

func read(t *testing.T, id, text string) Card {
	t.Helper()
	f, err := cardfile.Read([]byte(text), cardfile.Hint{})
	if err != nil {
		t.Fatal(err)
	}
	return Card{ID: id, File: f}
}
