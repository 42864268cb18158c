package server

import (
	"runtime/debug"
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

// lean keeps garbage small until the function that it returns is called. It is for the
// whole process: one who needs it is enough.
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
		}
	}
}
