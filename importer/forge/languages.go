package forge

import "strings"

// language holds the words of a language, Monday first.
type language struct {
	full, three, two [7]string
	header           map[string]string
}

func seven(words string) (s [7]string) {
	copy(s[:], strings.Fields(words))
	return s
}

func header(weekday, date, time, stamp, seconds, event string) map[string]string {
	return map[string]string{
		ColWeekday: weekday, ColDate: date, ColTime: time, ColStamp: stamp,
		ColUnix: "Unix", ColSeconds: seconds, ColEvent: event,
	}
}

// languages from memory; Portuguese has no two letters that tell its days apart.
var languages = map[string]language{
	"en": {
		full:   seven("Monday Tuesday Wednesday Thursday Friday Saturday Sunday"),
		three:  seven("Mon Tue Wed Thu Fri Sat Sun"),
		two:    seven("Mo Tu We Th Fr Sa Su"),
		header: header("Day", "Date", "Time", "Timestamp", "Seconds", "Event"),
	},
	"de": {
		full:   seven("Montag Dienstag Mittwoch Donnerstag Freitag Samstag Sonntag"),
		three:  seven("Mon Die Mit Don Fre Sam Son"),
		two:    seven("Mo Di Mi Do Fr Sa So"),
		header: header("Wochentag", "Datum", "Uhrzeit", "Zeitpunkt", "Geöffnet_s", "Ereignis"),
	},
	"fr": {
		full:   seven("lundi mardi mercredi jeudi vendredi samedi dimanche"),
		three:  seven("lun mar mer jeu ven sam dim"),
		two:    seven("lu ma me je ve sa di"),
		header: header("Jour", "Date", "Heure", "Horodatage", "Durée", "Événement"),
	},
	"es": {
		full:   seven("lunes martes miércoles jueves viernes sábado domingo"),
		three:  seven("lun mar mié jue vie sáb dom"),
		two:    seven("lu ma mi ju vi sá do"),
		header: header("Día", "Fecha", "Hora", "Instante", "Duración", "Suceso"),
	},
	"it": {
		full:   seven("lunedì martedì mercoledì giovedì venerdì sabato domenica"),
		three:  seven("lun mar mer gio ven sab dom"),
		two:    seven("lu ma me gi ve sa do"),
		header: header("Giorno", "Data", "Ora", "Istante", "Secondi", "Evento"),
	},
	"nl": {
		full:   seven("maandag dinsdag woensdag donderdag vrijdag zaterdag zondag"),
		three:  seven("maa din woe don vri zat zon"),
		two:    seven("ma di wo do vr za zo"),
		header: header("Dag", "Datum", "Tijd", "Tijdstip", "Seconden", "Gebeurtenis"),
	},
	"pt": {
		full:   seven("segunda-feira terça-feira quarta-feira quinta-feira sexta-feira sábado domingo"),
		three:  seven("seg ter qua qui sex sáb dom"),
		header: header("Dia", "Data", "Hora", "Instante", "Duração", "Evento"),
	},
}

var unaccent = strings.NewReplacer(
	"á", "a", "ã", "a", "ç", "c", "É", "E", "é", "e", "ì", "i", "í", "i", "ó", "o", "ö", "oe",
)

// word returns a word in the dialect's spelling of accents.
func (d Dialect) word(s string) string {
	if d.Accents {
		return s
	}
	return unaccent.Replace(s)
}

// cased returns an unaccented or accented word in the dialect's letter case.
func (d Dialect) cased(s string) string {
	switch d.Case {
	case "lower":
		return strings.ToLower(s)
	case "upper":
		return strings.ToUpper(s)
	}
	for i := range s {
		if i > 0 {
			return strings.ToUpper(s[:i]) + strings.ToLower(s[i:])
		}
	}
	return strings.ToUpper(s)
}
