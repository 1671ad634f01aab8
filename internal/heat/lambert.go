package heat

import "math"

// lambertW0 returns the upper real branch of w·exp(w) = x for x >= -1/e,
// to about 1e-15 away from the branch point. Halley's iteration after
// Corless et al., Adv. Comput. Math. 5 (1996) 329.
func lambertW0(x float64) float64 {
	if x > math.E {
		return lambertOfExp(math.Log(x))
	}
	w := branchPointSeries(x, 1)
	if x > -0.25 {
		w = math.Log1p(x)
	}
	return halley(w, x)
}

// lambertWm1 returns the lower real branch for -1/e <= x < 0.
func lambertWm1(x float64) float64 {
	w := branchPointSeries(x, -1)
	if x > -0.25 {
		ln := math.Log(-x)
		w = ln - math.Log(-ln)
	}
	return halley(w, x)
}

// branchPointSeries starts either branch near x = -1/e; sign picks it.
func branchPointSeries(x, sign float64) float64 {
	p := sign * math.Sqrt(math.Max(0, 2*(math.E*x+1)))
	return -1 + p - p*p/3 + 11*p*p*p/72
}

func halley(w, x float64) float64 {
	for range 50 {
		e := math.Exp(w)
		f := w*e - x
		slope := e*(w+1) - (w+2)*f/(2*w+2)
		if f == 0 || slope == 0 || math.IsNaN(slope) {
			return w
		}
		step := f / slope
		w -= step
		if math.Abs(step) <= 1e-15*(1+math.Abs(w)) {
			return w
		}
	}
	return w
}

// lambertOfExp returns W0(exp(y)) without forming exp(y): Newton's iteration
// on w + ln w = y, which converges from any positive start below the root.
func lambertOfExp(y float64) float64 {
	if y < 1 {
		return lambertW0(math.Exp(y))
	}
	w := y - math.Log(math.Max(y, 1))
	w = math.Max(w, 0.5)
	for range 50 {
		step := (w + math.Log(w) - y) * w / (w + 1)
		w -= step
		if math.Abs(step) <= 1e-15*w {
			break
		}
	}
	return w
}
