package forge

import (
	"testing"
	"time"

	"doorleaf/usage"
)

func unix(t *testing.T, at string) int64 {
	t.Helper()
	v, err := time.Parse(time.RFC3339, at)
	if err != nil {
		t.Fatal(err)
	}
	return v.Unix()
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func TestClockReads(t *testing.T) {
	installed := unix(t, "2026-01-01T00:00:00Z")
	at := func(s string) int64 { return unix(t, s) }
	tests := []struct {
		name string
		c    Clock
		at   string
		want string
	}{
		{"fixed, no daylight saving", Clock{Keeping: usage.ClockFixed, OffsetS: 3600}, "2026-07-01T10:00:00Z", "2026-07-01T11:00:00"},
		{"utc", Clock{Keeping: usage.ClockUTC, OffsetS: 3600, ErrorS: 2}, "2026-07-01T10:00:00Z", "2026-07-01T10:00:02"},
		{"civil in winter", Clock{Keeping: usage.ClockCivil}, "2026-03-29T00:59:59Z", "2026-03-29T01:59:59"},
		{"civil, after the missing hour", Clock{Keeping: usage.ClockCivil}, "2026-03-29T01:00:00Z", "2026-03-29T03:00:00"},
		{"civil, first of the hour that comes twice", Clock{Keeping: usage.ClockCivil}, "2026-10-25T00:30:00Z", "2026-10-25T02:30:00"},
		{"civil, second of it", Clock{Keeping: usage.ClockCivil}, "2026-10-25T01:30:00Z", "2026-10-25T02:30:00"},
		{"fast by 100 ppm for ten days", Clock{Keeping: usage.ClockUTC, DriftPPM: 100}, "2026-01-11T00:00:00Z", "2026-01-11T00:01:26"},
		{"slow by 100 ppm for ten days", Clock{Keeping: usage.ClockUTC, DriftPPM: -100}, "2026-01-11T00:00:00Z", "2026-01-10T23:58:33"},
		{"reset", Clock{Keeping: usage.ClockFixed, OffsetS: 3600, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockReset}}}, "2026-02-02T00:00:05Z", "2000-01-02T00:00:05"},
		{"civil reset", Clock{Keeping: usage.ClockCivil, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockReset}}}, "2026-02-01T00:00:05Z", "2000-01-01T00:00:05"},
		{"halted", Clock{Keeping: usage.ClockUTC, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockHalt}}}, "2026-06-01T00:00:00Z", "2026-02-01T00:00:00"},
		{"halted, started", Clock{Keeping: usage.ClockUTC, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockHalt}, {At: at("2026-02-05T00:00:00Z"), Kind: ClockStart}}}, "2026-02-05T01:00:00Z", "2026-02-01T01:00:00"},
		{"halted, set", Clock{Keeping: usage.ClockFixed, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockHalt}, {At: at("2026-02-05T00:00:00Z"), Kind: ClockSet, OffsetS: 7200, ErrorS: -3}}}, "2026-02-05T01:00:00Z", "2026-02-05T02:59:57"},
		{"jumped ahead", Clock{Keeping: usage.ClockUTC, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockJump, ErrorS: 1800}}}, "2026-02-02T00:00:00Z", "2026-02-02T00:30:00"},
		{"a dead cell", Clock{Keeping: usage.ClockUTC, Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockDead}}}, "2026-02-02T17:12:00Z", "2000-01-01T00:00:01"},
		{"a dead cell, build time", Clock{Keeping: usage.ClockUTC, Built: wall(t, "2025-11-12T13:14:15"), Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockDead}}}, "2026-02-02T17:12:00Z", "2025-11-12T13:14:16"},
		{"reset to its build time", Clock{Keeping: usage.ClockCivil, Built: wall(t, "2025-11-12T13:14:15"), Events: []ClockEvent{{At: at("2026-02-01T00:00:00Z"), Kind: ClockReset}}}, "2026-02-01T01:00:00Z", "2025-11-12T14:14:15"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, err := tt.c.dial(installed, zone(t, "Europe/Berlin"))
			if err != nil {
				t.Fatal(err)
			}
			if got := d.read(at(tt.at), at(tt.at)); got.wall != wall(t, tt.want) {
				t.Errorf("read(%s) = %s, want %s", tt.at, time.Unix(got.wall, 0).UTC().Format(wallLayout), tt.want)
			}
		})
	}
}

func TestWeekdayRegisterAfterReset(t *testing.T) {
	c := Clock{Keeping: usage.ClockUTC, Events: []ClockEvent{{At: 100, Kind: ClockReset}, {At: 200, Kind: ClockHalt}, {At: 300, Kind: ClockSet}}}
	d, err := c.dial(0, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	for at, want := range map[int64]bool{99: false, 100: true, 250: true, 300: false} {
		if got := d.read(at, at).reset; got != want {
			t.Errorf("read(%d): register restarted = %t, want %t", at, got, want)
		}
	}
}

func TestClockRefuses(t *testing.T) {
	for name, events := range map[string][]ClockEvent{
		"disorder": {{At: 2, Kind: ClockHalt}, {At: 1, Kind: ClockStart}},
		"kind":     {{At: 1, Kind: "melt"}},
	} {
		if _, err := (Clock{Events: events}).dial(0, time.UTC); err == nil {
			t.Errorf("%s: dial() = nil error, want one", name)
		}
	}
}
