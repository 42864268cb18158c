package draw

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"doorleaf/web/assets"
)

// needAssets fails, and does not skip: without the bundle nothing is drawn.
func needAssets(t testing.TB) {
	t.Helper()
	if !assets.Built() {
		t.Fatal(assets.ErrNotBuilt)
	}
}

func newEngine(t testing.TB, o Options) *Engine {
	t.Helper()
	needAssets(t)
	e := New(o)
	t.Cleanup(func() { _ = e.Close() })
	return e
}

// bars is an option with a bar for each value, named by labels.
func bars(labels []string, values ...float64) []byte {
	return mustJSON(map[string]any{
		"grid":  map[string]any{"left": 40, "right": 10, "top": 10, "bottom": 30},
		"title": map[string]any{"text": "Made-up title"},
		"xAxis": map[string]any{"type": "category", "data": labels, "axisLabel": map[string]any{"interval": 0}},
		"yAxis": map[string]any{"type": "value"},
		"series": []any{
			map[string]any{"type": "bar", "data": values, "itemStyle": map[string]any{"color": Use}},
			map[string]any{"type": "line", "data": values, "clip": true},
		},
	})
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}

func mustDraw(t testing.TB, e *Engine, option []byte, width, height int) []byte {
	t.Helper()
	svg, err := e.Draw(context.Background(), option, width, height)
	if err != nil {
		t.Fatalf("Draw = %v, want a drawing", err)
	}
	return svg
}

func TestSameOptionSameBytesInAnyOrder(t *testing.T) {
	a, b := bars([]string{"a", "b"}, 1, 2), bars([]string{"c"}, 5)
	first, second := newEngine(t, Options{}), newEngine(t, Options{})
	a1, b1 := mustDraw(t, first, a, 300, 200), mustDraw(t, first, b, 300, 200)
	b2, a2 := mustDraw(t, second, b, 300, 200), mustDraw(t, second, a, 300, 200)
	if !bytes.Equal(a1, a2) || !bytes.Equal(b1, b2) {
		t.Errorf("drawings differ with the order of drawing:\n%s\n%s", a1, a2)
	}
	if bytes.Equal(a1, mustDraw(t, first, a, 301, 200)) {
		t.Error("drawings of two sizes are the same")
	}
}

func TestDrawingsShareNoID(t *testing.T) {
	e := newEngine(t, Options{})
	seen := map[string]int{}
	for i := range 4 {
		for _, id := range idsOf(mustDraw(t, e, bars([]string{"a"}, float64(i+1)), 300, 200)) {
			if at, ok := seen[id]; ok && at != i {
				t.Errorf("drawings %d and %d share the id %s", at, i, id)
			}
			seen[id] = i
		}
	}
	if len(seen) < 4 {
		t.Fatalf("found %d ids in 4 drawings: the check checks nothing", len(seen))
	}
}

func TestHostileLabelsComeOutAsText(t *testing.T) {
	e := newEngine(t, Options{})
	labels := []string{
		`</script><script>alert(1)</script>`, `<b>bold</b>`, `"quoted" 'twice'`, `&amp; & &#x41;`, `]]>`,
		"bell\x07nul\x00", "lone \xff byte", `שלום עולם`, "\u202eoverride", `{a} {b} {c}`, `__f__whisker-up__f__`,
		`" onload="alert(1)`, `url(https://elsewhere.example/x)`, "two\nlines", "constructor", "toString",
	}
	for _, label := range labels {
		t.Run(fmt.Sprintf("%q", label), func(t *testing.T) {
			svg := mustDraw(t, e, bars([]string{label}, 1), 600, 200)
			checkSafe(t, svg)
			text := textOf(t, svg)
			want := strings.NewReplacer("\x07", "\ufffd", "\x00", "\ufffd", "\xff", "\ufffd", "\n", "").Replace(label)
			if !strings.Contains(strings.ReplaceAll(text, "\n", ""), want) {
				t.Errorf("drawing of %q has the text %q, want it to hold %q", label, text, want)
			}
		})
	}
}

func TestEngineSurvivesABadOption(t *testing.T) {
	e := newEngine(t, Options{})
	tests := []struct{ name, option, want string }{
		{"not JSON", `{`, "not JSON"},
		{"unknown shape", `{"series":[{"type":"custom","renderItem":"nothing"}]}`, "no shape"},
		{"a shape's name out of the prototype", `{"series":[{"type":"custom","renderItem":"constructor"}]}`, "no shape"},
		{"a function in text", `{"series":[{"type":"custom","renderItem":"__f__function(){}__f__"}]}`, "no shape"},
		{"series without its axes", `{"series":[{"type":"bar","data":[1]}]}`, "draw option"},
		{"an element that is not ours", `{"xAxis":{},"yAxis":{},"series":[],"graphic":[{"type":"image"}]}`, "no element"},
		{"an element's name out of the prototype", `{"xAxis":{},"yAxis":{},"series":[],"graphic":[{"type":"constructor"}]}`, "no element"},
		{"image", `{"xAxis":{},"yAxis":{},"series":[{"type":"scatter","symbol":"image://https://elsewhere.example/x.png","data":[[1,1]]}]}`, "not allowed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := e.Draw(context.Background(), []byte(tt.option), 300, 200)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("Draw(%s) = %v, want an error with %q", tt.option, err, tt.want)
			}
			mustDraw(t, e, bars([]string{tt.name}, 1), 300, 200)
		})
	}
	for _, side := range []int{-1, 0, maxSide + 1} {
		if _, err := e.Draw(context.Background(), bars(nil), side, 200); err == nil {
			t.Errorf("Draw of width %d = no error, want one", side)
		}
	}
}

// Each bar has its limits, with a cap at each end that lies inside the axis.
func TestWhiskersOfAllBars(t *testing.T) {
	e := newEngine(t, Options{})
	svg := string(mustDraw(t, e, []byte(`{"grid":{"left":0,"right":0,"top":0,"bottom":0},"xAxis":{"min":0,"max":3,"show":false},"yAxis":{"min":0,"max":4,"show":false},
		"series":[{"type":"custom","renderItem":"whisker-up","itemStyle":{"color":"#25221d","borderColor":"#f7f2e7"},"data":[[0.5,1,2,0],[1.5,1,4,1],[2.5,2,3,0]]}]}`), 300, 200))
	for _, line := range []string{"M50 150L50 100", "M150 150L150 0", "M250 100L250 50", "M147 150L153 150", "M247 50L253 50"} {
		if strings.Count(svg, line) != 2 { // the line and its halo
			t.Errorf("the drawing has %d times %s, want 2\n%s", strings.Count(svg, line), line, svg)
		}
	}
	if strings.Contains(svg, "M147 0") {
		t.Errorf("a limit that is cut has a cap\n%s", svg)
	}
}

func TestEngineSurvivesATimeout(t *testing.T) {
	e := newEngine(t, Options{Time: 300 * time.Millisecond})
	many := make([]float64, 300_000)
	if _, err := e.Draw(context.Background(), bars(nil, many...), 300, 200); err == nil {
		t.Fatal("Draw of 300,000 bars in 300 ms = no error, want one")
	}
	e.limits.Time = time.Minute
	mustDraw(t, e, bars([]string{"a"}, 1), 300, 200)
}

func TestEngineSurvivesTooLittleMemory(t *testing.T) {
	e := newEngine(t, Options{Memory: 48 << 20})
	if _, err := e.Draw(context.Background(), bars(nil, make([]float64, 400_000)...), 300, 200); err == nil {
		t.Fatal("Draw of 400,000 bars in 48 MB = no error, want one")
	}
	mustDraw(t, e, bars([]string{"a"}, 1), 300, 200)
}

func TestManyAtOnceGetTheSame(t *testing.T) {
	e := newEngine(t, Options{Machines: 2})
	var wg sync.WaitGroup
	got := make([][]byte, 24)
	for i := range got {
		wg.Go(func() {
			svg, err := e.Draw(context.Background(), bars([]string{"a"}, float64(i%3+1)), 300, 200)
			if err != nil {
				t.Errorf("Draw = %v", err)
			}
			got[i] = svg
		})
	}
	wg.Wait()
	for i := range got {
		if !bytes.Equal(got[i], got[i%3]) {
			t.Errorf("drawing %d differs from drawing %d of the same option", i, i%3)
		}
	}
}

func TestDrawHonoursItsContext(t *testing.T) {
	e := newEngine(t, Options{})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := e.Draw(ctx, bars(nil, 1), 300, 200); !errors.Is(err, context.Canceled) {
		t.Errorf("Draw = %v, want %v", err, context.Canceled)
	}
}

func TestClosedEngineRefuses(t *testing.T) {
	needAssets(t)
	e := New(Options{})
	mustDraw(t, e, bars(nil, 1), 300, 200)
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := e.Draw(context.Background(), bars(nil, 2), 300, 200); !errors.Is(err, ErrClosed) {
		t.Errorf("Draw after Close = %v, want %v", err, ErrClosed)
	}
}

func TestCacheDrawsOnceForAllWhoAsk(t *testing.T) {
	c := newCache(1000)
	var calls atomic.Int32
	gate := make(chan struct{})
	draw := func() ([]byte, error) {
		calls.Add(1)
		<-gate
		return []byte("drawing"), nil
	}
	var wg sync.WaitGroup
	for range 10 {
		wg.Go(func() {
			if svg, err := c.get(context.Background(), digest{1}, draw); string(svg) != "drawing" || err != nil {
				t.Errorf("get = %q, %v", svg, err)
			}
		})
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Millisecond)
	defer cancel()
	if _, err := c.get(ctx, digest{1}, draw); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("get with a context that ends = %v, want %v", err, context.DeadlineExceeded)
	}
	close(gate)
	wg.Wait()
	if n := calls.Load(); n != 1 {
		t.Errorf("drawn %d times, want once", n)
	}
}

func TestCacheStaysWithinItsBytes(t *testing.T) {
	c := newCache(100)
	ask := func(key byte, size int) bool { // whether it had to be drawn
		drawn := false
		_, _ = c.get(context.Background(), digest{key}, func() ([]byte, error) {
			drawn = true
			return make([]byte, size), nil
		})
		return drawn
	}
	steps := []struct {
		key  byte
		size int
		want bool
	}{
		{1, 40, true}, {2, 40, true}, {1, 40, false}, // 1 is now the latest
		{3, 40, true},                 // 2 has to go
		{1, 40, false}, {2, 40, true}, // and 3 goes for it
		{4, 101, true}, {4, 101, true}, // never kept
		{1, 40, false},
	}
	for i, s := range steps {
		if got := ask(s.key, s.size); got != s.want {
			t.Errorf("step %d: drawing %d drawn = %v, want %v", i, s.key, got, s.want)
		}
		if c.size > c.limit {
			t.Errorf("step %d: cache holds %d bytes, limit %d", i, c.size, c.limit)
		}
	}
}

func TestCacheForgetsErrors(t *testing.T) {
	c := newCache(100)
	broken := errors.New("broken")
	if _, err := c.get(context.Background(), digest{1}, func() ([]byte, error) { return nil, broken }); err != broken {
		t.Errorf("get = %v, want %v", err, broken)
	}
	if svg, err := c.get(context.Background(), digest{1}, func() ([]byte, error) { return []byte("x"), nil }); string(svg) != "x" {
		t.Errorf("get after an error = %q, %v, want a drawing", svg, err)
	}
}

func BenchmarkDrawBars(b *testing.B) {
	e := newEngine(b, Options{CacheBytes: 1})
	labels := make([]string, 24)
	values := make([]float64, 24)
	for i := range values {
		labels[i], values[i] = fmt.Sprint(i), float64(i)
	}
	mustDraw(b, e, bars(labels, values...), 720, 300)
	b.ReportAllocs()
	for b.Loop() {
		mustDraw(b, e, bars(labels, values...), 720, 300)
	}
}

func BenchmarkLoad(b *testing.B) {
	needAssets(b)
	for b.Loop() {
		m, err := newMachine(256 << 20)
		if err != nil {
			b.Fatal(err)
		}
		m.close()
	}
}
