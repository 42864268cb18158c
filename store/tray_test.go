package store

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"doorleaf/usage"
)

func packed(t *testing.T, text string) []byte {
	t.Helper()
	body, err := PackCard([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if plain, err := UnpackCard(body); err != nil || string(plain) != text {
		t.Fatalf("%d bytes packed and unpacked are %d, %v", len(text), len(plain), err)
	}
	return body
}

// wantTray holds the cards of a tray, and the bytes of each, against those laid on it.
func wantTray(t *testing.T, s *Store, tray string, want []TrayCard) []TrayCard {
	t.Helper()
	got, err := s.Tray(t.Context(), tray)
	if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(TrayCard{}, "ID", "Packed")); err != nil || diff != "" {
		t.Fatalf("Tray: %v (-want +got)\n%s", err, diff)
	}
	for i, c := range got {
		laid, err := UnpackCard(want[i].Packed)
		if err != nil {
			t.Fatal(err)
		}
		if data, err := s.TrayBytes(t.Context(), tray, c.ID); err != nil || !bytes.Equal(data, laid) {
			t.Errorf("TrayBytes of card %d = %q, %v, want %q", i, data, err, laid)
		}
		_, err = s.TrayBytes(t.Context(), tray+"x", c.ID)
		wantKind(t, "TrayBytes of another tray", err, usage.NotFound)
	}
	return got
}

func TestTray(t *testing.T) {
	s := openTest(t)
	now := int64(testNow)
	s.now = func() time.Time { return time.Unix(now, 0) }
	want := []TrayCard{
		{Name: "LOG.TXT", Folder: "weir", Tag: "MILL", Packed: packed(t, "a\x00b")},
		{Name: "LOG.TXT", Packed: packed(t, "")},
	}
	tray, err := s.FillTray(t.Context(), want)
	if err != nil {
		t.Fatal(err)
	}
	got := wantTray(t, s, tray, want)
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

// A tray that is filled in several goes is as good as one that was filled in one.
func TestAddToTray(t *testing.T) {
	s := openTest(t)
	now := int64(testNow)
	s.now = func() time.Time { return time.Unix(now, 0) }
	all := []TrayCard{{Name: "LOG.CSV", Folder: "weir", Packed: packed(t, "a")}, {Name: "LOG.CSV", Tag: "MILL", Packed: packed(t, "bcd")}, {Name: "E", Packed: packed(t, "")}}
	tray, err := s.FillTray(t.Context(), all[:1])
	if err != nil {
		t.Fatal(err)
	}
	now += trayLifeS - 1
	if err := s.AddToTray(t.Context(), tray, all[1:]); err != nil {
		t.Fatalf("AddToTray = %v, want none", err)
	}
	now += trayLifeS - 1
	wantTray(t, s, tray, all)
	if cards, bytes, err := s.TrayLoad(t.Context(), tray); err != nil || cards != 3 || bytes != 4 {
		t.Errorf("TrayLoad = %d, %d, %v, want 3 cards of 4 bytes", cards, bytes, err)
	}
	now += 2
	wantKind(t, "AddToTray to one that is over a day old", s.AddToTray(t.Context(), tray, all), usage.NotFound)
	wantKind(t, "AddToTray to none", s.AddToTray(t.Context(), "x", all), usage.NotFound)
	if cards, bytes, err := s.TrayLoad(t.Context(), "x"); err != nil || cards != 0 || bytes != 0 {
		t.Errorf("TrayLoad of none = %d, %d, %v, want nothing", cards, bytes, err)
	}
}

// What a tray weighs is what was laid on it, whatever its size.
func TestTrayLoadIsTrue(t *testing.T) {
	s := openTest(t)
	for _, size := range []int{0, 1, 255, 256, 257, 65_535, 65_792, 1 << 20, 5<<20 + 7} {
		tray, err := s.FillTray(t.Context(), []TrayCard{{Name: "A", Packed: packed(t, string(make([]byte, size)))}})
		if err != nil {
			t.Fatal(err)
		}
		if _, bytes, err := s.TrayLoad(t.Context(), tray); err != nil || bytes != int64(size) {
			t.Errorf("TrayLoad of %d bytes = %d, %v", size, bytes, err)
		}
	}
}
