package draw

import (
	"encoding/xml"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// checkSafe fails unless svg may stand in a page with the policy
// "default-src 'self'": well-formed, nothing that runs, no inline style, and
// no reference out of itself.
func checkSafe(t testing.TB, svg []byte) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("drawing is not well-formed: %v\n%s", err, svg)
		}
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "script", "style", "foreignObject", "image", "use", "a":
			t.Errorf("drawing has the element %s", e.Name.Local)
		}
		for _, a := range e.Attr {
			name := strings.ToLower(a.Name.Local)
			if strings.HasPrefix(name, "on") || name == "style" || name == "class" || name == "href" || name == "font-family" {
				t.Errorf("drawing has the attribute %s=%q", name, a.Value)
			}
			if name != "xmlns" && (strings.Contains(a.Value, "//") || strings.Contains(strings.ReplaceAll(a.Value, "url(#", ""), "url(")) {
				t.Errorf("drawing refers to %q", a.Value)
			}
		}
	}
}

// textOf joins the text elements of svg by line ends.
func textOf(t testing.TB, svg []byte) string {
	t.Helper()
	var b strings.Builder
	dec := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return b.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok := tok.(type) {
		case xml.CharData:
			b.Write(tok)
		case xml.EndElement:
			b.WriteByte('\n')
		}
	}
}

func idsOf(svg []byte) (ids []string) {
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllSubmatch(svg, -1) {
		ids = append(ids, string(m[1]))
	}
	return ids
}

func TestRewrite(t *testing.T) {
	tests := []struct{ name, in, want string }{
		{"style becomes attributes", `<svg viewBox="0 0 10 20" width="10" height="20"><text style="font-size:12px;font-family:sans-serif;font-weight:bold;">x</text></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 20"><text font-size="12" font-weight="bold">x</text></svg>`},
		{"style block and classes go", `<svg><path class="zr0-cls-1" d="M0 0"/><style><![CDATA[.zr0-cls-1:hover{fill:red}]]></style></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0"/></svg>`},
		{"ids are renamed with what refers to them", `<svg><g clip-path="url(#zr7-c3)"/><defs><clipPath id="zr7-c3"/></defs></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg"><g clip-path="url(#p-0)"/><defs><clipPath id="p-0"/></defs></svg>`},
		{"numbers have two decimals", `<svg><path d="M1.23456 -0.001L1e-7 .5-2.999" transform="matrix(1,0,0,1,9.999999,0.1)"/></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg"><path d="M1.23 0L0 0.5-3" transform="matrix(1,0,0,1,10,0.1)"/></svg>`},
		{"colours are themed", `<svg><rect fill="` + strings.ToUpper(Ink) + `" stroke="rgb(1,2,3)"/></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg"><rect fill="var(--c-ink,` + Ink + `)" stroke="rgb(1,2,3)"/></svg>`},
		{"text stays text", `<svg><text>&lt;b&gt; &amp; "q" 'r'</text></svg>`,
			`<svg xmlns="http://www.w3.org/2000/svg"><text>&lt;b&gt; &amp; &#34;q&#34; &#39;r&#39;</text></svg>`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := rewrite(tt.in, "p-")
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != tt.want {
				t.Errorf("rewrite(%s)\n got %s\nwant %s", tt.in, got, tt.want)
			}
		})
	}
}

func TestRewriteRefuses(t *testing.T) {
	tests := []struct{ name, in string }{
		{"script", `<svg><script>alert(1)</script></svg>`},
		{"foreign object", `<svg><foreignObject><p/></foreignObject></svg>`},
		{"image", `<svg><image href="data:image/png;base64,AA=="/></svg>`},
		{"link", `<svg><a href="#"><path/></a></svg>`},
		{"event", `<svg><path onclick="alert(1)"/></svg>`},
		{"event in capitals", `<svg><path onClick="alert(1)"/></svg>`},
		{"fill from elsewhere", `<svg><path fill="url(https://elsewhere.example/#a)"/></svg>`},
		{"clip from elsewhere", `<svg><path clip-path="url(//elsewhere.example/#a)"/></svg>`},
		{"reference", `<svg><path href="#a"/></svg>`},
		{"style property unknown", `<svg><text style="background:url(x)">x</text></svg>`},
		{"fill in style from elsewhere", `<svg><text style="fill:url(x)">x</text></svg>`},
		{"text outside text", `<svg>loose</svg>`},
		{"processing instruction", `<?xml-stylesheet href="x"?><svg/>`},
		{"document type", `<!DOCTYPE svg><svg/>`},
		{"not well-formed", `<svg><g></svg>`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got, err := rewrite(tt.in, "p-"); err == nil {
				t.Errorf("rewrite(%s) = %s, want an error", tt.in, got)
			}
		})
	}
}

func FuzzRewriteIsSafe(f *testing.F) {
	f.Add(`<svg viewBox="0 0 1 1"><text style="font-size:12px" fill="#25221d">a</text></svg>`)
	f.Add(`<svg><path d="M0 0" onload="x"/><style>a</style></svg>`)
	f.Fuzz(func(t *testing.T, in string) {
		once, err := rewrite(in, "p-")
		if err != nil {
			return
		}
		checkSafe(t, once)
	})
}

// Colours of the light theme on its ground: text 4.5:1 and shapes 3:1 (WCAG 2.2,
// 1.4.3 and 1.4.11).
func TestTokensHaveContrast(t *testing.T) {
	for hex, want := range map[string]float64{Ink: 4.5, Faint: 4.5, Use: 3, Brick: 3, Hatch: 3} {
		if got := contrast(hex, Ground); got < want {
			t.Errorf("%s on the ground: contrast %.2f, want %v", tokens[hex], got, want)
		}
	}
}

// contrast is the contrast ratio of two colours #rrggbb as WCAG 2.2 defines it.
func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(hex string) (sum float64) {
	rgb, err := strconv.ParseUint(hex[1:], 16, 32)
	if err != nil {
		panic(err)
	}
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v := float64(rgb>>(16-8*i)&255) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		sum += weight * v
	}
	return sum
}
