package chart

import (
	"context"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/draw"
	"doorleaf/web/words"
)

// inputs are the tallies of a made-up box.
type inputs struct {
	days   []usage.Day
	months []usage.MonthTally
}

func (in inputs) pattern() usage.Pattern { return usage.PatternOf("MILL", nil, in.months) }

// made makes n days from Wednesday 6 March 2024: visits at perHour where busy
// says, exposure where covered says.
func made(n int, covered func(i, hour int) bool, perHour float64) (in inputs) {
	r := rand.New(rand.NewPCG(7, 11))
	start := usage.DateOf(2024, time.March, 6)
	for i := range n {
		d := usage.Day{Date: start + usage.Date(i)}
		month := usage.MonthOf(d.Date)
		for h := range 24 {
			if !covered(i, h) {
				continue
			}
			if len(in.months) == 0 || in.months[len(in.months)-1].Month != month {
				in.months = append(in.months, usage.MonthTally{Month: month})
			}
			visits := int32(r.Float64() * 2 * perHour * (1 + math.Sin(float64(h)/4)) / 2)
			cell, tally := 24*(d.Date.Weekday()-1)+h, &in.months[len(in.months)-1]
			tally.Visits[cell] += visits
			tally.ExposureS[cell] += 3600
			d.Visits += visits
			d.ExposureS += 3600
		}
		if d.ExposureS > 0 {
			in.days = append(in.days, d)
		}
	}
	return in
}

func always(i, hour int) bool { return true }

// gappy leaves out weeks, single days, part of days, and Wednesday nights.
func gappy(i, hour int) bool {
	return !(i > 40 && i < 75 || i%97 < 2 && i > 1 || i%31 == 0 && hour < 14 || i%7 == 0 && hour < 4)
}

var cases = []struct {
	name string
	in   inputs
}{
	{"empty", inputs{}},
	{"one day", made(1, always, 2)},
	{"one hour without a visit", made(1, func(_, h int) bool { return h == 5 }, 0)},
	{"no visits", made(120, always, 0)},
	{"a month and a bit", made(40, always, 3)},
	{"gappy", made(420, gappy, 2)},
	{"thirty months", made(930, gappy, 4)},
	{"ten years of crowds", made(3800, always, 4000)},
}

// figures makes every figure there is of in.
func figures(t testing.TB, m *Maker, in inputs) map[string]Figure {
	t.Helper()
	ctx, p := context.Background(), in.pattern()
	last := usage.DateOf(2024, time.March, 6)
	if n := len(in.days); n > 0 {
		last = in.days[n-1].Date
	}
	made := map[string]func(id string) (Figure, error){
		"hour":    func(id string) (Figure, error) { return m.ByHour(ctx, id, p) },
		"weekday": func(id string) (Figure, error) { return m.ByWeekday(ctx, id, p) },
		"week":    func(id string) (Figure, error) { return m.HourByWeekday(ctx, id, p) },
		"month":   func(id string) (Figure, error) { return m.ByMonth(ctx, id, in.months) },
		"season":  func(id string) (Figure, error) { return m.BySeason(ctx, id, in.months, false) },
		"time":    func(id string) (Figure, error) { return m.Timeline(ctx, id, in.days) },
		"profile": func(id string) (Figure, error) { return m.HourProfile(ctx, id, p) },
		"weeks":   func(id string) (Figure, error) { return m.WeeksSpark(ctx, id, in.days, last) },
		"stretch": func(id string) (Figure, error) { return m.Stretch(ctx, id, in.days, last-30, last-20) },
		"sites":   func(id string) (Figure, error) { return m.BySite(ctx, id, "spring 2024", siteRates(in)) },
		"long":    func(id string) (Figure, error) { return m.Stretch(ctx, id, in.days, last-900, last) },
	}
	out := map[string]Figure{}
	for id, make := range made {
		f, err := make(id)
		if err != nil {
			t.Fatal(err)
		}
		out[id] = f
	}
	return out
}

// siteRates makes a box of each of the last months.
func siteRates(in inputs) (sites []SiteRate) {
	for i, month := range latest(unbroken(in.months), 9) {
		sum := usage.Whole([]usage.MonthTally{month})
		name := fmt.Sprintf("Box %d", i)
		if i == 2 {
			name = "The box by the gate of the old walled garden"
		}
		sites = append(sites, SiteRate{name, sum.Visits, float64(sum.ExposureS) / 3600, usage.Rate(sum.Visits, float64(sum.ExposureS)/3600/week, 0.95), ""})
	}
	if len(sites) > 0 {
		sites = append(sites, SiteRate{Name: "New box"})
	}
	return sites
}

func newMaker(t testing.TB, o draw.Options) *Maker {
	t.Helper()
	if !assets.Built() {
		t.Fatal(assets.ErrNotBuilt)
	}
	e := draw.New(o)
	t.Cleanup(func() { _ = e.Close() })
	return New(e)
}

// recorder is a Drawer that keeps options instead of drawing them.
type recorder struct{ options []map[string]any }

func (r *recorder) Draw(_ context.Context, option []byte, _, _ int) ([]byte, error) {
	var o map[string]any
	if err := json.Unmarshal(option, &o); err != nil {
		return nil, err
	}
	r.options = append(r.options, o)
	return []byte("<svg/>"), nil
}

func TestEveryFigureIsDrawnSafelyAndLegibly(t *testing.T) {
	m := newMaker(t, draw.Options{})
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			for id, f := range figures(t, m, c.in) {
				t.Run(id, func(t *testing.T) {
					checkWords(t, f)
					checkTable(t, f.Table)
					for _, svg := range []string{string(f.Wide), string(f.Narrow)} {
						if svg == "" {
							continue
						}
						checkSafe(t, svg)
						for _, fault := range illegible(t, svg) {
							t.Error(fault)
						}
					}
				})
			}
		})
	}
}

func checkWords(t *testing.T, f Figure) {
	t.Helper()
	if n := len(strings.Fields(f.Title)); n == 0 || n > 10 {
		t.Errorf("title %q has %d words, want 1 to 10", f.Title, n)
	}
	if !strings.HasSuffix(f.Says, ".") || strings.Contains(f.Says+f.Title, "NaN") {
		t.Errorf("says %q, want a sentence", f.Says)
	}
}

func checkTable(t *testing.T, table Table) {
	t.Helper()
	for _, row := range table.Rows {
		if len(row) != len(table.Head) {
			t.Fatalf("row %q has %d cells, head %q has %d", row, len(row), table.Head, len(table.Head))
		}
		for _, cell := range row {
			if cell == "" || strings.Contains(cell, "NaN") || strings.Contains(cell, "Inf") {
				t.Errorf("row %q has the cell %q", row, cell)
			}
		}
	}
}

var unsafe = regexp.MustCompile(`(?i:<script|<style|<foreignObject|<image|<a[ >]|\sstyle=|\sclass=|\son\w+=|href=|url\([^#]|javascript:)|NaN|undefined|Infinity`)

func checkSafe(t *testing.T, svg string) {
	t.Helper()
	if bad := unsafe.FindString(svg); bad != "" {
		t.Errorf("drawing holds %q", bad)
	}
	if rest := strings.Replace(svg, `xmlns="http://www.w3.org/2000/svg"`, "", 1); strings.Contains(rest, "//") {
		t.Error("drawing names another host")
	}
}

// A word is a text of a drawing with the box that it takes about.
type word struct {
	text                     string
	left, top, right, bottom float64
}

var (
	translate = regexp.MustCompile(`^translate\(([-\d.]+)[ ,]([-\d.]+)\)$`)
	viewBox   = regexp.MustCompile(`viewBox="0 0 (\d+) (\d+)"`)
)

// wordsOf reads the texts of svg. Widths are estimated, at half an em a letter.
func wordsOf(t *testing.T, svg string) (words []word) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := dec.Token()
		if tok == nil {
			return words
		}
		if err != nil {
			t.Fatalf("drawing is not well-formed: %v", err)
		}
		start, ok := tok.(xml.StartElement)
		if !ok || start.Name.Local != "text" {
			continue
		}
		at := map[string]string{}
		for _, a := range start.Attr {
			at[a.Name.Local] = a.Value
		}
		var text string
		if err := dec.DecodeElement(&text, &start); err != nil {
			t.Fatal(err)
		}
		words = append(words, wordAt(t, text, at))
	}
}

func wordAt(t *testing.T, text string, at map[string]string) word {
	t.Helper()
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if s != "" && err != nil {
			t.Fatalf("text %q: number %q", text, s)
		}
		return v
	}
	x, y, size := num(at["x"]), num(at["y"]), num(at["font-size"])
	if m := translate.FindStringSubmatch(at["transform"]); m != nil {
		x, y = x+num(m[1]), y+num(m[2])
	} else if at["transform"] != "" {
		t.Errorf("text %q is turned: %s", text, at["transform"])
	}
	if size < 11 {
		t.Errorf("text %q has the size %v px, want at least 11", text, size)
	}
	width := 0.5 * size * float64(len([]rune(text)))
	switch at["text-anchor"] {
	case "middle":
		x -= width / 2
	case "end":
		x -= width
	}
	return word{text, x, y - size/2, x + width, y + size/2}
}

// illegible lists texts outside the drawing, and texts that touch.
func illegible(t *testing.T, svg string) (faults []string) {
	t.Helper()
	m := viewBox.FindStringSubmatch(svg)
	if m == nil {
		t.Fatal("drawing has no viewBox")
	}
	width, _ := strconv.ParseFloat(m[1], 64)
	height, _ := strconv.ParseFloat(m[2], 64)
	words := wordsOf(t, svg)
	for i, a := range words {
		if a.left < -1 || a.top < -1 || a.right > width+1 || a.bottom > height+1 {
			faults = append(faults, fmt.Sprintf("%+v lies outside %v × %v", a, width, height))
		}
		for _, b := range words[:i] {
			if a.left < b.right+1 && b.left < a.right+1 && a.top < b.bottom-1 && b.top < a.bottom-1 {
				faults = append(faults, fmt.Sprintf("texts touch: %+v and %+v", a, b))
			}
		}
	}
	return faults
}

func TestLegibilityCheckSeesFaults(t *testing.T) {
	tests := []struct {
		name, texts string
		want        int
	}{
		{"good", `<text font-size="12" x="10" y="50">long words</text><text font-size="12" x="90" y="50">more</text>`, 0},
		{"outside", `<text font-size="12" text-anchor="end" transform="translate(5 50)">long words</text>`, 1},
		{"touching", `<text font-size="12" x="10" y="50">long words</text><text font-size="12" x="40" y="50">more</text>`, 1},
	}
	for _, tt := range tests {
		if got := illegible(t, `<svg viewBox="0 0 200 100">`+tt.texts+`</svg>`); len(got) != tt.want {
			t.Errorf("illegible(%s) = %q, want %d faults", tt.name, got, tt.want)
		}
	}
}

func TestFigureIsTheSameWhateverTheOrder(t *testing.T) {
	in := made(420, gappy, 2)
	want := figures(t, newMaker(t, draw.Options{}), in)
	r := rand.New(rand.NewPCG(3, 5))
	last := in.days[len(in.days)-1].Date
	r.Shuffle(len(in.days), func(i, j int) { in.days[i], in.days[j] = in.days[j], in.days[i] })
	r.Shuffle(len(in.months), func(i, j int) { in.months[i], in.months[j] = in.months[j], in.months[i] })
	m, ctx := newMaker(t, draw.Options{}), context.Background()
	weeks, err := m.WeeksSpark(ctx, "weeks", in.days, last)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want["weeks"], weeks); diff != "" {
		t.Errorf("weeks of shuffled days (-want +got):\n%s", diff)
	}
	stretch, err := m.Stretch(ctx, "stretch", in.days, last-30, last-20)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want["stretch"], stretch); diff != "" {
		t.Errorf("stretch of shuffled days (-want +got):\n%s", diff)
	}
	got := figures(t, m, in)
	for id := range want {
		if id == "weeks" || id == "stretch" || id == "long" {
			continue // figures takes its last day from the order
		}
		if diff := cmp.Diff(want[id], got[id]); diff != "" {
			t.Errorf("%s of shuffled tallies (-want +got):\n%s", id, diff)
		}
	}
}

func TestInputsAreNotChanged(t *testing.T) {
	in, same := made(200, gappy, 2), made(200, gappy, 2)
	figures(t, New(&recorder{}), in)
	if diff := cmp.Diff(same, in, cmp.AllowUnexported(inputs{})); diff != "" {
		t.Errorf("drawing changed its inputs:\n%s", diff)
	}
}

func TestOptionsKeepTheRules(t *testing.T) {
	for _, c := range cases {
		r := &recorder{}
		figures(t, New(r), c.in)
		for _, o := range r.options {
			for _, kind := range []string{"xAxis", "yAxis"} {
				axes := o[kind].([]any)
				if len(axes) != 1 {
					t.Errorf("%s: %d of %s, want one", c.name, len(axes), kind)
				}
				axis := axes[0].(map[string]any)
				if axis["type"] == "value" && axis["min"] != 0.0 {
					t.Errorf("%s: value axis begins at %v, want 0", c.name, axis["min"])
				}
			}
			if o["animation"] != false {
				t.Errorf("%s: animation is %v, want none", c.name, o["animation"])
			}
		}
	}
}

// seriesOf returns the values of the series of a name.
func seriesOf(o map[string]any, name string) (values []any) {
	for _, s := range o["series"].([]any) {
		s := s.(map[string]any)
		if data, ok := s["data"].([]any); ok && s["name"] == name {
			for _, d := range data {
				values = append(values, d.(map[string]any)["value"])
			}
		}
	}
	return values
}

func TestHoursAreBarsGapsAndNoughts(t *testing.T) {
	p := usage.Pattern{Visits: 30, ExposureH: 200, Cells: []usage.Cell{
		{Weekday: 1, Hour: 3, Visits: 10, ExposureH: 50},
		{Weekday: 2, Hour: 3, Visits: 20, ExposureH: 50},
		{Weekday: 1, Hour: 4, Visits: 0, ExposureH: 100},
	}}
	r := &recorder{}
	f, err := New(r).ByHour(context.Background(), "hours", p)
	if err != nil {
		t.Fatal(err)
	}
	o := r.options[0]
	if diff := cmp.Diff([]any{[]any{3.5, 0.3}, []any{4.5, 0.0}}, seriesOf(o, "rate")); diff != "" {
		t.Errorf("bars (-want +got):\n%s", diff)
	}
	gaps := seriesOf(o, "gaps")
	if len(gaps) != 2 || fmt.Sprint(gaps[0].([]any)[:2], gaps[1].([]any)[:2]) != "[0 3] [5 24]" {
		t.Errorf("gaps = %v, want 0–3 and 5–24 h", gaps)
	}
	if n := len(seriesOf(o, "limits")); n != 2 {
		t.Errorf("%d whiskers, want 2", n)
	}
	// Limits of 30 counted: R 4.4 poisson.test(30, 100) gives 0.2024075 and 0.4282684,
	// from memory; the table has three digits.
	want := []string{"3:00–4:00", "30", "100", "0.300", "0.202 to 0.428"}
	if diff := cmp.Diff(want, f.Table.Rows[3]); diff != "" {
		t.Errorf("row of 3:00 (-want +got):\n%s", diff)
	}
	if got := strings.Join(f.Table.Rows[5][2:], "|"); got != "0|not covered|–" {
		t.Errorf("row of an hour without exposure = %s", got)
	}
}

func TestTitlesSayNoMoreThanTheLimitsAllow(t *testing.T) {
	hours := func(visits ...int64) []bar {
		bars := make([]bar, 24)
		for h, n := range visits {
			bars[h] = newBar(hourSpan(words.English, h), n, 100, hour)
		}
		return bars
	}
	tests := []struct {
		name string
		bars []bar
		want string
	}{
		{"nothing", make([]bar, 24), "Nothing recorded yet"},
		{"noughts", hours(0, 0), "No visits in any hour"},
		{"alike", hours(100, 101, 99, 102), "No hour of the day clearly stands out"},
		{"few", hours(1, 3, 2), "No hour of the day clearly stands out"},
		{"one ahead", hours(10, 200, 10), "Busiest from 1:00 to 2:00"},
		{"neighbours ahead", hours(10, 200, 190, 10), "Busiest from 1:00 to 3:00"},
		{"two peaks", hours(200, 10, 10, 195), "Highest from 0:00 to 1:00, but not by much"},
	}
	for _, tt := range tests {
		if got := hourTitle(words.English, tt.bars); got != tt.want {
			t.Errorf("hourTitle(%s) = %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestSeasonsTurnRoundInTheSouth(t *testing.T) {
	december := usage.MonthTally{Month: usage.MonthOf(usage.DateOf(2025, time.December, 1))}
	december.ExposureS[0] = 3600
	for south, want := range map[bool]string{false: "Winter 2025–26", true: "Summer 2025–26"} {
		f, err := New(&recorder{}).BySeason(context.Background(), "s", []usage.MonthTally{december}, south)
		if err != nil {
			t.Fatal(err)
		}
		if got := f.Table.Rows[0][0]; got != want {
			t.Errorf("BySeason(December 2025, south %v) names %q, want %q", south, got, want)
		}
	}
}

func TestMissingMonthsAreGaps(t *testing.T) {
	month := func(m time.Month) (t usage.MonthTally) {
		t.Month = usage.MonthOf(usage.DateOf(2025, m, 1))
		t.ExposureS[0], t.Visits[0] = 700*3600, 9
		return t
	}
	r := &recorder{}
	f, err := New(r).ByMonth(context.Background(), "m", []usage.MonthTally{month(time.May), month(time.January)})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Table.Rows) != 5 || f.Table.Rows[2][0] != "March 2025" || f.Table.Rows[2][3] != "not covered" {
		t.Errorf("table = %q, want January to May with March not covered", f.Table.Rows)
	}
	if gaps := seriesOf(r.options[0], "gaps"); len(gaps) != 1 {
		t.Errorf("gaps = %v, want February to April as one", gaps)
	}
}

func TestTimelineShowsGapsAndKeepsCounts(t *testing.T) {
	in := made(930, gappy, 4)
	r := &recorder{}
	if _, err := New(r).Timeline(context.Background(), "t", in.days); err != nil {
		t.Fatal(err)
	}
	want := 0.0
	for _, d := range in.days {
		want += float64(d.Visits)
	}
	for _, o := range r.options {
		got := 0.0
		for _, v := range seriesOf(o, "visits") {
			got += v.([]any)[1].(float64)
		}
		if got != want {
			t.Errorf("bars add up to %v visits, want %v", got, want)
		}
		// 34 days in spring 2024, and pairs of days at 97, 194, … 873
		if n := len(seriesOf(o, "gaps")); n != 1+9 {
			t.Errorf("%d gaps, want 10", n)
		}
	}
}

func TestDrawingIsNamedForThoseWhoDoNotSeeIt(t *testing.T) {
	f := Figure{Title: `A "title" <b>`, Says: "It says & says.", Wide: "<svg/>", Narrow: "<svg/>"}
	got := string(f.Drawing())
	name := `role="img" aria-label="A &#34;title&#34; &lt;b&gt;. It says &amp; says."`
	want := `<div class="fig-wide" ` + name + `><svg/></div><div class="fig-narrow" ` + name + `><svg/></div>`
	if got != want {
		t.Errorf("Drawing() = %s, want %s", got, want)
	}
	f.Narrow = ""
	if got := string(f.Drawing()); !strings.HasPrefix(got, `<div class="fig-only" role="img"`) {
		t.Errorf("Drawing() of one drawing = %s", got)
	}
}

func TestMissingDrawerIsAnErrorWithTheFigure(t *testing.T) {
	m := New(failing{})
	_, err := m.ByHour(context.Background(), "by-hour", usage.Pattern{})
	if err == nil || !strings.Contains(err.Error(), "by-hour") {
		t.Errorf("ByHour = %v, want an error that names by-hour", err)
	}
}

type failing struct{}

func (failing) Draw(context.Context, []byte, int, int) ([]byte, error) {
	return nil, assets.ErrNotBuilt
}

func benchmark(b *testing.B, draws func(m *Maker, in inputs) (Figure, error)) {
	m, in := newMaker(b, draw.Options{CacheBytes: 1}), made(930, gappy, 4)
	if _, err := draws(m, in); err != nil { // loads the engine
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := draws(m, in); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkByHour(b *testing.B) {
	benchmark(b, func(m *Maker, in inputs) (Figure, error) { return m.ByHour(context.Background(), "a", in.pattern()) })
}

func BenchmarkHourByWeekday(b *testing.B) {
	benchmark(b, func(m *Maker, in inputs) (Figure, error) {
		return m.HourByWeekday(context.Background(), "a", in.pattern())
	})
}

func BenchmarkTimeline(b *testing.B) {
	benchmark(b, func(m *Maker, in inputs) (Figure, error) { return m.Timeline(context.Background(), "a", in.days) })
}

func BenchmarkHourProfile(b *testing.B) {
	benchmark(b, func(m *Maker, in inputs) (Figure, error) {
		return m.HourProfile(context.Background(), "a", in.pattern())
	})
}
