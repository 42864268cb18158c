package clock

import "math"

const (
	// wander is how the drift of a crystal wanders with the weather, as the
	// variance that it gains a second: some 8 ppm in a quarter of a year, as the
	// tuning-fork parabola (−0.035 ppm/°C² about 25 °C; Maxim, MAX6902 data
	// sheet, page 14) makes of the seasons.
	wander = 8e-6 * 8e-6 / (91 * 86400)
	// anyDrift is the drift that is expected before anything is known.
	anyDrift = 150e-6
	// within is how many standard deviations an error spans. All openings between the
	// same known times share their error, and the last of a site has it for all.
	within = 2.5
)

// smooth weighs the anchors of each run against each other. A time written down
// to the minute says less about the clock than its neighbours do, since drift
// changes slowly: offset and drift are a state that wanders, each anchor a
// measurement of the offset (Kalman filter, 1960, and the smoother of Rauch,
// Tung and Striebel, 1965). Two anchors stay as they are.
func (k *keeper) smooth() {
	for n := range k.runs {
		if r := &k.runs[n]; len(r.anchors) >= 3 && !r.steep {
			smoothAnchors(r.anchors)
		}
	}
}

// belief is a state (offset in s, drift in s/s) with its covariance.
type belief struct {
	off, drift            float64
	varOff, cov, varDrift float64
}

// after is what a belief becomes after dt seconds without a measurement.
func (b belief) after(dt float64) belief {
	return belief{
		off: b.off + dt*b.drift, drift: b.drift,
		varOff:   b.varOff + 2*dt*b.cov + dt*dt*b.varDrift + wander*dt*dt*dt/3,
		cov:      b.cov + dt*b.varDrift + wander*dt*dt/2,
		varDrift: b.varDrift + wander*dt,
	}
}

// seeing is a belief after a measurement of the offset.
func (b belief) seeing(off, variance float64) belief {
	total := b.varOff + variance
	g, h := b.varOff/total, b.cov/total
	miss := off - b.off
	return belief{
		off: b.off + g*miss, drift: b.drift + h*miss,
		varOff: (1 - g) * b.varOff, cov: (1 - g) * b.cov, varDrift: b.varDrift - h*b.cov,
	}
}

func smoothAnchors(anchors []anchor) {
	n := len(anchors)
	filtered := make([]belief, n)
	now := belief{off: float64(anchors[0].off()), varOff: 1e12, varDrift: anyDrift * anyDrift}
	for i, a := range anchors {
		if i > 0 {
			now = now.after(seconds(anchors[i-1], a))
		}
		sd := apart(float64(a.errorS)) / within
		now = now.seeing(float64(a.off()), sd*sd)
		filtered[i] = now
	}
	later := filtered[n-1]
	anchors[n-1].take(later)
	for i := n - 2; i >= 0; i-- {
		later = filtered[i].knowing(later, seconds(anchors[i], anchors[i+1]))
		anchors[i].take(later)
	}
}

func seconds(a, b anchor) float64 { return math.Max(float64(b.true-a.true), 1) }

// knowing is a belief once the smoothed one dt seconds later is known.
func (b belief) knowing(later belief, dt float64) belief {
	p := b.after(dt)
	det := p.varOff*p.varDrift - p.cov*p.cov
	if det <= 0 {
		return b
	}
	// Gain: the covariance of now and then, times the inverse of then's.
	c00, c01 := b.varOff+dt*b.cov, b.cov
	c10, c11 := b.cov+dt*b.varDrift, b.varDrift
	g00, g01 := (c00*p.varDrift-c01*p.cov)/det, (c01*p.varOff-c00*p.cov)/det
	g10, g11 := (c10*p.varDrift-c11*p.cov)/det, (c11*p.varOff-c10*p.cov)/det
	do, dd := later.off-p.off, later.drift-p.drift
	v00, v01, v11 := later.varOff-p.varOff, later.cov-p.cov, later.varDrift-p.varDrift
	return belief{
		off: b.off + g00*do + g01*dd, drift: b.drift + g10*do + g11*dd,
		varOff:   b.varOff + g00*g00*v00 + 2*g00*g01*v01 + g01*g01*v11,
		cov:      b.cov + g00*(g10*v00+g11*v01) + g01*(g10*v01+g11*v11),
		varDrift: b.varDrift + g10*g10*v00 + 2*g10*g11*v01 + g11*g11*v11,
	}
}

// take keeps what the smoother found. However many anchors agree, they share what
// they share: the error stays above that.
func (a *anchor) take(b belief) {
	a.fit, a.fitS, a.smooth = b.off, math.Hypot(haste, within*math.Sqrt(math.Max(b.varOff, 0))), true
}
