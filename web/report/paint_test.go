package report

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"codeberg.org/go-pdf/fpdf"
	"pgregory.net/rapid"
)

// painted paints a drawing 100 units wide on a page 100 points wide and returns
// what was written to the page, one operator a line.
func painted(t *testing.T, inner string) (string, error) {
	t.Helper()
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: 100, Ht: 100}})
	pdf.SetCompression(false)
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.AddPage()
	p, err := newPen(pdf)
	if err != nil {
		t.Fatal(err)
	}
	_, err = p.paint(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">`+inner+`</svg>`, 0, 0, 100)
	var b strings.Builder
	if out := pdf.Output(&b); out != nil {
		t.Fatal(out)
	}
	_, page, _ := strings.Cut(b.String(), "stream\n")
	page, _, _ = strings.Cut(page, "\nendstream")
	return page, err
}

// PDF counts up from the lower edge, SVG down from the upper one.
func TestPaint(t *testing.T) {
	tests := []struct{ name, inner, want string }{
		{"rectangle", `<rect x="10" y="20" width="30" height="40" fill="#ff0000"/>`, "1.000 0.000 0.000 rg\n10.00 80.00 m\n40.00 80.00 l\n40.00 40.00 l\n10.00 40.00 l\nh\nf"},
		{"stroke", `<path d="M0 0L10 10" fill="none" stroke="rgb(0,0,255)" stroke-width="3"/>`, "3.00 w"},
		{"colour of paper", `<path d="M0 0L1 1L2 0Z" fill="var(--c-ground,#f7f2e7)"/>`, "1.000 g\n0.00 100.00 m"},
		{"unknown variable falls back", `<path d="M0 0L1 1L2 0Z" fill="var(--c-other,#00ff00)"/>`, "0.000 1.000 0.000 rg"},
		{"relative path", `<path d="M10 10l5 0h5v5z"/>`, "10.00 90.00 m\n15.00 90.00 l\n20.00 90.00 l\n20.00 85.00 l\nh\nf"},
		{"letters left out", `<path d="M10 10 20 10 20 20"/>`, "10.00 90.00 m\n20.00 90.00 l\n20.00 80.00 l"},
		{"cubic", `<path d="M0 0C1 2 3 4 5 6"/>`, "1.00000 98.00000 3.00000 96.00000 5.00000 94.00000 c"},
		{"quadratic as cubic", `<path d="M0 0Q3 3 6 0"/>`, "2.00000 98.00000 4.00000 98.00000 6.00000 100.00000 c"},
		{"group hands down", `<g fill="#00ff00" transform="translate(10 0)"><rect x="0" y="0" width="1" height="1"/></g>`, "0.000 1.000 0.000 rg\n10.00 100.00 m"},
		{"link is passed over", `<a href="/x" aria-label="x"><title>x</title><rect x="3" y="0" width="1" height="1"/></a>`, "3.00 100.00 m"},
		{"area that is not seen", `<rect x="3" y="0" width="1" height="1" fill="none" pointer-events="all"/>`, ""},
		{"scale", `<g transform="matrix(2 0 0 2 1 1)"><path d="M1 1L2 2" fill="none" stroke="black"/></g>`, "2.00 w"},
		{"rotate about a point", `<g transform="rotate(90 10 10)"><path d="M20 10L20 11"/></g>`, "10.00 80.00 m\n9.00 80.00 l"},
		{"even-odd", `<path d="M0 0L1 1L2 0Z" fill-rule="evenodd"/>`, "f*"},
		{"dashes", `<path d="M0 0L9 9" fill="none" stroke="black" stroke-dasharray="4 2"/>`, "[4.00 2.00] 0.00 d"},
		{"circle", `<circle cx="50" cy="50" r="10"/>`, "60.00 50.00 m"},
		{"clip", `<defs><clipPath id="c"><path d="M0 0L50 0L50 50L0 50Z"/></clipPath></defs><g clip-path="url(#c)"><rect x="0" y="0" width="9" height="9"/></g>`, "q 0.00000 100.00000 m 50.00000 100.00000 l 50.00000 50.00000 l 0.00000 50.00000 l"},
		{"gradient", `<defs><linearGradient id="g" x1="0" y1="0" x2="0" y2="1"><stop offset="0" stop-color="#000"/><stop offset="1" stop-color="#fff"/></linearGradient></defs><rect x="0" y="0" width="9" height="9" fill="url(#g)"/>`, "/Sh1 sh"},
		{"text", `<text x="10" y="20" font-size="10">hi</text>`, "BT 10.00 80.00 Td (\x00h\x00i) Tj ET"},
		{"text by its middle line", `<text x="10" y="20" font-size="10" dominant-baseline="central">hi</text>`, "BT 10.00 76.66 Td"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			page, err := painted(t, tt.inner)
			if err != nil || !strings.Contains(page, tt.want) {
				t.Errorf("paint(%s) = %v\n%s\nwant %q in it", tt.inner, err, page, tt.want)
			}
			if tt.want == "" && strings.Contains(page, " m\n") {
				t.Errorf("paint(%s) draws\n%s", tt.inner, page)
			}
		})
	}
}

// A text is put where its anchor says: the middle is half as far before the start
// as the end is.
func TestTextAnchor(t *testing.T) {
	begin := func(anchor string) float64 {
		page, err := painted(t, `<text x="50" y="20" font-size="10" text-anchor="`+anchor+`">WWWW</text>`)
		if err != nil {
			t.Fatal(err)
		}
		m := regexp.MustCompile(`BT ([\d.]+) [\d.]+ Td`).FindStringSubmatch(page)
		if m == nil {
			t.Fatalf("no text in\n%s", page)
		}
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	start, middle, end := begin("start"), begin("middle"), begin("end")
	if start != 50 || end > 25 || math.Abs(start+end-2*middle) > 0.02 {
		t.Errorf("text begins at %v, %v, %v, want 50 and two places before it", start, middle, end)
	}
}

func TestPaintRefuses(t *testing.T) {
	tests := []struct{ name, inner, want string }{
		{"element", `<image href="/x"/>`, `"image"`},
		{"pattern", `<pattern/>`, `"pattern"`},
		{"part of a text", `<text>a<tspan>b</tspan></text>`, `"tspan"`},
		{"attribute", `<rect x="0" y="0" width="1" height="1" filter="url(#f)"/>`, "filter"},
		{"rounded corners", `<rect rx="3" width="9" height="9"/>`, "rx"},
		{"colour", `<rect width="1" height="1" fill="tomato"/>`, "tomato"},
		{"colour out of range", `<rect width="1" height="1" fill="rgb(0,0,300)"/>`, "rgb(0,0,300)"},
		{"gradient that is not there", `<rect width="1" height="1" fill="url(#none)"/>`, "url(#none)"},
		{"command", `<path d="M0 0S1 1 2 2"/>`, "'S'"},
		{"path without a move", `<path d="L1 1"/>`, "begins with"},
		{"path cut short", `<path d="M0 0L1"/>`, "number"},
		{"transform", `<g transform="skewX(3)"/>`, "skewX"},
		{"baseline", `<text dominant-baseline="hanging">a</text>`, "hanging"},
		{"clip that is not there", `<g clip-path="url(#none)"/>`, "url(#none)"},
		{"text with a stroke", `<text stroke="#000">a</text>`, "stroke"},
		{"number", `<rect x="ten" width="1" height="1"/>`, "ten"},
		{"words outside a text", `<g>words</g>`, "words"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := painted(t, tt.inner); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("paint(%s) = %v, want an error that names %s", tt.inner, err, tt.want)
			}
		})
	}
}

// Every point of an arc's curves lies on the ellipse, as near as cubic curves come
// to one (1 part in 3,000), and the arc ends where it should and goes the way round
// that its flags say.
func TestArc(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(1, 100).Draw(t, "r")
		from := rapid.Float64Range(0, 2*math.Pi).Draw(t, "from")
		sweep := rapid.Float64Range(0.1, 6.1).Draw(t, "sweep")
		if sweep > 3.0 && sweep < 3.3 {
			return // half a turn: either flag is right
		}
		back := rapid.Bool().Draw(t, "back")
		to, flag := from+sweep, 1.0
		if back {
			to, flag = from-sweep, 0
		}
		large := 0.0
		if sweep > math.Pi {
			large = 1
		}
		p := pathReader{at: point{r * math.Cos(from), r * math.Sin(from)}}
		end := point{r * math.Cos(to), r * math.Sin(to)}
		p.arc([]float64{r, r, 0, large, flag}, end)
		at, length := point{r * math.Cos(from), r * math.Sin(from)}, 0.0
		for _, s := range p.out {
			before := at
			for i := 1.0; i <= 16; i++ {
				q := onCurve(at, s, i/16)
				if d := math.Abs(math.Hypot(q.x, q.y)/r - 1); d > 1.0/3000 {
					t.Fatalf("point %v is off the circle by %g of its radius", q, d)
				}
				length += math.Hypot(q.x-before.x, q.y-before.y)
				before = q
			}
			at = s.to
		}
		if at != end || math.Abs(length/(r*sweep)-1) > 0.01 {
			t.Fatalf("arc ends at %v after %g, want %v after %g", at, length, end, r*sweep)
		}
	})
}

// A transform of transforms does the inner one first.
func TestAffine(t *testing.T) {
	m, err := transformOf("translate(10, 20) scale(2)rotate(90)")
	if err != nil {
		t.Fatal(err)
	}
	got := m.at(point{1, 0})
	if math.Abs(got.x-10) > 1e-9 || math.Abs(got.y-22) > 1e-9 {
		t.Errorf("point = %v, want 10 22", got)
	}
	if m.scale() != 2 || math.Abs(m.turn()+90) > 1e-9 {
		t.Errorf("scale, turn = %v, %v, want 2, -90", m.scale(), m.turn())
	}
}
