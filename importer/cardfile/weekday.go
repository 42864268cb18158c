package cardfile

import (
	"strings"
	"unicode/utf8"
)

// language holds the weekday names of one language, Monday first, in lower
// case without accents. A word of two letters or more that begins exactly one
// of them names that day; also lists short forms that do not begin their name.
type language struct {
	name string
	days [7]string
	also map[string]int
}

// languages are those that Read knows; where a file's words fit several, the
// one that agrees best with the dates is taken, then the one named first. The
// names come from memory of general usage.
var languages = []language{
	{"English", [7]string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}, map[string]int{"weds": 3}},
	{"German", [7]string{"montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonntag"}, map[string]int{"sonnabend": 6}},
	{"French", [7]string{"lundi", "mardi", "mercredi", "jeudi", "vendredi", "samedi", "dimanche"}, nil},
	{"Spanish", [7]string{"lunes", "martes", "miercoles", "jueves", "viernes", "sabado", "domingo"}, nil},
	{"Italian", [7]string{"lunedi", "martedi", "mercoledi", "giovedi", "venerdi", "sabato", "domenica"}, nil},
	{"Dutch", [7]string{"maandag", "dinsdag", "woensdag", "donderdag", "vrijdag", "zaterdag", "zondag"}, nil},
	{"Portuguese", [7]string{"segunda", "terca", "quarta", "quinta", "sexta", "sabado", "domingo"}, map[string]int{
		"segunda-feira": 1, "terca-feira": 2, "quarta-feira": 3, "quinta-feira": 4, "sexta-feira": 5,
	}},
	{"Polish", [7]string{"poniedzialek", "wtorek", "sroda", "czwartek", "piatek", "sobota", "niedziela"}, map[string]int{"pn": 1, "czw": 4, "cz": 4, "pt": 5, "nd": 7, "ndz": 7}},
	{"Swedish", [7]string{"mandag", "tisdag", "onsdag", "torsdag", "fredag", "lordag", "sondag"}, nil},
	{"Danish or Norwegian", [7]string{"mandag", "tirsdag", "onsdag", "torsdag", "fredag", "lordag", "sondag"}, nil},
	{"Czech", [7]string{"pondeli", "utery", "streda", "ctvrtek", "patek", "sobota", "nedele"}, nil},
	{"Finnish", [7]string{"maanantai", "tiistai", "keskiviikko", "torstai", "perjantai", "lauantai", "sunnuntai"}, nil},
}

// unaccent takes the accents off the letters that weekday names have.
var unaccent = strings.NewReplacer(
	"á", "a", "à", "a", "â", "a", "ä", "a", "å", "a", "ą", "a", "ç", "c", "č", "c", "é", "e", "è", "e", "ě", "e",
	"ë", "e", "í", "i", "ì", "i", "î", "i", "ł", "l", "ó", "o", "ö", "o", "ø", "o", "ś", "s", "š", "s", "ř", "r",
	"ú", "u", "û", "u", "ü", "u", "ý", "y", "Á", "a", "Ö", "o", "Ø", "o", "Ś", "s", "Ú", "u", "Č", "c",
)

// plain returns a word in lower case, without accents and full stops.
func plain(word string) string {
	return unaccent.Replace(strings.ToLower(strings.TrimRight(strings.TrimSpace(word), ".,")))
}

// day returns the ISO weekday that the plain word names, or 0.
func (l language) day(word string) int {
	if d := l.also[word]; d != 0 {
		return d
	}
	if len(word) < 2 {
		return 0
	}
	found := 0
	for i, name := range l.days {
		if strings.HasPrefix(name, word) {
			if found != 0 {
				return 0
			}
			found = i + 1
		}
	}
	return found
}

// longestWeekday is the longest weekday word in bytes that is looked at.
const longestWeekday = 20

// wordGoesOn reports whether byte n of b is one of the word that b begins with.
func wordGoesOn(b []byte, n int) bool {
	return n < len(b) && (letter(b[n]) || b[n] >= utf8.RuneSelf || b[n] == '-' && n > 3 && n+1 < len(b) && letter(b[n+1]))
}

// weekdayWord returns the word that b begins with if it names a weekday in
// some language, and 0 bytes if not.
func weekdayWord(b []byte) int {
	n := 0
	for n <= longestWeekday && wordGoesOn(b, n) {
		n++
	}
	if n < 2 || n > longestWeekday {
		return 0
	}
	word := plain(string(b[:n]))
	for _, l := range languages {
		if l.day(word) != 0 {
			return n
		}
	}
	return 0
}

// weekdayWords collects the weekday words of a file as they come, so that a
// row needs one byte for its word until the language is known.
type weekdayWords struct {
	raw   []string
	plain []string
	count []int
	last  int
}

// mostWords is the largest number of distinct weekday words that is kept.
const mostWords = 60

// index returns 1 + the number of the word, or 0 when there are too many.
func (w *weekdayWords) index(word []byte) uint8 { return w.indexMany(word, 1) }

// indexMany is index of a word that comes n times.
func (w *weekdayWords) indexMany(word []byte, n int) uint8 {
	if w.again(word) {
		w.count[w.last] += n - 1
		return uint8(w.last + 1)
	}
	for i, s := range w.raw {
		if s == string(word) {
			w.last = i
			w.count[i] += n
			return uint8(i + 1)
		}
	}
	if len(w.raw) >= mostWords {
		return 0
	}
	w.last = len(w.raw)
	w.raw = append(w.raw, string(word))
	w.plain = append(w.plain, plain(string(word)))
	w.count = append(w.count, n)
	return uint8(len(w.raw))
}

// again counts the word once more if it is the one that came last.
func (w *weekdayWords) again(word []byte) bool {
	if w.last >= len(w.raw) || w.raw[w.last] != string(word) {
		return false
	}
	w.count[w.last]++
	return true
}

// readings returns, for each language that knows at least nine in ten of the
// words that rows bear, the ISO weekday of every word (0 = not known).
func (w *weekdayWords) readings() (names []string, days [][]uint8) {
	for _, l := range languages {
		known, all := 0, 0
		table := make([]uint8, len(w.raw)+1)
		for i, word := range w.plain {
			d := l.day(word)
			table[i+1] = uint8(d)
			all += w.count[i]
			if d != 0 {
				known += w.count[i]
			}
		}
		if all > 0 && known*10 >= all*9 {
			names, days = append(names, l.name), append(days, table)
		}
	}
	return names, days
}
