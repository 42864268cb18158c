package server

import (
	"context"
	"runtime/debug"
	"testing"
	"time"
)

// Cards wait for readers, but not for ever, and not where there are none.
func TestYield(t *testing.T) {
	const patience = 500 * time.Millisecond
	took := func(ctx context.Context, n int64, left time.Duration) time.Duration {
		var readers Readers
		readers.pages.Store(n)
		time.AfterFunc(left, func() { readers.pages.Store(0) })
		begun := time.Now()
		readers.wait(ctx, patience)
		return time.Since(begun)
	}
	if got := took(t.Context(), 0, time.Hour); got > yieldStep {
		t.Errorf("without readers it takes %v, want no time", got)
	}
	if got := took(t.Context(), 3, 200*time.Millisecond); got < 200*time.Millisecond || got >= patience {
		t.Errorf("with readers who leave after 200 ms it takes %v", got)
	}
	if got := took(t.Context(), 1, time.Hour); got < patience || got > 4*patience {
		t.Errorf("with a reader who stays it takes %v, want %v", got, patience)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if got := took(gone, 1, time.Hour); got > patience/2 {
		t.Errorf("for somebody who is gone it takes %v, want no time", got)
	}
}

// What is set for large files is set back when the last of them is done.
func TestLean(t *testing.T) {
	percent := func() int {
		now := debug.SetGCPercent(-1)
		debug.SetGCPercent(now)
		return now
	}
	before := percent()
	one, two := lean(), lean()
	if got := percent(); got != leanPercent {
		t.Errorf("percent of garbage = %d, want %d", got, leanPercent)
	}
	one()
	if got := percent(); got != leanPercent {
		t.Errorf("percent of garbage with one of two done = %d, want %d", got, leanPercent)
	}
	two()
	if got := percent(); got != before {
		t.Errorf("percent of garbage afterwards = %d, want the %d of before", got, before)
	}
}
