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
	target []float64 // the keep's need, mV, ascending
	need   []float64 // scratch: the ten-minute need at the trial's ratio
	pass   []float64 // scratch
	left   []float64 // scratch
	now    float64   // voltage to keep as of now, mV
}

// bestShadow is the trial below the keep that brings its voltage down furthest
// per expected minute: the claim's quantile is averaged over a clean run and
// failures early, later and late.
func (c *coreSearch) bestShadow(keep trial.Settings) gained {
	k, _ := c.belief.middle(keep, trial.Scalar)
	efolds := stability.Efolds(careful(c.Wishes.TargetH))
	prior := &c.belief.prior
	w := cloud{draws: c.belief.need.Draws(trial.Scalar, drawCount)}
	of := func(d stability.Draw) float64 { return d.Need(prior, keep.Ratio, k.temp, efolds) }
	slices.SortFunc(w.draws, func(a, b stability.Draw) int { return cmp.Compare(of(a), of(b)) })
	n := len(w.draws)
	w.target, w.need, w.pass, w.left = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, d := range w.draws {
		w.target[i] = of(d)
		w.left[i] = 1
	}
	w.now = w.quantile(w.left)
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
			w.need[i] = d.Need(&c.belief.prior, r, m.temp, 0)
		}
		changed := len(trial.Diff(c.Settings, x)) > 0
		for _, minutes := range shadowMinutes {
			g, pass := w.gain(m.volt.Millivolts(), float64(minutes), changed, c.belief.prior.Eps)
			if pass >= least && pass <= mostPass {
				g.at, g.minutes = x, minutes
				all = append(all, g)
			}
		}
	}
	return all
}

// spans are the parts of a trial in which a failure is told apart.
var spans = [4]float64{0, 1.0 / 16, 1.0 / 4, 1}

// gain is what a run of so many minutes at v mV is expected to bring, and its
// chance of passing.
func (w *cloud) gain(v, minutes float64, changed bool, eps float64) (gained, float64) {
	n := float64(len(w.draws))
	runs, after := w.left, 0.0
	for i, d := range w.draws {
		runs[i] = minutes * d.Hazard(w.need[i], v)
		w.pass[i] = math.Exp(-runs[i])
	}
	passes := sum(w.pass) / n
	after = passes * w.quantile(w.pass)
	for o := 1; o < len(spans); o++ {
		for i, run := range runs {
			w.pass[i] = (1-eps)*(math.Exp(-run*spans[o-1])-math.Exp(-run*spans[o])) + eps*(spans[o]-spans[o-1])
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
