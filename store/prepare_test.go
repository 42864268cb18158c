package store

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
)

func TestCardSetting(t *testing.T) {
	s := openTest(t)
	read := func() *usage.CardSetting {
		got, err := s.CardSetting(t.Context(), "MILL")
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	rows := func() string { return dump(t, s, "card_setting") }
	if got := read(); got != nil {
		t.Errorf("CardSetting of a new site = %v, want none", got)
	}
	header := "Day,Date"
	first := usage.CardSetting{LogFile: "BOX.LOG", ClockFile: "SET.TXT", Template: "{hour}{minute}", FirstDay: 7, Header: &header}
	for range 2 { // the second time changes nothing
		if err := s.SetCardSetting(t.Context(), "MILL", &first); err != nil {
			t.Fatal(err)
		}
	}
	once := rows()
	if diff := cmp.Diff(&first, read()); diff != "" {
		t.Errorf("CardSetting (-want +got)\n%s", diff)
	}
	second := usage.DefaultCardSetting
	if err := s.SetCardSetting(t.Context(), "MILL", &second); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(&second, read()); diff != "" || rows() == once {
		t.Errorf("CardSetting after a change (-want +got)\n%s", diff)
	}
	bad := usage.CardSetting{LogFile: "DOORLEAF.TXT"}
	wantKind(t, "SetCardSetting of the tag's name", s.SetCardSetting(t.Context(), "MILL", &bad), usage.Invalid)
	wantKind(t, "SetCardSetting of no site", s.SetCardSetting(t.Context(), "NONE", &second), usage.NotFound)
	if err := s.SetCardSetting(t.Context(), "MILL", nil); err != nil || read() != nil {
		t.Errorf("taken back: %v, %v, want none", err, read())
	}
}

func TestPreparedCards(t *testing.T) {
	s := openTest(t)
	for _, c := range []PreparedCard{{At: 100, Reading: 200}, {At: 300, Reading: 400}, {At: 100, Reading: 200}} {
		if err := s.AddPrepared(t.Context(), "MILL", c); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Prepared(t.Context(), "MILL", 0)
	if err != nil || len(got) != 2 || got[0].At != 300 || got[1].Reading != 200 {
		t.Errorf("Prepared = %v, %v, want two, the later moment first", got, err)
	}
	if got, _ := s.Prepared(t.Context(), "MILL", got[0].MadeAt+1); len(got) != 0 {
		t.Errorf("Prepared since later = %v, want none", got)
	}
	if got, _ := s.Prepared(t.Context(), "QUAY", 0); len(got) != 0 {
		t.Errorf("Prepared of another site = %v, want none", got)
	}
	wantKind(t, "AddPrepared to no site", s.AddPrepared(t.Context(), "NONE", PreparedCard{}), usage.NotFound)
}
