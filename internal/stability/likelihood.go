package stability

import "math"

// lambda0 is the hazard per minute at the ten-minute need, by definition.
const lambda0 = 0.1

// maxEta bounds ln(hazard per minute), so that nothing overflows. Such a
// hazard fails at once.
const maxEta = 300

// shape holds the log likelihood of one reading as a function of
// eta = ln(hazard per minute), and its first two derivatives.
type shape struct{ l, l1, l2 float64 }

// at returns the log likelihood of r at eta with the chance eps of an
// unrelated failure; eps = 0 leaves that out. An exact time gives the density
// per t2.
//
//	clean           -lambda t
//	failed at tau   ln((1-eps) lambda tau exp(-lambda tau) + eps tau/planned)
//	failed between  ln((1-eps) (exp(-lambda t1) - exp(-lambda t2)) + eps (t2-t1)/planned)
func (r *reading) at(eta, eps float64) shape {
	lam := math.Exp(math.Min(eta, maxEta))
	if !r.failed {
		y := lam * r.t2
		return shape{-y, -y, -y}
	}
	logf, r1, r2 := r.failure(lam)
	if eps == 0 {
		return shape{logf, r1, r2 - r1*r1}
	}
	own := math.Log1p(-eps) + logf
	odd := math.Log(r.odd)
	top := math.Max(own, odd)
	l := top + math.Log(math.Exp(own-top)+math.Exp(odd-top))
	rho := math.Exp(own - l) // chance that voltage caused it
	return shape{l, rho * r1, rho*r2 - rho*rho*r1*r1}
}

// failure returns ln f, and the first and second derivative of f by eta over f,
// for the failure term f without eps.
func (r *reading) failure(lam float64) (logf, r1, r2 float64) {
	y1, y2 := lam*r.t1, lam*r.t2
	if r.exact {
		return math.Log(y2) - y2, 1 - y2, (1-y2)*(1-y2) - y2
	}
	if y2 < 1e-9 {
		return math.Log(y2 - y1), 1, 1
	}
	q := -math.Expm1(y1 - y2)
	e := math.Exp(y1 - y2)
	return math.Log(q) - y1, (y2*e - y1) / q, ((y2-y2*y2)*e - (y1 - y1*y1)) / q
}

// likelihood returns the failure term with eps in it, not its log: the inner
// loop of the grid multiplies these. keep is 1-eps.
func (r *reading) likelihood(lam, keep float64) float64 {
	y2 := lam * r.t2
	switch {
	case r.exact:
		if y2 > decayEnd {
			return r.odd
		}
		return keep*y2*decay(y2) + r.odd
	case y2 < 1e-5: // the difference of the two would lose its digits
		return keep*(y2-lam*r.t1) + r.odd
	}
	return keep*(decay(lam*r.t1)-decay(y2)) + r.odd
}
