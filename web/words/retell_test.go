package words_test

import (
	"testing"

	"doorleaf/usage"
	"doorleaf/web/words"
)

func TestRetell(t *testing.T) {
	w, err := words.New(usage.Region{Language: "de", Dates: "dmy", Decimal: ",", FirstDay: 1, Clock: 24})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ in, want string }{
		{"", ""},
		{"Seen. Nothing changes.", "Gesehen. Nichts ändert sich."},
		{"clock reset", "Uhr zurückgesetzt"},
		{"3 rows have no digit that is good: every register reads 0xFF, which as BCD is 165 (85 and 45 where bits are masked)",
			"3 Zeilen haben keine gute Ziffer: jedes Register liest 0xFF, was als BCD 165 ist (85 und 45, wo Bits ausgeblendet werden)"},
		{"1,203 of 4,000 openings in summer 2024 lasted less than 2 seconds: a loose latch, wind, or a bouncing switch",
			"1.203 von 4.000 Öffnungen im Sommer 2024 dauerten weniger als 2 Sekunden: ein lockerer Riegel, Wind oder ein prellender Schalter"},
		{"the door stood ajar 3 times in winter 2025-26, the longest for 2 hours",
			"die Tür blieb 3-mal offen stehen, im Winter 2025–26, längstens 2 Stunden"},
		{"the clock is 14 s a week fast", "die Uhr geht 14 s je Woche vor"},
		{"9 days without an opening, when about 41 visits were to be expected: was the box out of order? By chance alone, such a stretch would come less than once in 1000 such logbooks (p = 0.0004).",
			"9 Tage ohne eine Öffnung, während etwa 41 Besuche zu erwarten waren: war der Kasten gestört? Durch Zufall allein käme eine solche Strecke weniger als einmal in 1000 solchen Logbüchern (p = 0,0004)."},
		{"as nobody has foreseen", "as nobody has foreseen"},
		{"service call of 20 October 2026, 09:37:00 UTC: restock, card out", "Wartung vom 20. Oktober 2026, 09:37:00 UTC: aufgefüllt, Karte heraus"},
		{"name: none → clock; decimal mark: . → ,", "Name: nichts → clock; Dezimalzeichen: . → ,"},
		{"time zone \"Mars/Olympus\" is not known", "die Zeitzone „Mars/Olympus“ ist nicht bekannt"},
	} {
		if got := w.Retell(c.in); got != c.want {
			t.Errorf("Retell(%q)\n = %q\nwant %q", c.in, got, c.want)
		}
		if got := words.English.Retell(c.in); got != c.in {
			t.Errorf("English.Retell(%q) = %q, want it as it is", c.in, got)
		}
	}
}
