package usage

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// oddZones are zones with half-hour and 45-minute offsets, half-hour changes,
// changes at midnight, a lost date, offsets in odd seconds, and none of these.
var oddZones = []string{
	"Australia/Lord_Howe", "Europe/Dublin", "America/St_Johns", "Asia/Kathmandu", "Pacific/Chatham",
	"Atlantic/Azores", "America/Sao_Paulo", "Asia/Beirut", "Pacific/Apia", "Africa/Monrovia",
	"Africa/Casablanca", "America/Havana", "Europe/Lisbon", "America/Chicago", "UTC",
}

func TestTransitions(t *testing.T) {
	z, checked, skipped := zones{}, 0, 0
	for _, r := range reference(t, "transitions.csv") {
		if r.int("tzdata_2025c_agrees") == 0 {
			skipped++
			continue
		}
		zone, at := z.get(t, r.text("zone")), r.utc("utc")
		if got, want := zone.OffsetAt(at-1), r.offset("offset_before"); got != want {
			t.Errorf("%s OffsetAt(%s − 1 s) = %d, want %d", zone, stamp(at), got, want)
		}
		if got, want := zone.OffsetAt(at), r.offset("offset_after"); got != want {
			t.Errorf("%s OffsetAt(%s) = %d, want %d", zone, stamp(at), got, want)
		}
		if got, want := at+int64(zone.OffsetAt(at)), r.wall("wall_after"); got != want {
			t.Errorf("%s wall at %s = %s, want %s", zone, stamp(at), stamp(got), stamp(want))
		}
		checked++
	}
	t.Logf("%d transitions checked, %d skipped", checked, skipped)
	wantChecked(t, "transitions.csv", checked, 50)
}

func TestResolveReference(t *testing.T) {
	kinds := map[string]WallKind{"unique": Unique, "gap": Gap, "overlap": Overlap}
	z, checked := zones{}, map[WallKind]int{}
	for _, r := range reference(t, "civil_time.csv") {
		if r.int("tzdata_2025c_agrees") == 0 {
			continue
		}
		zone, wall := z.get(t, r.text("zone")), r.wall("local")
		wantKind, ok := kinds[r.text("kind")]
		if !ok {
			t.Fatalf("civil_time.csv line %d: kind %q", r.line, r.text("kind"))
		}
		var want [2]int64
		switch wantKind {
		case Unique:
			want = [2]int64{r.utc("utc_first"), r.utc("utc_first")}
		case Overlap:
			want = [2]int64{r.utc("utc_first"), r.utc("utc_second")}
		case Gap:
			want = [2]int64{r.utc("gap_utc_using_offset_before"), r.utc("gap_utc_using_offset_after")}
		}
		first, second, kind := zone.Resolve(wall)
		if kind != wantKind || first != want[0] || second != want[1] {
			t.Errorf("%s Resolve(%s) = %s, %s, %d, want %s, %s, %d", zone, r.text("local"),
				stamp(first), stamp(second), kind, stamp(want[0]), stamp(want[1]), wantKind)
		}
		checked[kind]++
	}
	t.Logf("checked: %v", checked)
	wantChecked(t, "civil_time.csv, unique", checked[Unique], 100)
	wantChecked(t, "civil_time.csv, gap", checked[Gap], 50)
	wantChecked(t, "civil_time.csv, overlap", checked[Overlap], 50)
}

func TestHoursInDay(t *testing.T) {
	z, checked := zones{}, 0
	for _, r := range reference(t, "hours_in_day.csv") {
		if r.int("tzdata_2025c_agrees") == 0 {
			continue
		}
		zone, date := z.get(t, r.text("zone")), r.date("date")
		start, end := zone.StartOfDay(date), zone.StartOfDay(date+1)
		if start != r.utc("start_utc") || end != r.utc("end_utc") {
			t.Errorf("%s StartOfDay(%s), of the day after = %s, %s, want %s, %s", zone, date,
				stamp(start), stamp(end), r.text("start_utc"), r.text("end_utc"))
		}
		if got, want := float64(end-start)/hourSeconds, r.float("hours"); got != want {
			t.Errorf("%s hours of %s = %v, want %v", zone, date, got, want)
		}
		if _, second := zone.Civil(start); second != clockSeconds(r.text("first_wall_time")) {
			t.Errorf("%s first wall time of %s = %d s, want %s", zone, date, second, r.text("first_wall_time"))
		}
		checked++
	}
	wantChecked(t, "hours_in_day.csv", checked, 150)
}

// clockSeconds turns hh:mm into seconds, −1 where it is none.
func clockSeconds(s string) int32 {
	at, err := time.Parse("15:04", s)
	if err != nil {
		return -1
	}
	return int32(at.Hour()*hourSeconds + at.Minute()*60)
}

func TestStartOfDayLostDate(t *testing.T) {
	// Samoa went from 2011-12-29 straight to 2011-12-31 (tzdata, file australasia).
	apia, lost := loadZone(t, "Pacific/Apia"), DateOf(2011, 12, 30)
	want := instant(t, "2011-12-30T10:00:00Z")
	for _, d := range []Date{lost, lost + 1} {
		if got := apia.StartOfDay(d); got != want {
			t.Errorf("StartOfDay(%s) = %s, want %s", d, stamp(got), stamp(want))
		}
	}
	if first, second, kind := apia.Resolve(int64(lost)*daySeconds + 12*hourSeconds); kind != Gap || first < want || second >= want {
		t.Errorf("Resolve(lost noon) = %s, %s, %d, want a gap around %s", stamp(first), stamp(second), kind, stamp(want))
	}
}

// The time package, asked instant by instant, is the model of OffsetAt and Civil.
func TestZoneAgreesWithTimePackage(t *testing.T) {
	for _, name := range oddZones {
		zone := loadZone(t, name)
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		cursor := zone.Cursor()
		rapid.Check(t, func(t *rapid.T) {
			unix := rapid.OneOf(
				rapid.Int64Range(tableFrom, tableTo), // in the table, and on both sides of it
				rapid.Int64Range(-4e9, 8e9),
				rapid.Custom(func(t *rapid.T) int64 { // around changes
					s := rapid.SampledFrom(zone.spans).Draw(t, "span")
					return min(max(s.from, -4e9), 8e9) + rapid.Int64Range(-2, 2).Draw(t, "near")
				}),
			).Draw(t, "unix")
			at := time.Unix(unix, 0).In(loc)
			_, offset := at.Zone()
			date, second := DateOf(at.Date()), int32(at.Hour()*3600+at.Minute()*60+at.Second())
			if got := zone.OffsetAt(unix); got != int32(offset) {
				t.Fatalf("%s OffsetAt(%d) = %d, want %d", name, unix, got, offset)
			}
			if d, s := zone.Civil(unix); d != date || s != second {
				t.Fatalf("%s Civil(%d) = %s, %d, want %s, %d", name, unix, d, s, date, second)
			}
			if d, s := cursor.Civil(unix); d != date || s != second {
				t.Fatalf("%s cursor Civil(%d) = %s, %d, want %s, %d", name, unix, d, s, date, second)
			}
		})
	}
}

// Whatever Resolve says must be what a look at the clock confirms.
func TestResolveInvertsTheClock(t *testing.T) {
	for _, name := range oddZones {
		zone := loadZone(t, name)
		shows := func(unix int64) int64 { return unix + int64(zone.OffsetAt(unix)) }
		rapid.Check(t, func(t *rapid.T) {
			s := rapid.SampledFrom(zone.spans).Draw(t, "span")
			wall := min(max(s.from, -4e9), 8e9) + rapid.Int64Range(-86400, 86400).Draw(t, "near")
			first, second, kind := zone.Resolve(wall)
			ok := shows(first) == wall && shows(second) == wall
			switch kind {
			case Unique:
				ok = ok && first == second
			case Overlap:
				ok = ok && first < second
			case Gap:
				ok = first > second && shows(first) > wall && shows(second) < wall &&
					wall == second+int64(zone.OffsetAt(first)) && wall == first+int64(zone.OffsetAt(second))
			}
			if !ok {
				t.Fatalf("%s Resolve(%d) = %d, %d, %d: the clock shows %d, %d", name, wall, first, second, kind, shows(first), shows(second))
			}
			// And every instant is among the answers for what it shows.
			at := wall
			if a, b, k := zone.Resolve(shows(at)); k == Gap || (a != at && b != at) {
				t.Fatalf("%s Resolve(what the clock shows at %d) = %d, %d, %d", name, at, a, b, k)
			}
		})
	}
}

// StartOfDay is the first second of its date: the date is there, and not a second
// or any quarter of an hour of the day and a half before.
func TestStartOfDayIsFirst(t *testing.T) {
	for _, name := range oddZones {
		zone := loadZone(t, name)
		rapid.Check(t, func(t *rapid.T) {
			s := rapid.SampledFrom(zone.spans).Draw(t, "span")
			near, _ := splitWall(min(max(s.from, 0), 4e9))
			d := near + Date(rapid.Int32Range(-2, 2).Draw(t, "days"))
			if name == "Pacific/Apia" && d == DateOf(2011, 12, 30) {
				return // the date does not exist; TestStartOfDayLostDate
			}
			start := zone.StartOfDay(d)
			if got, _ := zone.Civil(start); got != d {
				t.Fatalf("%s StartOfDay(%s) = %s, which is on %s", name, d, stamp(start), got)
			}
			for back := int64(1); back < 129600; back += 899 {
				if got, _ := zone.Civil(start - back); got >= d {
					t.Fatalf("%s StartOfDay(%s) = %s, but %d s before it was %s", name, d, stamp(start), back, got)
				}
			}
		})
	}
}

func TestLoadZoneRefuses(t *testing.T) {
	for _, name := range []string{"", "Local", "Nowhere/Atall", "../etc"} {
		if z, err := LoadZone(name); KindOf(err) != Invalid {
			t.Errorf("LoadZone(%q) = %v, %v, want an invalid fault", name, z, err)
		}
	}
}

func BenchmarkCivil(b *testing.B) {
	zone := loadZone(b, "Australia/Lord_Howe")
	instants := make([]int64, 1_000_000)
	for i := range instants {
		instants[i] = 1.6e9 + int64(i)*300 + rand.Int64N(300)
	}
	var sum int64
	b.Run("zone/million", func(b *testing.B) {
		for b.Loop() {
			for _, at := range instants {
				_, s := zone.Civil(at)
				sum += int64(s)
			}
		}
	})
	b.Run("cursor/million", func(b *testing.B) {
		cursor := zone.Cursor()
		for b.Loop() {
			for _, at := range instants {
				_, s := cursor.Civil(at)
				sum += int64(s)
			}
		}
	})
	b.Run("resolve/million", func(b *testing.B) {
		for b.Loop() {
			for _, at := range instants {
				first, _, _ := zone.Resolve(at)
				sum += first
			}
		}
	})
	if sum == 0 {
		b.Fatal("nothing converted")
	}
}

// The table is without holes, and each change in it is a change of offset. It
// covers New Year's Eve of leap years far ahead, where Go 1.26's own bounds fail.
func TestZoneTable(t *testing.T) {
	for _, name := range oddZones {
		zone := loadZone(t, name)
		for i, s := range zone.spans[1:] {
			if before := zone.spans[i]; before.to != s.from || before.offset == s.offset || s.from >= s.to {
				t.Errorf("%s span %d = %v after %v, want it to follow with another offset", name, i+1, s, before)
			}
		}
		if first, last := zone.spans[0], zone.spans[len(zone.spans)-1]; first.from > tableFrom || last.to < tableTo {
			t.Errorf("%s table = %s to %s", name, stamp(first.from), stamp(last.to))
		}
	}
	if got, least := len(loadZone(t, "Europe/Lisbon").spans), 2*(2100-1977); got < least {
		t.Errorf("Europe/Lisbon spans = %d, want %d at least (two a year from 1977 to 2100)", got, least)
	}
}
