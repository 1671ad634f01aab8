package heat

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Fit learns a machine's constants from its runs. Observations that teach
// nothing are passed over; none at all leaves the prior.
//
// It maximises the posterior by Gauss-Newton with step halving and keeps the
// posterior as seeded draws, so equal input gives equal output. Readings that scatter more than their sensors explain widen every
// interval. The slice is not modified.
// Source: Gelman et al., Bayesian Data Analysis, chapter 4 (normal
// approximation); equations in docs/models/heat.md.
func Fit(prior Prior, obs []Observation) Model {
	p := newProblem(prior, obs)
	theta := p.climb(p.mean)
	if wide := p.misfit(theta); wide > 1 {
		p.inflate = wide
		theta = p.climb(theta)
	}
	return p.model(theta)
}

// problem is a fit in preparation.
type problem struct {
	prior     Prior
	obs       []Observation
	mean      vector
	precision vector  // 1/variance of the prior
	inflate   float64 // factor on the noise variance, at least 1
}

// unlisted is the factor belief of a load class that the prior leaves out.
// Chosen: the spread between the listed classes.
var unlisted = Belief{Median: 1, Spread: 0.3}

func newProblem(prior Prior, obs []Observation) *problem {
	p := &problem{prior: prior, inflate: 1}
	put := func(i int, b Belief) { p.mean[i], p.precision[i] = math.Log(b.Median), 1/(b.Spread*b.Spread) }
	put(iPower, prior.Power)
	put(iShare, prior.LeakShare)
	p.mean[iShare] -= math.Log1p(-prior.LeakShare.Median)
	put(iResistance, prior.Resistance)
	put(iPerVolt, prior.PerVolt)
	put(iPerDegree, prior.PerDegree)
	put(iWarmUp, prior.WarmUp)
	for i, load := range factorLoads {
		b, ok := prior.Factor[load]
		if !ok {
			b = unlisted
		}
		put(iFactor+i, b)
	}
	p.mean[iRoom], p.precision[iRoom] = prior.Room.Mean, 1/(prior.Room.SD*prior.Room.SD)
	for _, o := range obs {
		if o = o.plausible(); o.teaches() {
			p.obs = append(p.obs, o)
		}
	}
	return p
}

// row is one whitened residual and its slope.
type row struct {
	res   float64
	slope vector
}

// rows appends the whitened residuals (observed minus predicted) of one
// observation; ok is false where the loop has no settled point.
//
// Power and temperature of one run share the scatter of its dynamic power and
// the error of its voltage, so they are whitened together.
func (p *problem) rows(o Observation, c *constants, out []row) (_ []row, ok bool) {
	if !o.driven() {
		return append(out, p.coolerRow(o, c)), true
	}
	d := o.drive()
	s := c.settle(d, 1)
	if s.runaway {
		return out, false
	}
	dT, dP := c.slopes(d, s)
	w := p.whitening(d, s, c, o.Power > 0)
	miss := 0.0
	if o.Power > 0 {
		miss = math.Log(float64(o.Power) / s.power)
		out = append(out, whiten(miss, dP, w.power))
	}
	if o.CoreTemp <= 0 {
		return out, true
	}
	for i := range dT { // take out what the power residual already tells
		dT[i] -= w.share * dP[i]
	}
	return append(out, whiten(float64(o.CoreTemp)-s.temp-w.share*miss, dT, w.temp)), true
}

// whitening turns the two residuals of a run into independent ones: the power
// residual over power, then the temperature residual less share times the
// power residual, over temp.
type whitening struct{ power, share, temp float64 }

func (p *problem) whitening(d drive, s settled, c *constants, powerRead bool) whitening {
	n := p.prior.Noise
	push := math.Hypot(n.Scatter, 2*n.Voltage/d.volt)
	pushT, pushP := c.pushSlopes(s)
	pushT, pushP = push*pushT, push*pushP
	varT, varP := n.Temp*n.Temp+pushT*pushT, n.Power*n.Power+pushP*pushP
	w := whitening{power: math.Sqrt(p.inflate * varP)}
	if powerRead {
		w.share = pushT * pushP / varP
		varT -= w.share * pushT * pushP
	}
	w.temp = math.Sqrt(p.inflate * varT)
	return w
}

// coolerRow is the residual of a run known only by power and temperature.
func (p *problem) coolerRow(o Observation, c *constants) row {
	d := o.drive()
	rise := c.reachOf(d.minutes) * float64(o.Power)
	var slope vector
	slope[iResistance] = rise
	if d.minutes > 0 {
		x := d.minutes / c.warmUp
		slope[iWarmUp] = -c.resistance * math.Exp(-x) * x * float64(o.Power)
	}
	if d.air == 0 {
		slope[iRoom] = 1
	}
	return whiten(float64(o.CoreTemp)-c.airOf(d)-rise, slope, p.coolerWhitening(o, c).temp)
}

func (p *problem) coolerWhitening(o Observation, c *constants) whitening {
	n := p.prior.Noise
	sd := math.Hypot(n.Temp, c.reachOf(float64(o.Minutes))*float64(o.Power)*n.Power)
	return whitening{power: 1, temp: math.Sqrt(p.inflate) * sd}
}

func whiten(res float64, slope vector, sd float64) row {
	for i := range slope {
		slope[i] /= sd
	}
	return row{res / sd, slope}
}

func (o Observation) drive() drive {
	return drive{
		volt: float64(o.Voltage), clock: float64(o.Clock), air: float64(o.AirTemp),
		minutes: float64(o.Minutes), factor: factorOf(o.Load),
	}
}

func (p *problem) allRows(theta *vector) ([]row, bool) {
	c := theta.constants()
	rows := make([]row, 0, 2*len(p.obs))
	for _, o := range p.obs {
		var ok bool
		if rows, ok = p.rows(o, &c, rows); !ok {
			return nil, false
		}
	}
	return rows, true
}

func (p *problem) cost(theta *vector, rows []row) float64 {
	sum := 0.0
	for _, r := range rows {
		sum += r.res * r.res
	}
	for i := range theta {
		d := theta[i] - p.mean[i]
		sum += d * d * p.precision[i]
	}
	return sum
}

// start returns a point where every observation has a settled temperature:
// the prior's middle, or one with ever less leakage and resistance.
func (p *problem) start(theta vector) (vector, []row) {
	for range 60 {
		if rows, ok := p.allRows(&theta); ok {
			return theta, rows
		}
		theta[iShare] -= 0.5
		theta[iResistance] -= 0.1
		theta[iPower] -= 0.05
	}
	return p.mean, nil
}

// climb walks to the posterior mode.
func (p *problem) climb(from vector) vector {
	theta, rows := p.start(from)
	cost := p.cost(&theta, rows)
	for range 40 {
		step, ok := p.step(&theta, rows)
		if !ok {
			return theta
		}
		moved := false
		for shrink := 1.0; shrink > 1e-4; shrink /= 2 {
			next := theta
			for i := range next {
				next[i] += shrink * step[i]
			}
			nextRows, ok := p.allRows(&next)
			if !ok {
				continue
			}
			if c := p.cost(&next, nextRows); c < cost {
				moved = cost-c > 1e-9*(1+cost)
				theta, rows, cost = next, nextRows, c
				break
			}
		}
		if !moved {
			return theta
		}
	}
	return theta
}

// curvature is the posterior precision at theta.
func (p *problem) curvature(rows []row) *mat.SymDense {
	h := mat.NewSymDense(dim, nil)
	for i := range dim {
		for j := i; j < dim; j++ {
			sum := 0.0
			for k := range rows {
				sum += rows[k].slope[i] * rows[k].slope[j]
			}
			if i == j {
				sum += p.precision[i]
			}
			h.SetSym(i, j, sum)
		}
	}
	return h
}

func (p *problem) step(theta *vector, rows []row) (vector, bool) {
	var g, step vector
	for i := range dim {
		g[i] = (p.mean[i] - theta[i]) * p.precision[i]
		for k := range rows {
			g[i] += rows[k].slope[i] * rows[k].res
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(p.curvature(rows)) {
		return step, false
	}
	if chol.SolveVecTo(mat.NewVecDense(dim, step[:]), mat.NewVecDense(dim, g[:])) != nil {
		return step, false
	}
	return step, true
}

// trust is how many readings' worth of belief the stated noise carries.
// Chosen: a handful of readings can double the noise, two cannot.
const trust = 10.0

// misfit is the factor by which the noise variance must grow to explain the
// residuals at theta; 1 or less means that the stated noise is enough.
func (p *problem) misfit(theta vector) float64 {
	rows, ok := p.allRows(&theta)
	if !ok {
		return 1
	}
	sum := trust
	for _, r := range rows {
		sum += r.res * r.res
	}
	return sum / (trust + float64(len(rows)))
}
