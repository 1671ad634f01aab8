package contest

import (
	"math"

	"belay/internal/units"
)

// grade is a posterior over a threshold on an even grid, with a response curve
// of fixed slope.
// Source: Watson and Pelli, Percept. Psychophys. 33 (1983) 113.
type grade struct {
	low, step float64
	mass      []float64               // sums to 1
	curve     func(x float64) float64 // chance of a response at a level x above the threshold
}

// newGrade starts from a prior that is a function of the level.
func newGrade(low, high, step float64, prior, curve func(float64) float64) *grade {
	g := &grade{low: low, step: step, curve: curve, mass: make([]float64, int(math.Round((high-low)/step))+1)}
	for i := range g.mass {
		g.mass[i] = prior(g.at(i))
	}
	g.normalise()
	return g
}

func (g *grade) at(i int) float64 { return g.low + float64(i)*g.step }

func (g *grade) normalise() {
	sum := 0.0
	for _, m := range g.mass {
		sum += m
	}
	for i := range g.mass {
		g.mass[i] /= sum
	}
}

func (g *grade) add(x float64, response bool) {
	for i := range g.mass {
		p := g.curve(x - g.at(i))
		if !response {
			p = 1 - p
		}
		g.mass[i] *= p
	}
	g.normalise()
}

// spread returns the mean and the standard deviation.
func (g *grade) spread() (mean, sd float64) {
	for i, m := range g.mass {
		mean += m * g.at(i)
	}
	for i, m := range g.mass {
		sd += m * (g.at(i) - mean) * (g.at(i) - mean)
	}
	return mean, math.Sqrt(sd)
}

// quantile is the first level of the grid with at least this share below or
// at it.
func (g *grade) quantile(share float64) float64 {
	sum := 0.0
	for i, m := range g.mass {
		if sum += m; sum >= share {
			return g.at(i)
		}
	}
	return g.at(len(g.mass) - 1)
}

// predict is the chance of a response at a level.
func (g *grade) predict(x float64) float64 {
	sum := 0.0
	for i, m := range g.mass {
		sum += m * g.curve(x-g.at(i))
	}
	return sum
}

const (
	thresholdTests = 20    // at most; chosen: a usable threshold takes 10 to 30
	thresholdSD    = 0.003 // V at which the threshold is known well enough; chosen: half of the slope's scale
	thresholdPrior = 0.060 // V, standard deviation of the prior; chosen: half of the bracket of the others
	lapse          = 0.01  // share of failures that have nothing to do with the level; Watson and Pelli 1983 (from memory)
)

// clean is the chance that a test passes x above the voltage at which one
// failure is expected in it, by the published slope.
func clean(x float64) float64 {
	return (1 - lapse) * math.Exp(-math.Exp(-x/middleSlope))
}

// threshold tests at the posterior mean until the threshold is known, and
// keeps its upper 90 % bound with the published slope's way to the target.
func threshold(b *bout, at rung) (units.Volt, bool) {
	middle := float64(at.volt) - thresholdPrior
	g := newGrade(middle-0.2, middle+0.2, grid,
		func(x float64) float64 { z := (x - middle) / thresholdPrior; return math.Exp(-z * z / 2) }, clean)
	for n := 0; n < thresholdTests && b.trials < mostTests; n++ {
		mean, sd := g.spread()
		if sd < thresholdSD {
			break
		}
		v, o := b.test(at.ratio, units.Volt(mean), testMinutes)
		if o == hot || o == refused {
			return 0, false
		}
		g.add(float64(v), o == passed)
	}
	toTarget := middleSlope * math.Log(60*b.in.Wishes.TargetH/float64(testMinutes))
	keep := units.Volt(g.quantile(stated) + toTarget)
	return keep, b.reach(at.ratio, keep)
}
