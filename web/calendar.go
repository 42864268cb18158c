package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"doorleaf/usage"
	"doorleaf/web/words"
)

// CalendarEntry is an all-day entry of the calendar of due dates.
type CalendarEntry struct {
	UID                 string
	Date                usage.Date
	Summary, Says       string
	Place               string
	Latitude, Longitude float64
}

// DueEntry makes an entry of what falls due at a site. Its UID is that of site and
// kind, so that a date that moves moves its entry; it tells nobody where it is from
// (RFC 7986, section 5.3, asks for that).
func DueEntry(w *words.Words, site usage.Site, d usage.Due, rule usage.RoundRule) CalendarEntry {
	sum := sha256.Sum256(fmt.Appendf(nil, "doorleaf due\x00%s\x00%s\x00%s", site.Code, site.InstalledOn, d.Kind))
	row := DueWords(w, d, site.Code)
	return CalendarEntry{
		UID: hex.EncodeToString(sum[:16]), Date: d.By, Place: Visible(site.Name), Latitude: site.Latitude, Longitude: site.Longitude,
		Summary: Visible(site.Name) + ": " + row.Do, Says: calendarWhy(w, d, rule),
	}
}

// calendarWhy says why something falls due, in words that hold on its date.
func calendarWhy(w *words.Words, d usage.Due, rule usage.RoundRule) string {
	switch d.Kind {
	case usage.DueCard:
		if d.Never {
			return w.Say("No card has been read for %s since the box was installed.", words.Count(int64(rule.CardDays), "day", "days"))
		}
		return w.Say("By then it has not been read for %s.", words.Count(int64(rule.CardDays), "day", "days"))
	case usage.DueClock:
		return w.Say("From then on it may be off by more than %s.", w.Duration(rule.ClockS))
	case usage.DueShelf:
		return w.Say("It is likely to be empty then.")
	case usage.DueCoin:
		return w.Say("It may be empty from then on.") + " " + w.Say(CautionCoin)
	}
	return capital(DueWords(w, d, "").Why) + "."
}

// Calendar writes entries as an iCalendar file (RFC 5545): lines folded at 75 bytes
// and ended with CR LF, dates without a zone, stamped with an instant.
func Calendar(w *words.Words, entries []CalendarEntry, stamp time.Time) string {
	cal := ics.NewCalendarFor(Program)
	cal.SetProductId("-//Doorleaf//Due dates//" + strings.ToUpper(w.Language()))
	cal.SetMethod(ics.MethodPublish)
	cal.SetCalscale("GREGORIAN")
	cal.SetName(w.Say("Book boxes: what falls due"))
	cal.SetXWRCalName(w.Say("Book boxes: what falls due"))
	for _, e := range entries {
		day := time.Unix(int64(e.Date)*86400, 0).UTC()
		event := cal.AddEvent(e.UID)
		event.SetDtStampTime(stamp.UTC())
		event.SetAllDayStartAt(day)
		event.SetAllDayEndAt(day.AddDate(0, 0, 1))
		event.SetSummary(e.Summary)
		event.SetDescription(e.Says)
		event.SetLocation(e.Place)
		event.SetGeo(e.Latitude, e.Longitude)
		event.SetTimeTransparency(ics.TransparencyTransparent)
	}
	return cal.Serialize(ics.WithNewLineWindows)
}
