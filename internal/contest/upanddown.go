package contest

import (
	"math"

	"belay/internal/units"
)

// dixonMood is the estimate of an up-and-down sequence from the levels of one
// of the two outcomes.
// Source: Dixon and Mood, J. Am. Stat. Assoc. 43 (1948) 109; formulas as in
// Gorla et al., Int. J. Appl. Eng. Res. 12 (2017) 11306.
type dixonMood struct {
	mu, sigma float64
	m         float64 // the statistic M
	n         int     // tests that were counted
}

// leastM and roughSigma: at M = 0.3 and below, the formula for sigma does not
// hold; 0.53 steps stand in for it. Source: Dixon and Mood 1948 (from memory).
const (
	leastM     = 0.3
	roughSigma = 0.53
)

// rarer reports whether responses are the rarer outcome, which the authors
// count. With equal numbers it is the failures to respond.
func rarer(shots []shot) bool {
	n := 0
	for _, s := range shots {
		if s.response {
			n++
		}
	}
	return 2*n < len(shots)
}

// fitDixonMood counts the tests with this outcome, of which there is at least
// one. step is the distance of neighbouring levels.
func fitDixonMood(shots []shot, step float64, response bool) (dixonMood, bool) {
	least := math.Inf(1)
	for _, s := range shots {
		if s.response == response {
			least = min(least, s.x)
		}
	}
	var e dixonMood
	var a, b float64
	for _, s := range shots {
		if s.response == response {
			i := math.Round((s.x - least) / step)
			a, b, e.n = a+i, b+i*i, e.n+1
		}
	}
	if e.n == 0 {
		return e, false
	}
	n := float64(e.n)
	e.m = (n*b - a*a) / (n * n)
	half := 0.5
	if response {
		half = -0.5
	}
	e.mu = least + step*(a/n+half)
	e.sigma = roughSigma * step
	if e.m > leastM {
		e.sigma = 1.620 * step * (e.m + 0.029)
	}
	return e, true
}

const (
	upDownStep  = 0.010 // V; the authors advise about one standard deviation; chosen: the customary step
	upDownTests = 15    // after the first change of outcome; Gorla et al. 2017 use 13 and 15

	// Factors on sigma/sqrt(n) for the standard errors of mu and sigma at a
	// step of about one sigma. Source: charts G and H of Dixon and Mood 1948
	// (from memory; G = 0.95 is confirmed by Gorla et al. 2017).
	meanFactor, sigmaFactor = 0.95, 1.3
)

// stated is the confidence of the strategies that give an upper 90 % bound.
var stated = 0.90

// statedErrors is the 90 % point of the normal distribution.
const statedErrors = 1.2815515655446004

// passShare is the chance that a test passes at a setting that just meets the
// target: exp(-minutes/target).
func passShare(targetH float64) float64 { return math.Exp(-float64(testMinutes) / (60 * targetH)) }

// upAndDown goes one step down after each pass and one up after each failure,
// and keeps the upper 90 % bound of the level that meets the target by the
// normal curve.
func upAndDown(b *bout, at rung) (units.Volt, bool) {
	var shots []shot
	v := at.volt
	changed := 0 // tests since the first failure
	for changed < upDownTests && b.trials < mostTests {
		used, o := b.test(at.ratio, v, testMinutes)
		switch o {
		case passed:
			v = used - upDownStep
		case failed:
			v = used + upDownStep
		default:
			return 0, false
		}
		shots = append(shots, shot{float64(used), o == passed})
		if changed > 0 || o == failed {
			changed++
		}
	}
	shots = shots[max(0, len(shots)-changed-1):] // from the pass before the first failure
	e, ok := fitDixonMood(shots, upDownStep, rarer(shots))
	if !ok {
		return 0, false
	}
	z := normalQuantile(passShare(b.in.Wishes.TargetH))
	errors := e.sigma / math.Sqrt(float64(e.n)) * math.Hypot(meanFactor, z*sigmaFactor)
	keep := units.Volt(e.mu + z*e.sigma + statedErrors*errors)
	return keep, b.reach(at.ratio, keep)
}
