package draw

import (
	"container/list"
	"context"
	"sync"
)

// cache keeps drawings up to a number of bytes, the least lately used leaving
// first, and draws a drawing once however many ask for it at the same time.
type cache struct {
	limit int // bytes

	mu     sync.Mutex
	size   int
	recent list.List // of *entry, the latest first
	kept   map[digest]*list.Element
	flight map[digest]*flight
}

type entry struct {
	key digest
	svg []byte
}

// flight is a drawing that is being made; done closes when svg and err stand.
type flight struct {
	done chan struct{}
	svg  []byte
	err  error
}

func newCache(limit int) *cache {
	return &cache{limit: limit, kept: make(map[digest]*list.Element), flight: make(map[digest]*flight)}
}

// get returns the drawing of key, made by draw unless it is kept or already
// being made. It returns early with ctx's error when ctx ends; the drawing
// then goes on for the others and for the cache. Errors are not kept.
func (c *cache) get(ctx context.Context, key digest, draw func() ([]byte, error)) ([]byte, error) {
	svg, f := c.join(key, draw)
	if f == nil {
		return svg, nil
	}
	select {
	case <-f.done:
		return f.svg, f.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// join returns the kept drawing, or else the flight that makes it.
func (c *cache) join(key digest, draw func() ([]byte, error)) ([]byte, *flight) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if el, ok := c.kept[key]; ok {
		c.recent.MoveToFront(el)
		return el.Value.(*entry).svg, nil
	}
	if f, ok := c.flight[key]; ok {
		return nil, f
	}
	f := &flight{done: make(chan struct{})}
	c.flight[key] = f
	go func() {
		f.svg, f.err = draw()
		c.land(key, f)
		close(f.done)
	}()
	return nil, f
}

func (c *cache) land(key digest, f *flight) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.flight, key)
	if f.err != nil || len(f.svg) > c.limit {
		return
	}
	c.kept[key] = c.recent.PushFront(&entry{key, f.svg})
	c.size += len(f.svg)
	for c.size > c.limit {
		old := c.recent.Remove(c.recent.Back()).(*entry)
		delete(c.kept, old.key)
		c.size -= len(old.svg)
	}
}
