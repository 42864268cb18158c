package cardfile

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// monthNames are the months of the languages that Read knows, January first,
// lower case without accents. A word of three letters or more that begins one
// of them, or equals a short form, names that month. From memory of general usage.
var monthNames = [12][]string{
	{"january", "januar", "janvier", "enero", "gennaio", "janeiro", "styczen", "stycznia", "leden", "ledna"},
	{"february", "februar", "fevrier", "febrero", "febbraio", "fevereiro", "luty", "lutego", "unor", "unora"},
	{"march", "marz", "mrz", "mars", "marzo", "marco", "maart", "mrt", "marzec", "marca", "brezen", "brezna"},
	{"april", "avril", "abril", "aprile", "kwiecien", "kwietnia", "duben", "dubna"},
	{"may", "mai", "mayo", "maggio", "maio", "mei", "maj", "kveten", "kvetna"},
	{"june", "juni", "juin", "junio", "giugno", "junho", "czerwiec", "czerwca", "cerven", "cervna"},
	{"july", "juli", "juillet", "julio", "luglio", "julho", "lipiec", "lipca", "cervenec", "cervence"},
	{"august", "aout", "agosto", "augustus", "sierpien", "sierpnia", "srpen", "srpna"},
	{"september", "septembre", "septiembre", "settembre", "setembro", "wrzesien", "wrzesnia", "zari"},
	{"october", "oktober", "octobre", "octubre", "ottobre", "outubro", "pazdziernik", "rijen", "rijna"},
	{"november", "novembre", "noviembre", "novembro", "listopad"},
	{"december", "dezember", "decembre", "diciembre", "dicembre", "dezembro", "grudzien", "grudnia", "prosinec"},
}

// monthOf returns 1 to 12 for a word that names just one month, else 0.
func monthOf(word string) int {
	word = plain(word)
	found := 0
	for i, names := range monthNames {
		for _, name := range names {
			switch {
			case word == name:
				return i + 1
			case len(word) >= 3 && strings.HasPrefix(name, word) && found != i+1:
				if found != 0 {
					return 0
				}
				found = i + 1
			}
		}
	}
	return found
}

// namedForm is a way in which people write a date with its month in words. Its
// groups are named d, w (the word), y, and t where the time stands before the year.
type namedForm struct {
	order string
	as    *regexp.Regexp
}

var namedForms = []namedForm{
	{YMD, regexp.MustCompile(`(?P<y>\b\d{4,5})[ ./-]{0,2}(?P<w>\pL{3,12})\.?[ /-]{0,2}(?P<d>\d{1,3})`)},
	{DMY, regexp.MustCompile(`(?P<d>\b\d{1,3})\.?[ /-]{0,2}(?:de )?(?P<w>\pL{3,12})[.,]?[ /-]{0,2}(?:de )?(?P<y>\d{4,5}|\d\d)`)},
	{MDY, regexp.MustCompile(`(?P<w>\b\pL{3,12})\.?[ /-]{1,2}(?P<d>\d{1,3}),?[ /-]{1,2}(?P<y>\d{4,5}|\d\d)`)},
	{MDY, regexp.MustCompile(`(?P<w>\b\pL{3,12})\.? {1,2}(?P<d>\d{1,3}) {1,2}(?P<t>\d{1,3}:\d{1,3}(?::\d{1,3})?) {1,2}(?P<y>\d{4,5})`)}, // asctime, ISO C99 §7.23.3.1
}

// namedMonths rewrites dates whose month is a word as year-month-day, so that
// the rest of the reader sees digits. nil leaves lines as they are.
type namedMonths struct{ namedForm }

// monthLines is about how many lines tell whether months are words.
const monthLines = 300

// findNamedMonths returns the form that most of the lines with digits have, if any has.
func findNamedMonths(sample []sampleLine) *namedMonths {
	data := dataLines(sample)
	if step := len(data) / monthLines; step > 1 {
		few := data[:0:0]
		for i := 0; i < len(data); i += step {
			few = append(few, data[i])
		}
		data = few
	}
	known, named := map[string]bool{}, 0
	for _, s := range data {
		if mayNameMonth(s.text, known) {
			named++
		}
	}
	if named*2 <= len(data) {
		return nil
	}
	for _, form := range namedForms {
		m := &namedMonths{form}
		n := 0
		for _, s := range data {
			if !bytes.Equal(m.rewrite(s.text), s.text) {
				n++
			}
		}
		if n*2 > len(data) {
			return m
		}
	}
	return nil
}

// mayNameMonth reports whether a line has a word that names a month, which is much less
// work than to see where it stands. known holds words that were looked at before.
func mayNameMonth(line []byte, known map[string]bool) bool {
	names := func(word []byte) bool {
		is, seen := known[string(word)]
		if !seen && len(word) >= 3 {
			is = monthOf(string(word)) != 0
			known[string(word)] = is
		}
		return is
	}
	for _, word := range bytes.FieldsFunc(line, func(r rune) bool { return !unicode.IsLetter(r) }) {
		if names(word) {
			return true
		}
		for i := 1; i < len(word); i++ { // a form may begin behind a letter that is not ASCII
			if word[i-1] >= utf8.RuneSelf && letter(word[i]) && names(word[i:]) {
				return true
			}
		}
	}
	return false
}

// rewrite returns the line with its first date that names a month in digits.
func (m *namedMonths) rewrite(line []byte) []byte {
	if m == nil {
		return line
	}
	for _, at := range m.as.FindAllSubmatchIndex(line, 4) {
		group := func(name string) []byte {
			i := m.as.SubexpIndex(name)
			if i < 0 || at[2*i] < 0 {
				return nil
			}
			return line[at[2*i]:at[2*i+1]]
		}
		month := monthOf(string(group("w")))
		if end := at[1]; month == 0 || end < len(line) && (line[end] == ':' || line[end]-'0' <= 9) {
			continue // no month, or what looked like a year is the hour
		}
		year, _ := number(group("y"), groupMax)
		day, _ := number(group("d"), groupMax)
		date := fmt.Sprintf("%04d-%02d-%02d", longYear(year), month, day)
		if t := group("t"); t != nil {
			date += " " + string(t)
		}
		return bytes.Join([][]byte{line[:at[0]], []byte(date), line[at[1]:]}, nil)
	}
	return line
}
