package forge

import (
	"math/rand/v2"
	"slices"
)

// RandomDialect draws a dialect from all that Dialect can say, except what no
// reader could tell apart: missing seconds in the middle of columns between
// spaces, and seconds as m:ss before times without seconds.
func RandomDialect(rng *rand.Rand) Dialect {
	d := Dialect{
		File:      pick(rng, "LOG.TXT", "DOORS.CSV", "DATALOG.TXT", "BOX.LOG", "LOGGER00.CSV"),
		Delimiter: pick(rng, "tab", "comma", "semicolon", "pipe", "spaces"),
		Gap:       1 + rng.IntN(3),
		Header:    chance(rng, 0.5),
		Language:  pick(rng, "en", "en", "de", "fr", "es", "it", "nl", "pt"),
		Accents:   chance(rng, 0.5),
		Weekday:   pick(rng, "2", "3", "3", "full", "number"),
		Case:      pick(rng, "lower", "upper", "title"),
		FirstDay:  1 + rng.IntN(7),
		DateOrder: pick(rng, "dmy", "mdy", "ymd"),
		YearTwo:   chance(rng, 0.3),
		DateSep:   pick(rng, "/", ".", "-"),
		DateBare:  chance(rng, 0.3),
		TimeBare:  pick(rng, "", "", "hour", "all"),
		Hours:     pick(rng, 24, 24, 12),
		HalfGap:   chance(rng, 0.5),
		NoSeconds: chance(rng, 0.15),
		StampSep:  pick(rng, "T", " "),
		Clocked:   chance(rng, 0.2),
		LineEnd:   pick(rng, "crlf", "crlf", "lf", "cr"),
		Encoding:  pick(rng, "utf-8", "utf-8", "utf-8 bom", "utf-16le", "utf-16be", "windows-1252"),
	}
	if chance(rng, 0.2) {
		d.Shift = rng.IntN(7)
	}
	if d.Weekday == "2" && d.Language == "pt" {
		d.Weekday = "3"
	}
	d.Columns = randomColumns(rng)
	if d.has(ColStamp) {
		d.isoStamp(rng)
	}
	d.settle()
	return d
}

// randomColumns draws what a row holds, and its order.
func randomColumns(rng *rand.Rand) []string {
	columns := []string{ColDate, ColTime}
	switch {
	case chance(rng, 0.1):
		columns = []string{ColUnix}
	case chance(rng, 0.2):
		columns = []string{ColStamp}
	}
	if columns[0] != ColUnix && chance(rng, 0.6) {
		columns = append(columns, ColWeekday)
	}
	switch {
	case chance(rng, 0.15):
		columns = append(columns, ColEvent)
	case chance(rng, 0.95):
		columns = append(columns, ColSeconds)
	}
	rng.Shuffle(len(columns), func(i, j int) { columns[i], columns[j] = columns[j], columns[i] })
	if chance(rng, 0.6) {
		lastly(columns, ColSeconds)
	}
	return columns
}

// lastly moves a column, if it is there, to the end.
func lastly(columns []string, column string) {
	if i := slices.Index(columns, column); i >= 0 {
		copy(columns[i:], columns[i+1:])
		columns[len(columns)-1] = column
	}
}

// isoStamp makes a stamp one of ISO 8601, or one of RFC 3339's looser kin with a space.
func (d *Dialect) isoStamp(rng *rand.Rand) {
	d.DateOrder, d.DateSep, d.YearTwo, d.DateBare, d.TimeBare, d.Hours = "ymd", "-", false, false, "", 24
	d.Zulu = d.StampSep == "T" && chance(rng, 0.3)
}

// settle takes back what could not be told apart by any reader.
func (d *Dialect) settle() {
	if d.Delimiter == "spaces" || d.NoSeconds && d.Clocked {
		lastly(d.Columns, ColSeconds)
	}
	if d.NoSeconds && d.TimeBare == "all" {
		d.TimeBare = "hour"
	}
}
