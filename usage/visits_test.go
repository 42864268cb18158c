package usage

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestClassify(t *testing.T) {
	limits := Thresholds{RattleS: 2, AjarS: 1800, JoinS: 180}
	for _, c := range []struct {
		name string
		in   Opening
		want Class
	}{
		{"no seconds at all", Opening{OpenS: 0}, Rattle},
		{"just under the rattle limit", Opening{OpenS: 1}, Rattle},
		{"at the rattle limit", Opening{OpenS: 2}, Visitor},
		{"at the ajar limit", Opening{OpenS: 1800}, Visitor},
		{"just over the ajar limit", Opening{OpenS: 1801}, Ajar},
		{"unknown seconds", Opening{OpenS: Unknown}, Visitor},
		{"removal", Opening{OpenS: 30, Removal: true}, Service},
		{"removal, unknown seconds", Opening{OpenS: Unknown, Removal: true}, Service},
		{"removal, left ajar", Opening{OpenS: 9999, Removal: true}, Service},
	} {
		if got := Classify(c.in, limits); got != c.want {
			t.Errorf("%s: Classify(%d s) = %s, want %s", c.name, c.in.OpenS, got, c.want)
		}
	}
}

// timed returns a timed opening.
func timed(at int64, openS int32) Opening { return Opening{At: at, OpenS: openS, Timed: true} }

// visitsOf returns the visit numbers of openings in the order of a logbook.
func visitsOf(openings []Opening, limits Thresholds) []int32 {
	j := joiner{joinS: int64(limits.JoinS)}
	var visits []int32
	for _, o := range openings {
		o.Class = Classify(o, limits)
		j.number(&o)
		visits = append(visits, o.Visit)
	}
	return visits
}

func TestVisits(t *testing.T) {
	limits := Thresholds{RattleS: 2, AjarS: 1800, JoinS: 180}
	untimed := Opening{OpenS: 20}
	removal := timed(1000, 5)
	removal.Removal = true
	for _, c := range []struct {
		name     string
		openings []Opening
		want     []int32
	}{
		{"none", nil, nil},
		{"one", []Opening{timed(1000, 20)}, []int32{1}},
		{"just within the join limit", []Opening{timed(1000, 20), timed(1200, 5)}, []int32{1, 1}},
		{"just beyond it", []Opening{timed(1000, 20), timed(1201, 5)}, []int32{1, 2}},
		{"unknown seconds count 0", []Opening{timed(1000, Unknown), timed(1180, 5), timed(1366, 5)}, []int32{1, 1, 2}},
		{"a chain", []Opening{timed(1000, 60), timed(1240, 60), timed(1480, 60)}, []int32{1, 1, 1}},
		{"before the last close", []Opening{timed(1000, 900), timed(1300, 5)}, []int32{1, 1}},
		{"the last close counts, not the latest", []Opening{timed(1000, 900), timed(1300, 5), timed(1700, 5)}, []int32{1, 1, 2}},
		{"a small step back", []Opening{timed(1000, 20), timed(820, 5)}, []int32{1, 1}},
		{"a step back beyond the limit", []Opening{timed(1000, 20), timed(819, 5)}, []int32{1, 2}},
		{"rattle in between", []Opening{timed(1000, 20), timed(1100, 1), timed(1200, 5)}, []int32{1, Unknown, 1}},
		{"removal in between", []Opening{timed(1000, 20), removal, timed(1200, 5)}, []int32{1, Unknown, 1}},
		{"ajar is a visit of its own", []Opening{timed(1000, 20), timed(1100, 1801), timed(1200, 5)}, []int32{1, 2, 1}},
		{"untimed is a visit of its own", []Opening{timed(1000, 20), untimed, untimed, timed(1200, 5)}, []int32{1, 2, 3, 1}},
		{"untimed rattle is none", []Opening{{OpenS: 0}, timed(0, 20)}, []int32{Unknown, 1}},
	} {
		if got := visitsOf(c.openings, limits); !slices.Equal(got, c.want) {
			t.Errorf("%s: visits = %v, want %v", c.name, got, c.want)
		}
	}
}

// slowVisits writes the rules down one by one: an opening's visit is that of the
// first opening of the chain that it joins, numbered by the chains before it.
func slowVisits(openings []Opening, limits Thresholds) []int32 {
	visitor := func(o Opening) bool { return o.Timed && Classify(o, limits) == Visitor }
	var first func(i int) int
	first = func(i int) int {
		if !visitor(openings[i]) {
			return i
		}
		for k := i - 1; k >= 0; k-- {
			if !visitor(openings[k]) {
				continue
			}
			closed := openings[k].At
			if openings[k].OpenS != Unknown {
				closed += int64(openings[k].OpenS)
			}
			late := openings[i].At-closed > int64(limits.JoinS)
			stepsBack := openings[k].At-openings[i].At > int64(limits.JoinS)
			if late || stepsBack {
				return i
			}
			return first(k)
		}
		return i
	}
	numbers, visits := map[int]int32{}, []int32(nil)
	for i, o := range openings {
		if c := Classify(o, limits); c == Rattle || c == Service {
			visits = append(visits, Unknown)
			continue
		}
		f := first(i)
		if numbers[f] == 0 {
			numbers[f] = int32(len(numbers) + 1)
		}
		visits = append(visits, numbers[f])
	}
	return visits
}

// drawOpenings makes up a short logbook with everything that can happen in one.
func drawOpenings(t *rapid.T, from int64) []Opening {
	at := from
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Opening {
		at += rapid.OneOf(rapid.Int64Range(-30, 400), rapid.Int64Range(-400, 90000)).Draw(t, "step")
		o := timed(at, rapid.OneOf(
			rapid.Just(int32(Unknown)), rapid.Int32Range(0, 5), rapid.Int32Range(0, 200), rapid.Int32Range(900, 4000),
		).Draw(t, "open"))
		if rapid.IntRange(0, 9).Draw(t, "untimed") == 0 {
			o.Timed, o.At = false, rapid.Int64().Draw(t, "nonsense")
		}
		o.Removal = rapid.IntRange(0, 14).Draw(t, "removal") == 0
		return o
	}), 0, 40).Draw(t, "openings")
}

func drawThresholds(t *rapid.T) Thresholds {
	return Thresholds{
		RattleS: rapid.Int32Range(0, 10).Draw(t, "rattle"),
		AjarS:   rapid.Int32Range(100, 2000).Draw(t, "ajar"),
		JoinS:   rapid.Int32Range(0, 300).Draw(t, "join"),
	}
}

func TestVisitsAgainstSlowModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		openings, limits := drawOpenings(t, 1.7e9), drawThresholds(t)
		got, want := visitsOf(openings, limits), slowVisits(openings, limits)
		if !slices.Equal(got, want) {
			t.Fatalf("visits of %v = %v, want %v", openings, got, want)
		}
	})
}
