package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"doorleaf/web/draw"
)

var property = regexp.MustCompile(`(--[a-z-]+):\s*(#[0-9a-f]{3,6})\b`)

// themes reads the colours of the light and the dark theme off the style sheet.
func themes(t *testing.T) map[string]map[string]string {
	t.Helper()
	css, err := files.ReadFile("static/doorleaf.css")
	if err != nil {
		t.Fatal(err)
	}
	light, rest, ok := strings.Cut(string(css), "@media (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("style sheet has no dark theme")
	}
	dark, _, _ := strings.Cut(rest, "*, *::before")
	read := func(css string) map[string]string {
		colours := map[string]string{}
		for _, m := range property.FindAllStringSubmatch(css, -1) {
			colours[m[1]] = m[2]
		}
		return colours
	}
	return map[string]map[string]string{"light": read(light), "dark": read(dark)}
}

// Both themes set every colour that drawings refer to, and the light one sets
// it as a drawing by itself looks.
func TestThemesSetDrawingColours(t *testing.T) {
	both := themes(t)
	for name, fallback := range draw.Variables() {
		if got := both["light"][name]; got != fallback {
			t.Errorf("light %s = %q, want %q", name, got, fallback)
		}
		if both["dark"][name] == "" {
			t.Errorf("dark %s is not set", name)
		}
	}
}

// Text stands out 4.5 : 1 and the edges of fields and marks 3 : 1 from what is
// behind them, by W3C, Web Content Accessibility Guidelines 2.2, 1.4.3 and
// 1.4.11; the formula is its "relative luminance" and "contrast ratio".
func TestContrast(t *testing.T) {
	for theme, colours := range themes(t) {
		for _, c := range []struct {
			front, back string
			least       float64
		}{
			{"--c-ink", "--c-ground", 7}, {"--c-ink", "--leaf", 7}, {"--c-ink", "--brick-wash", 7}, {"--c-ink", "--use-wash", 7},
			{"--c-faint", "--c-ground", 4.5}, {"--c-faint", "--leaf", 4.5}, {"--c-faint", "--brick-wash", 4.5}, {"--c-faint", "--use-wash", 4.5},
			{"--c-use", "--c-ground", 4.5}, {"--c-use", "--leaf", 4.5}, {"--c-use", "--brick-wash", 4.5},
			{"--c-brick", "--c-ground", 4.5}, {"--c-brick", "--leaf", 4.5}, {"--c-brick", "--brick-wash", 4.5},
			{"--on-use", "--c-use", 4.5}, {"--c-ground", "--c-brick", 4.5},
			{"--edge", "--leaf", 3}, {"--edge", "--c-ground", 3}, {"--c-hatch", "--c-ground", 3},
		} {
			got := contrast(t, colours[c.front], colours[c.back])
			if got < c.least {
				t.Errorf("%s: %s on %s stands out %.2f : 1, want %.1f", theme, c.front, c.back, got, c.least)
			}
		}
	}
}

func contrast(t *testing.T, a, b string) float64 {
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	if len(colour) != 7 {
		t.Fatalf("colour %q is not #rrggbb", colour)
	}
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c := float64(v) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

// Black on white stands out 21 : 1, #777777 on white 4.48 : 1 (WCAG's own
// examples of the formula: the former by definition, the latter from memory).
func TestContrastFormula(t *testing.T) {
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white = %v, want 21", got)
	}
	if got := contrast(t, "#777777", "#ffffff"); math.Abs(got-4.48) > 0.005 {
		t.Errorf("#777777 on white = %v, want 4.48", got)
	}
}
