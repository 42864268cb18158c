package server

import (
	"runtime/debug"
	"runtime/metrics"
	"sync"
)

// leanPercent is how much garbage may gather beside what is in use while large files
// are held, percent (runtime/debug, SetGCPercent). The usual 100 would let twice their
// bytes stand in memory.
const leanPercent = 20

var leanUse struct {
	sync.Mutex
	users  int
	before int
}

// fallowMost is how much memory may lie fallow after large files: the next ones would
// come on top of it.
const fallowMost = 48 << 20

// lean keeps garbage small until the function that it returns is called, and gives back
// then what lies fallow. It is for the whole process: one who needs it is enough.
func lean() (done func()) {
	leanUse.Lock()
	defer leanUse.Unlock()
	if leanUse.users++; leanUse.users == 1 {
		leanUse.before = debug.SetGCPercent(leanPercent)
	}
	return func() {
		leanUse.Lock()
		defer leanUse.Unlock()
		if leanUse.users--; leanUse.users == 0 {
			debug.SetGCPercent(leanUse.before)
			if fallow() > fallowMost {
				go debug.FreeOSMemory()
			}
		}
	}
}

// fallow is how many bytes of the heap are free or garbage and not given back.
func fallow() int64 {
	m := []metrics.Sample{{Name: "/memory/classes/heap/free:bytes"}, {Name: "/memory/classes/heap/objects:bytes"}, {Name: "/gc/heap/live:bytes"}}
	metrics.Read(m)
	return int64(m[0].Value.Uint64()) + int64(m[1].Value.Uint64()) - int64(m[2].Value.Uint64())
}
