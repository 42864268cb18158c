package words

import (
	"fmt"
	"strings"
	"sync"
)

// catalogue is the texts of one language.
type catalogue struct {
	messages map[key]*Message
	plural   pluralForm
	phrases  *phrases // for Retell
}

type key struct{ context, id string }

var (
	readMu sync.Mutex
	read   = map[string]*catalogue{} // by language
)

// catalogueOf reads the catalogue of a language once.
func catalogueOf(language string) (*catalogue, error) {
	readMu.Lock()
	defer readMu.Unlock()
	if c := read[language]; c != nil {
		return c, nil
	}
	text, err := files.ReadFile(language + ".po")
	if err != nil {
		return nil, fmt.Errorf("words: catalogue: %w", err)
	}
	c, err := newCatalogue(string(text))
	if err != nil {
		return nil, fmt.Errorf("words: %s.po: %w", language, err)
	}
	read[language] = c
	return c, nil
}

// Messages are the entries of a language's catalogue, in their order.
func Messages(language string) ([]*Message, error) {
	text, err := files.ReadFile(language + ".po")
	if err != nil {
		return nil, fmt.Errorf("words: catalogue: %w", err)
	}
	return ReadPO(string(text))
}

func newCatalogue(text string) (*catalogue, error) {
	all, err := ReadPO(text)
	if err != nil {
		return nil, err
	}
	c := &catalogue{messages: make(map[key]*Message, len(all))}
	for _, m := range all {
		k := key{m.Context, m.ID}
		if twin := c.messages[k]; twin != nil {
			return nil, fmt.Errorf("line %d: %q is in line %d already", m.Line, m.ID, twin.Line)
		}
		c.messages[k] = m
	}
	header := c.messages[key{}]
	if header == nil {
		return nil, fmt.Errorf("no header")
	}
	if c.plural, err = readPluralForm(headerField(header.Str[0], "Plural-Forms")); err != nil {
		return nil, err
	}
	for k, m := range c.messages {
		if m.Fuzzy() && k != (key{}) {
			delete(c.messages, k) // as gettext does
		}
	}
	c.phrases = newPhrases(c.messages)
	return c, nil
}

func headerField(header, name string) string {
	for _, line := range strings.Split(header, "\n") {
		if field, value, ok := strings.Cut(line, ":"); ok && field == name {
			return strings.TrimSpace(value)
		}
	}
	return ""
}

func (c *catalogue) find(context, id string) *Message { return c.messages[key{context, id}] }

func (c *catalogue) form(n int64) int { return c.plural.of(n) }
