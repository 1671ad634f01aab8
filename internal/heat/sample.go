package heat

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// draw is one machine that the evidence allows, with the luck of one run.
type draw struct {
	constants
	push, powerError, tempError float64 // standard normal
}

// drawCount is chosen: quantiles steady to a few hundredths of the interval,
// and a fit and a prediction under a millisecond.
const (
	drawCount = 600
	drawSeed  = 20260103 // chosen: any fixed number
)

// sample draws machines from the posterior: from the normal approximation at
// the mode first, then resampled by how far the true posterior differs from
// it. Heat feeds itself, so the approximation alone makes the hot end too hot.
// Source: sampling importance resampling, Rubin 1987; weights cut at the mean
// times the root of their number, Ionides, J. Comput. Graph. Stat. 17 (2008) 295.
func (p *problem) sample(theta vector) []draw {
	z := hypercube()
	at, weight := p.proposals(theta, &z)
	pick := resample(&weight)
	out := make([]draw, drawCount)
	for k := range out {
		out[k] = draw{at[pick[k]], z[dim][k], z[dim+1][k], z[dim+2][k]}
	}
	return out
}

// proposals returns draws from the normal approximation with precision
// H = UᵀU, theta + U⁻¹z, and the weight of each.
func (p *problem) proposals(theta vector, z *[dim + 3][drawCount]float64) (at []constants, weight [drawCount]float64) {
	rows, _ := p.allRows(&theta)
	var chol mat.Cholesky
	chol.Factorize(p.curvature(rows)) // prior precision keeps it positive definite
	var u, inv mat.TriDense
	chol.UTo(&u)
	_ = inv.InverseTri(&u) // the condition number is bounded by the prior
	var spread [dim]vector
	for i := range dim {
		for j := i; j < dim; j++ {
			spread[i][j] = inv.At(i, j)
		}
	}
	post := p.frozen(theta)
	best := post.cost(theta)
	at = make([]constants, drawCount)
	for k := range at {
		v, norm := theta, 0.0
		for i := range dim {
			norm += z[i][k] * z[i][k]
			for j := i; j < dim; j++ {
				v[i] += spread[i][j] * z[j][k]
			}
		}
		at[k] = v.constants()
		weight[k] = math.Exp((norm + best - post.costOf(&v, &at[k])) / 2)
	}
	return at, weight
}

// frozen is the posterior with the whitening of one point kept, so that it is
// quick to evaluate.
type frozen struct {
	*problem
	white  []whitening
	drives []drive
	logP   []float64 // ln of the power read; 0 where not read
	guess  []float64 // °C, where the run settles at that point
}

func (p *problem) frozen(theta vector) frozen {
	c := theta.constants()
	f := frozen{problem: p}
	for _, o := range p.obs {
		d := o.drive()
		w, s := p.coolerWhitening(o, &c), settled{}
		if o.driven() {
			s = c.settle(d, 1)
			w = p.whitening(d, s, &c, o.Power > 0)
		}
		f.white, f.drives, f.guess = append(f.white, w), append(f.drives, d), append(f.guess, s.temp)
		f.logP = append(f.logP, math.Log(math.Max(1, float64(o.Power))))
	}
	return f
}

func (f frozen) cost(theta vector) float64 {
	c := theta.constants()
	return f.costOf(&theta, &c)
}

// costOf is minus twice the log posterior up to a constant; +Inf where an
// observed run has no settled temperature.
func (f frozen) costOf(theta *vector, c *constants) float64 {
	sum := 0.0
	for i := range theta {
		d := theta[i] - f.mean[i]
		sum += d * d * f.precision[i]
	}
	for i := range f.obs {
		o, w, d := &f.obs[i], &f.white[i], f.drives[i]
		var power, temp float64
		if o.driven() {
			s := c.settleFrom(d, 1, f.guess[i])
			if s.runaway {
				return math.Inf(1)
			}
			temp = float64(o.CoreTemp) - s.temp
			if o.Power > 0 {
				power = f.logP[i] - math.Log(s.power)
			}
		} else {
			temp = float64(o.CoreTemp) - c.airOf(d) - c.reachOf(d.minutes)*float64(o.Power)
		}
		if o.CoreTemp > 0 {
			r := (temp - w.share*power) / w.temp
			sum += r * r
		}
		r := power / w.power
		sum += r * r
	}
	return sum
}

// resample picks drawCount places in proportion to the weights, evenly spaced
// along their sum; each once if the weights say nothing.
func resample(weight *[drawCount]float64) (pick [drawCount]int) {
	total := 0.0
	for _, w := range weight {
		total += w
	}
	top := total / drawCount * math.Sqrt(drawCount)
	total = 0
	for k, w := range weight {
		weight[k] = math.Min(w, top)
		total += weight[k]
	}
	if !(total > 0) || math.IsInf(total, 0) {
		for k := range pick {
			pick[k] = k
		}
		return pick
	}
	sum, i := weight[0], 0
	for k := range pick {
		for i < drawCount-1 && sum < (float64(k)+0.5)*total/drawCount {
			i++
			sum += weight[i]
		}
		pick[k] = i
	}
	return pick
}

// hypercube returns standard normal draws whose quantiles are right in each of
// the unknowns and the three kinds of luck: the same evenly spread values in
// every one, each shuffled by itself.
// Source: McKay, Beckman & Conover, Technometrics 21 (1979) 239.
func hypercube() [dim + 3][drawCount]float64 {
	var even [drawCount]float64
	for k := range even {
		even[k] = math.Sqrt2 * math.Erfinv((2*float64(k)+1)/drawCount-1)
	}
	rng := rand.New(rand.NewPCG(drawSeed, dim))
	var z [dim + 3][drawCount]float64
	for i := range z {
		z[i] = even
		rng.Shuffle(drawCount, func(a, b int) { z[i][a], z[i][b] = z[i][b], z[i][a] })
	}
	return z
}
