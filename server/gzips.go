package server

import (
	"container/list"
	"crypto/sha256"
	"sync"
)

// gzipsBytes bounds the compressed bodies that are held.
const gzipsBytes = 16 << 20

// packs holds finished bodies compressed, by the SHA-256 of the body, so that a page
// that has not changed is compressed once. Those last asked for stay.
type packs struct {
	mu     sync.Mutex
	size   int
	recent list.List // of *pack, the latest first
	kept   map[[sha256.Size]byte]*list.Element
}

// bodies are those of this process.
var bodies packs

type pack struct {
	sum  [sha256.Size]byte
	body []byte
}

// of returns body compressed. The bytes are shared and must not be changed.
func (p *packs) of(sum [sha256.Size]byte, body []byte) []byte {
	p.mu.Lock()
	if el, ok := p.kept[sum]; ok {
		p.recent.MoveToFront(el)
		p.mu.Unlock()
		return el.Value.(*pack).body
	}
	p.mu.Unlock()
	small := gzipped(body)
	p.mu.Lock()
	defer p.mu.Unlock()
	if _, ok := p.kept[sum]; ok || len(small) > gzipsBytes/4 {
		return small
	}
	if p.kept == nil {
		p.kept = map[[sha256.Size]byte]*list.Element{}
	}
	p.kept[sum] = p.recent.PushFront(&pack{sum, small})
	p.size += len(small)
	for p.size > gzipsBytes {
		old := p.recent.Remove(p.recent.Back()).(*pack)
		delete(p.kept, old.sum)
		p.size -= len(old.body)
	}
	return small
}
