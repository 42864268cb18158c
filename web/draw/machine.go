package draw

import (
	"fmt"
	"time"

	"modernc.org/quickjs"

	"doorleaf/web/assets"
)

// machine is a JavaScript engine with ECharts in it. One goroutine uses it at
// a time.
type machine struct {
	vm    *quickjs.VM
	drawn int
	last  time.Time // when it began to draw last
}

// prelude gives ECharts the few things of a browser that it asks for while it
// loads, and takes from it the two that would make drawings differ. Nothing
// ever waits: a drawing is finished when it is drawn.
const prelude = `
globalThis.setTimeout = globalThis.setInterval = globalThis.requestAnimationFrame = () => 0;
globalThis.clearTimeout = globalThis.clearInterval = globalThis.cancelAnimationFrame = () => {};
globalThis.console = { log() {}, warn() {}, error() {}, info() {}, debug() {} };
Math.random = () => 0.5;
`

// newMachine loads ECharts, which takes a few tenths of a second.
func newMachine(memory uintptr) (*machine, error) {
	script, err := assets.Read(assets.ServerScript)
	if err != nil {
		return nil, err
	}
	vm, err := quickjs.NewVM()
	if err != nil {
		return nil, fmt.Errorf("start the drawing engine: %w", err)
	}
	vm.SetMemoryLimit(memory)
	for _, js := range []string{prelude, string(script)} {
		if _, err := vm.Eval(js, quickjs.EvalGlobal); err != nil {
			_ = vm.Close()
			return nil, fmt.Errorf("load the drawing engine: %w", err)
		}
	}
	return &machine{vm: vm}, nil
}

// draw returns the SVG as ECharts writes it. After an error the machine may be
// in any state and must be closed.
func (m *machine) draw(option []byte, width, height int, limit time.Duration) (svg string, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("drawing engine broke down: %v", p)
		}
	}()
	if err := m.vm.SetEvalTimeout(limit); err != nil {
		return "", fmt.Errorf("limit the drawing's time: %w", err)
	}
	m.drawn, m.last = m.drawn+1, time.Now()
	r, err := m.vm.Call("doorleafDraw", string(option), width, height)
	if err != nil {
		return "", fmt.Errorf("draw option: %w", err)
	}
	svg, ok := r.(string)
	if !ok {
		return "", fmt.Errorf("draw option: got %T, want text", r)
	}
	return svg, nil
}

func (m *machine) close() {
	defer func() { _ = recover() }() // Close panics on a machine that broke down
	_ = m.vm.Close()
}
