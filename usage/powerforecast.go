package usage

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// drawNodes and packNodes are the values that stand for what is not known of a
	// logger's draw, and of that and a pack together.
	drawNodes, packNodes = 61, 101
	// momentSD is how well, relative to its life, the moment is known at which a pack
	// was empty: between two openings, at a voltage that the cold moves. Common
	// practice, no source.
	momentSD = 0.02
)

// toleranceSD returns the standard deviation of the logarithm of a value that lies,
// 95 times in 100, within so many per cent.
func toleranceSD(pct float64) float64 {
	return math.Log1p(pct/100) / distuv.UnitNormal.Quantile(1-(1-Confidence)/2)
}

// packBench is what the packs of one site are judged with.
type packBench struct {
	in     PowerIn
	use    *doorUse
	usable float64
	k      float64 // self-discharge a day
	packSD float64 // of the logarithm of a pack's charge
}

// powerOutlook does the work of PowerOutlook.
//
// A pack is empty when e^y·V = Q₀, with V the drain by the profile and y the logarithm
// of what the logger draws more than the profile says and the pack holds less than it
// should. The first part stays the same from pack to pack, so that packs that were
// used up narrow it (Bayes' rule on a grid, normal laws with the tolerances given); the
// second is new in each pack. That a pack still works says that y is not larger than
// ln(Q₀/V).
func powerOutlook(in PowerIn) (*PowerForecast, error) {
	b, f, draws, err := newPackBench(in)
	if err != nil || b == nil {
		return f, err
	}
	b.judge(f, draws)
	return f, nil
}

// newPackBench returns the bench of a site's packs, the forecast with what the packs
// taught, and the law of the draw. Without any record the bench is nil.
func newPackBench(in PowerIn) (*packBench, *PowerForecast, []weighted, error) {
	if err := in.Setting.Check(); err != nil {
		return nil, nil, nil, err
	}
	use, err := newDoorUse(in, func(openings, seconds float64) float64 {
		l := in.Setting.Draw.Load(openings, seconds)
		return l.Active + l.Start
	})
	if err != nil {
		return nil, nil, nil, err
	}
	p := in.Setting.Pack
	b := &packBench{in: in, use: use, usable: p.Usable(), k: selfRate(p.SelfPct), packSD: toleranceSD(p.TolerancePct)}
	f := &PowerForecast{Usable: b.usable, Empty: DateRange{Level: Confidence}}
	draws := b.drawPrior()
	if use == nil {
		f.Learned = learnedOf(draws)
		zone, err := LoadZone(in.Site.Zone)
		if err == nil {
			f.From, f.Changed = lastChange(in.Calls, CallBatteries, zone.StartOfDay(in.Site.InstalledOn), in.Now)
		}
		return nil, f, draws, err
	}
	changes := b.changes(f)
	for i := 1; i < len(changes); i++ {
		draws = b.learn(f, draws, changes[i-1], changes[i])
	}
	packs, before := f.Learned.Packs, f.Learned.Before
	f.Learned = learnedOf(draws)
	f.Learned.Packs, f.Learned.Before = packs, before
	f.From = changes[len(changes)-1]
	return b, f, draws, nil
}

// changes returns when packs were put in, ascending: at the installation, and by
// service calls up to now.
func (b *packBench) changes(f *PowerForecast) []int64 {
	at := []int64{b.use.zone.StartOfDay(b.in.Site.InstalledOn)}
	for _, c := range b.in.Calls {
		if c.Did(CallBatteries) && c.At > 0 && c.At <= b.in.Now {
			at = append(at, c.At)
			f.Changed = true
		}
	}
	slices.Sort(at)
	return slices.Compact(at)
}

// drawPrior is the law of the logarithm of the draw against the profile before
// anything was learned.
func (b *packBench) drawPrior() []weighted {
	sd := toleranceSD(b.in.Setting.Draw.TolerancePct)
	if sd == 0 {
		return []weighted{{0, 1}}
	}
	nodes := make([]weighted, drawNodes)
	for i := range nodes {
		z := 4 * (2*float64(i)/(drawNodes-1) - 1)
		nodes[i] = weighted{z * sd, distuv.UnitNormal.Prob(z)}
	}
	return nodes
}

// drain returns what the logger draws by its profile from a time on.
func (b *packBench) drain(from, k float64) *drain {
	return b.use.drain(from, k, b.in.Setting.Draw.ActiveMA/hourSeconds, b.load)
}

func (b *packBench) load(i int) (visits, steady float64) {
	l := b.in.Setting.Draw.Load(b.use.openings[i], b.use.seconds[i])
	return l.Active + l.Start, l.Standby * b.use.powered[i]
}

// learn enters the pack that was in use from one change to the next, and returns the
// law of the draw with what it taught.
func (b *packBench) learn(f *PowerForecast, draws []weighted, from, to int64) []weighted {
	d := b.drain(b.use.at(from), b.k)
	pack := PastPack{From: from, To: to, Empty: b.emptied(from, to)}
	end := to
	if pack.Empty != nil {
		end = *pack.Empty
	}
	pack.Used = b.drain(b.use.at(from), 0).at(b.use.at(end), expected)
	pack.Predicted = d.dates(b.usable, b.ratios(draws, 0))
	if pack.Empty != nil {
		date, _ := b.use.zone.Civil(*pack.Empty)
		low, high := pack.Predicted.Low, pack.Predicted.High
		pack.Within = (low == nil || *low <= date) && (high == nil || date <= *high)
	}
	f.Past = append(f.Past, pack)
	drawn := d.at(b.use.at(end), expected)
	if drawn <= 0 || b.tooOld(from) {
		return draws
	}
	if pack.Empty != nil {
		f.Learned.Packs++
	} else {
		f.Learned.Before++
	}
	return b.posterior(draws, math.Log(drawn/b.usable), pack.Empty != nil)
}

// tooOld reports whether a pack was put in before pack and draw were as they are set.
func (b *packBench) tooOld(from int64) bool {
	date, _ := b.use.zone.Civil(from)
	return b.in.Setting.Since != nil && date < *b.in.Setting.Since
}

// emptied returns when an outage began that was ended by the change of batteries; nil
// where there was none.
func (b *packBench) emptied(from, to int64) *int64 {
	for _, s := range b.in.Coverage {
		if s.Kind == Outage && s.From >= from && s.From < to && s.To >= to-daySeconds {
			return &s.From
		}
	}
	return nil
}

// sd is how well the moment is known at which a pack of known draw is empty.
func (b *packBench) sd() float64 { return math.Hypot(b.packSD, momentSD) }

// posterior weighs the draws by what a pack has shown: that it was empty, or not yet,
// when the profile had drawn e^drawn of what is usable.
func (b *packBench) posterior(draws []weighted, drawn float64, empty bool) []weighted {
	out, sum := slices.Clone(draws), 0.0
	for i := range out {
		less := (out[i].v + drawn) / b.sd() // by which the pack must have held more than it should
		if empty {
			out[i].w *= distuv.UnitNormal.Prob(less)
		} else {
			out[i].w *= distuv.UnitNormal.Survival(less)
		}
		sum += out[i].w
	}
	if !(sum > 1e-300) {
		return draws // what was set and what was seen cannot both be: the page shows it
	}
	for i := range out {
		out[i].w /= sum
	}
	return out
}

// learnedOf is a law of the draw as a ratio with its limits.
func learnedOf(draws []weighted) Learned {
	q := quantiles(slices.Clone(draws), (1-Confidence)/2, 0.5, 1-(1-Confidence)/2)
	return Learned{Ratio: Estimate{Value: math.Exp(q[1]), Low: math.Exp(q[0]), High: math.Exp(q[2]), Level: Confidence}}
}

// ratios returns the law of y for a pack that still worked when drawn mAh were drawn
// by the profile, in steps fine enough where it is cut off.
func (b *packBench) ratios(draws []weighted, drawn float64) []weighted {
	sd := b.sd()
	by := func(x, y weighted) int { return cmp.Compare(x.v, y.v) }
	low, high := slices.MinFunc(draws, by).v-5*sd, slices.MaxFunc(draws, by).v+5*sd
	if drawn > 0 {
		high = min(high, math.Log(b.usable/drawn))
	}
	low = min(low, high-3*sd) // a pack that has outlived what is probable
	nodes, top := make([]weighted, packNodes), math.Inf(-1)
	for i := range nodes {
		y := low + (high-low)*(float64(i)+0.5)/packNodes
		nodes[i] = weighted{y, logMixture(draws, y, sd)}
		top = max(top, nodes[i].w)
	}
	for i := range nodes {
		nodes[i].w = math.Exp(nodes[i].w - top)
	}
	return nodes
}

// logMixture is the logarithm of the density at y of normal laws around the draws, but
// for a constant.
func logMixture(draws []weighted, y, sd float64) float64 {
	top := math.Inf(-1)
	for _, g := range draws {
		z := (y - g.v) / sd
		top = max(top, math.Log(g.w)-z*z/2)
	}
	sum := 0.0
	for _, g := range draws {
		z := (y - g.v) / sd
		sum += math.Exp(math.Log(g.w) - z*z/2 - top)
	}
	return top + math.Log(sum)
}

// judge enters what is said of the pack that is in now.
func (b *packBench) judge(f *PowerForecast, draws []weighted) {
	u := b.use
	from := u.at(f.From)
	d := b.drain(from, b.k)
	ys := b.ratios(draws, d.at(u.alive, expected))
	f.Empty = d.dates(b.usable, ys)
	if f.Stopped = b.stopped(f.From); f.Stopped != nil {
		date, _ := u.zone.Civil(*f.Stopped)
		f.Empty.Low, f.Empty.Likely, f.Empty.High = &date, &date, &date
	}
	f.ActBy = f.Empty.Low
	f.Due = f.ActBy != nil && u.today >= *f.ActBy
	until := u.now
	if f.Stopped != nil {
		until = u.at(*f.Stopped)
	}
	drawn := b.drain(from, 0).at(until, expected)
	if alive := d.at(u.alive, expected); alive > 0 {
		draws = b.posterior(draws, math.Log(alive/b.usable), false)
	}
	r := learnedOf(draws).Ratio
	f.Used = &Estimate{drawn * r.Value, drawn * r.Low, drawn * r.High, Confidence}
	f.LeftPct = b.left(d, ys, f.Stopped != nil)
	kept := max(0, b.usable-d.at(until, expected)) * math.Exp(-b.k*max(0, until-from))
	f.Lost = max(0, b.usable-drawn-kept)
	f.Load = b.meanLoad(from, until)
}

// stopped returns the beginning of an outage of this pack that goes on to the end of
// coverage.
func (b *packBench) stopped(from int64) *int64 {
	if n := len(b.in.Coverage); n > 0 {
		if s := b.in.Coverage[n-1]; s.Kind == Outage && s.From >= from {
			return &s.From
		}
	}
	return nil
}

// left returns what is left of the usable charge now, %.
func (b *packBench) left(d *drain, ys []weighted, empty bool) *Estimate {
	if empty {
		return &Estimate{Level: Confidence}
	}
	return b.leftAt(d, ys, b.use.now)
}

// leftAt returns what is left at a time in dates since b.use.first, %.
func (b *packBench) leftAt(d *drain, ys []weighted, t float64) *Estimate {
	kept := math.Exp(-b.k * max(0, t-d.from))
	var all []weighted
	for path := range normalLevels {
		drawn := d.at(t, path) / b.usable
		for _, y := range ys {
			all = append(all, weighted{100 * kept * max(0, 1-math.Exp(y.v)*drawn), y.w})
		}
	}
	q := quantiles(all, (1-Confidence)/2, 0.5, 1-(1-Confidence)/2)
	return &Estimate{Value: q[1], Low: q[0], High: q[2], Level: Confidence}
}

// meanLoad is the mean load from a time to another, by the profile.
func (b *packBench) meanLoad(from, to float64) PowerLoad {
	var openings, seconds, days float64
	for i := int(from); float64(i) < to && i < len(b.use.openings); i++ {
		openings, seconds, days = openings+b.use.openings[i], seconds+b.use.seconds[i]+b.use.ajar[i], days+1
	}
	if days == 0 {
		return PowerLoad{}
	}
	return b.in.Setting.Draw.Load(openings/days, seconds/days)
}

// freshPack returns when a pack put in today would be empty, given so many more mAh
// of visits on date i.
func (b *packBench) freshPack(draws []weighted, more func(i int) float64) DateRange {
	d := b.use.drain(b.use.now, b.k, b.in.Setting.Draw.ActiveMA/hourSeconds, func(i int) (float64, float64) {
		visits, steady := b.load(i)
		return visits + more(i), steady
	})
	return d.dates(b.usable, b.ratios(draws, 0))
}

// ChargePoint is the charge of a pack at the beginning of a date, % of the usable
// charge of a new one.
type ChargePoint struct {
	Date             Date
	Low, Value, High float64
}

// coursePoints is how many points a PowerCourse has, about.
const coursePoints = 48

// PowerCourse returns the charge of the pack that is in, from the change to the late
// end of when it will be empty, or two years ahead where that is later or not known.
// It is nil where nothing was recorded. Errors are those of PowerOutlook.
func PowerCourse(in PowerIn) ([]ChargePoint, error) {
	b, f, draws, err := newPackBench(in)
	if err != nil || b == nil {
		return nil, err
	}
	b.judge(f, draws)
	from, end := b.use.at(f.From), b.use.now+2*yearDays
	if f.Empty.High != nil {
		end = min(end, max(b.use.now, float64(*f.Empty.High-b.use.first))+14)
	}
	d := b.drain(from, b.k)
	ys := b.ratios(draws, d.at(b.use.alive, expected))
	step := max(1, math.Ceil((end-from)/coursePoints))
	var points []ChargePoint
	for t := math.Floor(from); t <= end+step; t += step {
		e := b.leftAt(d, ys, t)
		if f.Stopped != nil && t >= b.use.at(*f.Stopped) {
			e = &Estimate{}
		}
		points = append(points, ChargePoint{b.use.first + Date(t), e.Low, e.Value, e.High})
	}
	return points, nil
}
