package stability

import (
	"math"
	"slices"
)

// Posterior is what is believed after the trials so far. It is for one
// goroutine at a time: queries fill caches.
type Posterior struct {
	prior    Prior
	readings []reading
	lattice  *lattice
	tilt     [4][3]float64 // change of b, c, ln s and the centre per unit of each lattice direction
	nodes    []node
	classes  [loads]class
	failures []*reading // scratch: the failures of a class
	charges  []float64  // scratch: their hazards at a node
	factor   []float64  // scratch: likelihood of a supposed outcome
	supposed table      // scratch: the posterior joined with it
	moved    []float64  // scratch: one node of a class
	inner    []float64  // scratch: one node of the scalar axis
}

// node is one point of the outer grid with the centre of its inner axis.
type node struct {
	b, c, s float64 // mV per step, mV per step squared, mV per e-fold
	centre  float64 // mV
	log     float64 // log prior of b, c, ln s, up to a constant
}

// class is the inner grid of one load class: for each node, cells.
type class struct {
	ready, evidence bool // evidence is always set for scalar, which carries the prior of a
	axis            axis
	growth          []float64 // exp((shift + x)/s)
	like            []float64 // likelihood of the class's trials, 1 at each node's best
	best            []float64 // its log at each node's best
	offset          *kernel   // from the scalar axis; nil for scalar
	message         []float64 // like, seen from the scalar axis
	now             table     // the posterior of the location
}

// New returns the posterior before the first trial, or an Invalid fault if the
// prior is out of range.
func New(prior Prior) (*Posterior, error) { return Fit(prior, nil) }

// Fit returns the posterior after obs, in any order. It returns an Invalid
// fault if the prior or an observation cannot be used.
func Fit(prior Prior, obs []Observation) (*Posterior, error) {
	if err := prior.Validate(); err != nil {
		return nil, err
	}
	p := &Posterior{prior: prior}
	if err := p.add(obs); err != nil {
		return nil, err
	}
	return p, nil
}

// Update adds one observation. A void one changes nothing; one that cannot be
// used is refused with an Invalid fault and changes nothing.
func (p *Posterior) Update(o Observation) error {
	if o.Kind == Void {
		return nil
	}
	return p.add([]Observation{o})
}

// Trials returns how many observations speak of voltage.
func (p *Posterior) Trials() int { return len(p.readings) }

func (p *Posterior) add(obs []Observation) error {
	for _, o := range obs {
		if err := o.check(); err != nil {
			return err
		}
	}
	for _, o := range obs {
		if o.Kind != Void {
			p.readings = append(p.readings, p.prior.reading(o))
		}
	}
	slices.SortFunc(p.readings, reading.compare) // so that order cannot matter, to the last bit
	p.build()
	return nil
}

// build lays the grid where the posterior is: normal approximation, a coarse
// grid around it, then the fine grid around what the coarse one saw.
func (p *Posterior) build() {
	g := laplace(&p.prior, p.readings)
	scales := p.scalesOf(&g)
	p.fill(&pilot, &g, &scales)
	g, scales = p.moments(&g, &scales)
	p.fill(&fine, &g, &scales)
}

// fill lays the nodes and axes and sums the evidence on them.
func (p *Posterior) fill(lat *lattice, g *gaussian, scales *[loads]scale) {
	p.lattice = lat
	p.lay(g)
	mean, sd := p.prior.AMean.Millivolts(), p.prior.ASD.Millivolts()
	reach := 4.2*sd + math.Abs(g.mean[pA]-mean)
	if lat == &fine {
		reach = math.Min(reach, math.Max(100, 12*scales[0].sd))
	}
	used := [loads]bool{0: true}
	for i := range p.readings {
		used[p.readings[i].class] = true
	}
	s := math.Exp(g.mean[pU])
	for c := range p.classes {
		k := &p.classes[c]
		*k = class{ // the slices keep their room
			evidence: used[c], growth: k.growth, like: k.like,
			best: k.best, message: k.message, now: k.now,
		}
		wide := reach
		if c > 0 {
			_, o := p.prior.offset(c)
			wide = math.Hypot(reach, 4.2*o)
		}
		// Cells of half a standard deviation, but never wider than the
		// hazard's own scale.
		k.axis = newAxis(scales[c].shift, math.Min(0.5*scales[c].sd, 0.8*s), wide)
		if used[c] {
			p.link(c)
			p.weigh(c)
		}
	}
	p.combine()
}

// link makes the kernel between the scalar axis and that of class c > 0.
func (p *Posterior) link(c int) {
	if k := &p.classes[c]; c > 0 && k.offset == nil {
		mean, sd := p.prior.offset(c)
		k.offset = newKernel(&p.classes[0].axis, &k.axis, mean, sd)
	}
}

// lay places the nodes of the lattice under g.
func (p *Posterior) lay(g *gaussian) {
	l, ok := cholesky(&g.cov, pOffsets)
	if !ok {
		for i := range pOffsets {
			l[i][i] = math.Sqrt(g.cov[i][i])
		}
	}
	for i := range pOffsets {
		p.tilt[i] = [3]float64{l[i][0], l[i][1], l[i][2]}
	}
	t := newTarget(&p.prior, nil)
	p.nodes = grow(p.nodes, len(p.lattice.points))
	for j, z := range p.lattice.points {
		var x [4]float64
		sum := 0.0
		for i := range x {
			x[i] = g.mean[i] + p.tilt[i][0]*z[0] + p.tilt[i][1]*z[1] + p.tilt[i][2]*z[2]
			if i != pA {
				d := (x[i] - t.prior[i]) / t.sd[i]
				sum -= d * d / 2
			}
		}
		p.nodes[j] = node{b: x[pB], c: x[pC], s: math.Exp(x[pU]), centre: x[pA], log: sum}
	}
}

// class returns class c with its posterior ready.
func (p *Posterior) class(c int) *class {
	k := &p.classes[c]
	if k.ready {
		return k
	}
	if c > 0 && !k.evidence {
		p.link(c)
		p.grown(c)
	}
	k.now.mass = grow(k.now.mass, len(p.nodes)*cells)
	p.masses(k.now.mass, c, c, nil)
	k.now.sum(&k.axis, len(p.nodes))
	k.ready = true
	return k
}

// grow returns a slice of length n, reusing s if it is long enough.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
