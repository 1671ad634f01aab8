package stability

import "math"

// half is the number of inner cells to each side of the centre; chosen so that
// the whole grid has about 10^4 points.
const half = 14

// cells is the number of inner cells.
const cells = 2*half + 1

// axis is the inner grid: the location (the need at the reference ratio) in mV
// from a node's centre, plus shift for the class. Cells are narrow in the
// middle and grow outwards, so that one grid resolves a narrow posterior and
// still sees a second explanation far away.
type axis struct {
	shift float64
	x     [cells]float64     // cell middles
	edge  [cells + 1]float64 // cell edges
}

// newAxis makes an axis with middle cells about delta wide that reaches at
// least to reach on both sides: x = delta sinh(g k)/g.
func newAxis(shift, delta, reach float64) axis {
	ax := axis{shift: shift}
	delta = math.Max(delta, 1e-3)
	if reach < delta*half*1.02 {
		delta = reach / (half * 1.02)
	}
	lo, hi := 1e-3, 1.0
	for range 40 {
		g := (lo + hi) / 2
		if delta*math.Sinh(g*half)/g < reach {
			lo = g
		} else {
			hi = g
		}
	}
	for i := range ax.edge {
		ax.edge[i] = delta * math.Sinh(hi*(float64(i-half)-0.5)) / hi
		if i < cells {
			ax.x[i] = delta * math.Sinh(hi*float64(i-half)) / hi
		}
	}
	return ax
}

func (ax *axis) width(k int) float64 { return ax.edge[k+1] - ax.edge[k] }

// cell returns the cell that holds x; x lies within the edges.
func (ax *axis) cell(x float64) int {
	lo, hi := 0, cells
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; ax.edge[mid] <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// kernel holds, for each cell of the scalar axis, the chance of each cell of a
// class's axis under the class's offset: row by row, each row sums to 1.
type kernel [cells][cells]float64

func newKernel(from, to *axis, mean, sd float64) *kernel {
	k := new(kernel)
	for i := range cells {
		row := &k[i]
		top := math.Inf(-1)
		for j := range cells {
			z := (to.shift + to.x[j] - from.shift - from.x[i] - mean) / sd
			row[j] = -z * z / 2
			top = math.Max(top, row[j])
		}
		sum := 0.0
		for j := range cells {
			row[j] = math.Exp(row[j]-top) * to.width(j)
			sum += row[j]
		}
		for j := range cells {
			row[j] /= sum
		}
	}
	return k
}

// gather sets out[i] to the mean of g over row i.
func (k *kernel) gather(out, g []float64) {
	g = g[:cells]
	lo, hi := 0, cells
	for lo < hi && g[lo] == 0 {
		lo++
	}
	for hi > lo && g[hi-1] == 0 {
		hi--
	}
	g = g[lo:hi]
	for i := range out[:cells] {
		sum := 0.0
		row := k[i][lo:hi]
		for j, v := range row[:len(g)] {
			sum += v * g[j]
		}
		out[i] = sum
	}
}

// spread sets out to the sum over rows i of a[i] times row i.
func (k *kernel) spread(out, a []float64) {
	out = out[:cells]
	clear(out)
	for i, w := range a[:cells] {
		if w == 0 {
			continue
		}
		for j, v := range &k[i] {
			out[j] += w * v
		}
	}
}
