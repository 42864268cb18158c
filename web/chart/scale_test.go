package chart

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestNiceScale(t *testing.T) {
	tests := []struct{ top, max, step float64 }{
		{0, 1, 0.2}, {-1, 1, 0.2}, {math.NaN(), 1, 0.2}, {math.Inf(1), 1, 0.2},
		{1, 1, 0.2}, {1.01, 1.5, 0.5}, {5, 5, 1}, {5.1, 6, 2}, {37, 40, 10}, {0.0037, 0.004, 0.001}, {1234567, 1500000, 500000},
	}
	for _, tt := range tests {
		if got := niceScale(tt.top); got.max != tt.max || got.step != tt.step {
			t.Errorf("niceScale(%v) = %+v, want max %v step %v", tt.top, got, tt.max, tt.step)
		}
	}
}

func TestScaleHoldsBars(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var bars []bar
		for range rapid.IntRange(0, 30).Draw(t, "bars") {
			bars = append(bars, newBar("", rapid.Int64Range(0, 1e6).Draw(t, "visits"), float64(rapid.IntRange(0, 1e9).Draw(t, "seconds"))/3600, hour))
		}
		s := scaleOf(bars)
		if n := s.max / s.step; n < 1 || n > 5+1e-6 || math.Abs(n-math.Round(n)) > 1e-6 {
			t.Fatalf("scale %+v has %v steps", s, n)
		}
		for _, b := range bars {
			if b.rate == nil {
				continue
			}
			w := s.whisker(0, b.rate)
			if slack := s.max * (1 + 1e-9); b.rate.Value > slack || w[2] > slack {
				t.Fatalf("bar %+v with whisker %v does not fit %+v", *b.rate, w, s)
			}
			if w[3] == 0 && w[2] != b.rate.High {
				t.Fatalf("whisker %v is cut and does not say so", w)
			}
		}
	})
}

func TestLongestBarKeepsItsWhisker(t *testing.T) {
	one := usage.Rate(1, 1, usage.Confidence)
	s := scaleOf([]bar{{rate: one, visits: 1, exposureH: 1, unitH: 1}})
	if w := s.whisker(0, one); w[3] != 0 {
		t.Errorf("whisker of the only bar is cut: %v on %+v", w, s)
	}
}

func TestNumbers(t *testing.T) {
	tests := []struct {
		v            float64
		short, exact string
	}{
		{0, "0", "0"}, {0.0001, "<0.01", "<0.001"}, {0.004, "<0.01", "0.004"}, {0.012, "0.01", "0.012"},
		{0.0951, "0.1", "0.095"}, {0.5, "0.5", "0.500"}, {0.96, "1.0", "0.960"}, {9.94, "9.9", "9.94"},
		{9.96, "10", "9.96"}, {42.4, "42", "42.4"}, {999.6, "1,000", "1,000"}, {1234567, "1,234,567", "1,234,567"},
	}
	for _, tt := range tests {
		if got := short(words.English, tt.v); got != tt.short {
			t.Errorf("short(%v) = %s, want %s", tt.v, got, tt.short)
		}
		if got := exact(words.English, tt.v); got != tt.exact {
			t.Errorf("exact(%v) = %s, want %s", tt.v, got, tt.exact)
		}
	}
}

func TestCovered(t *testing.T) {
	tests := []struct {
		hours float64
		want  string
	}{{0, "no time"}, {0.5, "less than an hour"}, {1, "1 hour"}, {47, "47 hours"}, {48, "2 days"}, {24 * 1234, "1,234 days"}}
	for _, tt := range tests {
		if got := words.English.Say("%s", covered(tt.hours)); got != tt.want {
			t.Errorf("covered(%v) = %q, want %q", tt.hours, got, tt.want)
		}
	}
}

// Contrast on cells of the heatmap: at least 4.5:1 (WCAG 2.2, 1.4.3), and the
// text colour that is chosen is the better one or nearly so.
func TestTextOnCividisHasContrast(t *testing.T) {
	for i, colour := range cividis {
		at := float64(i) / float64(len(cividis)-1)
		text := onLight
		if at < lightText {
			text = onDark
		}
		if got := contrast(text, colour); got < 4.5 {
			t.Errorf("%s on %s: contrast %.2f, want 4.5", text, colour, got)
		}
	}
}

// contrast is the contrast ratio of two colours; WCAG 2.2, relative luminance.
func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
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
