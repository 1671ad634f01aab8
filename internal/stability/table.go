package stability

import "math"

// table is a distribution over location: mass per cell, and for each node its
// running sum and the integral of that at the cell edges.
type table struct {
	mass           []float64 // nodes x cells
	cum, integ     []float64 // nodes x (cells+1)
	weight         []float64 // per node
	mean, variance []float64 // per node, mV from the centre, shift left out
}

// negligible is the weight below which a node is passed over.
const negligible = 1e-9

// sum fills everything from mass.
func (t *table) sum(ax *axis, n int) {
	t.cum, t.integ = grow(t.cum, n*(cells+1)), grow(t.integ, n*(cells+1))
	t.weight, t.mean, t.variance = grow(t.weight, n), grow(t.mean, n), grow(t.variance, n)
	for j := range n {
		mass := t.mass[j*cells : (j+1)*cells]
		cum := t.cum[j*(cells+1) : (j+1)*(cells+1)]
		integ := t.integ[j*(cells+1) : (j+1)*(cells+1)]
		var c, in, m1, m2 float64
		cum[0], integ[0] = 0, 0
		for i, w := range mass {
			width := ax.width(i)
			in += width * (c + w/2)
			c += w
			cum[i+1], integ[i+1] = c, in
			m1 += w * ax.x[i]
			m2 += w * (ax.x[i]*ax.x[i] + width*width/12)
		}
		t.weight[j] = c
		t.mean[j], t.variance[j] = 0, 0
		if c > 0 {
			t.mean[j] = m1 / c
			t.variance[j] = math.Max(0, m2/c-m1/c*m1/c)
		}
	}
}

// row returns what node j weighs, and the mean and variance of its location.
func (t *table) row(j int) (weight, mean, variance float64) {
	return t.weight[j], t.mean[j], t.variance[j]
}

// below returns the mass of node j below x, and the integral of that up to x.
func (t *table) below(ax *axis, j int, x float64) (cum, integ float64) {
	row := j * (cells + 1)
	switch {
	case x <= ax.edge[0]:
		return 0, 0
	case x >= ax.edge[cells]:
		c := t.cum[row+cells]
		return c, t.integ[row+cells] + c*(x-ax.edge[cells])
	}
	i := ax.cell(x)
	u := x - ax.edge[i]
	rise := t.mass[j*cells+i] / ax.width(i)
	c := t.cum[row+i]
	return c + rise*u, t.integ[row+i] + u*(c+rise*u/2)
}

// smooth returns the mass of node j below x, averaged over a box of half-width
// w around x, and its derivative by x.
func (t *table) smooth(ax *axis, j int, x, w float64) (cum, density float64) {
	c1, i1 := t.below(ax, j, x-w)
	c2, i2 := t.below(ax, j, x+w)
	return (i2 - i1) / (2 * w), (c2 - c1) / (2 * w)
}
