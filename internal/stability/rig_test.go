package stability

import (
	"math"
	"math/rand/v2"

	"belay/internal/trial"
	"belay/internal/units"
)

// rig is a machine whose truth is drawn from a prior.
type rig struct {
	prior   Prior
	a, b, c float64 // mV
	s       float64
	offset  [loads]float64
}

func drawRig(p Prior, rnd *rand.Rand) rig {
	g := rig{
		prior: p,
		a:     p.AMean.Millivolts() + p.ASD.Millivolts()*rnd.NormFloat64(),
		b:     p.BMean.Millivolts() + p.BSD.Millivolts()*rnd.NormFloat64(),
		c:     p.CMean.Millivolts() + p.CSD.Millivolts()*rnd.NormFloat64(),
		s:     p.SMedian.Millivolts() * math.Exp(p.SLogSD*rnd.NormFloat64()),
	}
	for c := 1; c < loads; c++ {
		m, sd := p.offset(c)
		g.offset[c] = m + sd*rnd.NormFloat64()
	}
	return g
}

// need is the true ten-minute need plus efolds times s, mV.
func (g *rig) need(load trial.Load, r units.Ratio, t units.Celsius, efolds float64) float64 {
	d, dd := g.prior.step(r)
	return g.a + g.b*d + g.c*dd + g.offset[classOf(load)] + g.prior.heat(t) + g.s*efolds
}

// run is what the rig answers to a trial: the model's own form.
func (g *rig) run(o Observation, rnd *rand.Rand) Observation {
	lam := lambda0 * math.Exp((g.need(o.Load, o.Ratio, o.CoreTemp, 0)-o.LoadVoltage.Millivolts())/g.s)
	tau := rnd.ExpFloat64() / lam
	if rnd.Float64() < g.prior.Eps {
		tau = rnd.Float64() * float64(o.PlannedMinutes)
	}
	o.Kind = Clean
	if tau < float64(o.PlannedMinutes) {
		o.Kind = Failed
		o.FailedFrom, o.FailedTo = units.Minutes(tau), units.Minutes(tau)
		switch u := rnd.Float64(); {
		case u < 0.2 || tau < 0.01:
			o.FailedFrom, o.FailedTo = 0, o.PlannedMinutes
		case u < 0.5:
			o.FailedFrom = units.Minutes(math.Floor(tau))
			o.FailedTo = min(o.FailedFrom+1, o.PlannedMinutes)
		}
	}
	return o
}

// history is a sensible climb: start safe, one step of ratio after a clean run
// while voltage is at hand, up in voltage after a failure, down now and then,
// with a few trials of other loads.
func (g *rig) history(n int, rnd *rand.Rand) []Observation {
	obs := make([]Observation, 0, n)
	p := g.prior
	v := p.AMean.Millivolts() + 30
	r := p.RRef
	var failedOnce bool
	for len(obs) < n {
		load := trial.Scalar
		switch u := rnd.Float64(); {
		case u < 0.15:
			load = trial.WideVector
		case u < 0.22:
			load = trial.Bursty
		}
		o := g.run(Observation{
			Load: load, Ratio: r, LoadVoltage: units.Volt(v / 1000),
			CoreTemp:       units.Celsius(65 + 20*rnd.Float64()),
			PlannedMinutes: []units.Minutes{5, 10, 30}[rnd.IntN(3)],
		}, rnd)
		obs = append(obs, o)
		switch {
		case o.Kind == Failed:
			failedOnce = true
			v += 10 + 15*rnd.Float64()
		case r < p.RRef+5 && rnd.Float64() < 0.5:
			r++
			v += 25
		case failedOnce:
			v -= 10 * rnd.Float64()
		default:
			v -= 25
		}
	}
	return obs
}
