package report

import (
	"fmt"
	"strings"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// Sentences says a season in five sentences or fewer, each figure with its limits:
// what was counted, what that makes for all days, how it stands against the year
// before, how much of it was in the dark, and what is doubtful about it. Nothing is
// called a rise or a fall whose limits hold 1.
func Sentences(s Season) []string {
	f := s.Network
	if f.Until == nil {
		return []string{fmt.Sprintf("Nothing was recorded in %s.", s.Title)}
	}
	out := []string{s.countedSays()}
	if f.Estimated != nil {
		out = append(out, s.estimatedSays())
	}
	if f.RatioToLast != nil {
		out = append(out, ratioSays(f.RatioToLast))
	}
	if f.DarkShare != nil {
		out = append(out, fmt.Sprintf("Of every hundred visits about %s were in the dark.", aboutOf(web.Percent(f.DarkShare))))
	}
	if doubt := s.doubtSays(); doubt != "" {
		out = append(out, doubt)
	}
	return out
}

func (s Season) countedSays() string {
	where := "at " + web.Visible(s.about())
	if !s.OneSite {
		where = "at " + web.Plural(int64(s.boxes()), "box", "boxes")
	}
	f := s.Network
	cover := web.WrittenCover(words.English, f)
	days := fmt.Sprintf("%s %s", cover.Value, cover.Fine)
	if !s.OneSite && s.boxes() > 1 {
		days += ", all boxes together"
	}
	return fmt.Sprintf("%s counted in %s %s, over %s.", web.Plural(f.Counted, "visit was", "visits were"), s.Title, where, days)
}

func (s Season) estimatedSays() string {
	f := s.Network
	reach := "for all of these days"
	if !f.Complete {
		reach += ", which go as far as the cards do, to " + web.DateWords(*f.Until)
		if s.boxes() > 1 {
			reach += " or later"
		}
	}
	return fmt.Sprintf("Estimated %s, that makes about %s.", reach, aboutOf(f.Estimated)+" visits")
}

// aboutOf writes an estimate with its limits in a sentence.
func aboutOf(e *usage.Estimate) string { return web.Round(e).Value + " (" + web.Between(e) + ")" }

func ratioSays(r *usage.Estimate) string {
	n := web.RoundRatio(r)
	says := fmt.Sprintf("%s to %s times as many visits a day as a year before", n.Low, n.High)
	switch usage.DirectionOf(r) {
	case usage.Rise:
		return "That is a rise: " + says + "."
	case usage.Fall:
		return "That is a fall: " + says + "."
	}
	return "Whether that is more or fewer than a year before cannot be told: " + says + "."
}

// doubtSays says in a sentence what a reader should know before trusting the others.
func (s Season) doubtSays() string {
	var parts []string
	questions := 0
	for _, site := range s.reported() {
		questions += len(site.open())
	}
	if questions > 0 {
		parts = append(parts, web.Plural(int64(questions), "question is still open", "questions are still open"))
	}
	f := s.Network
	if f.Untimed > 0 {
		parts = append(parts, web.Plural(f.Untimed, "visit has no time", "visits have no time"))
	}
	if quiet := len(s.reported()) - s.boxes(); quiet > 0 {
		parts = append(parts, web.Plural(int64(quiet), "box recorded nothing", "boxes recorded nothing"))
	}
	if len(parts) == 0 {
		return ""
	}
	return "To bear in mind: " + listOf(parts) + "."
}

// listOf joins words: a, b and c.
func listOf(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// boxes counts the sites that recorded anything in the season.
func (s Season) boxes() (n int) {
	for _, site := range s.reported() {
		if site.Figures.CoveredDays > 0 {
			n++
		}
	}
	return n
}

// about is the name of what the report is about.
func (s Season) about() string {
	if s.OneSite && len(s.Sites) > 0 {
		return s.Sites[0].Name
	}
	return networkName
}

// open are the findings of a site that nobody has answered.
func (s Site) open() (out []usage.Finding) {
	for _, f := range s.Findings {
		if f.Ruling == nil {
			out = append(out, f)
		}
	}
	return out
}
