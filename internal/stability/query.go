package stability

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// DefaultTargetH is the mean time between failures, in hours of heavy load,
// that a keep is to reach unless the user chooses another. Chosen: about two
// hours of heavy load a day for most of a year.
const DefaultTargetH = 500

// line is a question about the need at one load, ratio, temperature and mean
// time between failures: location + fixed + s*efolds, mV, per node.
type line struct {
	p      *Posterior
	k      *class
	t      *table
	d, dd  float64
	heat   float64
	efolds float64 // ln(target / ten minutes)
}

func (p *Posterior) line(load trial.Load, r units.Ratio, t units.Celsius, targetH float64) line {
	c := classIndex(load)
	k := p.class(c)
	q := line{p: p, k: k, t: &k.now, heat: p.prior.heat(t), efolds: efolds(targetH)}
	q.d, q.dd = p.prior.step(r)
	return q
}

// efolds is how many factors e a mean time between failures of h hours lies
// above ten minutes.
func efolds(h float64) float64 {
	return math.Log(lambda0 * 60 * math.Max(h, 1e-6))
}

// base returns what is added to the location at node n, and the half-width of
// the box that stands for the node, mV: half of its cell of the lattice. The
// whole cell would widen intervals that the lattice already spans.
func (q *line) base(n *node) (fixed, half float64) {
	fixed = q.k.axis.shift + n.centre + n.b*q.d + n.c*q.dd + q.heat + n.s*q.efolds
	sq := 0.0
	tilt := &q.p.tilt
	for i := range 3 {
		g := tilt[pA][i] + tilt[pB][i]*q.d + tilt[pC][i]*q.dd + tilt[pU][i]*n.s*q.efolds
		sq += g * g
	}
	return fixed, math.Max(q.p.lattice.h/4*math.Sqrt(sq), 1e-3)
}

// chance returns the probability that the need lies at or below v (mV), and
// the density there.
func (q *line) chance(v float64) (cum, density float64) {
	for j := range q.p.nodes {
		if q.t.weight[j] < negligible {
			continue
		}
		fixed, half := q.base(&q.p.nodes[j])
		c, d := q.t.smooth(&q.k.axis, j, v-fixed, half)
		cum += c
		density += d
	}
	return math.Min(cum, 1), density
}

// spread returns the mean and the variance of the need, mV.
func (q *line) spread() (mean, variance float64) {
	var sum, m1, m2 float64
	for j := range q.p.nodes {
		w, m, v := q.t.row(j)
		if w < negligible {
			continue
		}
		fixed, half := q.base(&q.p.nodes[j])
		x := fixed + m
		sum += w
		m1 += w * x
		m2 += w * (x*x + v + half*half/3)
	}
	mean = m1 / sum
	return mean, math.Max(m2/sum-mean*mean, 0)
}

// quantile returns the voltage (mV) below which the need lies with probability
// u, to 0.01 mV: Newton steps kept inside a bracket.
func (q *line) quantile(u, mean, sd float64) float64 {
	u = math.Min(math.Max(u, 1e-4), 1-1e-4)
	lo, hi := mean-8*sd-1, mean+8*sd+1
	x := mean + sd*math.Sqrt2*math.Erfinv(2*u-1)
	for range 60 {
		c, d := q.chance(x)
		if c < u {
			lo = x
		} else {
			hi = x
		}
		step := (u - c) / d
		next := x + step
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-x) < 0.01 || hi-lo < 0.01 {
			return next
		}
		x = next
	}
	return x
}

// Need returns the load voltage (V) at which, with probability quantile, the
// mean time between failures under load at this ratio and temperature is at
// least targetH hours. An unknown load counts as scalar, a temperature of 0 as
// the prior's reference.
func (p *Posterior) Need(load trial.Load, r units.Ratio, t units.Celsius, targetH, quantile float64) units.Volt {
	q := p.line(load, r, t, targetH)
	mean, v := q.spread()
	return volts(q.quantile(quantile, mean, math.Sqrt(v)))
}

// Quantiles holds the 5, 50 and 95 % points of a voltage, V.
type Quantiles struct {
	Q05 units.Volt `json:"q05_v"`
	Q50 units.Volt `json:"q50_v"`
	Q95 units.Volt `json:"q95_v"`
}

// Band is the need at one load, ratio and temperature.
type Band struct {
	Target     Quantiles // for the target mean time between failures
	TenMinutes Quantiles // for ten minutes on average
	Warnings   []string  // what limits the numbers, for a person
}

// NeedBand returns the need for targetH hours and for ten minutes.
func (p *Posterior) NeedBand(load trial.Load, r units.Ratio, t units.Celsius, targetH float64) Band {
	of := func(h float64) Quantiles {
		q := p.line(load, r, t, h)
		mean, v := q.spread()
		sd := math.Sqrt(v)
		return Quantiles{
			volts(q.quantile(0.05, mean, sd)), volts(q.quantile(0.5, mean, sd)), volts(q.quantile(0.95, mean, sd)),
		}
	}
	return Band{of(targetH), of(1.0 / 6), p.Warnings(load, r)}
}

// Confidence returns the probability that the mean time between failures at
// this setting is at least targetH hours.
func (p *Posterior) Confidence(load trial.Load, r units.Ratio, v units.Volt, t units.Celsius, targetH float64) float64 {
	q := p.line(load, r, t, targetH)
	c, _ := q.chance(v.Millivolts())
	return c
}

// PassProbability returns the probability that a run of minutes at this
// setting ends clean, unrelated failures (eps) included.
func (p *Posterior) PassProbability(load trial.Load, r units.Ratio, v units.Volt, t units.Celsius, minutes units.Minutes) float64 {
	q := p.line(load, r, t, 1.0/6)
	sum := 0.0
	for j := range p.nodes {
		if q.t.weight[j] < negligible {
			continue
		}
		n := &p.nodes[j]
		run := float64(minutes) * n.hazard(q.d, q.dd, v.Millivolts()-q.heat)
		_, half := q.base(n)
		if half < 0.4*n.s {
			sum += q.survive(j, run)
			continue
		}
		// The node's cell is wide against s: three-point Gauss-Legendre.
		far := math.Exp(half * math.Sqrt(0.6) / n.s)
		sum += (5*q.survive(j, run*far) + 8*q.survive(j, run) + 5*q.survive(j, run/far)) / 18
	}
	return (1 - p.prior.Eps) * math.Min(sum, 1)
}

// survive returns the mass of node j times its chance of a clean run, where
// run is the expected number of failures at the node's centre.
func (q *line) survive(j int, run float64) float64 {
	sum := 0.0
	growth := q.k.growth[j*cells : (j+1)*cells]
	for i, w := range q.t.mass[j*cells : (j+1)*cells] {
		sum += w * decay(run*growth[i])
	}
	return sum
}

// SlopePerDecade returns the 5, 50 and 95 % points of the hazard's slope in mV
// per decade: how much less voltage means ten times as many failures.
func (p *Posterior) SlopePerDecade() (q05, q50, q95 float64) {
	k := p.class(0)
	tilt := &p.tilt[pU]
	half := p.lattice.h / 2 * math.Sqrt(tilt[0]*tilt[0]+tilt[1]*tilt[1]+tilt[2]*tilt[2])
	at := func(u float64) float64 {
		lo, hi := math.Log(0.01), math.Log(1000.0)
		for range 40 {
			mid, c := (lo+hi)/2, 0.0
			for j := range p.nodes {
				x := (mid - math.Log(p.nodes[j].s)) / (2 * half)
				c += k.now.weight[j] * math.Min(math.Max(x+0.5, 0), 1)
			}
			if c < u {
				lo = mid
			} else {
				hi = mid
			}
		}
		return math.Exp(lo) * math.Ln10
	}
	return at(0.05), at(0.5), at(0.95)
}

func volts(mv float64) units.Volt { return units.Volt(mv / 1000) }
