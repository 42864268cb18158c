// Package wordstest tells tests whether what people read is in the language that it
// should be in.
package wordstest

import (
	"html"
	"regexp"
	"strings"
	"unicode"

	"doorleaf/web/words"
)

// Ear knows the texts of a catalogue.
type Ear struct {
	english map[string]bool  // texts that read otherwise in the language
	formats []*regexp.Regexp // the same, of those with something to fill in
	known   map[string]bool  // every word of the language, in small letters
}

// NewEar returns an ear for a language that has a catalogue. Names are words that may
// stand in any text, such as those of sites.
func NewEar(language string, names ...string) (*Ear, error) {
	messages, err := words.Messages(language)
	if err != nil {
		return nil, err
	}
	e := &Ear{english: map[string]bool{}, known: map[string]bool{}}
	for _, m := range messages {
		if m.ID == "" || strings.Contains(m.ID, "{{") {
			continue
		}
		for i, said := range m.Str {
			e.learn(said)
			id := m.ID
			if i > 0 {
				id = m.Plural
			}
			if said != id && m.Context != "told" {
				e.mind(id, m.Plural != "")
			}
		}
	}
	for _, name := range names {
		e.learn(name)
	}
	return e, nil
}

// leastLetters is how many letters of its own a format has to have to be known again.
const leastLetters = 6

var (
	verb   = regexp.MustCompile(`%(?:\[\d+\])?[-+# 0]*\d*(?:\.\d+)?[a-zA-Z]`)
	letter = regexp.MustCompile(`\pL+`)
)

// mind keeps an English text; one with a number before it is a noun.
func (e *Ear) mind(id string, noun bool) {
	if noun {
		id = "%d " + id
	}
	if !verb.MatchString(id) {
		e.english[id] = true
		return
	}
	own := verb.Split(id, -1)
	if len(strings.Join(letter.FindAllString(strings.Join(own, " "), -1), "")) < leastLetters && !noun {
		return
	}
	for i := range own {
		own[i] = regexp.QuoteMeta(strings.ReplaceAll(own[i], "%%", "%"))
	}
	fill := `.+`
	if noun {
		fill = `[\d.,]+`
	}
	e.formats = append(e.formats, regexp.MustCompile(`^`+strings.Join(own, fill)+`$`))
}

func (e *Ear) learn(said string) {
	for _, word := range letter.FindAllString(verb.ReplaceAllString(said, ""), -1) {
		e.known[strings.ToLower(word)] = true
	}
}

// English reports whether a whole text is one of the English ones.
func (e *Ear) English(text string) bool {
	if e.english[text] {
		return true
	}
	for _, f := range e.formats {
		if f.MatchString(text) {
			return true
		}
	}
	return false
}

// Strange returns the words of a text that no translation has.
func (e *Ear) Strange(text string) (all []string) {
	for _, word := range letter.FindAllString(text, -1) {
		if !e.known[strings.ToLower(word)] && strings.IndexFunc(word, unicode.IsLower) >= 0 {
			all = append(all, word)
		}
	}
	return all
}

var (
	between = regexp.MustCompile(`>([^<>]+)<`)
	heard   = regexp.MustCompile(`\s(?:aria-label|title|alt)="([^"]*)"`)
)

// Texts are the texts of HTML or SVG: what stands between tags, and what attributes
// say to those who do not see them.
func Texts(markup string) (all []string) {
	for _, pattern := range []*regexp.Regexp{between, heard} {
		for _, m := range pattern.FindAllStringSubmatch(markup, -1) {
			if text := strings.TrimSpace(html.UnescapeString(m[1])); text != "" {
				all = append(all, text)
			}
		}
	}
	return all
}
