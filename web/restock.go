package web

import (
	"doorleaf/usage"
	"doorleaf/web/words"
)

// RestockPage says when to fill a shelf.
type RestockPage struct {
	Base
	Site
	Lead  string
	Mind  []string
	Rates []Fact
	Books []Fact
	Says  string // what the counts of books say
	Form  RestockForm
}

// Template implements Page.
func (RestockPage) Template() string { return "restock" }

// RestockForm is what was asked.
type RestockForm struct{ Hours, Weeks []Option }

// WindowWords writes a window of the week: "Saturday 10:00 to 13:00".
func WindowWords(w *words.Words, of usage.WeekWindow) string {
	end := of.Hour + of.Hours
	if end > 24 {
		return w.Say("%s %s to %s %s", w.Weekday(of.Weekday), w.Hour(of.Hour), w.Weekday(of.Weekday%7+1), w.Hour(end-24))
	}
	return w.Say("%s %s to %s", w.Weekday(of.Weekday), w.Hour(of.Hour), w.Hour(end))
}

// RestockLead says in one sentence when to restock.
func RestockLead(w *words.Words, f *usage.RestockForecast) string {
	books := ""
	if b := f.Books; b != nil && b.Empty.Low != nil {
		books = " " + shelfWords(w, b.Empty)
	}
	switch {
	case f.Busiest == nil:
		return w.Say("Too little has been recorded to say when the box is busiest.") + books
	case !f.Clear:
		return w.Say("No hours of the week clearly stand out; %s looks the busiest.", WindowWords(w, *f.Busiest)) + books
	}
	return w.Say("Restock before %s, %s: %s are the busiest hours of the week.", w.Weekday(f.Busiest.Weekday), w.Hour(f.Busiest.Hour), WindowWords(w, *f.Busiest)) + books
}

// RestockRates are the rates that it rests on.
func RestockRates(w *words.Words, f *usage.RestockForecast) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate, text words.Text) {
		if e != nil {
			r := w.Round(e)
			facts = append(facts, Fact{term, r.Value, w.Say(text, r.Low, r.High)})
		}
	}
	add(w.Say("Visits an hour in it"), f.Rate, "%s to %s, in weeks that had no part in choosing it")
	add(w.Say("As it looks"), f.Looks, "%s to %s, in the weeks that it was chosen by: the luck of the chosen is in it")
	add(w.Say("Visits an hour, all week"), f.Mean, "%s to %s")
	return facts
}

// RestockMinds are what to bear in mind.
func RestockMinds(w *words.Words, f *usage.RestockForecast) []string {
	if f.Busiest == nil {
		return nil
	}
	return []string{w.Say("The busiest of many hours looks busier than it is. So even weeks choose a window that odd weeks measure, and the other way about; it stands out when both choose alike and even the low limit is above the mean.")}
}

// BookSays says what the counts of books say.
func BookSays(w *words.Words, b *usage.BookForecast) string {
	switch {
	case b == nil:
		return w.Say("Note the books on the shelf at two service calls or more, and this page says how fast they go.")
	case b.Empty.Low == nil:
		return w.Say("At this rate the shelf does not run empty within a year.")
	}
	return shelfWords(w, b.Empty)
}

// shelfWords says when a shelf will be empty.
func shelfWords(w *words.Words, r usage.DateRange) string {
	if r.High == nil {
		return w.Say("The shelf will not be empty before %s.", *r.Low)
	}
	return w.Say("The shelf is likely to be empty %s.", RangeWords(w, r))
}

// BookFacts are the figures under it.
func BookFacts(w *words.Words, b *usage.BookForecast, zone string) []Fact {
	if b == nil {
		return nil
	}
	per, left := w.Round(b.PerVisit), w.Round(b.Left)
	return []Fact{
		{w.Say("Books gone a visit"), per.Value, w.Say("%s to %s; %s gone in about %s visits, over %s, books left by visitors taken off", per.Low, per.High, w.Number(b.Gone), w.OneFigure(b.Visits), words.Count(int64(b.Spans), "count to the next", "counts to the next"))},
		{w.Say("Last counted"), w.Number(int64(b.Counted)), w.When(b.CountedAt, zone)},
		{w.Say("On the shelf now, about"), left.Value, fromTo(w, left.Low, left.High)},
	}
}

// LastWeeks names the last n weeks of recording; many of them are all time.
func LastWeeks(w *words.Words, n int) string {
	if n > 500 {
		return w.Say("all time")
	}
	return w.Say("the last %s", words.Count(int64(n), "week", "weeks"))
}
