package store

import "sync"

// versions number the changes of sites, so that what was worked out of a site can be
// kept as long as nothing of it changes. They live in memory: there is one process
// that changes a network, see Lock.
type versions struct {
	mu     sync.Mutex
	last   uint64            // number of the last change of any site
	all    uint64            // of the last change that may have been one of every site
	latest map[string]uint64 // code → of the last change of that site alone
}

func newVersions() *versions { return &versions{last: 1, all: 1, latest: map[string]uint64{}} }

// changed notes a commit that may have changed the sites with these codes; nil is all.
func (v *versions) changed(codes map[string]struct{}) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.last++
	if codes == nil {
		v.all = v.last
		clear(v.latest)
	}
	for code := range codes {
		v.latest[code] = v.last
	}
}

func (v *versions) of(code string) uint64 {
	v.mu.Lock()
	defer v.mu.Unlock()
	if n, ok := v.latest[code]; ok {
		return n
	}
	return v.all
}

// Version returns a number that is another one after each change to what is kept of a
// site or derived from it, its code, its power setting, service calls and rulings
// included. What was read after asking for the number is never older than the number
// says. What is told of prepared cards, trays, sessions and the network's name does not
// count. It is 0 where changes cannot be known: the network is open for reading alone.
func (s *Store) Version(code string) uint64 {
	if s.writer == nil {
		return 0
	}
	return s.stamps.of(code)
}

// NetworkVersion is Version for all sites together: which there are, and each of them.
func (s *Store) NetworkVersion() uint64 {
	if s.writer == nil {
		return 0
	}
	s.stamps.mu.Lock()
	defer s.stamps.mu.Unlock()
	return s.stamps.last
}
