package forge

import "math"

// Crystal makes a clock drift by temperature, beside its constant DriftPPM. The
// temperature in the box is a yearly and a daily wave.
//
// A tuning-fork crystal of 32.768 kHz is right at its turnover temperature and
// slow by a parabola on both sides of it: ppm = K·(T − TurnoverC)², with
// K = −0.035 ± 0.005 ppm/°C² and 25 ± 5 °C (Maxim, MAX6902 data sheet, page 14).
type Crystal struct {
	K         float64 `json:"k"`          // ppm/°C², negative
	TurnoverC float64 `json:"turnover_c"` // °C
	MeanC     float64 `json:"mean_c"`     // °C, over a year
	YearC     float64 `json:"year_c"`     // half the range of the yearly wave, °C
	DayC      float64 `json:"day_c"`      // half the range of the daily wave, °C
	HottestAt int64   `json:"hottest_at"` // an instant at which both waves peak, Unix seconds
}

const (
	yearS = 365.2425 * 86400
	dayS  = 86400.0
)

// PPM returns the drift at a temperature in °C, in seconds gained in a million.
func (c Crystal) PPM(celsius float64) float64 {
	return c.K * (celsius - c.TurnoverC) * (celsius - c.TurnoverC)
}

// Celsius returns the temperature in the box at an instant, Unix seconds.
func (c Crystal) Celsius(at int64) float64 {
	t := float64(at - c.HottestAt)
	return c.MeanC + c.YearC*math.Cos(2*math.Pi/yearS*t) + c.DayC*math.Cos(2*math.Pi/dayS*t)
}

// Gained returns the seconds that the crystal gains in [from, to), Unix
// seconds: the integral of PPM(Celsius(t))/10⁶, in closed form.
func (c Crystal) Gained(from, to int64) float64 {
	return c.K * 1e-6 * (c.squares(float64(to-c.HottestAt)) - c.squares(float64(from-c.HottestAt)))
}

// squares is an antiderivative of (m + Y·cos(y·t) + D·cos(d·t))².
func (c Crystal) squares(t float64) float64 {
	const y, d = 2 * math.Pi / yearS, 2 * math.Pi / dayS
	m := c.MeanC - c.TurnoverC
	return (m*m+(c.YearC*c.YearC+c.DayC*c.DayC)/2)*t +
		c.YearC*c.YearC*math.Sin(2*y*t)/(4*y) + c.DayC*c.DayC*math.Sin(2*d*t)/(4*d) +
		2*m*(c.YearC*math.Sin(y*t)/y+c.DayC*math.Sin(d*t)/d) +
		c.YearC*c.DayC*(math.Sin((d-y)*t)/(d-y)+math.Sin((d+y)*t)/(d+y))
}
