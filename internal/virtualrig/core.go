package virtualrig

import (
	"math"

	"belay/internal/trial"
)

const (
	baseClock = 100.0 // MHz; common practice, no source

	hazardAtNeed = 0.1 // failures per minute when the load voltage equals the need: ten minutes on average
	hazardMost   = 1e6 // per minute; chosen: more than this is "at once"
	needTemp     = 70  // °C at which the need is stated; chosen: a usual temperature under load
)

// The load classes as places in the tables below.
const (
	scalar = iota
	wide
	cached
	memory
	mixed
	bursty
	loads
)

func loadIndex(l trial.Load) (int, bool) {
	switch l {
	case trial.Scalar:
		return scalar, true
	case trial.WideVector:
		return wide, true
	case trial.Cache:
		return cached, true
	case trial.Memory:
		return memory, true
	case trial.Mixed:
		return mixed, true
	case trial.Bursty:
		return bursty, true
	}
	return 0, false
}

// law is the shape of the hazard against voltage.
type law int

const (
	lawExponential law = iota
	lawNormal
	lawHeavy
)

// normalDepth is where the Gaussian law sits at the need, in standard
// deviations of the supply noise. Chosen: 3, so that failures are rare events.
const normalDepth = 3.0

// normalSlope is the slope of the log tail there, so that the width s means
// the same at the need under every law: phi(3) / Phi(-3).
const normalSlope = 3.2830986549304556

// heavyKnee and heavySlope bend the heavy-tail law: beyond three widths above
// the need the log hazard falls at 0.7 of its pace. Chosen.
const (
	heavyKnee  = 3.0
	heavySlope = 0.7
)

// hazard returns failures per minute at u widths of voltage above the need.
func (l law) hazard(u float64) float64 {
	h := math.Exp(-u)
	switch {
	case l == lawNormal:
		z := normalDepth + u/normalSlope
		h = math.Erfc(z/math.Sqrt2) / math.Erfc(normalDepth/math.Sqrt2)
		if u < 0 { // the tail cannot exceed one; below the need go on as the exponential law
			h = math.Exp(-u)
		}
	case l == lawHeavy && u > heavyKnee:
		h = math.Exp(-heavyKnee - heavySlope*(u-heavyKnee))
	}
	return min(hazardAtNeed*h, hazardMost)
}

// core is the truth about the processor's cores. Voltages in V, ratios in
// steps of the base clock.
type core struct {
	count  int
	stock  float64        // all-core ratio as delivered
	need   float64        // V, scalar load, stock ratio, needTemp
	slope  float64        // V per ratio step at the stock ratio
	curve  float64        // V per squared step above it
	width  float64        // V per e-fold of hazard
	perDeg float64        // V per °C
	offset [loads]float64 // V above the need of the scalar load
	each   []oneCore
	law    law
	boot   float64 // V below the need at which the rig does not start
}

// oneCore is how one core differs: its need, and factors on slope and width.
type oneCore struct{ shift, slope, width float64 }

// needOf returns the voltage at which core i lasts ten minutes on average.
// It is convex: straight below the stock ratio, a parabola above it.
func (c *core) needOf(i, load int, ratio, temp float64) float64 {
	d := ratio - c.stock
	v := c.need + c.offset[load] + c.each[i].shift + c.slope*c.each[i].slope*d + c.perDeg*(temp-needTemp)
	if d > 0 {
		v += c.curve * d * d
	}
	return v
}

// hazard returns failures per minute of all cores together.
func (c *core) hazard(load int, ratio, volts, temp float64) float64 {
	sum := 0.0
	for i, one := range c.each {
		sum += c.law.hazard((volts - c.needOf(i, load, ratio, temp)) / (c.width * one.width))
	}
	return min(sum, hazardMost)
}

// voltageFor returns the load voltage at which the hazard equals target.
func (c *core) voltageFor(load int, ratio, temp, target float64) float64 {
	lo, hi := c.needOf(0, load, ratio, temp)-0.5, c.needOf(0, load, ratio, temp)+0.5
	return bisect(lo, hi, func(v float64) bool { return c.hazard(load, ratio, v, temp) <= target })
}

// bisect returns the least x in [lo, hi] for which ok holds, if ok is false
// below some point and true above it.
func bisect(lo, hi float64, ok func(float64) bool) float64 {
	for range 40 {
		mid := (lo + hi) / 2
		if ok(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// cache is the truth about the shared cache, which lives on the core voltage.
type cache struct {
	stock              float64 // ratio as delivered
	need, slope, curve float64 // V, V per step, V per squared step
	elasticity         float64 // relative score per relative cache clock
}

func (c *cache) needAt(ratio float64) float64 {
	d := ratio - c.stock
	v := c.need + c.slope*d
	if d > 0 {
		v += c.curve * d * d
	}
	return v
}
