package server

import (
	"container/list"
	"context"
	"errors"
	"sync"

	"doorleaf/web/chart"
)

// What the memos hold at most. What is large has one of its own: the days and months of
// a thousand sites, gone through for one page, would else push out what the page made of
// them.
const (
	largeBytes = 32 << 20
	smallBytes = 96 << 20
)

// versioned is a store that numbers the changes of its sites; *store.Store is one.
// 0 says that changes cannot be known.
type versioned interface {
	Version(code string) uint64
	NetworkVersion() uint64
}

// memo keeps what was worked out of a site as long as nothing of the site changes, and
// works it out once however many ask for it at the same time. It holds figures and no
// words. What does not fit leaves by the time of its last use.
type memo struct {
	versions versioned // nil: nothing is kept
	limit    int       // bytes

	mu     sync.Mutex
	size   int
	recent list.List // of *memoEntry, the latest first
	kept   map[memoKey]*list.Element
	flight map[memoKey]*memoFlight
}

// memoKey names what is kept. A number of a change is given once, so that what is of
// an earlier one is never found again.
type memoKey struct {
	version uint64
	code    string // of a site; "" for the network
	what    string
}

type memoEntry struct {
	key   memoKey
	value any
	bytes int
}

// memoFlight is what is being worked out; done closes when value and err stand.
type memoFlight struct {
	done  chan struct{}
	value any
	bytes int
	err   error
}

func newMemo(versions versioned, limit int) *memo {
	return &memo{versions: versions, limit: limit, kept: map[memoKey]*list.Element{}, flight: map[memoKey]*memoFlight{}}
}

// recall returns what work makes of a site, or of the network where code is "": what it
// made since the last change, or what it makes now. work also says about how many bytes
// it takes to keep, below nought for not at all. The value is shared and must not be
// changed; errors are not kept.
//
// work reads all that it needs by itself, and takes nothing that its caller has read:
// that may be older than the number of the change under which the value is kept.
func recall[T any](ctx context.Context, m *memo, code, what string, work func(context.Context) (T, int, error)) (T, error) {
	version := m.version(code)
	if version == 0 || chart.Wanted(ctx) != nil { // then nothing is drawn
		v, _, err := work(ctx)
		return v, err
	}
	v, err := m.get(ctx, memoKey{version, code, what}, func(ctx context.Context) (any, int, error) { return work(ctx) })
	if err != nil {
		var none T
		return none, err
	}
	return v.(T), nil
}

func (m *memo) version(code string) uint64 {
	switch {
	case m == nil || m.versions == nil:
		return 0
	case code == "":
		return m.versions.NetworkVersion()
	}
	return m.versions.Version(code)
}

func (m *memo) get(ctx context.Context, key memoKey, work func(context.Context) (any, int, error)) (any, error) {
	m.mu.Lock()
	if el, ok := m.kept[key]; ok {
		m.recent.MoveToFront(el)
		m.mu.Unlock()
		return el.Value.(*memoEntry).value, nil
	}
	if f, ok := m.flight[key]; ok {
		m.mu.Unlock()
		select {
		case <-f.done:
			return f.value, f.err
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	f := &memoFlight{done: make(chan struct{}), err: errBroke}
	m.flight[key] = f
	m.mu.Unlock()
	defer m.land(key, f) // also where work breaks down
	f.value, f.bytes, f.err = work(context.WithoutCancel(ctx))
	return f.value, f.err
}

// errBroke is what those get who waited for another that broke down.
var errBroke = errors.New("what another reader was working out broke down")

func (m *memo) land(key memoKey, f *memoFlight) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.flight, key)
	close(f.done)
	if f.err != nil || f.bytes > m.limit || f.bytes < 0 {
		return
	}
	m.kept[key] = m.recent.PushFront(&memoEntry{key, f.value, f.bytes})
	m.size += f.bytes
	for m.size > m.limit {
		old := m.recent.Remove(m.recent.Back()).(*memoEntry)
		delete(m.kept, old.key)
		m.size -= old.bytes
	}
}
