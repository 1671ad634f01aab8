package planner

import (
	"cmp"
	"math"
	"slices"

	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// gained is what a shadow trial is expected to bring.
type gained struct {
	at      trial.Settings
	minutes units.Minutes
	mv      float64 // by which the voltage to keep is expected to fall
	cost    float64 // expected minutes with changes and crashes
	rate    float64 // mV per minute
}

// drawCount is how many machines stand for the posterior where trials are
// chosen. Chosen: their claim quantile is steady to a millivolt or two, and
// every candidate sees the same ones.
const drawCount = 500

// cloud is the posterior as machines of equal weight, by the keep's need.
type cloud struct {
	draws  []stability.Draw
	target []float64    // the keep's need, mV, ascending
	hazard []float64    // scratch: failures per minute at the trial's setting
	pass   []float64    // scratch
	alive  [4][]float64 // scratch: survival to the end of each span, to the start of the trial first
	now    float64      // voltage to keep as of now, mV
}

// bestShadow is the trial below the keep that brings its voltage down furthest
// per expected minute: the claim's quantile is averaged over a clean run and
// failures early, later and late.
func (c *coreSearch) bestShadow(keep trial.Settings) gained {
	k, _ := c.belief.middle(keep, trial.Scalar)
	efolds := stability.Efolds(c.Tuning.careful(c.Wishes.TargetH))
	prior := &c.belief.prior
	w := cloud{draws: c.belief.need.Draws(trial.Scalar, drawCount)}
	of := func(d stability.Draw) float64 { return d.Need(prior, keep.Ratio, k.temp, efolds) }
	slices.SortFunc(w.draws, func(a, b stability.Draw) int { return cmp.Compare(of(a), of(b)) })
	n := len(w.draws)
	w.target, w.hazard, w.pass = make([]float64, n), make([]float64, n), make([]float64, n)
	for o := range w.alive {
		w.alive[o] = make([]float64, n)
	}
	for i, d := range w.draws {
		w.target[i] = of(d)
		w.alive[0][i] = 1
	}
	w.now = w.quantile(w.alive[0])
	all := c.candidates(&w, keep.Ratio, keep.SetVoltage)
	if keep.Ratio > c.floor {
		all = append(all, c.candidates(&w, keep.Ratio-1, keep.SetVoltage)...)
	}
	slices.SortStableFunc(all, func(a, b gained) int { return cmp.Compare(b.rate, a.rate) })
	for _, g := range all {
		if c.fine(g.at) {
			return g
		}
	}
	return gained{}
}

// shadowDepth is how far below the keep shadow trials are looked for, and
// shadowGrid how finely, V. Chosen: further down the PC fails at once; a finer
// grid changes the gain by less than it is known.
const (
	shadowDepth = 0.130
	shadowGrid  = 2 * voltGrid
)

// candidates looks at the voltages below the keep, and at every length.
func (c *coreSearch) candidates(w *cloud, r units.Ratio, keep units.Volt) []gained {
	var all []gained
	least := float64(leastPass)
	if t := last(c.mine); t != nil && c.wentDownAtOnce(*t) {
		least = climbPass // no second guess at the edge
	}
	for v := min(keep, up(c.volt, c.Limits.VoltStep)); v > keep-shadowDepth; v -= shadowGrid {
		x := c.at(r, grid(v))
		m, ok := c.belief.middle(x, trial.Scalar)
		if !ok {
			continue
		}
		for i, d := range w.draws {
			w.hazard[i] = d.Hazard(d.Need(&c.belief.prior, r, m.temp, 0), m.volt.Millivolts())
		}
		changed := len(trial.Diff(c.Settings, x)) > 0
		for _, minutes := range shadowMinutes {
			g, pass := w.gain(float64(minutes), changed, c.belief.prior.Eps)
			if pass < least { // a longer one passes less often still
				break
			}
			if pass <= mostPass {
				g.at, g.minutes = x, minutes
				all = append(all, g)
			}
		}
	}
	return all
}

// spans are the parts of a trial in which a failure is told apart: each is four
// times the one before, so that one exponential gives the survival to each.
var spans = [4]float64{0, 1.0 / 16, 1.0 / 4, 1}

// gain is what a run of so many minutes is expected to bring, and its
// chance of passing. A run whose outcome is all but known is not looked into.
func (w *cloud) gain(minutes float64, changed bool, eps float64) (gained, float64) {
	n := float64(len(w.draws))
	for i, h := range w.hazard {
		first := math.Exp(-spans[1] * minutes * h)
		quarter := first * first * first * first
		w.alive[1][i], w.alive[2][i], w.alive[3][i] = first, quarter, quarter*quarter*quarter*quarter
	}
	passes := sum(w.alive[3]) / n
	if passes < leastPass || passes > mostPass {
		return gained{}, passes
	}
	after := passes * w.quantile(w.alive[3])
	for o := 1; o < len(spans); o++ {
		before, behind, odd := w.alive[o-1], w.alive[o], eps*(spans[o]-spans[o-1])
		for i := range w.pass {
			w.pass[i] = (1-eps)*(before[i]-behind[i]) + odd
		}
		after += sum(w.pass) / n * w.quantile(w.pass)
	}
	after /= passes + (1-eps)*(1-passes) + eps
	var g gained
	g.mv = w.now - after
	// A run that fails lasts about half as long; half of the failures crash.
	g.cost = reportMinutes + minutes*(1+passes)/2 + crashShare*(1-passes)*crashMinutes
	if changed {
		g.cost += changeMinutes
	}
	g.rate = g.mv / g.cost
	return g, passes
}

// quantile is the claim's quantile of the keep's need under the weights.
func (w *cloud) quantile(weight []float64) float64 {
	left := claim * sum(weight)
	for i, x := range weight {
		if left -= x; left <= 0 {
			return w.target[i]
		}
	}
	return w.target[len(w.target)-1]
}

func sum(x []float64) float64 {
	total := 0.0
	for _, v := range x {
		total += v
	}
	return total
}
