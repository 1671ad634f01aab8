package loadline

import (
	"math"

	"belay/internal/fault"
	"belay/internal/stats"
	"belay/internal/units"
)

// AlphaPower is the alpha-power law of speed against voltage:
// f = K·(V - Vt)^Alpha / V, f in MHz.
// Source: Sakurai & Newton, IEEE Journal of Solid-State Circuits 25 (1990) 584.
type AlphaPower struct {
	K     float64
	Vt    units.Volt // effective threshold; a curve with guardband gives a higher one
	Alpha float64    // about 1.2 to 1.4 for short channels, 2 for long ones
}

// shortChannel is the exponent where too few points are known to fit one.
// Source: Sakurai & Newton 1990, range for short channels.
const shortChannel = 1.3

// Clock returns the speed at a voltage; 0 at or below the threshold.
func (a AlphaPower) Clock(v units.Volt) units.Megahertz {
	if v <= a.Vt {
		return 0
	}
	return units.Megahertz(a.K * math.Pow(float64(v-a.Vt), a.Alpha) / float64(v))
}

// Elasticity returns d ln f / d ln V at a voltage above the threshold.
func (a AlphaPower) Elasticity(v units.Volt) float64 {
	return a.Alpha*float64(v)/float64(v-a.Vt) - 1
}

// Slope returns the voltage that 100 MHz more cost at a clock and voltage, in mV.
func (a AlphaPower) Slope(v units.Volt, clock units.Megahertz) float64 {
	return 1e5 * float64(v) / (float64(clock) * a.Elasticity(v))
}

// Voltage returns the voltage that a clock needs, by bisection between the
// threshold and 3 V. The law rises with voltage for Alpha >= 1. It returns an
// Invalid fault for a clock out of reach.
func (a AlphaPower) Voltage(clock units.Megahertz) (units.Volt, error) {
	low, high := a.Vt, units.Volt(3)
	if !(clock > 0 && a.Clock(high) >= clock) {
		return 0, fault.New(fault.Invalid, "No voltage below 3 V gives this clock.", "Check the clock.")
	}
	for range 200 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if a.Clock(mid) < clock {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2, nil
}

// FitAlphaPower fits the law to stock points by least squares in the clock.
// alpha 0 fits the exponent too, else it is kept. It returns an Invalid fault
// for fewer points than unknowns.
func FitAlphaPower(points []StockPoint, alpha float64) (AlphaPower, error) {
	need := 3
	if alpha == 0 {
		need = 4
	}
	if len(points) < need {
		return AlphaPower{}, fault.New(fault.Invalid, "Too few points for this curve.", "Read the stock voltage at more ratios.")
	}
	lowest := math.Inf(1)
	for _, p := range points {
		lowest = math.Min(lowest, float64(p.Voltage))
	}
	atAlpha := func(alpha float64) AlphaPower {
		vt := stats.Minimum(func(vt float64) float64 {
			_, rss := scaled(points, vt, alpha)
			return rss
		}, 0, lowest-1e-4, valleyTolerance)
		law, _ := scaled(points, vt, alpha)
		return law
	}
	if alpha > 0 {
		return atAlpha(alpha), nil
	}
	return atAlpha(stats.Minimum(func(alpha float64) float64 {
		_, rss := scaled(points, float64(atAlpha(alpha).Vt), alpha)
		return rss
	}, 1, 2, valleyTolerance)), nil
}

// valleyTolerance is how closely Vt (V) and alpha are found. Chosen: far below
// what any table of operating points resolves.
const valleyTolerance = 1e-8

// scaled solves for K, the linear part, and returns the sum of squares.
func scaled(points []StockPoint, vt, alpha float64) (AlphaPower, float64) {
	law := AlphaPower{K: 1, Vt: units.Volt(vt), Alpha: alpha}
	var xy, xx, yy float64
	for _, p := range points {
		x, y := float64(law.Clock(p.Voltage)), float64(p.Clock)
		xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
	}
	law.K = xy / xx
	return law, yy - law.K*xy
}
