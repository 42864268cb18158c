package web

import (
	"strings"

	"doorleaf/web/words"
)

// Scripts names the page's scripts.
func (BringPage) Scripts() []string { return []string{"bring.js"} }

// BringBounds are what a browser may know before it sends a file.
type BringBounds struct {
	CardBytes, TotalBytes int64
	Files                 int
	Endings               string // of names of card files in a folder, with a space between, "." for none
	Tag                   string // name of the tag file
}

// ReadCard is what was read of an uploaded card.
type ReadCard struct {
	Rows        int
	First, Last *int64 // wall seconds; nil without
	Problem     string // why it cannot be read; ""
}

// Brought says in words what came of an upload: of its cards and of the files that
// were left out.
func Brought(w *words.Words, cards []ReadCard, skipped []Skipped) string {
	var says []string
	switch {
	case len(cards) == 1 && cards[0].Problem != "":
		says = append(says, cards[0].Problem)
	case len(cards) == 1:
		says = append(says, readWords(w, cards[0]))
	case len(cards) > 1:
		rows := 0
		for _, c := range cards {
			rows += c.Rows
		}
		says = append(says, w.Say("%s with %s.", words.Count(int64(len(cards)), "card", "cards"), words.Count(int64(rows), "row", "rows")))
	}
	refused, other := []string{}, 0
	for _, s := range skipped {
		if s.Refused {
			refused = append(refused, sentence(s.Why))
		} else {
			other++
		}
	}
	if len(refused) > 2 {
		refused = []string{w.Say("%s refused.", words.Count(int64(len(refused)), "file was", "files were"))}
	}
	says = append(says, refused...)
	if other > 0 && len(cards) != 1 {
		says = append(says, w.Say("%s no card’s.", words.Count(int64(other), "file is", "files are")))
	}
	return strings.Join(says, " ")
}

func readWords(w *words.Words, c ReadCard) string {
	if c.Rows == 0 {
		return w.Say("No row in this file.")
	}
	rows := words.Count(int64(c.Rows), "row", "rows")
	if c.First == nil {
		return w.Say("%s, their dates not clear yet.", rows)
	}
	return w.Say("%s, %s.", rows, SpanWords(w, *c.First, *c.Last))
}
