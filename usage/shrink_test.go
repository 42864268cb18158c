package usage

import (
	"math"
	"math/rand/v2"
	"testing"
)

var priorMethods = map[string]PriorMethod{"ml": PriorML, "mom_marshall": PriorMarshall, "mom_unbiased": PriorUnbiased}

// networksOf returns the sites of shrinkage_sites.csv by data set, and their places.
func networksOf(t *testing.T) (sites map[string][]Exposed, place map[string]int) {
	sites, place = map[string][]Exposed{}, map[string]int{}
	for _, r := range reference(t, "shrinkage_sites.csv") {
		set := r.text("dataset")
		place[set+" "+r.text("site")] = len(sites[set])
		sites[set] = append(sites[set], Exposed{r.float("count"), r.float("days")})
	}
	return sites, place
}

// R 4.2.2: moments by their formulas; the likelihood by nested root finding, checked
// there against MASS::glm.nb.
func TestFitPriorReference(t *testing.T) {
	sites, _ := networksOf(t)
	checked := 0
	for _, r := range reference(t, "shrinkage_fit.csv") {
		tolerance := 1e-8
		if r.text("method") == "ml" {
			tolerance = 1e-5
		}
		got := FitPrior(sites[r.text("dataset")], priorMethods[r.text("method")])
		if r.text("shape") == "" {
			if !got.Pooled {
				t.Errorf("%s, %s: %+v, want pooled", r.text("dataset"), r.text("method"), got)
			}
		} else if !near(got.Shape, r.float("shape"), tolerance) || !near(got.Rate, r.float("rate"), tolerance) || got.Pooled {
			t.Errorf("%s, %s: %+v, want %s, %s", r.text("dataset"), r.text("method"), got, r.text("shape"), r.text("rate"))
		}
		checked++
	}
	wantChecked(t, "shrinkage_fit.csv", checked, 9)
}

// R 4.2.2 qgamma.
func TestPosteriorReference(t *testing.T) {
	sites, place := networksOf(t)
	checked := 0
	for _, r := range reference(t, "shrinkage_posterior.csv") {
		set := r.text("dataset")
		site := sites[set][place[set+" "+r.text("site")]]
		got := FitPrior(sites[set], priorMethods[r.text("method")]).Posterior(site, 0.95)
		if !near(got.Value, r.float("post_mean"), 1e-5) {
			t.Errorf("%s, %s: %v, want %s", r.text("site"), r.text("method"), got.Value, r.text("post_mean"))
		}
		if r.text("lo95") != "" && (!near(got.Low, r.float("lo95"), 1e-5) || !near(got.High, r.float("hi95"), 1e-5)) {
			t.Errorf("%s, %s: %v to %v, want %s to %s", r.text("site"), r.text("method"), got.Low, got.High, r.text("lo95"), r.text("hi95"))
		}
		checked++
	}
	wantChecked(t, "shrinkage_posterior.csv", checked, 180)
}

func TestShrinkBorders(t *testing.T) {
	for name, sites := range map[string][]Exposed{
		"none": nil, "one": {{5, 10}}, "no exposure": {{5, 0}, {3, 0}}, "no visits": {{0, 10}, {0, 20}},
		"alike": {{10, 10}, {10, 10}}, "NaN": {{math.NaN(), 10}, {4, math.NaN()}},
	} {
		for method := range priorMethods {
			if p := FitPrior(sites, priorMethods[method]); !p.Pooled || p.Shape != 0 {
				t.Errorf("%s, %s: %+v, want pooled", name, method, p)
			}
		}
	}
	if got := FitPrior(nil, PriorML).Posterior(Exposed{}, 0.95); got != nil {
		t.Errorf("posterior of nothing = %v, want nil", *got)
	}
	got := FitPrior([]Exposed{{0, 10}, {0, 20}}, PriorML).Posterior(Exposed{0, 10}, 0.95)
	if got.Value != 0 || got.Low != 0 || !near(got.High, 3.688879454/30, 1e-9) {
		t.Errorf("posterior without visits = %+v, want 0 to 3.689/30", *got)
	}
	if got := Order(nil, Prior{}); len(got) != 0 {
		t.Errorf("order of none = %v", got)
	}
	if got := Order([]Exposed{{3, 0}, {2, 0}}, FitPrior([]Exposed{{3, 0}}, PriorML)); got != nil {
		t.Errorf("order without exposure = %v, want nil", got)
	}
	p := FitPrior([]Exposed{{10, 10}, {11, 10}, {9, 10}}, PriorML)
	for _, place := range Order([]Exposed{{10, 10}, {11, 10}, {9, 10}}, p) {
		if place.Low != 1 || place.High != 3 || place.Mean != 2 || place.Place != place.Site+1 {
			t.Errorf("pooled: %+v, want 1 to 3", place)
		}
	}
}

// Sites far apart have sure places, sites that are alike share theirs; the same
// sites give the same answer.
func TestOrder(t *testing.T) {
	sites := []Exposed{{100, 100}, {1000, 100}, {101, 100}, {5000, 100}}
	p := FitPrior(sites, PriorML)
	got := Order(sites, p)
	want := []Place{{Site: 3, Low: 1, High: 1}, {Site: 1, Low: 2, High: 2}, {Site: 2, Low: 3, High: 4}, {Site: 0, Low: 3, High: 4}}
	for i, w := range want {
		g := got[i]
		if g.Site != w.Site || g.Place != i+1 || g.Low != w.Low || g.High != w.High || g.Mean < float64(w.Low) || g.Mean > float64(w.High) {
			t.Errorf("place %d = %+v, want site %d, %d to %d", i+1, g, w.Site, w.Low, w.High)
		}
	}
	for i, g := range Order(sites, p) {
		if g.Low != got[i].Low || g.High != got[i].High || g.Mean != got[i].Mean {
			t.Errorf("second time: %+v, want %+v", g, got[i])
		}
	}
}

// Over made-up networks, the limits of places hold the true ones, and the limits of
// rates the true rates, about as often as they say.
func TestOrderHoldsTheTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 7))
	var rate, order held
	for range 150 {
		var sites []Exposed
		var truth []float64
		for range 12 {
			r := drawGamma(random, 3, 4)
			days := 20 + 70*random.Float64()
			truth = append(truth, r)
			sites = append(sites, Exposed{float64(drawPoisson(random, r*days)), days})
		}
		for _, p := range Order(sites, FitPrior(sites, PriorML)) {
			place := 1
			for _, r := range truth {
				if r > truth[p.Site] {
					place++
				}
			}
			rate.see(p.Rate, truth[p.Site], 0)
			order.see(&Estimate{Low: float64(p.Low), High: float64(p.High)}, float64(place), 0)
		}
	}
	t.Logf("limits hold the truth: rates %.1f %%, places %.1f %%", 100*rate.share(), 100*order.share())
	if rate.share() < 0.93 || rate.share() > 0.97 || order.share() < 0.93 {
		t.Errorf("limits hold the truth: rates %.1f %%, places %.1f %%, want about 95", 100*rate.share(), 100*order.share())
	}
}

func BenchmarkOrder(b *testing.B) {
	sites := make([]Exposed, 30)
	for i := range sites {
		sites[i] = Exposed{float64(50 + 20*i), 90}
	}
	p := FitPrior(sites, PriorML)
	for b.Loop() {
		Order(sites, p)
	}
}
