package stability

import "math"

// grown fills exp((shift + x)/s) for class c.
func (p *Posterior) grown(c int) {
	k := &p.classes[c]
	k.growth = grow(k.growth, len(p.nodes)*cells)
	for j := range p.nodes {
		inv := 1 / p.nodes[j].s
		row := k.growth[j*cells : (j+1)*cells]
		middle := math.Exp(k.axis.shift * inv)
		row[half] = middle
		for i := half + 1; i < cells; i++ { // the axis is symmetric
			e := math.Exp(k.axis.x[i] * inv)
			row[i], row[cells-1-i] = middle*e, middle/e
		}
	}
}

// hazard returns the hazard per minute at node n for location = centre, at a
// reading's ratio and voltage; times growth it is the hazard of a cell.
func (n *node) hazard(d, dd, v float64) float64 {
	return lambda0 * math.Exp((n.centre+n.b*d+n.c*dd-v)/n.s)
}

// lost is how far below a node's best, in e-folds, a cell is dropped.
const lost = 40

// weigh sums the log likelihood of class c, with the prior of a for scalar.
func (p *Posterior) weigh(c int) {
	p.grown(c)
	k := &p.classes[c]
	k.like = grow(k.like, len(p.nodes)*cells)
	k.best = grow(k.best, len(p.nodes))
	mean, sd := p.prior.AMean.Millivolts(), p.prior.ASD.Millivolts()
	for j := range p.nodes {
		n := &p.nodes[j]
		growth := k.growth[j*cells : (j+1)*cells]
		load := p.charge(c, n)
		var log [cells]float64
		top := math.Inf(-1)
		for step := range cells { // from the middle outwards: the best comes early
			i := half + (step+1)/2
			if step%2 == 0 {
				i = half - step/2
			}
			log[i] = -load * growth[i]
			if c == 0 {
				z := (n.centre + k.axis.x[i] - mean) / sd
				log[i] -= z * z / 2
			}
			log[i] = p.fail(log[i], growth[i], top-lost)
			top = max(top, log[i])
		}
		k.best[j] = top
		row := k.like[j*cells : (j+1)*cells]
		for i := range row {
			row[i] = 0
			if log[i] > top-lost {
				row[i] = decay(top - log[i])
			}
		}
	}
}

// charge returns the expected number of failures over all clean runs of class
// c at the centre of node n, and leaves the hazards of its failures in charges.
func (p *Posterior) charge(c int, n *node) float64 {
	load := 0.0
	p.failures, p.charges = p.failures[:0], p.charges[:0]
	for i := range p.readings {
		r := &p.readings[i]
		switch {
		case r.class != c:
		case r.failed:
			p.failures = append(p.failures, r)
			p.charges = append(p.charges, n.hazard(r.d, r.dd, r.v))
		default:
			load += n.hazard(r.d, r.dd, r.v) * r.t2
		}
	}
	return load
}

// fail adds the log likelihood of the failures in charges to log, at a cell of
// the given growth. It gives up below floor: a failure never adds.
func (p *Posterior) fail(log, growth, floor float64) float64 {
	if log < floor {
		return math.Inf(-1)
	}
	if len(p.failures) == 0 {
		return log
	}
	keep := 1 - p.prior.Eps
	least, sure := leastProduct(floor - log)
	product := 1.0
	for i, r := range p.failures {
		product *= r.likelihood(p.charges[i]*growth, keep)
		if product >= least {
			continue
		}
		if sure {
			return math.Inf(-1)
		}
		log += math.Log(product)
		product = 1
		least, sure = leastProduct(floor - log)
	}
	return log + math.Log(product)
}

// leastProduct returns the power of two at or below exp(log) for log <= 0, and
// true; or one that is safe from underflow, and false.
func leastProduct(log float64) (least float64, sure bool) {
	if !(log > -600) {
		return 1e-260, false
	}
	return math.Ldexp(1, int(log*math.Log2E)-1), true
}
