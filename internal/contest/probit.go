package contest

import (
	"math"

	"belay/internal/stats"
)

// shot is one go/no-go test: its level and whether it responded.
type shot struct {
	x        float64
	response bool
}

// probit is a normal response curve: the chance of a response at x is
// Phi((x - mu)/sigma).
type probit struct {
	mu, sigma  float64
	a, b, c    float64 // information on (mu, sigma): [a b; b c] / sigma²
	likelihood float64 // log
}

// overlap reports whether some level failed above one that responded; without
// it the likelihood has no maximum with sigma above 0.
// Source: Silvapulle, J. R. Stat. Soc. B 43 (1981) 310.
func overlap(shots []shot) bool {
	low, high := bracketOf(shots)
	return low > high
}

// bracketOf returns the highest level without and the lowest with a response;
// -Inf and +Inf where there is none.
func bracketOf(shots []shot) (noResponse, response float64) {
	noResponse, response = math.Inf(-1), math.Inf(1)
	for _, s := range shots {
		if s.response {
			response = min(response, s.x)
		} else {
			noResponse = max(noResponse, s.x)
		}
	}
	return noResponse, response
}

// fitProbit is the maximum likelihood estimate by Fisher scoring in
// (-mu/sigma, 1/sigma), where the log-likelihood is concave. False without
// overlap.
func fitProbit(shots []shot) (probit, bool) {
	if !overlap(shots) {
		return probit{}, false
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range shots {
		lo, hi = min(lo, s.x), max(hi, s.x)
	}
	mid, half := (lo+hi)/2, (hi-lo)/2
	u := [2]float64{0, 1} // in x scaled to -1..1
	scaled := make([]shot, len(shots))
	for i, s := range shots {
		scaled[i] = shot{(s.x - mid) / half, s.response}
	}
	at := logLikelihood(scaled, u)
	for range 200 {
		step, ok := scoring(scaled, u)
		if !ok {
			break
		}
		shrink, next, value := 1.0, u, at
		for ; shrink > 1e-8; shrink /= 2 {
			next = [2]float64{u[0] + shrink*step[0], u[1] + shrink*step[1]}
			if value = logLikelihood(scaled, next); next[1] > 0 && value >= at {
				break
			}
		}
		moved := math.Hypot(next[0]-u[0], next[1]-u[1])
		if shrink <= 1e-8 {
			break
		}
		u, at = next, value
		if moved < 1e-12 {
			break
		}
	}
	p := probit{mu: mid - half*u[0]/u[1], sigma: half / u[1], likelihood: at}
	p.a, p.b, p.c = information(shots, p.mu, p.sigma)
	return p, true
}

func logLikelihood(shots []shot, u [2]float64) float64 {
	sum := 0.0
	for _, s := range shots {
		z := u[0] + u[1]*s.x
		if !s.response {
			z = -z
		}
		sum += logPhi(z)
	}
	return sum
}

// logPhi is ln Phi(z), with the leading term of its tail far below 0.
func logPhi(z float64) float64 {
	if z < -30 {
		return -z*z/2 - math.Log(-z*math.Sqrt(2*math.Pi))
	}
	return math.Log(stats.NormalCDF(z))
}

// scoring is one step: information inverse times score.
func scoring(shots []shot, u [2]float64) (step [2]float64, ok bool) {
	var g0, g1, h00, h01, h11 float64
	for _, s := range shots {
		z := u[0] + u[1]*s.x
		sign := 1.0
		if !s.response {
			sign = -1
		}
		g := sign * math.Exp(-z*z/2-math.Log(math.Sqrt(2*math.Pi))-logPhi(sign*z))
		g0, g1 = g0+g, g1+g*s.x
		w := weight(z)
		h00, h01, h11 = h00+w, h01+w*s.x, h11+w*s.x*s.x
	}
	det := h00*h11 - h01*h01
	if !(det > 0) {
		return step, false
	}
	return [2]float64{(h11*g0 - h01*g1) / det, (h00*g1 - h01*g0) / det}, true
}

// weight is the information of one test at z = (x - mu)/sigma:
// phi(z)²/(Phi(z)(1-Phi(z))).
func weight(z float64) float64 {
	return math.Exp(-z*z - math.Log(2*math.Pi) - logPhi(z) - logPhi(-z))
}

// information returns the sums of w, w z and w z² over the tests.
func information(shots []shot, mu, sigma float64) (a, b, c float64) {
	for _, s := range shots {
		z := (s.x - mu) / sigma
		w := weight(z)
		a, b, c = a+w, b+w*z, c+w*z*z
	}
	return a, b, c
}

// quantile is the level at which a share responds, raised by so many of its
// own standard errors (delta method).
func (p probit) quantile(share, errors float64) float64 {
	z := normalQuantile(share)
	det := p.a*p.c - p.b*p.b
	variance := p.sigma * p.sigma * (p.c - 2*z*p.b + z*z*p.a) / det
	return p.mu + z*p.sigma + errors*math.Sqrt(variance)
}

func normalQuantile(p float64) float64 {
	z, err := stats.NormalQuantile(p)
	if err != nil {
		panic("shares lie between 0 and 1: " + err.Error())
	}
	return z
}
