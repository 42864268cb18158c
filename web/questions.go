package web

import (
	"doorleaf/usage"
	"doorleaf/web/words"
)

// QuestionsPage shows findings with their evidence, for somebody to rule on: of
// one site, or of the whole network where Site is zero.
type QuestionsPage struct {
	Base
	Site
	Sites        int // sites in the network
	Groups       []QuestionGroup
	Open         int    // open questions, those on other pages of the list included
	Earlier      string // addresses of the neighbouring pages of the list, ""
	Later        string
	Answered     []Answered // the latest first
	MoreAnswered int        // answers left out of Answered
}

// Template implements Page.
func (QuestionsPage) Template() string { return "questions" }

// QuestionGroup is the open questions of one site.
type QuestionGroup struct {
	Site
	Questions []Question
}

// Question is a finding that nobody has ruled on.
type Question struct {
	ID       string // of its place on the page
	Next     string // of the next question's place; "" for the last
	Back     string // value of the form's field back: where the page is
	Key      string
	Kind     string
	Says     string
	Changes  string
	From, To int64  // Unix s, 0 where unknown
	Panel    *Panel // days around a stretch of time; nil without one
	Excerpts []Excerpt
	MoreRows int // rows of evidence that no excerpt shows
	Choices  []Choice
}

// asked is a question with its site, for the template that draws one.
type asked struct {
	Question
	Site Site
}

// Excerpt is some lines of a card around those that a finding is about.
type Excerpt struct {
	Name  string // of the card file
	First *int64 // wall seconds of the card's first and last row that have a reading
	Last  *int64
	Href  string // of its first line that is meant
	Lines []ExcerptLine
}

// ExcerptLine is a line of a card; Meant marks those that a finding is about.
type ExcerptLine struct {
	CardLine
	Href  string
	Meant bool
}

// Choice is one answer that a question takes.
type Choice struct {
	Answer usage.Answer
	Label  string // on its button
	Says   string // what it means
}

// Answered is a ruling that stands.
type Answered struct {
	Site
	ID    string // of its place on the page
	Back  string
	Key   string
	Says  string // what the finding said; "" when there is no such finding any more
	Label string // the answer
	By    string // "" where nobody signed
	At    int64  // Unix s
	Why   string
}

// answerWords stand on the buttons.
var answerWords = map[usage.Answer]words.Text{
	usage.AnswerSeen:    "Noted",
	usage.AnswerOutage:  "It was out of order",
	usage.AnswerQuiet:   "It was just quiet",
	usage.AnswerTyping:  "The time was mistyped",
	usage.AnswerBelieve: "The time is right",
	usage.AnswerCivil:   "It follows daylight saving",
	usage.AnswerFixed:   "It takes no notice of it",
	usage.AnswerTwice:   "They are the same",
}

// AnswerWords names an answer.
func AnswerWords(w *words.Words, a usage.Answer) string {
	if text, ok := answerWords[a]; ok {
		return w.Say(text)
	}
	return sentence(w.Retell(string(a)))
}

// SeenSays is what the answer means that every question takes.
const SeenSays words.Text = "Seen, and left as it is. No count changes."

// ChoicesOf are the answers of a finding for its buttons. What every finding
// takes, to note it and leave it, comes last.
func ChoicesOf(w *words.Words, choices []usage.Choice) []Choice {
	var out []Choice
	seen := Choice{Answer: usage.AnswerSeen, Label: AnswerWords(w, usage.AnswerSeen), Says: w.Say(SeenSays)}
	for _, c := range choices {
		says := sentence(w.Retell(c.Says))
		if c.Answer == usage.AnswerSeen {
			seen.Says = says
			continue
		}
		out = append(out, Choice{Answer: c.Answer, Label: AnswerWords(w, c.Answer), Says: says})
	}
	return append(out, seen)
}

// TitleStretch stands over the days around a question that could not be drawn.
const TitleStretch words.Text = "The days around it"
