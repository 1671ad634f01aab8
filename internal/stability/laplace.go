package stability

import "math"

// loads is the number of load classes; a class's index is its place in
// trial.Loads, scalar first.
const loads = 6

// Order of the parameters in the vectors of this file. The location a comes
// last of the four, so that a Cholesky factor gives it conditional on the
// others. Offsets of the classes with evidence follow.
const (
	pB = iota // mV per step
	pC        // mV per step squared
	pU        // ln(s / mV)
	pA        // mV
	pOffsets
	maxParams = pOffsets + loads - 1
)

type (
	vector [maxParams]float64
	matrix [maxParams][maxParams]float64
)

// gaussian is a normal approximation in the first n parameters.
type gaussian struct {
	n    int
	mean vector
	cov  matrix
}

// target is the log posterior and what its search needs.
type target struct {
	readings []reading
	n        int
	prior    vector     // means
	sd       vector     // standard deviations
	slot     [loads]int // class -> parameter of its offset, 0 = none
	eps      float64
}

func newTarget(p *Prior, readings []reading) *target {
	t := &target{readings: readings, n: pOffsets}
	t.prior[pB], t.sd[pB] = p.BMean.Millivolts(), p.BSD.Millivolts()
	t.prior[pC], t.sd[pC] = p.CMean.Millivolts(), p.CSD.Millivolts()
	t.prior[pU], t.sd[pU] = math.Log(p.SMedian.Millivolts()), p.SLogSD
	t.prior[pA], t.sd[pA] = p.AMean.Millivolts(), p.ASD.Millivolts()
	for i := range readings {
		if c := readings[i].class; c > 0 && t.slot[c] == 0 {
			t.slot[c] = t.n
			t.prior[t.n], t.sd[t.n] = p.offset(c)
			t.n++
		}
	}
	return t
}

// value returns the log posterior at x; with g and h not nil also its gradient
// and a positive definite curvature (the second derivative along eta, the
// curvature of eta itself left out).
func (t *target) value(x *vector, g *vector, h *matrix) float64 {
	sum := 0.0
	if h != nil {
		*g, *h = vector{}, matrix{}
	}
	for i := range t.n {
		z := (x[i] - t.prior[i]) / t.sd[i]
		sum -= z * z / 2
		if h != nil {
			g[i] = -z / t.sd[i]
			h[i][i] = 1 / (t.sd[i] * t.sd[i])
		}
	}
	s := math.Exp(x[pU])
	for i := range t.readings {
		r := &t.readings[i]
		need := x[pA] + x[pB]*r.d + x[pC]*r.dd
		slot := t.slot[r.class]
		if slot > 0 {
			need += x[slot]
		}
		z := (need - r.v) / s
		f := r.at(math.Log(lambda0)+z, t.eps)
		sum += f.l
		if h == nil {
			continue
		}
		curve := math.Max(-f.l2, 0)
		idx := [5]int{pB, pC, pU, pA, slot}
		der := [5]float64{r.d / s, r.dd / s, -z, 1 / s, 1 / s}
		m := 5
		if slot == 0 {
			m = 4
		}
		for j := range m {
			g[idx[j]] += f.l1 * der[j]
			for k := range m {
				h[idx[j]][idx[k]] += curve * der[j] * der[k]
			}
		}
	}
	return sum
}

// climb walks from x to a maximum by damped Newton steps (Levenberg and
// Marquardt) and returns it with its value.
func (t *target) climb(x vector, steps int) (vector, float64) {
	var g vector
	var h matrix
	damp := 1e-3
	best := t.value(&x, &g, &h)
	for range steps {
		m := h
		for i := range t.n {
			m[i][i] *= 1 + damp
		}
		l, ok := cholesky(&m, t.n)
		if !ok {
			break
		}
		dx := solve(&l, &g, t.n)
		next, far := x, 0.0
		for i := range t.n {
			next[i] += dx[i]
			far = math.Max(far, math.Abs(dx[i])/t.sd[i])
		}
		if v := t.value(&next, nil, nil); v >= best {
			x, damp = next, damp/5
			best = t.value(&x, &g, &h)
			if far < 1e-3 {
				break
			}
		} else if damp *= 8; damp > 1e9 {
			break
		}
	}
	return x, best
}

// start returns a point near the prior's mean at which no clean trial is a
// surprise of more than e^2 failures. From above, a Newton step undoes only one
// e-fold; from here the climb takes a few. Each clean trial in turn moves the
// point as little as the prior's spread allows.
func (t *target) start() vector {
	x := t.prior
	s := math.Exp(x[pU])
	for range 4 {
		for i := range t.readings {
			r := &t.readings[i]
			if r.failed {
				continue
			}
			dir := vector{pB: r.d, pC: r.dd, pA: 1}
			if slot := t.slot[r.class]; slot > 0 {
				dir[slot] = 1
			}
			need, norm := 0.0, 0.0
			for k := range t.n {
				if k != pU {
					need += dir[k] * x[k]
					norm += dir[k] * dir[k] * t.sd[k] * t.sd[k]
				}
			}
			excess := need - r.v + s*(math.Log(lambda0*r.t2)-2)
			if excess <= 0 {
				continue
			}
			for k := range t.n {
				if k != pU {
					x[k] -= excess * dir[k] * t.sd[k] * t.sd[k] / norm
				}
			}
		}
	}
	return x
}

// laplace returns the normal approximation with the most mass among the maxima
// that it finds: first without unrelated failures, where the posterior is
// well-behaved, then from there and from the start with them. The two differ
// when failures contradict each other.
func laplace(p *Prior, readings []reading) gaussian {
	t := newTarget(p, readings)
	begin := t.start()
	own, _ := t.climb(begin, 30)
	t.eps = p.Eps
	best, mass := t.around(own)
	if odd, m := t.around(begin); m > mass {
		best = odd
	}
	return best
}

// around climbs from x and returns the normal approximation at the top, and the
// log of its mass.
func (t *target) around(x vector) (gaussian, float64) {
	x, mass := t.climb(x, 12)
	var g vector
	var h matrix
	t.value(&x, &g, &h)
	out := gaussian{n: t.n, mean: x}
	l, ok := cholesky(&h, t.n)
	for i := range t.n {
		if !ok {
			out.cov[i][i] = t.sd[i] * t.sd[i]
			continue
		}
		mass -= math.Log(l[i][i])
		var e vector
		e[i] = 1
		col := solve(&l, &e, t.n)
		for j := range t.n {
			out.cov[j][i] = col[j]
		}
	}
	return out, mass
}

// cholesky factors the leading n x n part of m into l lᵀ; it reports false if
// that is not positive definite.
func cholesky(m *matrix, n int) (l matrix, ok bool) {
	for i := range n {
		for j := range i + 1 {
			sum := m[i][j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i == j {
				if !(sum > 0) {
					return l, false
				}
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
	}
	return l, true
}

// solve returns x with l lᵀ x = b.
func solve(l *matrix, b *vector, n int) vector {
	x := *b
	for i := range n {
		for k := range i {
			x[i] -= l[i][k] * x[k]
		}
		x[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= l[k][i] * x[k]
		}
		x[i] /= l[i][i]
	}
	return x
}
