package report

import (
	"slices"
	"strings"
	"testing"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func estimateOf(value, low, high float64) *usage.Estimate {
	return &usage.Estimate{Value: value, Low: low, High: high, Level: usage.Confidence}
}

// seasonOf is a season at two boxes, of which the second recorded nothing.
func seasonOf(ratio *usage.Estimate, complete bool) Season {
	until := usage.DateOf(2026, 8, 31)
	f := usage.SeasonFigures{
		Until: &until, Complete: complete, Counted: 410, CoveredDays: 91.2, Days: 92,
		Estimated: estimateOf(413, 362, 470), RatioToLast: ratio, DarkShare: estimateOf(0.126, 0.114, 0.139),
	}
	return Season{Title: "summer 2026", Network: f, Sites: []Site{
		{Site: usage.Site{Code: "MILL", Name: "Mill Lane"}, Figures: f, Findings: []usage.Finding{{Key: "a"}, {Key: "b", Ruling: &usage.Ruling{}}}},
		{Site: usage.Site{Code: "QUAY", Name: "Old Quay"}},
	}}
}

func TestSentences(t *testing.T) {
	rise, fall, unclear := estimateOf(1.3, 1.1, 1.5), estimateOf(0.7, 0.6, 0.9), estimateOf(1.2, 0.9, 1.5)
	one := seasonOf(rise, true)
	one.OneSite = true
	tests := []struct {
		name        string
		season      Season
		holds, lack string
	}{
		{"nothing recorded", Season{Title: "summer 2026"}, "Nothing was recorded in summer 2026.", "counted"},
		{"a rise", seasonOf(rise, true), "That is a rise: 1.1 to 1.5 times", "fall"},
		{"a fall", seasonOf(fall, true), "That is a fall: 0.60 to 0.90 times", "rise"},
		{"limits hold 1", seasonOf(unclear, true), "cannot be told: 0.9 to 1.5 times", "That is a"},
		{"no year before", seasonOf(nil, true), "410 visits were counted", "year before"},
		{"boxes that recorded", seasonOf(nil, true), "at 1 box, over 91.2 days of 92.", "2 boxes"},
		{"estimated", seasonOf(nil, true), "about 410 (between 360 and 470) visits", "as far as"},
		{"still running", seasonOf(nil, false), "as far as the cards do, to 31 August 2026", "or later"},
		{"dark", seasonOf(nil, true), "Of every hundred visits about 12.6 (between 11.4 and 13.9) were in the dark.", "%"},
		{"doubts", seasonOf(nil, true), "To bear in mind: 1 question is still open and 1 box recorded nothing.", "no time"},
		{"one site", one, "410 visits were counted in summer 2026 at Mill Lane, over", "recorded nothing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			says := Sentences(tt.season)
			got := strings.Join(says, " ")
			if !strings.Contains(got, tt.holds) || strings.Contains(got, tt.lack) {
				t.Errorf("Sentences = %q, want %q in it and not %q", got, tt.holds, tt.lack)
			}
			if len(says) > 5 {
				t.Errorf("Sentences = %d, want 5 at most", len(says))
			}
		})
	}
}

// Days: r recorded, - nothing; the box stood from the first one on.
func TestGaps(t *testing.T) {
	first := usage.DateOf(2026, 6, 1)
	tests := []struct{ days, want string }{
		{"rrrr", ""},
		{"-rrr", "0-0"},
		{"rrr-", "3-3"},
		{"r--r-r", "1-2 4-4"},
		{"-----", "0-4"},
	}
	for _, tt := range tests {
		until := first + usage.Date(len(tt.days)-1)
		s := Site{Figures: usage.SeasonFigures{Until: &until, Days: len(tt.days)}}
		for i, d := range tt.days {
			if d == 'r' {
				s.Days = append(s.Days, usage.Day{Date: first + usage.Date(i), ExposureS: 60})
			}
		}
		var got []string
		for _, g := range s.gaps() {
			got = append(got, string(rune('0'+g.from-first))+"-"+string(rune('0'+g.to-first)))
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("gaps(%s) = %q, want %q", tt.days, got, tt.want)
		}
	}
	if got := (Site{}).gaps(); got != nil {
		t.Errorf("gaps without a season = %v, want none", got)
	}
}

func TestDatesWords(t *testing.T) {
	tests := []struct {
		from, to usage.Date
		want     string
	}{
		{usage.DateOf(2026, 6, 1), usage.DateOf(2026, 6, 1), "1 June 2026"},
		{usage.DateOf(2026, 6, 1), usage.DateOf(2026, 6, 3), "1 to 3 June 2026"},
		{usage.DateOf(2026, 6, 30), usage.DateOf(2026, 7, 2), "30 June to 2 July 2026"},
		{usage.DateOf(2025, 12, 31), usage.DateOf(2026, 1, 1), "31 December 2025 to 1 January 2026"},
	}
	for _, tt := range tests {
		if got := datesWords(words.English, tt.from, tt.to); got != tt.want {
			t.Errorf("datesWords(%s, %s) = %q, want %q", tt.from, tt.to, got, tt.want)
		}
	}
}

func TestDoubts(t *testing.T) {
	s := seasonOf(nil, true)
	from := usage.DateOf(2026, 7, 10)
	s.Sites[0].Zone = "UTC"
	s.Sites[0].Coverage = []usage.Stretch{{From: int64(from) * 86400, To: int64(from+2) * 86400, Kind: usage.Outage}}
	s.Sites[0].Figures.Untimed = 12
	s.Sites[0].Findings = slices.Repeat([]usage.Finding{{Says: "the door stood ajar"}}, mostDoubts+3)
	var lines []string
	for _, row := range s.doubts().Rows {
		line := ""
		for _, c := range row.Cells {
			line += c.Lead + "|"
		}
		lines = append(lines, line)
	}
	for _, want := range []string{
		"Mill Lane|Open question: the door stood ajar||", "|3 more questions are open.||",
		"|Out of order, by the coordinator’s ruling: not counted as recording.|10 to 11 July 2026|",
		"|12 visits have no time: they are counted, and in no hour.||", "Old Quay|Nothing was recorded in this season.||",
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("doubts = %q, want %q among them", lines, want)
		}
	}
	s.Sites = nil
	if got := s.doubts(); got != nil {
		t.Errorf("doubts of no site = %v, want none", got)
	}
}
