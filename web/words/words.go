// Package words writes what people read in the way of a network's region: texts in its
// language, and numbers, dates and times of day as its people write them. English
// stands in the source and is the key; every other language is one catalogue file,
// LANGUAGE.po, that holds both (the PO format of GNU gettext).
package words

import (
	"embed"
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"doorleaf/usage"
)

//go:embed *.po
var files embed.FS

// Text is an English text, or an English format of fmt, that has its entry in every
// catalogue. Only constants should be of this type: the tests gather them from the
// source and tell which have no entry.
type Text string

// Words writes for one region. It never changes, and any number of goroutines may use it.
type Words struct {
	region    usage.Region
	catalogue *catalogue // nil for English
}

// English writes as usage.DefaultRegion says.
var English = &Words{region: usage.DefaultRegion}

// New returns the words of a region; an error where the region is not valid, or its
// language's catalogue is broken.
func New(r usage.Region) (*Words, error) {
	if err := r.Valid(); err != nil {
		return nil, err
	}
	w := &Words{region: r}
	if r.Language == usage.Languages[0] {
		return w, nil
	}
	var err error
	if w.catalogue, err = catalogueOf(r.Language); err != nil {
		return nil, err
	}
	return w, nil
}

// made holds the words of the regions asked for: at most as many as there are regions.
var made sync.Map // usage.Region to *Words

// Of is New for a region that is known to be valid; for any other it is English.
func Of(r usage.Region) *Words {
	if w, ok := made.Load(r); ok {
		return w.(*Words)
	}
	w, err := New(r)
	if err != nil {
		return English
	}
	kept, _ := made.LoadOrStore(r, w)
	return kept.(*Words)
}

// Region is what the words are made for.
func (w *Words) Region() usage.Region { return w.region }

// Language is the ISO 639-1 code of the language.
func (w *Words) Language() string { return w.region.Language }

// Say writes a text. Without arguments it is taken as it stands, a percent sign and
// all. With arguments it is a format of fmt, in which a translation may take them in
// another order (%[2]s); a usage.Date is written as Date does, a usage.Season as
// Season, a Counted as Plural, and the decimals of a float with the region's mark.
func (w *Words) Say(text Text, args ...any) string {
	said := w.text("", string(text))
	if len(args) == 0 {
		return said
	}
	return fmt.Sprintf(said, w.bound(args)...)
}

// SayOf is Say of the one of two formats that goes with n things, which need not be
// written in it: one mill turns, the mills turn.
func (w *Words) SayOf(n int64, one, many Text, args ...any) string {
	return fmt.Sprintf(w.noun("", Count(n, one, many)), w.bound(args)...)
}

// text is the translation of an English text; the text itself where there is none.
func (w *Words) text(context, english string) string {
	if w.catalogue == nil {
		return english
	}
	if m := w.catalogue.find(context, english); m != nil && m.Str[0] != "" {
		return m.Str[0]
	}
	return english
}

func (w *Words) bound(args []any) []any {
	bound := make([]any, len(args))
	for i, arg := range args {
		switch arg := arg.(type) {
		case Text:
			bound[i] = w.Say(arg)
		case usage.Date:
			bound[i] = w.Date(arg)
		case usage.Season:
			bound[i] = w.Season(arg)
		case Counted:
			bound[i] = declined{w, arg}
		case float64:
			bound[i] = decimal{w, arg}
		default:
			bound[i] = arg
		}
	}
	return bound
}

// Counted is a number of things, to be an argument of Say: a translation that needs
// the dative asks for it with %d in place of %s ("in 3 Tagen", not "3 Tage"). The
// catalogue has that form under the context "dative".
type Counted struct {
	N         int64
	One, Many Text
}

// Count returns n things, to be an argument of Say.
func Count(n int64, one, many Text) Counted { return Counted{n, one, many} }

// declined is a Counted with the words that write it.
type declined struct {
	w *Words
	c Counted
}

// Format implements fmt.Formatter.
func (d declined) Format(s fmt.State, verb rune) {
	context := ""
	if verb == 'd' {
		context = dative
	}
	fmt.Fprint(s, d.w.plural(context, d.c))
}

const dative = "dative"

// Plural writes a number and its noun: 1 visit, 1,200 visits.
func (w *Words) Plural(n int64, one, many Text) string { return w.plural("", Counted{n, one, many}) }

func (w *Words) plural(context string, c Counted) string {
	return w.Number(c.N) + " " + w.noun(context, c)
}

// noun is the noun of a number of things.
func (w *Words) noun(context string, c Counted) string {
	form := w.form(c.N)
	if w.catalogue != nil {
		m := w.catalogue.find(context, string(c.One))
		if m == nil && context != "" {
			m = w.catalogue.find("", string(c.One))
		}
		if m != nil && form < len(m.Str) && m.Str[form] != "" {
			return m.Str[form]
		}
	}
	if c.N == 1 {
		return string(c.One)
	}
	return string(c.Many)
}

// form is which of a noun's forms goes with n.
func (w *Words) form(n int64) int {
	if w.catalogue != nil {
		return w.catalogue.form(n)
	}
	if n == 1 {
		return 0
	}
	return 1
}

// Choose writes a number with the one of the forms, which are in the language already,
// that goes with it. It is what plural is in a translated template.
func (w *Words) Choose(n int64, forms ...string) string {
	if len(forms) == 0 {
		return w.Number(n)
	}
	return w.Number(n) + " " + forms[min(w.form(n), len(forms)-1)]
}

// List writes "a", "a and b", "a, b and c".
func (w *Words) List(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	last := len(items) - 1
	return w.Say("%s and %s", strings.Join(items[:last], ", "), items[last])
}

// Sentence begins s with a capital and ends it with a full stop, where it has no end.
func Sentence(s string) string {
	if s == "" {
		return ""
	}
	s = Capital(s)
	if strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// Capital makes the first letter of s a capital.
func Capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[size:]
}
