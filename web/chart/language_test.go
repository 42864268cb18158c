package chart

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/usage"
	"doorleaf/web/draw"
	"doorleaf/web/words"
	"doorleaf/web/words/wordstest"
)

var german = words.Of(usage.Region{Language: "de", Dates: "dmy", Decimal: ",", FirstDay: 1, Clock: 24})

// names are those of the boxes in the figures below.
var names = []string{"Box", "New box", "The box by the gate of the old walled garden", "Mill Lane", "Old Quay", "spring", "North South East West", "km"}

// everyFigure makes every figure there is, and the map.
func everyFigure(t *testing.T, m *Maker, in inputs) map[string]Figure {
	t.Helper()
	ctx := context.Background()
	out := figures(t, m, in)
	add := func(id string, f Figure, err error) {
		if err != nil {
			t.Fatal(err)
		}
		out[id] = f
	}
	from := usage.DateOf(2025, time.March, 1)
	for name, site := range map[string]usage.Site{
		"sun": {Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}, "polar sun": {Latitude: 69.6, Longitude: 19, Zone: "Europe/Oslo"},
	} {
		f, err := m.Daylight(ctx, "sun", DaylightIn{Site: site, Visits: visitsAt(2000), Days: coveredDays(365), From: from, To: from + 364})
		add(name, f, err)
	}
	var points []usage.ChargePoint
	for i := range 20 {
		v := 100 - 5*float64(i)
		points = append(points, usage.ChargePoint{Date: from + usage.Date(10*i), Low: 0.8 * v, Value: v, High: min(100, 1.2*v)})
	}
	f, err := m.Charge(ctx, "charge", points, from+155)
	add("charge", f, err)
	sides, err := m.HoursTogether(ctx, []HourSide{{ID: "one", Name: "Mill Lane", Pattern: in.pattern()}, {ID: "two", Name: "Old Quay", Pattern: in.pattern()}})
	if err != nil {
		t.Fatal(err)
	}
	out["side one"], out["side two"] = sides[0], sides[1]
	for name, spots := range networks() {
		if len(spots) < 4 {
			out["map, "+name] = Map(m.Words, "map", spots)
		}
	}
	return out
}

// textsOf are all texts of a figure.
func textsOf(f Figure) []string {
	all := slices.Concat([]string{f.Title, f.Says, f.Table.Caption}, f.Table.Head)
	for _, row := range f.Table.Rows {
		all = append(all, row...)
	}
	return slices.Concat(all, wordstest.Texts(string(f.Drawing())))
}

// tipsOf are the texts of the live form of the figures that have one.
func tipsOf(t *testing.T, m *Maker, in inputs) (all []string) {
	t.Helper()
	for _, id := range []string{"hour", "week", "month", "season", "time", "stretch", "sites", "sun", "charge"} {
		want := &Want{ID: id}
		wanting := *m
		wanting.Draw = asked{want, m.Draw}
		everyWanted(t, &wanting, in, want)
		if want.Live == nil {
			t.Fatalf("figure %s has no live form", id)
		}
		for _, tip := range want.Live.Tips.Items {
			all = append(append(all, tip.Head), tip.Says...)
		}
		for _, level := range want.Live.Zoom {
			for _, stop := range level {
				all = append(all, stop.Text)
			}
		}
	}
	return all
}

// Every figure is written in German alone, with room for its words: no text of ours
// stands in it in English, and no word that no translation has.
func TestFiguresInGerman(t *testing.T) {
	ear, err := wordstest.NewEar("de", names...)
	if err != nil {
		t.Fatal(err)
	}
	english := newMaker(t, draw.Options{})
	for _, c := range cases {
		if !slices.Contains([]string{"empty", "one day", "no visits", "gappy"}, c.name) {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			before := everyFigure(t, english, c.in)
			for id, f := range everyFigure(t, english.In(german), c.in) {
				for _, text := range textsOf(f) {
					if strange := ear.Strange(text); ear.English(text) || len(strange) > 0 {
						t.Errorf("%s says %q: %q are no German", id, text, strange)
					}
				}
				if !slices.ContainsFunc(textsOf(before[id]), ear.English) {
					t.Errorf("%s in English: the ear hears no English", id)
				}
				for _, svg := range []string{string(f.Wide), string(f.Narrow)} {
					if svg != "" && !strings.HasPrefix(id, "map") {
						for _, fault := range illegible(t, svg) {
							t.Errorf("%s: %s", id, fault)
						}
					}
				}
			}
		})
	}
}

// asked draws nothing; the figure is wanted for its live form.
type asked struct {
	want *Want
	Drawer
}

// everyWanted makes every figure with a context that wants one of them.
func everyWanted(t *testing.T, m *Maker, in inputs, want *Want) {
	t.Helper()
	ctx, p := Wanting(context.Background(), want), in.pattern()
	last := in.days[len(in.days)-1].Date
	from := usage.DateOf(2025, time.March, 1)
	points := []usage.ChargePoint{{Date: from, Low: 80, Value: 90, High: 100}, {Date: from + 90, Low: 10, Value: 20, High: 30}}
	var errs []error
	keep := func(_ Figure, err error) { errs = append(errs, err) }
	keep(m.ByHour(ctx, "hour", p))
	keep(m.HourByWeekday(ctx, "week", p))
	keep(m.ByMonth(ctx, "month", in.months))
	keep(m.BySeason(ctx, "season", in.months, true))
	keep(m.Timeline(ctx, "time", in.days))
	keep(m.Stretch(ctx, "stretch", in.days, last-30, last-20))
	keep(m.BySite(ctx, "sites", "spring 2024", siteRates(in)))
	keep(m.Daylight(ctx, "sun", DaylightIn{Site: usage.Site{Latitude: 52, Longitude: -8, Zone: "Europe/Dublin"}, Visits: visitsAt(500), Days: coveredDays(365), From: from, To: from + 364}))
	keep(m.Charge(ctx, "charge", points, from+40))
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestTipsInGerman(t *testing.T) {
	ear, err := wordstest.NewEar("de", names...)
	if err != nil {
		t.Fatal(err)
	}
	m := New(&recorder{})
	in := made(420, gappy, 2)
	for _, text := range tipsOf(t, m.In(german), in) {
		if strange := ear.Strange(text); ear.English(text) || len(strange) > 0 {
			t.Errorf("a tip says %q: %q are no German", text, strange)
		}
	}
	if !slices.ContainsFunc(tipsOf(t, m, in), ear.English) {
		t.Error("tips in English: the ear hears no English")
	}
}

// Weeks begin on the day of the region, clocks have as many hours as it says, numbers
// have its marks and dates its order.
func TestFiguresFollowTheRegion(t *testing.T) {
	ctx, in := context.Background(), made(420, gappy, 200)
	american := words.Of(usage.Region{Language: "en", Dates: "mdy", Decimal: ".", FirstDay: 7, Clock: 12})
	draws := &recorder{}
	m := New(draws).In(american)
	f, err := m.ByWeekday(ctx, "weekday", in.pattern())
	if err != nil {
		t.Fatal(err)
	}
	if first, last := f.Table.Rows[0][0], f.Table.Rows[6][0]; first != "Sunday" || last != "Saturday" || f.Table.Visits[0].Weekday != 7 {
		t.Errorf("weekdays go from %s (%d) to %s, want Sunday (7) to Saturday", first, f.Table.Visits[0].Weekday, last)
	}
	if f, err = m.HourByWeekday(ctx, "week", in.pattern()); err != nil {
		t.Fatal(err)
	}
	if got := f.Table.Rows[24+13][0]; got != "Monday 1 pm–2 pm" {
		t.Errorf("the week's hour 37 is %q, want Monday 1 pm–2 pm", got)
	}
	english, err := New(draws).HourByWeekday(ctx, "week", in.pattern())
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range english.Table.Rows { // the same cells, begun a day later
		moved := f.Table.Rows[(i+24)%usage.HoursOfWeek]
		if fmt.Sprint(row[1:]) != fmt.Sprint(moved[1:]) {
			t.Errorf("%s has %q, and %s %q", row[0], row[1:], moved[0], moved[1:])
		}
	}
	if f, err = m.Timeline(ctx, "time", in.days); err != nil {
		t.Fatal(err)
	}
	if got := f.Table.Rows[0][0]; got != "March 3, 2024" { // the Sunday before Wednesday 6 March
		t.Errorf("the first week begins on %s, want March 3, 2024", got)
	}
	for _, v := range f.Table.Visits {
		if v.From.Weekday() != 7 || v.To.Weekday() != 6 {
			t.Errorf("a week goes from %s to %s, want Sunday to Saturday", v.From, v.To)
		}
	}
	draws.options = nil
	if f, err = New(draws).In(german).Timeline(ctx, "time", in.days); err != nil {
		t.Fatal(err)
	}
	axis := draws.options[0]["yAxis"].([]any)[0].(map[string]any)["axisLabel"].(map[string]any)["words"]
	if got := axis.(map[string]any)["20000"]; got != "20.000" {
		t.Errorf("20000 on the axis = %v of %v, want 20.000", got, axis)
	}
	if !strings.HasPrefix(f.Table.Rows[0][0], "4. März 2024") || !strings.Contains(f.Table.Rows[3][1], ".") {
		t.Errorf("the first week is %q and the fourth %q, want German dates and numbers", f.Table.Rows[0], f.Table.Rows[3])
	}
}
