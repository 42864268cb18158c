package web

import (
	"strings"
	"testing"

	"doorleaf/usage"
)

func TestSeasonSentences(t *testing.T) {
	until := usage.DateOf(2026, 8, 31)
	ratio := func(low, value, high float64) usage.SeasonFigures {
		return usage.SeasonFigures{
			Until: &until, Complete: true, Counted: 410, CoveredDays: 91.2, Days: 92,
			Estimated: estimate(413, 362, 470), RatioToLast: estimate(value, low, high),
		}
	}
	running := ratio(0.8, 1, 1.2)
	running.Complete = false
	tests := []struct {
		name        string
		figures     usage.SeasonFigures
		holds, lack string
	}{
		{"nothing recorded", usage.SeasonFigures{}, "Nothing was recorded in summer 2026.", "counted"},
		{"a rise", ratio(1.1, 1.3, 1.5), "That is a rise", "fall"},
		{"a fall", ratio(0.6, 0.7, 0.9), "That is a fall", "rise"},
		{"limits hold 1", ratio(0.9, 1.2, 1.5), "cannot be told", "That is a"},
		{"counted and estimated", ratio(0.9, 1, 1.1), "about 410 (between 360 and 470)", "go as far as"},
		{"still running", running, "The figures go as far as the cards do, to 31 August 2026.", "Nothing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := strings.Join(SeasonSentences("summer 2026", tt.figures, 1), " ")
			if !strings.Contains(got, tt.holds) || strings.Contains(got, tt.lack) {
				t.Errorf("SeasonSentences = %q, want %q in it and not %q", got, tt.holds, tt.lack)
			}
		})
	}
}
