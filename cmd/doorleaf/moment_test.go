package main

import (
	"testing"
	"time"

	"doorleaf/usage"
)

func TestTrueTime(t *testing.T) {
	zone, err := usage.LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		given, want string
		exact       bool
	}{
		{"2026-05-01T14:30", "2026-05-01T13:30:00Z", false},
		{"2026-05-01 14:30:00", "2026-05-01T13:30:00Z", true},
		{"2026-05-01T14:30:00+02:00", "2026-05-01T12:30:00Z", true},
		{"2026-05-01T14:30Z", "2026-05-01T14:30:00Z", false},
		{"2026-10-25T01:30", "2026-10-25T00:30:00Z", false}, // the first of two
		{"2026-03-29T01:30", "", false},                     // there was none
		{"noon", "", false},
	} {
		at, exact, err := trueTime(tt.given, "--pulled", zone)
		if tt.want == "" {
			if usage.KindOf(err) != usage.Invalid {
				t.Errorf("trueTime(%s) = %d, %v, want it refused", tt.given, at, err)
			}
			continue
		}
		if got := time.Unix(at, 0).UTC().Format(time.RFC3339); err != nil || got != tt.want || exact != tt.exact {
			t.Errorf("trueTime(%s) = %s exact %t, %v, want %s exact %t", tt.given, got, exact, err, tt.want, tt.exact)
		}
	}
}
