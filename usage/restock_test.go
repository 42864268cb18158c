package usage

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// shelf is a box that is opened by chance so many times an hour, and on Saturdays from
// 10:00 to 13:00 so many times more.
func shelf(weeks int, rate, more float64, seed uint64) RestockIn {
	random := rand.New(rand.NewPCG(seed, 1))
	monday := DateOf(2025, 1, 6)
	in := RestockIn{Site: Site{Code: "MILL", Zone: "UTC", InstalledOn: monday}, Now: int64(monday)*daySeconds + int64(weeks)*weekSeconds}
	in.Coverage = []Stretch{{int64(monday) * daySeconds, in.Now, Recording}}
	for h := range weeks * HoursOfWeek {
		r := rate
		if c := h % HoursOfWeek; c >= 5*24+10 && c < 5*24+13 {
			r *= more
		}
		for x := random.ExpFloat64() / r; x < 1; x += random.ExpFloat64() / r {
			in.Visits = append(in.Visits, int64(monday)*daySeconds+int64((float64(h)+x)*hourSeconds))
		}
	}
	return in
}

func TestBusiestWindow(t *testing.T) {
	f, err := RestockOutlook(shelf(30, 0.4, 6, 3))
	if err != nil {
		t.Fatal(err)
	}
	if want := (WeekWindow{6, 10, 3}); f.Busiest == nil || *f.Busiest != want || !f.Clear {
		t.Errorf("busiest = %+v, clear %v, want %+v, clear", f.Busiest, f.Clear, want)
	}
	if f.Rate.Low > 2.4 || f.Rate.High < 2.4 {
		t.Errorf("rate = %+v, want 2.4 an hour within", f.Rate)
	}
}

// Where all hours are alike, the busiest of them looks busier than it is; its rate,
// measured in other weeks, must not, and no window may be said to stand out.
func TestBusiestOfAlike(t *testing.T) {
	held, clear, looks := 0, 0, 0
	const cases = 60
	for seed := range uint64(cases) {
		f, err := RestockOutlook(shelf(20, 0.3, 1, seed))
		if err != nil {
			t.Fatal(err)
		}
		if f.Rate.Low <= 0.3 && 0.3 <= f.Rate.High {
			held++
		}
		if f.Looks.Low > 0.3 {
			looks++
		}
		if f.Clear {
			clear++
		}
	}
	t.Logf("limits held the truth in %d of %d, those of the weeks that it was chosen by missed it in %d; clear in %d", held, cases, looks, clear)
	if held < cases*9/10 {
		t.Errorf("limits held the truth in %d of %d, want nine in ten", held, cases)
	}
	if clear > cases/20 {
		t.Errorf("a window stood out in %d of %d, where none does", clear, cases)
	}
	if looks < cases/3 {
		t.Errorf("the choice misled in %d of %d only: the check checks nothing", looks, cases)
	}
}

func TestRestockWithoutRecords(t *testing.T) {
	f, err := RestockOutlook(RestockIn{Site: Site{Zone: "UTC"}})
	if err != nil || f.Busiest != nil || f.Rate != nil || f.Books != nil {
		t.Errorf("RestockOutlook without records = %+v, %v, want nothing said", f, err)
	}
}

// Books go by chance with every visit; the range given at the last count must hold the
// day on which the shelf is bare.
func TestShelfEmpties(t *testing.T) {
	held, said := 0, 0
	const cases = 60
	for seed := range uint64(cases) {
		in := shelf(40, 0.2, 1, seed)
		random := rand.New(rand.NewPCG(seed, 2))
		books, next := int32(40), 0
		counts := []int64{in.Coverage[0].From + 1, in.Coverage[0].From + 5*weekSeconds, in.Coverage[0].From + 10*weekSeconds, in.Coverage[0].From + 15*weekSeconds}
		bare := int64(0)
		for _, at := range in.Visits {
			for next < len(counts) && counts[next] <= at {
				brought := max(0, 60-books)
				if next == 0 {
					brought = 0
				}
				books += brought
				now := books
				in.Calls = append(in.Calls, ServiceCall{At: counts[next], Kinds: []CallKind{CallRestock}, BooksIn: &brought, BooksNow: &now})
				next++
			}
			if x := random.Float64(); x < 0.4 {
				books--
			} else if x < 0.6 {
				books -= 2
			} else if x < 0.85 {
				books++
			}
			if next == len(counts) && books <= 0 {
				bare = at
				break
			}
		}
		if bare == 0 {
			continue
		}
		in.Now = counts[len(counts)-1] + daySeconds
		in.Coverage[0].To = in.Now
		n, _ := slices.BinarySearch(in.Visits, in.Now)
		in.Visits = in.Visits[:n]
		f, err := RestockOutlook(in)
		if err != nil || f.Books == nil || f.Books.Empty.Low == nil {
			t.Fatalf("seed %d: RestockOutlook = %+v, %v, want books", seed, f, err)
		}
		said++
		date := Date(bare / daySeconds)
		if e := f.Books.Empty; *e.Low <= date && (e.High == nil || date <= *e.High) {
			held++
		}
		if f.Books.Spans != 3 || f.Books.Counted != 60 {
			t.Errorf("seed %d: %+v, want three spans and 60 books", seed, f.Books)
		}
	}
	t.Logf("%d of %d held", held, said)
	if said < cases/2 || held*10 < said*9 {
		t.Errorf("the range held %d of %d bare shelves, want nine in ten of at least %d", held, said, cases/2)
	}
}
