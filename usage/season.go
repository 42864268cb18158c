package usage

import (
	"fmt"
	"strconv"
	"strings"
)

// Hemisphere is the half of the earth that decides a season's name.
type Hemisphere uint8

// The hemispheres.
const (
	North Hemisphere = iota
	South
)

// HemisphereOf returns the hemisphere of a latitude in degrees. The equator,
// latitude 0, counts as north.
func HemisphereOf(latitude float64) Hemisphere {
	if latitude < 0 {
		return South
	}
	return North
}

// Season is a meteorological season: the three whole civil months that begin
// with December, March, June or September. (UK Met Office, "When does Autumn
// start? Defining seasons", 2012; half a year apart in the two hemispheres.)
//
// A season's name is its year and its word, as in 2026-spring. December to
// February has both its years in its name: 2025-26-winter in the north,
// 2025-26-summer in the south. Two years in a name: common practice, no source.
// The other seasons carry the plain year in both hemispheres, so that 2026-spring
// is March to May in the north and September to November in the south.
type Season struct {
	Start Month // its first month
	In    Hemisphere
}

// The words of the seasons by hemisphere, from the one that begins in December.
var seasonWords = [2][4]string{
	North: {"winter", "spring", "summer", "autumn"},
	South: {"summer", "autumn", "winter", "spring"},
}

// SeasonOf returns the season that holds d.
func SeasonOf(d Date, h Hemisphere) Season { return MonthOf(d).season(h) }

// season returns the season that holds m.
func (m Month) season(h Hemisphere) Season {
	return Season{Start: m - Month(((int(m)+1)%3+3)%3), In: h}
}

// ParseSeason reads a season's name as String writes it. The hemisphere decides
// which months a name means, and whether it must have one year or two. The error
// is a Fault of kind Invalid.
func ParseSeason(name string, h Hemisphere) (Season, error) {
	years, word, ok := cutLast(name, "-")
	if ok {
		for quarter, w := range seasonWords[h] {
			if w != word {
				continue
			}
			if year, ok := seasonYear(years, quarter == 0); ok {
				return Season{Start: Month(12*year + 3*quarter - 1), In: h}, nil
			}
		}
	}
	across := seasonWords[h][0]
	return Season{}, &Fault{Kind: Invalid, What: fmt.Sprintf("season %q is not known", name),
		Try: fmt.Sprintf("write it as 2026-spring, and %s with both years: 2025-26-%s", across, across)}
}

// seasonYear reads "2026", or "2025-26" where the season spans two years, and
// returns the year of its January.
func seasonYear(s string, spans bool) (int, bool) {
	if spans {
		first, second, ok := strings.Cut(s, "-")
		year, good := fourDigits(first)
		return year + 1, ok && good && second == fmt.Sprintf("%02d", (year+1)%100)
	}
	return fourDigits(s)
}

func fourDigits(s string) (int, bool) {
	n, err := strconv.ParseUint(s, 10, 16)
	return int(n), err == nil && len(s) == 4
}

// cutLast cuts s around the last sep.
func cutLast(s, sep string) (before, after string, ok bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// String returns the season's name.
func (s Season) String() string {
	year, month := s.Start.YM()
	word := seasonWords[s.In&1][int(month)%12/3]
	if month == 12 {
		return fmt.Sprintf("%04d-%02d-%s", year, (year+1)%100, word)
	}
	return fmt.Sprintf("%04d-%s", year, word)
}

// MarshalText writes the season's name.
func (s Season) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Word returns the season's name without its year: "spring".
func (s Season) Word() string {
	_, month := s.Start.YM()
	return seasonWords[s.In&1][int(month)%12/3]
}

// First returns the season's first date.
func (s Season) First() Date { return s.Start.First() }

// Last returns the season's last date.
func (s Season) Last() Date { return (s.Start + 3).First() - 1 }

// Days returns the season's length: 90 to 92 days.
func (s Season) Days() int { return int(s.Last()-s.First()) + 1 }

// Months returns the season's three months.
func (s Season) Months() [3]Month { return [3]Month{s.Start, s.Start + 1, s.Start + 2} }

// Holds reports whether the season holds m.
func (s Season) Holds(m Month) bool { return m >= s.Start && m < s.Start+3 }

// Next returns the season after s.
func (s Season) Next() Season { return Season{s.Start + 3, s.In} }

// Previous returns the season before s.
func (s Season) Previous() Season { return Season{s.Start - 3, s.In} }

// LastYear returns the same season a year before s.
func (s Season) LastYear() Season { return Season{s.Start - 12, s.In} }
