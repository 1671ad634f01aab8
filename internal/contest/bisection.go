package contest

import (
	"math"

	"belay/internal/units"
)

const (
	bracket = 0.120 // V, how far below a pass the bracket begins; chosen: at the start-up limit of published parts and beyond
	narrow  = 0.005 // V, width of the bracket that is narrow enough; chosen: half of a meter's error
)

// middleSlope is the fall of the hazard with voltage that a method takes which
// does not learn it, in V per e-fold. One decade per 10 mV (Das et al., JSSC
// 2006, from memory) to 20 mV (Salami et al., MICRO 2018); 6.1 mV is the
// geometric middle.
const middleSlope = 0.0061

// slopeReserve is what the published slope asks above the voltage at which a
// test passes every other time, to reach the target.
func slopeReserve(targetH float64) units.Volt {
	perTest := math.Ln2 // failures expected in such a test
	return units.Volt(middleSlope * math.Log(perTest/(float64(testMinutes)/(60*targetH))))
}

// bisection halves the bracket between a pass and a failure and keeps its
// upper end with the reserve of the published slope.
func bisection(b *bout, at rung) (units.Volt, bool) {
	lo, hi := at.volt-bracket, at.volt
	for hi-lo > narrow && b.trials < mostTests {
		v, o := b.test(at.ratio, (lo+hi)/2, testMinutes)
		switch o {
		case failed:
			lo = v
		case passed:
			hi = v
		default:
			return 0, false
		}
	}
	keep := hi + slopeReserve(b.in.Wishes.TargetH)
	return keep, b.reach(at.ratio, keep)
}
