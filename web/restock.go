package web

import (
	"fmt"

	"doorleaf/usage"
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

var weekdayNames = [...]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

// WindowWords writes a window of the week: "Saturday 10:00 to 13:00".
func WindowWords(w usage.WeekWindow) string {
	end := w.Hour + w.Hours
	day := ""
	if end > 24 {
		day = weekdayNames[w.Weekday%7] + " "
		end -= 24
	}
	return fmt.Sprintf("%s %d:00 to %s%d:00", weekdayNames[w.Weekday-1], w.Hour, day, end)
}

// RestockLead says in one sentence when to restock.
func RestockLead(f *usage.RestockForecast) string {
	books := ""
	if b := f.Books; b != nil && b.Empty.Low != nil {
		books = " " + shelfWords(b.Empty)
	}
	switch {
	case f.Busiest == nil:
		return "Too little has been recorded to say when the box is busiest." + books
	case !f.Clear:
		return fmt.Sprintf("No few hours of the week clearly stand out; %s looks the busiest.%s", WindowWords(*f.Busiest), books)
	}
	return fmt.Sprintf("Restock before %s, %d:00: %s are the busiest hours of the week.%s", weekdayNames[f.Busiest.Weekday-1], f.Busiest.Hour, WindowWords(*f.Busiest), books)
}

// RestockRates are the rates that it rests on.
func RestockRates(f *usage.RestockForecast) []Fact {
	var facts []Fact
	add := func(term string, e *usage.Estimate, fine string) {
		if e != nil {
			r := Round(e)
			facts = append(facts, Fact{term, r.Value, fmt.Sprintf("%s to %s%s", r.Low, r.High, fine)})
		}
	}
	add("Visits an hour in it", f.Rate, ", in weeks that had no part in choosing it")
	add("As it looks", f.Looks, ", in the weeks that it was chosen by: the luck of the chosen is in it")
	add("Visits an hour, all week", f.Mean, "")
	return facts
}

// RestockMinds are what to bear in mind.
func RestockMinds(f *usage.RestockForecast) []string {
	if f.Busiest == nil {
		return nil
	}
	return []string{"The busiest of many hours looks busier than it is. So even weeks choose a window that odd weeks measure, and the other way about; it stands out when both choose alike and even the low limit is above the mean."}
}

// BookSays says what the counts of books say.
func BookSays(b *usage.BookForecast) string {
	switch {
	case b == nil:
		return "Note the books on the shelf at two service calls or more, and this page says how fast they go."
	case b.Empty.Low == nil:
		return "At this rate the shelf does not run empty within a year."
	}
	return shelfWords(b.Empty)
}

// shelfWords says when a shelf will be empty.
func shelfWords(r usage.DateRange) string {
	if r.High == nil {
		return fmt.Sprintf("The shelf will not be empty before %s.", DateWords(*r.Low))
	}
	return fmt.Sprintf("The shelf is likely to be empty %s.", RangeWords(r))
}

// BookFacts are the figures under it.
func BookFacts(b *usage.BookForecast, zone string) []Fact {
	if b == nil {
		return nil
	}
	per, left := Round(b.PerVisit), Round(b.Left)
	return []Fact{
		{"Books gone a visit", per.Value, fmt.Sprintf("%s to %s; %s gone in about %s visits, over %s, books left by visitors taken off", per.Low, per.High, Number(b.Gone), OneFigure(b.Visits), Plural(int64(b.Spans), "count to the next", "counts to the next"))},
		{"Last counted", Number(int64(b.Counted)), When(b.CountedAt, zone)},
		{"On the shelf now, about", left.Value, left.Low + " to " + left.High},
	}
}

// LastWeeks names the last n weeks of recording; many of them are all time.
func LastWeeks(n int) string {
	if n > 500 {
		return "all time"
	}
	return fmt.Sprintf("the last %d weeks", n)
}
