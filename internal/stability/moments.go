package stability

import "math"

// scale is where a class's location lies from the scalar one, and how wide it
// is at one node, mV.
type scale struct{ shift, sd float64 }

// scalesOf reads the scales off a normal approximation.
func (p *Posterior) scalesOf(g *gaussian) (out [loads]scale) {
	t := newTarget(&p.prior, p.readings)
	for c := range out {
		mean, sd := 0.0, 0.0
		h := *g
		if c > 0 {
			mean, sd = p.prior.offset(c)
			if slot := t.slot[c]; slot > 0 {
				mean, sd = g.mean[slot], 0
				for i := range g.n {
					h.cov[pA][i] += g.cov[slot][i]
				}
				for i := range g.n {
					h.cov[i][pA] += h.cov[i][slot]
				}
			}
		}
		out[c] = scale{mean, math.Hypot(sd, tightness(&h.cov))}
	}
	return out
}

// tightness returns the standard deviation of a given b, c and ln s.
func tightness(cov *matrix) float64 {
	l, ok := cholesky(cov, pOffsets)
	if !ok {
		return math.Sqrt(cov[pA][pA])
	}
	return l[pA][pA]
}

// widen is how much wider than the coarse grid's covariance the fine grid is
// laid. Chosen: of 1 to 1.5, the value with the least error against a grid of
// ten times as many points, as posteriors have longer tails than a normal one.
const widen = 1.3

// moments returns the mean and covariance that the grid sees, each cell of the
// lattice counted with its own width, and the scales of the classes.
func (p *Posterior) moments(g *gaussian, was *[loads]scale) (gaussian, [loads]scale) {
	out := gaussian{n: pOffsets}
	scales := *was
	base := p.class(0)
	var sum, within, mean0 float64
	for j := range p.nodes {
		n := &p.nodes[j]
		w, m, v := base.now.row(j)
		x := [4]float64{n.b, n.c, math.Log(n.s), n.centre + m}
		for i := range x {
			out.mean[i] += w * x[i]
			for k := range x {
				out.cov[i][k] += w * (x[i] - g.mean[i]) * (x[k] - g.mean[k])
			}
		}
		sum, within, mean0 = sum+w, within+w*v, mean0+w*m
	}
	for i := range pOffsets {
		out.mean[i] /= sum
	}
	blur := p.lattice.h * p.lattice.h / 12
	for i := range pOffsets {
		for k := range pOffsets {
			out.cov[i][k] = widen * (out.cov[i][k]/sum - (out.mean[i]-g.mean[i])*(out.mean[k]-g.mean[k]) + blur*g.cov[i][k])
		}
	}
	out.cov[pA][pA] += within / sum
	scales[0].sd = tightness(&out.cov)
	for c := 1; c < len(p.classes); c++ {
		if !p.classes[c].evidence {
			_, osd := p.prior.offset(c)
			scales[c].sd = math.Hypot(osd, scales[0].sd)
			continue
		}
		k := p.class(c)
		var m1, v1, shift float64
		for j := range p.nodes {
			w, m, v := k.now.row(j)
			m1, v1, shift = m1+w*m, v1+w*v, shift+w*(k.axis.shift)
		}
		scales[c] = scale{(shift + m1 - mean0) / sum, math.Sqrt(v1 / sum)}
	}
	return out, scales
}
