package usage

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestExposureReference(t *testing.T) {
	want := map[string]map[int]int64{}
	for _, r := range reference(t, "exposure.csv") {
		if want[r.text("interval")] == nil {
			want[r.text("interval")] = map[int]int64{}
		}
		want[r.text("interval")][24*int(r.int("iso_weekday")-1)+int(r.int("hour"))] = r.int("seconds")
	}
	cells, intervals := 0, 0
	for _, r := range reference(t, "exposure_intervals.csv") {
		zone := loadZone(t, r.text("zone"))
		got := ExposureOf(zone, []Stretch{{r.utc("utc_from"), r.utc("utc_to"), Recording}})
		if got.TotalS != r.int("total_s") {
			t.Errorf("%s total = %d, want %d", r.text("interval"), got.TotalS, r.int("total_s"))
		}
		for cell, seconds := range want[r.text("interval")] {
			if got.Hours[cell] != seconds {
				t.Errorf("%s (%s) weekday %d hour %d = %d s, want %d", r.text("interval"), zone,
					cell/24+1, cell%24, got.Hours[cell], seconds)
			}
			cells++
		}
		intervals++
	}
	wantChecked(t, "exposure_intervals.csv", intervals, 7)
	wantChecked(t, "exposure.csv", cells, 7*HoursOfWeek)
}

// monthCell is one hour of the week in one month.
type monthCell struct {
	month Month
	cell  int
}

// flat is an Exposure as maps without empty cells.
type flat struct {
	total  int64
	hours  map[int]int64
	days   map[Date]int64
	months map[monthCell]int64
}

func newFlat() flat {
	return flat{hours: map[int]int64{}, days: map[Date]int64{}, months: map[monthCell]int64{}}
}

func flatten(e Exposure) flat {
	f := newFlat()
	f.total = e.TotalS
	for c, s := range e.Hours {
		if s != 0 {
			f.hours[c] = s
		}
	}
	for _, d := range e.Days {
		f.days[d.Date] += int64(d.Seconds)
	}
	for _, m := range e.Months {
		for c, s := range m.Seconds {
			if s != 0 {
				f.months[monthCell{m.Month, c}] += int64(s)
			}
		}
	}
	return f
}

func (f flat) equal(g flat) bool {
	return f.total == g.total && maps.Equal(f.hours, g.hours) && maps.Equal(f.days, g.days) && maps.Equal(f.months, g.months)
}

// slowExposure looks at the wall clock once for each second.
func slowExposure(z *Zone, stretches []Stretch) flat {
	f := newFlat()
	for _, s := range stretches {
		for at := s.From; s.Kind == Recording && at < s.To; at++ {
			date, second := z.Civil(at)
			cell := 24*(date.Weekday()-1) + int(second)/3600
			f.total++
			f.hours[cell]++
			f.days[date]++
			f.months[monthCell{MonthOf(date), cell}]++
		}
	}
	return f
}

func TestExposureAgainstSecondBySecond(t *testing.T) {
	for _, name := range []string{"Australia/Lord_Howe", "America/St_Johns", "Atlantic/Azores", "Asia/Beirut", "Pacific/Apia", "Pacific/Chatham"} {
		zone := loadZone(t, name)
		t.Run(name, func(t *testing.T) {
			across := 0 // stretches that recorded across a change
			rapid.Check(t, func(t *rapid.T) {
				s := rapid.SampledFrom(zone.spans[1:]).Draw(t, "span")
				at := s.from - rapid.Int64Range(0, 7200).Draw(t, "before")
				var stretches []Stretch
				for range rapid.IntRange(1, 3).Draw(t, "stretches") {
					end := at + rapid.OneOf(rapid.Int64Range(0, 6000), rapid.Int64Range(3000, 9000)).Draw(t, "length")
					kind := rapid.SampledFrom([]StretchKind{Recording, Recording, Away, Outage}).Draw(t, "kind")
					stretches = append(stretches, Stretch{at, end, kind})
					if kind == Recording && at < s.from && end > s.from {
						across++
					}
					at = end + rapid.Int64Range(0, 4000).Draw(t, "gap")
				}
				got, want := flatten(ExposureOf(zone, stretches)), slowExposure(zone, stretches)
				if !got.equal(want) {
					t.Fatalf("ExposureOf(%s, %v) = %v, want %v", zone, stretches, got, want)
				}
			})
			if across < 5 {
				t.Errorf("%d stretches across a change of offset, want 5 at least", across)
			}
		})
	}
}

// A date in two pieces: on 2006-10-29 at 00:01 St. John's clocks went back to 23:01
// of the 28th (tzdata, file northamerica), so that the 28th had 25 hours, its last
// 59 minutes after the first minute of the 29th.
func TestExposureOfDateInTwoPieces(t *testing.T) {
	zone, sunday := loadZone(t, "America/St_Johns"), DateOf(2006, 10, 29)
	change := zone.StartOfDay(sunday) + 60
	if zone.OffsetAt(change-1)-zone.OffsetAt(change) != hourSeconds {
		t.Fatalf("no change of an hour at %s", stamp(change))
	}
	e := ExposureOf(zone, []Stretch{{change - 60 - daySeconds, change + 25*hourSeconds, Recording}})
	want := []DayExposure{{sunday - 1, daySeconds + 59*60}, {sunday, daySeconds + 60}, {sunday + 1, 60}}
	if !slices.Equal(e.Days, want) {
		t.Errorf("days = %v, want %v", e.Days, want)
	}
}

func TestExposureFromTheEpoch(t *testing.T) {
	e := ExposureOf(loadZone(t, "UTC"), []Stretch{{0, 60, Recording}, {50, 50, Recording}, {90, 70, Recording}})
	thursday0 := 3 * 24
	if e.TotalS != 60 || len(e.Months) != 1 || e.Months[0].Month.String() != "1970-01" || e.Months[0].Seconds[thursday0] != 60 {
		t.Errorf("first minute of 1970 = %d s, %d months, want 60 s on a Thursday of 1970-01", e.TotalS, len(e.Months))
	}
}

// Long stretches: each way of sorting the time must add up to all of it, dates
// and months ascending, no date longer than the zone makes it.
func TestExposureAddsUp(t *testing.T) {
	for _, name := range oddZones {
		zone := loadZone(t, name)
		rapid.Check(t, func(t *rapid.T) {
			from := rapid.Int64Range(0, 4e9).Draw(t, "from")
			to := from + rapid.Int64Range(0, 3e7).Draw(t, "length")
			e := ExposureOf(zone, []Stretch{{from, to, Recording}})
			var hours, days, months int64
			for _, s := range e.Hours {
				hours += s
			}
			for i, d := range e.Days {
				if days += int64(d.Seconds); i > 0 && e.Days[i-1].Date >= d.Date || d.Seconds <= 0 {
					t.Fatalf("%s day %v after %v", name, d, e.Days[max(i-1, 0)])
				}
			}
			for i, m := range e.Months {
				if i > 0 && e.Months[i-1].Month >= m.Month {
					t.Fatalf("%s month %s after %s", name, m.Month, e.Months[i-1].Month)
				}
				for _, s := range m.Seconds {
					months += int64(s)
				}
			}
			if want := to - from; e.TotalS != want || hours != want || days != want || months != want {
				t.Fatalf("%s sums of [%d, %d) = %d, %d, %d, %d, want %d", name, from, to, e.TotalS, hours, days, months, want)
			}
		})
	}
}

func BenchmarkExposureTenYears(b *testing.B) {
	zone := loadZone(b, "Europe/Dublin")
	for b.Loop() {
		if e := ExposureOf(zone, []Stretch{{1.45e9 + 17, 1.45e9 + 315576000, Recording}}); e.TotalS == 0 {
			b.Fatal("nothing counted")
		}
	}
}
