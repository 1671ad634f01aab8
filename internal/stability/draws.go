package stability

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// Draw is one machine that the evidence allows: its ten-minute need under the
// load that was asked for, at the reference ratio and temperature, mV, with
// slope, curvature and the hazard's own scale.
type Draw struct{ a, b, c, S float64 }

// Draws returns n machines of equal weight that stand for the posterior under
// a load, evenly spread along its grid: the same posterior gives the same
// draws. An unknown load counts as scalar.
func (p *Posterior) Draws(load trial.Load, n int) []Draw {
	k := p.class(classIndex(load))
	out := make([]Draw, 0, n)
	total := 0.0
	for _, w := range k.now.weight {
		total += w
	}
	step := total / float64(n)
	next, sum := step/2, 0.0
	for j := range p.nodes {
		node := &p.nodes[j]
		for i, w := range k.now.mass[j*cells : (j+1)*cells] {
			for next < sum+w && len(out) < n {
				x := k.axis.edge[i] + (next-sum)/w*k.axis.width(i)
				out = append(out, Draw{k.axis.shift + node.centre + x, node.b, node.c, node.s})
				next += step
			}
			sum += w
		}
	}
	return out
}

// Efolds is how many factors e a mean time between failures of so many hours
// lies above ten minutes: ln(6 h).
func Efolds(h float64) float64 { return efolds(h) }

// Need returns the voltage, mV, at which this machine lasts efolds factors e
// longer than ten minutes on average, at a ratio and temperature under the
// prior p.
func (d Draw) Need(p *Prior, r units.Ratio, t units.Celsius, efolds float64) float64 {
	x, xx := p.step(r)
	return d.a + d.b*x + d.c*xx + p.heat(t) + d.S*efolds
}

// Hazard returns this machine's failures per minute at v mV, where it needs
// need mV for ten minutes.
func (d Draw) Hazard(need, v float64) float64 {
	return lambda0 * math.Exp(math.Min((need-v)/d.S, maxEta))
}
