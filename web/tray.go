package web

import (
	"doorleaf/web/words"
)

// What the tray says of cards that only their neighbours tell of.
const (
	WhyLast words.Text = "It is the only box of which no card is here."
	WhyHand words.Text = "Only its cards are written in this way."
)

// CardLabel names a card on the tray so that it can be told from others of its name:
// the nth of n.
func CardLabel(w *words.Words, nth, n int, name string) string {
	if n < 2 {
		return Visible(name)
	}
	return w.Say("card %d, %s", nth, Visible(name))
}

// gapWords writes a time of at most some days.
func gapWords(w *words.Words, s int64) string {
	switch {
	case s < 60:
		return w.Say("less than a minute")
	case s < 2*3600:
		return w.Plural(s/60, "minute", "minutes")
	}
	return w.Plural(s/3600, "hour", "hours")
}

// WhyFollows says that a card begins where a site's logbook ends.
func WhyFollows(w *words.Words, after int64) string {
	return w.Say("Its first row comes %s after the last one of that site’s logbook.", gapWords(w, after))
}

// FollowsQuestion asks about a card whose only clue is that.
func FollowsQuestion(w *words.Words, after int64, name string) string {
	return w.Say("Nothing on the card names its box. Its first row comes %s after the last one in the logbook of %s, as when one card goes out and the next comes in. Is it the card of %s?", gapWords(w, after), name, name)
}

// FollowsOther asks about a card that begins where another site's logbook ends.
func FollowsOther(w *words.Words, after int64, there, here string) string {
	return w.Say("Its first row comes %s after the last one in the logbook of %s, as when one card goes out and the next comes in. Was it really in the logger at %s?", gapWords(w, after), there, here)
}

// ClashQuestion asks about a card that was written while others of the same site were.
// other is one of them on the tray, "" for none.
func ClashQuestion(w *words.Words, days int, name, other string) string {
	those := w.Say("cards that are kept at %s", name)
	if other != "" {
		those = Visible(other)
	}
	return w.Say("For %s of the same time there are other rows, on %s, and not one row is on both. One logger writes one card at a time: is this really a card of %s?", words.Count(int64(days), "day", "days"), those, name)
}

// WhyTwin says that another card on the tray has the same bytes.
func WhyTwin(w *words.Words, label string) string { return w.Say("It is a copy of %s.", label) }

// WhyShared says that rows of a card stand on another one on the tray.
func WhyShared(w *words.Words, rows int, label string) string {
	return w.Say("%s on %s too.", words.Count(int64(rows), "of its rows stands", "of its rows stand"), label)
}

// HandQuestion asks about a card whose only clue is how it is written.
func HandQuestion(w *words.Words, name string) string {
	return w.Say("Nothing on the card names its box, but of all boxes only the cards of %s are written in this way. Is it the card of %s?", name, name)
}

// LastQuestion asks about the one card for which one box is left.
func LastQuestion(w *words.Words, name string) string {
	return w.Say("Nothing on the card names its box. All other boxes have a card here but %s. Is it the card of %s?", name, name)
}

// ButFolder says that a card's folder speaks for another site than its rows.
func ButFolder(w *words.Words, name string) string {
	return w.Say("Its folder’s name speaks for %s.", name)
}

// TrayLead says how many of the cards have found their box.
func TrayLead(w *words.Words, cards []TrayCard) string {
	placed, asked := 0, 0
	for _, c := range cards {
		switch {
		case c.Needs():
			asked++
		default:
			placed++
		}
	}
	switch {
	case len(cards) == 1:
		return ""
	case asked == 0:
		return w.Say("Each has found its box.")
	case placed == 0:
		return w.Say("All of them need a look.")
	}
	return w.Say("%s, %s a look.", words.Count(int64(placed), "card has found its box", "cards have found their boxes"), words.Count(int64(asked), "card needs", "cards need"))
}

// Needs reports whether somebody must look at a card before it can be kept.
func (c TrayCard) Needs() bool {
	return c.Problem != "" || c.Held != "" && !c.Sure || c.AskOrder && c.Order == "" || c.Site == "" || c.Rows == 0
}
