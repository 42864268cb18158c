package main

import (
	"context"
	"runtime"
	"runtime/debug"
	"time"

	"doorleaf/web/draw"
)

// A server that has just checked its network, taken a card in or drawn many pages holds
// memory that it needs no more. It gives back what is more than idleBytes.
const (
	idleBytes = 16 << 20
	idleStep  = 5 * time.Second
	idleDraws = 20 * time.Second // how long ECharts is held without anything to draw
)

// giveBack gives memory back until ctx ends, that of drawer too.
func giveBack(ctx context.Context, drawer *draw.Engine) {
	tick := time.NewTicker(idleStep)
	defer tick.Stop()
	last := uint64(0) // bytes ever taken when last looked
	for {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
		drawer.Rest(time.Now().Add(-idleDraws))
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		quiet := m.TotalAlloc-last < idleBytes // else it is busy, and will want the memory again
		last = m.TotalAlloc
		if quiet && m.HeapInuse+m.HeapIdle-m.HeapReleased-min(m.HeapAlloc, m.NextGC/2) > idleBytes {
			debug.FreeOSMemory()
			runtime.ReadMemStats(&m)
			last = m.TotalAlloc
		}
	}
}
