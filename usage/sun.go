package usage

import "math"

// Elevations of the sun's centre, in degrees without refraction, at which the
// light changes.
const (
	// RiseElevation is sunrise and sunset: 34′ of refraction at the horizon and
	// 16′ of the sun's half width (NOAA solar calculation spreadsheet).
	RiseElevation = -0.833
	// CivilElevation is civil dawn and dusk.
	CivilElevation = -6.0
)

// parallax is how much lower the sun on the horizon stands for an observer than it
// would from the middle of the earth, 8.794″ in radians (Meeus, chapter 40).
const parallax = 8.794 / 3600 * math.Pi / 180

var (
	sinRise  = math.Sin(RiseElevation * math.Pi / 180)
	sinCivil = math.Sin(CivilElevation * math.Pi / 180)
)

// Light is how much daylight there is.
type Light uint8

// The kinds of light.
const (
	Daylight Light = iota // the sun at or above −0.833°
	Twilight              // the sun from −6° to −0.833°
	Dark                  // the sun below −6°
)

var lightNames = [...]string{"daylight", "twilight", "dark"}

// String returns the word of l.
func (l Light) String() string { return lightNames[min(int(l), len(lightNames)-1)] }

// Sun follows the sun at one place. It remembers the last day (UTC) it was asked
// about, and so is fast when instants come nearly in order; it must not be shared
// between goroutines.
//
// The position is the low-accuracy one of Jean Meeus, Astronomical Algorithms,
// 2nd edition, 1998, chapters 13, 22, 25 and 28 (equation 28.1), which the NOAA
// solar calculation spreadsheet uses too; it is worked out for the two midnights
// (UTC) around an instant and interpolated linearly, which costs 0.001°. Meeus gives
// 0.01° for the position in our time. Refraction, the observer's height and the
// hills around are left out.
type Sun struct {
	sinLat, cosLat float64
	lon            float64 // rad, east positive
	day            int64   // days since 1970-01-01 (UTC) that from and to enclose
	from, to       solarState
}

// solarState is what of the sun's position depends on the day and the latitude.
// sin(elevation) = a + b·cos(hour angle), before parallax.
type solarState struct {
	a, b     float64 // sin φ sin δ and cos φ cos δ
	equation float64 // equation of time: apparent less mean solar time, rad
}

// NewSun returns the sun at a latitude (north positive) and a longitude (east
// positive), in degrees.
func NewSun(latitude, longitude float64) *Sun {
	s := &Sun{lon: longitude * math.Pi / 180}
	s.sinLat, s.cosLat = math.Sincos(latitude * math.Pi / 180)
	s.load(0)
	return s
}

func (s *Sun) load(day int64) {
	if day == s.day+1 {
		s.from = s.to
	} else {
		s.from = s.state(day)
	}
	s.day, s.to = day, s.state(day+1)
}

// state works out the position at 0 h UTC of a day.
func (s *Sun) state(day int64) solarState {
	declination, equation := solarPosition(day * daySeconds)
	sin, cos := math.Sincos(declination)
	return solarState{a: s.sinLat * sin, b: s.cosLat * cos, equation: equation}
}

// solarPosition returns the sun's apparent declination and the equation of time
// at an instant, in radians (Meeus, chapters 22, 25 and 28).
func solarPosition(unix int64) (declination, equation float64) {
	const (
		rad     = math.Pi / 180
		deltaT  = 69         // s, dynamical time less UT about 2020 (Meeus, chapter 10)
		j2000   = 946728000  // Unix s of 2000-01-01 12:00
		century = 3155760000 // s in a Julian century
	)
	t := (float64(unix-j2000) + deltaT) / century
	meanLongitude := 280.46646 + t*(36000.76983+t*0.0003032)
	anomaly := rad * (357.52911 + t*(35999.05029-t*0.0001537))
	centre := math.Sin(anomaly)*(1.914602-t*(0.004817+t*0.000014)) +
		math.Sin(2*anomaly)*(0.019993-t*0.000101) + math.Sin(3*anomaly)*0.000289
	node := rad * (125.04 - 1934.136*t) // of the moon's orbit
	nutation := -0.00478 * math.Sin(node)
	longitude := rad * (meanLongitude + centre - 0.00569 + nutation)
	obliquity := rad * (23.439291 - t*(0.0130042+t*(0.000000164-t*0.000000504)) + 0.00256*math.Cos(node))

	sinLon, cosLon := math.Sincos(longitude)
	sinObl, cosObl := math.Sincos(obliquity)
	ascension := math.Atan2(cosObl*sinLon, cosLon)
	equation = rad*(meanLongitude-0.0057183+nutation*cosObl) - ascension
	return math.Asin(sinObl * sinLon), math.Remainder(equation, 2*math.Pi)
}

// at returns the sine of the sun's elevation and its hour angle in radians
// (0 when it is highest, not reduced to one turn).
func (s *Sun) at(unix int64) (sinElevation, hourAngle float64) {
	day, second := unix/daySeconds, unix%daySeconds
	if second < 0 {
		day, second = day-1, second+daySeconds
	}
	if day != s.day {
		s.load(day)
	}
	f := float64(second) / daySeconds
	hourAngle = 2*math.Pi*f - math.Pi + s.lon + s.from.equation + f*(s.to.equation-s.from.equation)
	a := s.from.a + f*(s.to.a-s.from.a)
	b := s.from.b + f*(s.to.b-s.from.b)
	sinElevation = a + b*math.Cos(hourAngle)
	return sinElevation - parallax*(1-sinElevation*sinElevation), hourAngle
}

// Elevation returns the height of the sun's centre above the horizon at an
// instant, in degrees, without refraction.
func (s *Sun) Elevation(unix int64) float64 {
	sin, _ := s.at(unix)
	return math.Asin(max(-1, min(1, sin))) * 180 / math.Pi
}

// Light returns the light at an instant.
func (s *Sun) Light(unix int64) Light {
	sin, _ := s.at(unix)
	switch {
	case sin >= sinRise:
		return Daylight
	case sin >= sinCivil:
		return Twilight
	}
	return Dark
}

// PassageKind says whether the sun crosses an elevation in a day.
type PassageKind uint8

// The kinds of passage.
const (
	Normal     PassageKind = iota // it rises above it and sets below it
	AlwaysUp                      // above it all day
	AlwaysDown                    // below it all day
	RisesOnly                     // it rises and stays up: a polar day begins
	SetsOnly                      // it was up and sets: a polar day ends
)

// Passage is the sun's way past one elevation in a day: Unix seconds, to the
// nearest second of the formulas. Rise is meaningless unless the kind is Normal
// or RisesOnly, Set unless it is Normal or SetsOnly.
type Passage struct {
	Kind      PassageKind
	Rise, Set int64
}

// SunDay is the course of the sun in one day, Unix seconds.
type SunDay struct {
	Noon  int64   // the sun at its highest (upper transit)
	Day   Passage // sunrise and sunset
	Civil Passage // civil dawn and dusk
}

// On returns the course of the sun on a civil date: the one around the solar noon
// of that date (the noon nearest to the twelfth hour of the date), from the solar
// midnight before it to the one after. At high latitude, or far from the zone's
// meridian, sunset or dusk may so fall on the next civil date.
func (s *Sun) On(z *Zone, d Date) SunDay {
	noon := s.transit(z.StartOfDay(d)+daySeconds/2, 0)
	before := s.transit(noon-daySeconds/2, math.Pi)
	after := s.transit(noon+daySeconds/2, math.Pi)
	return SunDay{
		Noon:  noon,
		Day:   s.passage(before, noon, after, sinRise),
		Civil: s.passage(before, noon, after, sinCivil),
	}
}

// transit returns the instant nearest to unix at which the hour angle is angle.
func (s *Sun) transit(unix int64, angle float64) int64 {
	for range 2 {
		_, h := s.at(unix)
		unix -= int64(math.Round(math.Remainder(h-angle, 2*math.Pi) / (2 * math.Pi) * daySeconds))
	}
	return unix
}

// passage looks for the crossings of an elevation, given by its sine, between
// the lower transits before and after noon.
func (s *Sun) passage(before, noon, after int64, sin float64) Passage {
	below := func(unix int64) bool { e, _ := s.at(unix); return e < sin }
	rises, sets := below(before), below(after)
	switch {
	case below(noon):
		return Passage{Kind: AlwaysDown}
	case !rises && !sets:
		return Passage{Kind: AlwaysUp}
	}
	p := Passage{Kind: Normal}
	if rises {
		p.Rise = bisect(before, noon, below)
	} else {
		p.Kind = SetsOnly
	}
	if sets {
		p.Set = bisect(noon, after, func(unix int64) bool { return !below(unix) })
	} else {
		p.Kind = RisesOnly
	}
	return p
}

// bisect returns the first instant of (from, to] at which still no longer holds;
// it holds at from and not at to.
func bisect(from, to int64, still func(int64) bool) int64 {
	for to-from > 1 {
		middle := from + (to-from)/2
		if still(middle) {
			from = middle
		} else {
			to = middle
		}
	}
	return to
}
