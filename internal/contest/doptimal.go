package contest

import (
	"math"

	"belay/internal/stats"
	"belay/internal/units"
)

// doptimal is the D-optimal sequential test: it searches for one response and
// one failure, halves the gap down to the guessed sigma, then tests where the
// determinant of the information grows most.
// Source: Neyer, Technometrics 36 (1994) 61.
type doptimal struct {
	low, high float64 // between them mu is guessed to lie
	sigma     float64 // guess
	shots     []shot
}

const (
	neyerShrink = 0.8 // of the guessed sigma per test without overlap; Neyer 1994
	neyerTests  = 20  // the length of the run that Neyer 1994 prints
	rounded     = 1e-9
)

// next is the level to test.
func (d *doptimal) next() float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for _, s := range d.shots {
		least, most = min(least, s.x), max(most, s.x)
	}
	no, yes := bracketOf(d.shots)
	switch {
	case len(d.shots) == 0:
		return (d.low + d.high) / 2
	case math.IsInf(no, -1):
		return min((d.low+least)/2, least-2*d.sigma, 2*least-most)
	case math.IsInf(yes, 1):
		return max((d.high+most)/2, most+2*d.sigma, 2*most-least)
	case yes-no > d.sigma*(1+rounded):
		return (yes + no) / 2
	case yes >= no:
		return d.most((yes+no)/2, d.sigma)
	}
	p, ok := fitProbit(d.shots)
	if !ok {
		return d.most((yes+no)/2, d.sigma)
	}
	return d.most(min(max(p.mu, least), most), min(p.sigma, most-least))
}

// add takes a result; a sigma that is too wide for an overlap shrinks.
func (d *doptimal) add(x float64, response bool) {
	no, yes := bracketOf(d.shots)
	if yes >= no && yes-no <= d.sigma*(1+rounded) {
		d.sigma *= neyerShrink
	}
	d.shots = append(d.shots, shot{x, response})
}

// most is the level whose test adds most to the determinant of the information
// at mu and sigma.
func (d *doptimal) most(mu, sigma float64) float64 {
	a, b, c := information(d.shots, mu, sigma)
	gain := func(z float64) float64 { return weight(z) * (c - 2*z*b + z*z*a) }
	const reach, cells = 4.0, 80 // sigmas, and cells of the search
	best := -reach
	for i := range cells + 1 {
		if z := reach * (2*float64(i)/cells - 1); gain(z) > gain(best) {
			best = z
		}
	}
	step := 2 * reach / cells
	return mu + sigma*stats.Minimum(func(z float64) float64 { return -gain(z) }, best-step, best+step, 1e-9)
}

// dOptimal tests by the method and keeps the upper 90 % bound of the level
// that meets the target.
func dOptimal(b *bout, at rung) (units.Volt, bool) {
	d := doptimal{low: float64(at.volt) - bracket, high: float64(at.volt), sigma: sigmaGuess}
	for len(d.shots) < neyerTests && b.trials < mostTests {
		v, o := b.test(at.ratio, units.Volt(d.next()), testMinutes)
		if o == hot || o == refused {
			return 0, false
		}
		d.add(float64(v), o == passed)
	}
	return b.bound(at.ratio, d.shots)
}
