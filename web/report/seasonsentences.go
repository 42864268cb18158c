package report

import (
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// Sentences says a season in five sentences or fewer, each figure with its limits:
// what was counted, what that makes for all days, how it stands against the year
// before, how much of it was in the dark, and what is doubtful about it. Nothing is
// called a rise or a fall whose limits hold 1.
func Sentences(s Season) []string {
	w, f := s.words(), s.Network
	if f.Until == nil {
		return []string{w.Say("Nothing was recorded in %s.", s.Title)}
	}
	out := []string{s.countedSays()}
	if f.Estimated != nil {
		out = append(out, s.estimatedSays())
	}
	if f.RatioToLast != nil {
		out = append(out, ratioSays(w, f.RatioToLast))
	}
	if f.DarkShare != nil {
		out = append(out, w.Say("Of every hundred visits about %s were in the dark.", aboutOf(w, web.Percent(f.DarkShare))))
	}
	if doubt := s.doubtSays(); doubt != "" {
		out = append(out, doubt)
	}
	return out
}

func (s Season) countedSays() string {
	w, f := s.words(), s.Network
	cover := web.WrittenCover(w, f)
	visits := words.Count(f.Counted, "visit was", "visits were")
	days := w.Say("%s %s", cover.Value, cover.Fine)
	boxes := words.Count(int64(s.boxes()), "box", "boxes")
	switch {
	case s.OneSite:
		return w.Say("%s counted in %s at %s, over %s.", visits, s.Title, web.Visible(s.about()), days)
	case s.boxes() > 1:
		return w.Say("%s counted in %s at %s, over %s, all boxes together.", visits, s.Title, boxes, days)
	}
	return w.Say("%s counted in %s at %s, over %s.", visits, s.Title, boxes, days)
}

func (s Season) estimatedSays() string {
	w, f := s.words(), s.Network
	about := aboutVisits(w, f.Estimated)
	switch {
	case f.Complete:
		return w.Say("Estimated for all of these days, that makes about %s.", about)
	case s.boxes() > 1:
		return w.Say("Estimated for all of these days, which go as far as the cards do, to %s or later, that makes about %s.", *f.Until, about)
	}
	return w.Say("Estimated for all of these days, which go as far as the cards do, to %s, that makes about %s.", *f.Until, about)
}

// aboutVisits is aboutOf for visits.
func aboutVisits(w *words.Words, e *usage.Estimate) string {
	return w.Say("%s (%s) visits", w.Round(e).Value, w.Between(e))
}

// aboutOf writes an estimate with its limits in a sentence.
func aboutOf(w *words.Words, e *usage.Estimate) string {
	return w.Say("%s (%s)", w.Round(e).Value, w.Between(e))
}

// How a season stands against the one a year before; both numbers are limits.
var ratioWords = map[usage.Direction]words.Text{
	usage.Rise:    "That is a rise: %s to %s times as many visits a day as a year before.",
	usage.Fall:    "That is a fall: %s to %s times as many visits a day as a year before.",
	usage.Unclear: "Whether that is more or fewer than a year before cannot be told: %s to %s times as many visits a day as a year before.",
}

func ratioSays(w *words.Words, r *usage.Estimate) string {
	n := w.RoundRatio(r)
	return w.Say(ratioWords[usage.DirectionOf(r)], n.Low, n.High)
}

// doubtSays says in a sentence what a reader should know before trusting the others.
func (s Season) doubtSays() string {
	var parts []string
	w, questions := s.words(), 0
	for _, site := range s.reported() {
		questions += len(site.open())
	}
	if questions > 0 {
		parts = append(parts, w.Plural(int64(questions), "question is still open", "questions are still open"))
	}
	f := s.Network
	if f.Untimed > 0 {
		parts = append(parts, w.Plural(f.Untimed, "visit has no time", "visits have no time"))
	}
	if quiet := len(s.reported()) - s.boxes(); quiet > 0 {
		parts = append(parts, w.Plural(int64(quiet), "box recorded nothing", "boxes recorded nothing"))
	}
	if len(parts) == 0 {
		return ""
	}
	return w.Say("To bear in mind: %s.", w.List(parts))
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
	return s.words().Say(networkName)
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
