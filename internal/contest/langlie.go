package contest

import "belay/internal/units"

const (
	langlieTests = 15    // the least that the method's users advise (from memory)
	langlieBelow = 0.120 // V, lower limit below the voltage that passed; chosen: as for bisection
	langlieAbove = 0.030 // V, upper limit above it; chosen: a response is then all but sure
)

// langlieNext is the next level: halfway between the newest and the level back
// to which responses and failures are equal in number; if there is no such
// level, halfway to the limit on the other side.
// Source: Langlie, Aeronutronic report U-1792 (1962), rule from memory.
func langlieNext(shots []shot, low, high float64) float64 {
	if len(shots) == 0 {
		return (low + high) / 2
	}
	newest := shots[len(shots)-1]
	balance := 0
	for i := len(shots) - 1; i >= 0; i-- {
		if shots[i].response {
			balance++
		} else {
			balance--
		}
		if balance == 0 {
			return (newest.x + shots[i].x) / 2
		}
	}
	if newest.response {
		return (newest.x + low) / 2
	}
	return (newest.x + high) / 2
}

// sigmaGuess is the standard deviation of the voltage at which a test fails,
// as known before any test, in V: that of the Gumbel law of scale middleSlope,
// pi/sqrt(6) times it.
const sigmaGuess = 1.2825498301618641 * middleSlope

// langlie tests by the rule and keeps the upper 90 % bound of the level that
// meets the target by the normal curve.
func langlie(b *bout, at rung) (units.Volt, bool) {
	var shots []shot
	low, high := float64(at.volt)-langlieBelow, float64(at.volt)+langlieAbove
	for len(shots) < langlieTests && b.trials < mostTests {
		v, o := b.test(at.ratio, units.Volt(langlieNext(shots, low, high)), testMinutes)
		if o == hot || o == refused {
			return 0, false
		}
		shots = append(shots, shot{float64(v), o == passed})
	}
	return b.bound(at.ratio, shots)
}

// bound is the upper 90 % bound of the level that meets the target by the
// normal curve of the tests. Without overlap the curve is the middle of the
// bracket with the sigma that was known before.
func (b *bout) bound(r units.Ratio, shots []shot) (units.Volt, bool) {
	p, ok := fitProbit(shots)
	if !ok {
		lo, hi := bracketOf(shots)
		p = probit{mu: (lo + hi) / 2, sigma: sigmaGuess}
		p.a, p.b, p.c = information(shots, p.mu, p.sigma)
	}
	keep := units.Volt(p.quantile(passShare(b.in.Wishes.TargetH), statedErrors))
	if !(keep > lowest) { // also false for NaN: all tests had one outcome
		return 0, false
	}
	return keep, b.reach(r, keep)
}
