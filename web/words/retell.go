package words

import (
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

// told is the context of the sentences that other packages build in English: findings,
// faults, checks and the like. They are kept and answered in English, and pages retell
// them.
const told = "told"

// phrases are the sentences of a catalogue, ready to be recognised, those with the most
// letters of their own first.
type phrases struct {
	whole map[string]string
	made  []phrase
	known sync.Map // sentence → what it is in the language; bounded by knownMost
	size  int
	mu    sync.Mutex
}

// knownMost bounds how many sentences are remembered.
const knownMost = 10_000

// phrase is a format with something to fill in.
type phrase struct {
	pattern    *regexp.Regexp
	head, tail string // what it begins and ends with
	letters    int
	said       string // its translation, with %[1]s and so on
}

func newPhrases(messages map[key]*Message) *phrases {
	p := &phrases{whole: map[string]string{}}
	for k, m := range messages {
		if k.context != told || m.Str[0] == "" {
			continue
		}
		if !verbs.MatchString(k.id) {
			p.whole[k.id] = m.Str[0]
			continue
		}
		p.made = append(p.made, newPhrase(k.id, m.Str[0]))
	}
	slices.SortFunc(p.made, func(a, b phrase) int {
		if a.letters != b.letters {
			return b.letters - a.letters
		}
		return strings.Compare(a.said, b.said)
	})
	return p
}

// verbs are those of fmt, the sign %% left out.
var verbs = regexp.MustCompile(`%(?:\[(\d+)\])?[+#]?(?:\.\d+)?([dsvqfgc])`)

func newPhrase(id, said string) phrase {
	var pattern strings.Builder
	pattern.WriteString(`(?s)^`)
	p, from := phrase{said: said}, 0
	for _, at := range verbs.FindAllStringSubmatchIndex(id, -1) {
		literal := strings.ReplaceAll(id[from:at[0]], "%%", "%")
		if from == 0 {
			p.head = literal
		}
		p.letters += len(literal)
		pattern.WriteString(regexp.QuoteMeta(literal))
		switch id[at[4]:at[5]] {
		case "d", "f", "g":
			pattern.WriteString(`([-−]?[\d.,]+)`)
		case "q":
			pattern.WriteString(`(".*?"|«.*?»)`)
		default:
			pattern.WriteString(`(.*?)`)
		}
		from = at[1]
	}
	p.tail = strings.ReplaceAll(id[from:], "%%", "%")
	p.letters += len(p.tail)
	pattern.WriteString(regexp.QuoteMeta(p.tail) + `$`)
	p.pattern = regexp.MustCompile(pattern.String())
	return p
}

// Retell writes a sentence that was built in English elsewhere. It is recognised by the
// formats in the catalogue; what was filled in is retold in turn, since it may be a
// phrase too. What is not recognised stays in English: it is kept, and somebody needs
// it. Never give it what people have written themselves.
func (w *Words) Retell(says string) string {
	if w.catalogue == nil || says == "" {
		return says
	}
	p := w.catalogue.phrases
	if known, ok := p.known.Load(says); ok {
		return known.(string)
	}
	out := w.retell(says, 0)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.size++; p.size > knownMost {
		p.known.Clear()
		p.size = 1
	}
	p.known.Store(says, out)
	return out
}

// sureLetters is how many letters of its own a format needs to be a sentence: "as %s" is
// only ever filled into another.
const sureLetters = 6

// deepest bounds phrases in phrases.
const deepest = 4

func (w *Words) retell(says string, depth int) string {
	p := w.catalogue.phrases
	if said, ok := p.whole[says]; ok {
		return said
	}
	if n, ok := strings.CutSuffix(says, "."); ok && p.whole[n] != "" {
		return p.whole[n] + "."
	}
	if depth > deepest {
		return says
	}
	if numeral.MatchString(says) {
		return w.renumber(says)
	}
	if in := season.FindStringSubmatch(says); in != nil {
		return w.Say(seasons[in[1]]) + " " + strings.Replace(in[2], "-", "–", 1)
	}
	if depth == 0 && strings.Contains(says, becomes) {
		return w.changes(says)
	}
	if at, err := time.Parse(storedInstant, says); err == nil {
		return w.TimeSeconds(at) + " UTC"
	}
	if list, ok := p.list(says); ok {
		return list
	}
	for i := range p.made {
		k := &p.made[i]
		if depth == 0 && k.letters < sureLetters {
			break
		}
		if len(says) < len(k.head)+len(k.tail) || !strings.HasPrefix(says, k.head) || !strings.HasSuffix(says, k.tail) {
			continue
		}
		if filled := k.pattern.FindStringSubmatch(says); filled != nil {
			return w.fill(k.said, filled[1:], depth+1)
		}
	}
	return says
}

// storedInstant is how the journal writes an instant.
const storedInstant = "2 January 2006, 15:04:05 UTC"

// becomes stands in the journal between what a setting was and what it is.
const becomes = " → "

// changes writes what the journal says of settings: "name: none → Mill; clock: 24 → 12".
// What people wrote themselves stays as it is.
func (w *Words) changes(says string) string {
	parts := strings.Split(says, "; ")
	for i, part := range parts {
		name, values, found := strings.Cut(part, ": ")
		was, is, made := strings.Cut(values, becomes)
		if !found || !made {
			return says
		}
		parts[i] = w.retell(name, 1) + ": " + w.orNone(was) + becomes + w.orNone(is)
	}
	return strings.Join(parts, "; ")
}

func (w *Words) orNone(value string) string {
	if value == "none" {
		return w.retell(value, 1)
	}
	return value
}

// list writes phrases with commas between them, all of which are known.
func (p *phrases) list(says string) (string, bool) {
	parts := strings.Split(says, ", ")
	for i := range parts {
		said, ok := p.whole[parts[i]]
		if !ok {
			return "", false
		}
		parts[i] = said
	}
	return strings.Join(parts, ", "), len(parts) > 1
}

var (
	numeral = regexp.MustCompile(`^[-−]?\d[\d,]*(\.\d+)?$`)
	season  = regexp.MustCompile(`^(spring|summer|autumn|winter) (\d{4}(?:[-–]\d\d)?)$`)
)

// renumber puts the marks of the region in a number of the program's English.
func (w *Words) renumber(n string) string {
	if w.region.Decimal == "." {
		return n
	}
	return strings.NewReplacer(",", w.thousands(), ".", w.region.Decimal).Replace(n)
}

// fill puts what was found in a sentence into its translation.
func (w *Words) fill(said string, filled []string, depth int) string {
	next := 0
	out := verbs.ReplaceAllStringFunc(said, func(verb string) string {
		i := next
		if n := verbs.FindStringSubmatch(verb)[1]; n != "" {
			i = int(n[0]-'0') - 1
		} else {
			next++
		}
		if i < 0 || i >= len(filled) {
			return verb
		}
		return w.retell(filled[i], depth)
	})
	return strings.ReplaceAll(out, "%%", "%")
}
