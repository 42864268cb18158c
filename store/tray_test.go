package store

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"doorleaf/usage"
)

func TestTray(t *testing.T) {
	s := openTest(t)
	now := int64(testNow)
	s.now = func() time.Time { return time.Unix(now, 0) }
	want := []TrayCard{
		{Name: "LOG.TXT", Folder: "weir", Tag: "MILL", Bytes: []byte("a\x00b")},
		{Name: "LOG.TXT", Bytes: []byte{}},
	}
	tray, err := s.FillTray(t.Context(), want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Tray(t.Context(), tray)
	if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(TrayCard{}, "ID"), cmpopts.EquateEmpty()); err != nil || diff != "" {
		t.Errorf("Tray: %v (-want +got)\n%s", err, diff)
	}
	if len(got) == 2 && (got[0].ID == 0 || got[0].ID == got[1].ID) {
		t.Errorf("the cards have the ids %d and %d", got[0].ID, got[1].ID)
	}
	_, err = s.Tray(t.Context(), tray+"x")
	wantKind(t, "Tray of another name", err, usage.NotFound)
	other, err := s.FillTray(t.Context(), nil)
	if err != nil || other == tray || len(tray) < 26 {
		t.Errorf("two trays are called %q and %q (%v)", tray, other, err)
	}
	if err := s.ThrowTray(t.Context(), other); err != nil {
		t.Error(err)
	}
	_, err = s.Tray(t.Context(), other)
	wantKind(t, "a tray that was thrown", err, usage.NotFound)

	now += trayLifeS - 1
	if _, err := s.Tray(t.Context(), tray); err != nil {
		t.Errorf("Tray a second before its day is over: %v", err)
	}
	now++
	_, err = s.Tray(t.Context(), tray)
	wantKind(t, "a tray a day old", err, usage.NotFound)
	if _, err := s.FillTray(t.Context(), want[:1]); err != nil {
		t.Fatal(err)
	}
	var left int
	if err := s.reader.QueryRow(`SELECT count(*) FROM tray_card`).Scan(&left); err != nil || left != 1 {
		t.Errorf("%d cards on trays after a day (%v), want the new one", left, err)
	}
}
