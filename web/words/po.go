package words

import (
	"fmt"
	"strconv"
	"strings"
)

// Message is one entry of a catalogue.
type Message struct {
	Notes   []string // comment lines as they stand, without #~ ones
	Context string   // msgctxt, "" for none
	ID      string   // msgid: the English text
	Plural  string   // msgid_plural, "" where the message has no number
	Str     []string // msgstr, or msgstr[0] … of a message with a number
	Line    int      // of its first line that is no comment
}

// Fuzzy reports whether the entry is marked as not yet looked at by a person.
func (m *Message) Fuzzy() bool {
	for _, note := range m.Notes {
		if flags, ok := strings.CutPrefix(note, "#,"); ok && strings.Contains(flags, "fuzzy") {
			return true
		}
	}
	return false
}

// ReadPO reads a catalogue in the PO format (GNU gettext manual 0.22, "The Format of
// PO Files"): UTF-8, entries of msgctxt, msgid, msgid_plural and msgstr, strings in C's
// escapes that may go on over lines, comments with #. Obsolete entries (#~) are passed
// over. Anything else is an error that names the line, unlike in the libraries at hand,
// which pass over what they do not understand: a catalogue that is half read would show
// English to people and fail no test.
func ReadPO(text string) ([]*Message, error) {
	r := &poReader{}
	for i, line := range strings.Split(text, "\n") {
		if err := r.line(strings.TrimSpace(line), i+1); err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	return r.messages, r.finish()
}

type poReader struct {
	messages []*Message
	notes    []string
	m        *Message // the one being read
	into     *string  // where the next string goes
	state    int      // how far m is: the keywords come in one order
}

const (
	poNone = iota
	poContext
	poID
	poPlural
	poStr
)

func (r *poReader) line(line string, at int) error {
	word, rest, _ := strings.Cut(line, " ")
	switch {
	case line == "" || strings.HasPrefix(line, "#~"):
		return nil
	case line[0] == '#':
		if err := r.finish(); err != nil {
			return err
		}
		r.notes = append(r.notes, line)
		return nil
	case line[0] == '"':
		return r.add(line)
	case word == "msgctxt":
		return r.begin(poContext, at, rest)
	case word == "msgid":
		return r.begin(poID, at, rest)
	case word == "msgid_plural" && r.state == poID:
		r.state, r.into = poPlural, &r.m.Plural
		return r.add(rest)
	case strings.HasPrefix(word, "msgstr"):
		return r.str(word[len("msgstr"):], rest)
	}
	return fmt.Errorf("%q does not belong here", line)
}

// begin starts an entry, or its msgid after its msgctxt.
func (r *poReader) begin(state, at int, rest string) error {
	if state == poContext || r.state != poContext {
		if err := r.finish(); err != nil {
			return err
		}
		r.m = &Message{Notes: r.notes, Line: at}
		r.notes = nil
	}
	r.state, r.into = state, &r.m.ID
	if state == poContext {
		r.into = &r.m.Context
	}
	return r.add(rest)
}

func (r *poReader) str(index, rest string) error {
	if r.state < poID {
		return fmt.Errorf("msgstr before its msgid")
	}
	if plural := r.m.Plural != ""; plural && index != fmt.Sprintf("[%d]", len(r.m.Str)) || !plural && (index != "" || r.state == poStr) {
		return fmt.Errorf("msgstr%s is not the next form", index)
	}
	r.m.Str = append(r.m.Str, "")
	r.state, r.into = poStr, &r.m.Str[len(r.m.Str)-1]
	return r.add(rest)
}

// add puts a quoted string to the end of what is being read.
func (r *poReader) add(quoted string) error {
	s, err := strconv.Unquote(strings.TrimSpace(quoted))
	if err != nil || r.into == nil || strings.TrimSpace(quoted)[0] != '"' {
		return fmt.Errorf("%s is no string, or has no place", quoted)
	}
	*r.into += s
	return nil
}

// finish ends the entry being read, if there is one.
func (r *poReader) finish() error {
	if r.m == nil {
		return nil
	}
	if r.state != poStr {
		return fmt.Errorf("the entry of line %d has no msgstr", r.m.Line)
	}
	r.messages = append(r.messages, r.m)
	r.m, r.into, r.state = nil, nil, poNone
	return nil
}
