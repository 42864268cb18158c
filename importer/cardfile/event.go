package cardfile

import "unicode/utf8"

// openWords and closeWords name the two events of loggers that write a row
// when the door opens and another when it shuts.
// Common practice, no source.
var (
	openWords  = words("open", "opened", "opening", "opens", "offen", "auf", "geoeffnet", "geoffnet", "ouvert", "ouverte", "ouverture", "abierto", "abierta", "abre", "aperto", "aperta", "aberto", "aberta", "oppen", "aben", "apen", "otwarte")
	closeWords = words("close", "closed", "closing", "closes", "shut", "zu", "geschlossen", "ferme", "fermee", "fermeture", "cerrado", "cerrada", "cierra", "chiuso", "chiusa", "fechado", "fechada", "dicht", "gesloten", "stangd", "lukket", "zamkniete")
)

func words(list ...string) map[string]bool {
	m := make(map[string]bool, len(list))
	for _, w := range list {
		m[w] = true
	}
	return m
}

// eventOf finds a word for opening or closing in a field.
func eventOf(f []byte) (Event, bool) {
	for at := 0; at < len(f); {
		end := at
		for end < len(f) && (letter(f[end]) || f[end] >= utf8.RuneSelf) {
			end++
		}
		if end > at && end-at <= longestWeekday {
			word := plain(string(f[at:end]))
			if openWords[word] {
				return Open, true
			}
			if closeWords[word] {
				return Close, true
			}
		}
		at = max(end, at+1)
	}
	return Whole, false
}
