// Package draw draws ECharts options to SVG on the server, in a pure-Go
// JavaScript engine, and makes the SVG fit a page with a strict content
// security policy. The same option gives the same bytes, whatever was drawn
// before it, and two drawings never share an id.
package draw

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Options are the limits of an Engine; a zero field means its default.
type Options struct {
	Machines   int           // JavaScript engines, each about 25 MB: drawings made at the same time; default 1
	CacheBytes int           // drawings kept; default 32 MB
	Time       time.Duration // for one drawing, waiting not counted; default 10 s
	Memory     int           // bytes of one JavaScript engine; default 256 MB
	Folder     string        // where drawings outlive the program; "": nowhere
}

const (
	maxOption = 8 << 20 // bytes of JSON
	maxSide   = 10_000  // CSS px

	// After so many drawings a machine is replaced: ECharts numbers what it
	// makes and nothing promises that it forgets all of it.
	drawingsAMachine = 2000
)

// ErrClosed says that the engine has been closed.
var ErrClosed = errors.New("drawing engine is closed")

// Engine draws ECharts options. It is safe for concurrent use.
type Engine struct {
	limits   Options
	cache    *cache
	folder   *folder       // nil for none
	machines chan *machine // the idle ones; nil stands for one yet to be loaded
	hands    sync.RWMutex  // held for reading by each drawing in the making
	closed   chan struct{}
}

// digest is the SHA-256 of what is drawn.
type digest [sha256.Size]byte

// New returns an engine. It loads ECharts at the first drawing, not here.
func New(o Options) *Engine {
	o.Machines = orDefault(o.Machines, 1)
	o.CacheBytes = orDefault(o.CacheBytes, 32<<20)
	o.Time = orDefault(o.Time, 10*time.Second)
	o.Memory = orDefault(o.Memory, 256<<20)
	e := &Engine{
		limits:   o,
		cache:    newCache(o.CacheBytes),
		folder:   openFolder(o.Folder),
		machines: make(chan *machine, o.Machines),
		closed:   make(chan struct{}),
	}
	for range o.Machines {
		e.machines <- nil
	}
	return e
}

func orDefault[T int | time.Duration](v, standard T) T {
	if v == 0 {
		return standard
	}
	return v
}

// Draw draws an ECharts option, given as JSON, to SVG of width × height CSS px
// that scales with its box, with links over its Marks. The bytes are shared: they
// must not be changed.
//
// It returns ctx's error when ctx ends first, an error that wraps
// assets.ErrNotBuilt in a program built without its assets, and otherwise what
// ECharts or the check of its SVG complains of.
func (e *Engine) Draw(ctx context.Context, option []byte, width, height int) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := admit(option, width, height); err != nil {
		return nil, err
	}
	marks, err := marksOf(option)
	if err != nil {
		return nil, err
	}
	key := digestOf(option, width, height)
	return e.cache.get(ctx, key, func() ([]byte, error) {
		e.hands.RLock()
		defer e.hands.RUnlock()
		if svg, ok := e.folder.load(key); ok {
			return svg, nil
		}
		drawn, err := e.make(option, width, height)
		if err != nil {
			return nil, err
		}
		svg, err := finished(drawn, marks, "d"+hex.EncodeToString(key[:6])+"-")
		if err == nil {
			e.folder.save(key, svg)
		}
		return svg, err
	})
}

// finished makes what a machine drew fit a page.
func finished(drawn string, marks []Mark, prefix string) ([]byte, error) {
	svg, areas, err := parted(drawn)
	if err != nil {
		return nil, err
	}
	clean, err := rewrite(svg, prefix)
	if err != nil {
		return nil, err
	}
	return linked(clean, marks, areas)
}

// admit refuses what no chart of ours can be.
func admit(option []byte, width, height int) error {
	switch {
	case width < 1 || height < 1 || width > maxSide || height > maxSide:
		return fmt.Errorf("draw %d × %d px: want 1 to %d", width, height, maxSide)
	case len(option) > maxOption:
		return fmt.Errorf("draw option of %d bytes: want at most %d", len(option), maxOption)
	case !json.Valid(option):
		return errors.New("draw option: not JSON")
	}
	return nil
}

func digestOf(option []byte, width, height int) (d digest) {
	h := sha256.New()
	fmt.Fprintf(h, "%d %d\n", width, height)
	h.Write(option)
	h.Sum(d[:0])
	return d
}

// make has the next idle machine draw. A machine that failed is thrown away:
// the one after it starts afresh.
func (e *Engine) make(option []byte, width, height int) (svg string, err error) {
	var m *machine
	select {
	case m = <-e.machines:
	case <-e.closed:
		return "", ErrClosed
	}
	defer func() { e.machines <- m }()
	if m == nil {
		if m, err = newMachine(uintptr(e.limits.Memory)); err != nil {
			return "", err
		}
	}
	svg, err = m.draw(option, width, height, e.limits.Time)
	if err != nil || m.drawn >= drawingsAMachine {
		m.close()
		m = nil
	}
	return svg, err
}

// Rest ends the machines that have drawn nothing since an instant and gives their memory
// back. The next drawing loads ECharts again.
func (e *Engine) Rest(since time.Time) {
	for range e.limits.Machines {
		select {
		case m := <-e.machines:
			if m != nil && m.last.Before(since) {
				m.close()
				m = nil
			}
			e.machines <- m
		default:
			return // the others are drawing
		}
	}
}

// Close waits for the drawings in hand and ends the engine's machines.
// Drawings that wait their turn, and later ones not kept, fail with ErrClosed.
// It must be called once at most.
func (e *Engine) Close() error {
	close(e.closed)
	for range e.limits.Machines {
		if m := <-e.machines; m != nil {
			m.close()
		}
	}
	e.hands.Lock() // once what was drawn is in the folder
	defer e.hands.Unlock()
	return nil
}
