package words

import (
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// Template translates the source of an HTML template. It is taken apart at the tags of
// blocks (p, li, td, label …) and at control actions that reach over them; a part that
// has letters outside of tags and actions, or a noun of plural in an action, is a
// message, whose key is the part itself with white space made single, its actions as
// they stand, and its inline tags without their attributes (a second tag of the same
// name is numbered: <a>, <a2>). The texts of attributes that people see or hear are
// messages of their own. The same actions and tags must stand in the translation, in
// whatever order; the nouns of plural are translated in place. A message may have an
// entry for this template alone, with its name as the context.
//
// It is the source that is translated and not what comes of it, so that html/template
// escapes what it always would. Messages without an entry stay in English; one with an
// entry that does not fit is an error.
func (w *Words) Template(name, source string) (string, error) {
	if w.catalogue == nil {
		return source, nil
	}
	p := parts{source: source}
	return p.rewrite(func(m Segment) (string, error) {
		said := w.text(name, m.ID)
		if said == m.ID {
			said = w.text("", m.ID)
		}
		if err := m.Fits(said); err != nil {
			return "", fmt.Errorf("words: %s, template %s: %w", w.Language(), name, err)
		}
		return said, nil
	})
}

// Segments returns the messages of a template's source, in order.
func Segments(source string) []Segment {
	var all []Segment
	p := parts{source: source}
	p.rewrite(func(m Segment) (string, error) {
		all = append(all, m)
		return m.ID, nil
	})
	return all
}

// Segment is a message of a template.
type Segment struct {
	ID        string
	Attribute bool // it is the text of an attribute: it holds no tags
}

// Fits reports whether a translation has the actions and tags of the message.
func (m Segment) Fits(said string) error {
	want, got := marks(m.ID), marks(said)
	for _, mark := range want {
		i := slices.Index(got, mark)
		if i < 0 {
			return fmt.Errorf("the translation of %q lacks %s", m.ID, mark)
		}
		got = slices.Delete(got, i, i+1)
	}
	if len(got) > 0 {
		return fmt.Errorf("the translation of %q has %s too many", m.ID, got[0])
	}
	if m.Attribute && strings.ContainsAny(actions.ReplaceAllString(said, ""), `"<`) {
		return fmt.Errorf("the translation of %q would end the attribute", m.ID)
	}
	return nil
}

// marks are the actions and tags of a text, the nouns of plural left blank.
func marks(text string) []string {
	var all []string
	for _, t := range tokens(text) {
		switch t.kind {
		case action:
			all = append(all, blankNouns(t.raw))
		case tag:
			all = append(all, t.raw)
		}
	}
	return all
}

var (
	actions   = regexp.MustCompile(`\{\{(?:[^"}]|"(?:[^"\\]|\\.)*"|\}[^}])*\}\}`)
	pluralUse = regexp.MustCompile(`^(\{\{-? *plural .*?)((?: "(?:[^"\\]|\\.)*")+)( *-?\}\})$`)
)

// blankNouns takes the nouns out of an action of plural.
func blankNouns(action string) string { return pluralUse.ReplaceAllString(action, "$1$3") }

func hasNouns(action string) bool { return pluralUse.MatchString(action) }

type kind int

const (
	text kind = iota
	action
	tag
)

// token is a piece of a template's source.
type token struct {
	kind kind
	raw  string
	name string // of a tag, or the first word of an action
	ends bool   // a tag that closes
}

var (
	tagName    = regexp.MustCompile(`^</?([a-zA-Z]+[0-9]*)`)
	actionName = regexp.MustCompile(`^\{\{-?\s*(\S+?)[\s}]`)
)

// tokens takes a source apart; put together again they are the source.
func tokens(source string) []token {
	var all []token
	for source != "" {
		n, t := nextToken(source)
		t.raw = source[:n]
		source = source[n:]
		all = append(all, t)
	}
	return all
}

func nextToken(s string) (int, token) {
	switch {
	case strings.HasPrefix(s, "{{"):
		n := actionEnd(s)
		name := ""
		if m := actionName.FindStringSubmatch(s[:n]); m != nil {
			name = m[1]
		}
		return n, token{kind: action, name: name}
	case tagName.MatchString(s):
		m := tagName.FindStringSubmatch(s)
		return tagEnd(s), token{kind: tag, name: strings.ToLower(m[1]), ends: s[1] == '/'}
	case strings.HasPrefix(s, "<!"):
		return tagEnd(s), token{kind: tag, name: "!"}
	}
	for i := 1; i < len(s); i++ {
		if strings.HasPrefix(s[i:], "{{") || s[i] == '<' && (tagName.MatchString(s[i:]) || strings.HasPrefix(s[i:], "<!")) {
			return i, token{kind: text}
		}
	}
	return len(s), token{kind: text}
}

func actionEnd(s string) int {
	if at := actions.FindStringIndex(s); at != nil && at[0] == 0 {
		return at[1]
	}
	return len(s)
}

// tagEnd is where a tag ends; a > in an attribute or in an action ends none.
func tagEnd(s string) int {
	quoted := false
	for i := 0; i < len(s); i++ {
		switch {
		case strings.HasPrefix(s[i:], "{{"):
			i += actionEnd(s[i:]) - 1
		case s[i] == '"':
			quoted = !quoted
		case s[i] == '>' && !quoted:
			return i + 1
		}
	}
	return len(s)
}

// inline are the tags that stand within a sentence; all others end it.
var inline = strings.Fields("a abbr b bdi br cite code del em i ins kbd mark q s small span strong sub sup time u var wbr")

// parts takes a template apart and puts it together again.
type parts struct {
	source string
	tokens []token
	cut    []bool // the token belongs to no sentence
}

func (p *parts) rewrite(say func(Segment) (string, error)) (string, error) {
	p.tokens = tokens(p.source)
	p.findCuts()
	var b strings.Builder
	for i := 0; i < len(p.tokens); {
		end := i
		for end < len(p.tokens) && p.cut[end] == p.cut[i] {
			end++
		}
		piece, err := p.piece(i, end, say)
		if err != nil {
			return "", err
		}
		b.WriteString(piece)
		i = end
	}
	return b.String(), nil
}

// findCuts marks the tags of blocks and the control actions that reach over one.
func (p *parts) findCuts() {
	p.cut = make([]bool, len(p.tokens))
	block := make([]int, len(p.tokens)) // which stretch between cuts a token is in
	for i, t := range p.tokens {
		p.cut[i] = t.kind == tag && !slices.Contains(inline, t.name) || t.kind == action && t.name == "define"
		if i > 0 {
			block[i] = block[i-1]
		}
		if p.cut[i] {
			block[i]++
		}
	}
	var open [][]int // the actions of each control structure that is open
	for i, t := range p.tokens {
		switch {
		case t.kind != action:
		case slices.Contains([]string{"if", "range", "with", "define", "block"}, t.name):
			open = append(open, []int{i})
		case len(open) == 0:
		case t.name == "else":
			open[len(open)-1] = append(open[len(open)-1], i)
		case t.name == "end":
			group := append(open[len(open)-1], i)
			open = open[:len(open)-1]
			for _, at := range group {
				if block[group[0]] != block[i] || p.tokens[group[0]].name == "define" {
					p.cut[at] = true
				}
			}
		}
	}
}

// piece writes a run of tokens that are all cuts, or all of one sentence.
func (p *parts) piece(i, end int, say func(Segment) (string, error)) (string, error) {
	var b strings.Builder
	first, last := end, end
	if !p.cut[i] {
		first, last = p.sentence(i, end)
	}
	write := func(from, to int) error {
		for _, t := range p.tokens[from:to] {
			raw, err := attributes(t, say)
			if err != nil {
				return err
			}
			b.WriteString(raw)
		}
		return nil
	}
	if err := write(i, first); err != nil {
		return "", err
	}
	if first < last {
		said, err := p.said(p.tokens[first:last], say)
		if err != nil {
			return "", err
		}
		b.WriteString(said)
	}
	err := write(last, end)
	return b.String(), err
}

// sentence is the part of a run of tokens that is the message: without what stands
// around it, such as white space, a tag that holds all of it, a template called before
// or after it.
func (p *parts) sentence(i, end int) (first, last int) {
	for {
		switch {
		case i < end && aside(p.tokens[i]):
			i++
		case i < end && aside(p.tokens[end-1]):
			end--
		case end-i > 1 && p.wraps(i, end):
			i, end = i+1, end-1
		case i == end || !hasWords(p.tokens[i:end]):
			return i, i
		default:
			return i, end
		}
	}
}

// aside reports whether a token at the edge of a sentence is no part of it.
func aside(t token) bool {
	switch t.kind {
	case text:
		return strings.TrimSpace(t.raw) == ""
	case action:
		return t.name == "template" || strings.HasPrefix(t.name, "$") && strings.Contains(t.raw, ":=") || strings.HasPrefix(t.name, "/*")
	}
	return t.name == "br"
}

// wraps reports whether the first token is a tag, or an if or with, that the last one
// ends, with no else between.
func (p *parts) wraps(i, end int) bool {
	first, last := p.tokens[i], p.tokens[end-1]
	switch {
	case first.kind == tag && last.kind == tag && first.name == last.name && !first.ends && last.ends:
	case first.kind == action && slices.Contains([]string{"if", "with", "range"}, first.name) && last.kind == action && last.name == "end":
	default:
		return false
	}
	depth := 0
	for n, t := range p.tokens[i:end] {
		if t.kind != first.kind {
			continue
		}
		switch {
		case t.kind == tag && t.name == first.name && !t.ends, t.kind == action && slices.Contains([]string{"if", "with", "range"}, t.name):
			depth++
		case t.kind == tag && t.name == first.name && t.ends, t.kind == action && t.name == "end":
			depth--
		case t.kind == action && t.name == "else" && depth == 1:
			return false
		}
		if depth == 0 && n < end-i-1 {
			return false
		}
	}
	return depth == 0
}

// hasWords reports whether there is something to translate.
func hasWords(tokens []token) bool {
	return slices.ContainsFunc(tokens, func(t token) bool {
		return t.kind == text && strings.ContainsFunc(html.UnescapeString(t.raw), unicode.IsLetter) || t.kind == action && hasNouns(t.raw)
	})
}

// said asks for the translation of a sentence, and gives its tags their attributes again.
func (p *parts) said(sentence []token, say func(Segment) (string, error)) (string, error) {
	var id strings.Builder
	tags := map[string]string{} // by the tag as the message has it
	count := map[string]int{}
	lead, trail := "", ""
	for i, t := range sentence {
		raw := t.raw
		switch t.kind {
		case text:
			raw = spaces.ReplaceAllString(raw, " ")
			if i == 0 {
				lead = raw[:len(raw)-len(strings.TrimLeft(raw, " "))]
			}
			if i == len(sentence)-1 {
				trail = raw[len(strings.TrimRight(raw, " ")):]
			}
		case tag:
			if !t.ends {
				count[t.name]++
				raw = "<" + t.name + ">"
				if n := count[t.name]; n > 1 {
					raw = fmt.Sprintf("<%s%d>", t.name, n)
				}
			}
			whole, err := attributes(t, say)
			if err != nil {
				return "", err
			}
			tags[raw] = whole
		}
		id.WriteString(raw)
	}
	said, err := say(Segment{ID: strings.TrimSpace(id.String())})
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.WriteString(lead)
	for _, t := range tokens(said) {
		if t.kind == tag {
			t.raw = tags[t.raw]
		}
		b.WriteString(t.raw)
	}
	b.WriteString(trail)
	return b.String(), nil
}

var (
	spaces    = regexp.MustCompile(`\s+`)
	attribute = regexp.MustCompile(`(?s)(\s(?:aria-label|title|alt|placeholder)=")((?:` + actions.String() + `|[^"])*)(")`)
)

// attributes translates the texts in the attributes of a tag.
func attributes(t token, say func(Segment) (string, error)) (string, error) {
	if t.kind != tag || t.ends {
		return t.raw, nil
	}
	var b strings.Builder
	done := 0
	for _, at := range attribute.FindAllStringSubmatchIndex(t.raw, -1) {
		value := t.raw[at[4]:at[5]]
		b.WriteString(t.raw[done:at[4]])
		done = at[5]
		if !hasWords(tokens(value)) {
			b.WriteString(value)
			continue
		}
		said, err := say(Segment{ID: value, Attribute: true})
		if err != nil {
			return "", err
		}
		b.WriteString(said)
	}
	b.WriteString(t.raw[done:])
	return b.String(), nil
}
